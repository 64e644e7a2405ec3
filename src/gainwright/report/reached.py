"""The voltage of each amplifier at its target, from the readings of a finished set-up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile import instruments
from gainwright.model import Multimeter, Reading
from gainwright.solve import reading_error_v

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Entry, Job
    from gainwright.plan import Plan


def reached_voltages(job: Job, plan: Plan, entries: Sequence[Entry]) -> dict[str, tuple[float, float]]:
    """Return amplifier -> voltage read at its output with the tone of its set-up, V, and half its 95 % interval, V.

    Of several, one at the output that its gain is set by counts more than one at the other side; then one with the filters
    still open as for the set-up more than one with them put back, which lowers the tone at the same gain; then the last.
    """
    opened = _opened(plan)
    steps = {(s.stage, s.tone_hz, s.level_dbfs): s for s in plan.steps if s.phase == "amplifier"}
    there = instruments(job)
    usual = next((i for i in there.values() if isinstance(i, Multimeter)), next(iter(there.values())))
    best, found = dict[str, tuple[bool, bool]](), dict[str, tuple[float, float]]()
    for entry in entries:
        if not isinstance(entry, Reading) or entry.reads is None or isinstance(entry.reads, str):
            continue
        stage = entry.at.split(".")[0]
        step = steps.get((stage, entry.tone_hz, entry.level_dbfs))
        if step is None:
            continue
        as_set_up = all(entry.set.get(control) == text for control, text in opened.items())
        rank = (entry.at == step.measure_at, as_set_up)
        if rank >= best.get(stage, rank):
            best[stage] = rank
            value = entry.reads.nominal
            found[stage] = (value, float(reading_error_v(there.get(entry.with_, usual), value)))
    return found


def _opened(plan: Plan) -> dict[str, str]:
    """Return the controls that are moved for the set-up and put back later, with their settings meanwhile."""
    back = {control for s in plan.steps if s.phase == "restore" for control in s.sets}
    moved = (s for s in plan.steps if s.phase == "controls")
    return {control: text for s in moved for control, text in s.sets.items() if control in back}
