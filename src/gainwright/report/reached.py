"""The voltage of each output of an amplifier, from the readings of a finished set-up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.jobfile import instruments
from gainwright.model import Multimeter, Reading
from gainwright.solve import reading_error_v

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from gainwright.model import Entry, Instrument, Job
    from gainwright.plan import Plan, Step, Target


@dataclass(frozen=True, slots=True)
class ReachedOutput:
    """One output that was read.

    Attributes
    ----------
    at : its node.
    reached_v, reached_half_v : volts read there, and half of the reading's 95 % interval.
    expected_v : the target where the gain was set by it, or with the chain as it was set then; elsewhere what its last step expects.
    tone_hz : of the reading.
    at_target : whether it is a reading with the tone that the gain is set by.
    """

    at: str
    reached_v: float
    reached_half_v: float
    expected_v: float
    tone_hz: float
    at_target: bool


def reached_outputs(job: Job, plan: Plan, entries: Sequence[Entry]) -> dict[str, tuple[ReachedOutput, ...]]:
    """Return amplifier -> each of its outputs that was read; first the one that its gain is set by, where it was read.

    Of several readings of one output, one with the tone of its set-up counts more than one with another; then one with the filters
    still open as for the set-up more than one with them put back, which lowers the tone at the same gain; then the last.
    """
    opened = _opened(plan)
    there = instruments(job)
    usual = next((i for i in there.values() if isinstance(i, Multimeter)), next(iter(there.values())))
    found: dict[str, tuple[ReachedOutput, ...]] = {}
    for target in plan.targets:
        best = _best(target, plan, _volts(target.stage, entries), opened, there, usual)
        set_by = {s.measure_at for s in plan.steps if s.phase == "amplifier" and s.stage == target.stage}
        if best:
            found[target.stage] = tuple(sorted(best.values(), key=lambda output: output.at not in set_by))
    return found


def _volts(stage: str, entries: Iterable[Entry]) -> Iterator[Reading]:
    """Yield the voltages read from an amplifier's outputs to ground, those that prove a filter left out."""
    for entry in entries:
        if not isinstance(entry, Reading) or entry.reads is None or isinstance(entry.reads, str):
            continue
        if entry.at.split(".")[0] == stage and not entry.proves and not entry.against:
            yield entry


def _best(
    target: Target,
    plan: Plan,
    readings: Iterable[Reading],
    opened: dict[str, str],
    there: dict[str, Instrument],
    usual: Instrument,
) -> dict[str, ReachedOutput]:
    set_by = {s.measure_at for s in plan.steps if s.phase == "amplifier" and s.stage == target.stage}
    best, ranks = dict[str, ReachedOutput](), dict[str, tuple[bool, bool]]()
    for entry in readings:
        as_set_up = all(entry.set.get(control) == text for control, text in opened.items())
        step = _step_of(entry, target.stage, plan, turned=as_set_up or entry.at in set_by)
        tones = {(s.tone_hz, s.level_dbfs) for s in plan.steps if s.phase == "amplifier" and s.stage == target.stage}
        rank = ((entry.tone_hz, entry.level_dbfs) in tones, as_set_up)
        if step is None or rank < ranks.get(entry.at, rank):
            continue
        value, back = entry.reads.nominal, step.phase == "verify" and step.expect is not None  # type: ignore[union-attr]
        ranks[entry.at] = rank
        best[entry.at] = ReachedOutput(
            entry.at,
            value,
            float(reading_error_v(there.get(entry.with_, usual), value)),
            step.expect.value if back and step.expect is not None else target.v_rms,
            float(entry.tone_hz or 0.0),
            at_target=rank[0],
        )
    return best


def _step_of(entry: Reading, stage: str, plan: Plan, *, turned: bool) -> Step | None:
    """Return the step that a reading belongs to: its own, at which the gain is turned or else a last reading; any with its tone."""
    same = [
        s
        for s in plan.steps
        if s.stage == stage and s.tone_hz == entry.tone_hz and s.level_dbfs == entry.level_dbfs and not s.proves
    ]
    phases = ("amplifier", "verify") if turned else ("verify", "amplifier")
    here = [s for s in same if s.measure_at == entry.at]
    return next((s for phase in phases for s in (*here, *same) if s.phase == phase), None)


def _opened(plan: Plan) -> dict[str, str]:
    """Return the controls that are moved for the set-up and put back later, with their settings meanwhile."""
    back = {control for s in plan.steps if s.phase == "restore" for control in s.sets}
    moved = (s for s in plan.steps if s.phase == "controls")
    return {control: text for s in moved for control, text in s.sets.items() if control in back}
