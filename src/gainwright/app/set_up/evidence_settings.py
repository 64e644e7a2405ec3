"""The settings that an evidence file says of a chain that was set up: those of its last reading, beside those of the job."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.app.set_up.found_settings import FoundSetting
from gainwright.app.set_up.no_signal import hardly_a_signal
from gainwright.app.set_up.step_settings import READ_OFF, stages_before
from gainwright.model import Reading, resolve
from gainwright.quantities import parse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Entry, Job
    from gainwright.plan import Plan, Step
    from gainwright.report.clean_steps import FoundVolume

FILTERS = ("low_pass", "high_pass")
"""Controls that a set-up opens and puts back; while they are open, the job keeps theirs."""


def settings_in_evidence(job: Job, plan: Plan, entries: Sequence[Entry]) -> tuple[FoundSetting, ...]:
    """Return the controls as they stood at the last reading of their way, those left out that a set-up moves for a while only.

    A gain counts once the voltage of its step was read, a volume once any gain does.

    Parameters
    ----------
    job, plan : what the evidence is about, and its plan.
    """
    readings = [entry for entry in entries if isinstance(entry, Reading)]
    if not readings:
        return ()
    turned = {
        s.adjust.control: s.id
        for s in plan.steps
        if s.phase == "amplifier" and s.adjust is not None and any(_is_of(r, s) for r in readings)
    }
    raised = {s.adjust.control for s in plan.steps if s.adjust is not None and s.adjust.until == "last_clean"}
    found = []
    for control, text in _last_settings(job, readings).items():
        if control.endswith(FILTERS):
            continue
        if control in raised:
            if turned:
                found.append(FoundSetting(control, text, "clean_step", ""))
        elif control.endswith(".gain"):
            if control in turned and ".." not in text:
                found.append(_gain(control, text, turned[control]))
        else:
            found.append(FoundSetting(control, text, "set", ""))
    return tuple(found)


def _last_settings(job: Job, readings: Sequence[Reading]) -> dict[str, str]:
    """Return the settings after the last reading; a control that a reading on its way doesn't name stands as in the job."""
    wiring, settings = resolve(job), dict[str, str]()
    for reading in readings:
        stages = stages_before(wiring, reading.at)
        kept = {c: t for c, t in settings.items() if c in reading.set or c.split(".")[0] not in stages}
        settings = kept | reading.set
    return settings


def volumes_in_evidence(job: Job, plan: Plan, entries: Sequence[Entry]) -> tuple[FoundVolume, ...]:
    """Return the highest clean volume of each source as the readings were taken at, with that of each search for it."""
    from gainwright.report.clean_steps import FoundVolume

    readings = [entry for entry in entries if isinstance(entry, Reading)]
    found = []
    for setting in settings_in_evidence(job, plan, entries):
        if setting.how != "clean_step":
            continue
        by_tone, silent = dict[float, float](), False
        for step in plan.steps:
            if step.adjust is None or step.adjust.control != setting.control or step.tone_hz is None:
                continue
            at = next((r for r in readings if _is_of(r, step) and setting.control in r.set), None)
            if at is not None and _shows_no_signal(at, step):
                silent = True
            elif at is not None:
                by_tone[step.tone_hz] = min(float(at.set[setting.control]), by_tone.get(step.tone_hz, math.inf))
        if by_tone or not silent:
            stage = setting.control.removesuffix(".volume")
            found.append(FoundVolume(stage, float(setting.text), tuple(sorted(by_tone.items()))))
    return tuple(found)


def _shows_no_signal(reading: Reading, step: Step) -> bool:
    read = reading.reads
    return read is not None and not isinstance(read, str) and hardly_a_signal(step, read.nominal)


def _gain(control: str, text: str, step: str) -> FoundSetting:
    """Return a gain; one that was read off its scale is written without the doubt of the hand that read it."""
    place = parse(text, "fraction")
    low, high = place.interval
    typed = "±" not in text or abs(0.5 * (high - low) - READ_OFF) < 1e-6
    return FoundSetting(
        control, f"{100 * place.nominal:.4g} %" if typed else text, "read_off" if typed else "worked_out", step
    )


def _is_of(reading: Reading, step: Step) -> bool:
    """Return whether a reading is of a step's place and tone."""
    if reading.proves or reading.against:
        return False
    if reading.at != step.measure_at or step.tone_hz is None or step.level_dbfs is None or reading.tone_hz is None:
        return False
    return abs(reading.tone_hz / step.tone_hz - 1) < 1e-4 and abs(reading.level_dbfs - step.level_dbfs) < 1e-3
