"""The readings of a set-up run as entries of evidence, and the knee of a column of readings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gainwright.app.set_up.run import Run, StepState
    from gainwright.metering import Knee
    from gainwright.model import Instrument, Job
    from gainwright.solve import Chain

WHILE_IT_IS_READ = ("source", "processor")
"""Phases whose own settings hold during the step only."""
GAIN_PLACES = 401
LEAST_SHARE = 0.05
"""A source that gives less than this share of its expected voltage is broken, not weak: no gain is derived from it."""


def settings_during(run: Run, state: StepState, *, gains: dict[str, str] | None = None) -> dict[str, str]:
    """Return the settings that differ from the job's while a step is read, control -> text of the job file.

    A control that a skipped step should have moved is as in the job; the volume, once its clean limit is found, is at
    that step. Gains that were turned to a reading are as in `gains`.
    """
    settings: dict[str, str] = {}
    for before in run.steps[: state.number - 1]:
        step = before.step
        if step.sets and before.state != "skipped" and step.phase not in WHILE_IT_IS_READ:
            for control, text in step.sets.items():
                settings.pop(control, None)
                if step.phase != "restore":
                    settings[control] = text
        if step.phase == "amplifier" and step.adjust is not None and gains:
            control = step.adjust.control
            settings |= {control: gains[control]} if control in gains else {}
    if state.step.phase in ("processor", "amplifier", "restore", "verify"):
        heads = {s.step.adjust.control for s in run.steps if s.step.adjust and s.step.adjust.until == "last_clean"}
        for control in sorted(heads):
            limit = run.clean_limit(control.rsplit(".", 1)[0])
            settings |= {control: f"{limit:g}"} if limit is not None else {}
    if state.step.phase == "source" and state.step.adjust is None:
        found = [s for s in run.steps[: state.number - 1] if s.step.adjust is not None and s.step.phase == "source"]
        if found and found[-1].state == "done" and found[-1].value.get("value") is not None:
            settings |= {found[-1].step.adjust.control: f"{found[-1].value['value']:g}"}  # type: ignore[union-attr]
    return settings | (state.step.sets if state.step.phase in WHILE_IT_IS_READ else {})


def evidence_of(run: Run, job: Job, chain: Chain) -> list[dict[str, Any]]:
    """Return the run's readings as mappings of an evidence file, in the order of the plan.

    A gain that was turned until a voltage was reached has the position that was entered; without one, the position at
    which the model gives that voltage, and that reading itself is then no evidence.
    """
    gains: dict[str, str] = {}
    entries: list[dict[str, Any]] = []
    for state in run.steps:
        if state.state != "done" or state.entry is None or state.entry.kind != "reading":
            continue
        step, value = state.step, state.value
        if step.phase == "amplifier" and step.adjust is not None and value.get("value"):
            control = step.adjust.control
            gains[control] = value.get("at") or _gain_that_gives(run, state, chain, float(value["value"]), gains)
            if not value.get("at"):
                continue
        entries += _entries(run, state, job, gains)
    return entries


def _entries(run: Run, state: StepState, job: Job, gains: dict[str, str]) -> list[dict[str, Any]]:
    value, step = state.value, state.step
    beyond = bool(value.get("beyond"))
    if state.asked == "supply":  # earlier versions accepted over range, which is no evidence about a supply
        return [] if beyond else _check(state, reads=_number(value, "V"))
    if state.asked in ("ohm", "lead"):
        ohms = "open" if beyond else _number(value, "ohm")
        return _check(state, reads=ohms) if state.asked == "ohm" else _check(state, resistance=ohms, **_between(value))
    if step.tone_hz is None or step.level_dbfs is None or step.proves or "-" in step.measure_at:
        # a tone that a filter stops says nothing else, and a voltage between two outputs belongs to no node
        return []
    if state.asked in ("column", "place"):
        return _around_the_limit(run, state, job, gains)
    if state.asked == "look":  # an entry of 0.1.0 names no marks and can't be used
        return [_played(run, state, gains) | {"shows": value["lit"] or "none"}] if "lit" in value else []
    return [_played(run, state, gains) | {"reads": "over_range" if beyond else _number(value, "V")}]


def _between(value: dict[str, Any]) -> dict[str, str]:
    between = value.get("between")
    if between is None:
        return {}
    return {"between_conductors": between if between == "open" else f"{between:g} ohm"}


def _check(state: StepState, **result: str) -> list[dict[str, Any]]:
    return [{"check": state.step.measure_at, **result}]


def _number(value: dict[str, Any], unit: str) -> str:
    return f"{value['value']:.6g} {unit}"


def _played(run: Run, state: StepState, gains: dict[str, str], **moved: str) -> dict[str, Any]:
    step = state.step
    settings = {**settings_during(run, state, gains=gains), **moved}
    return {
        "at": step.measure_at,
        "with": step.instrument,
        "tone": f"{step.tone_hz:g} Hz",
        "level": f"{step.level_dbfs:g} dBFS",
        **({"set": settings} if settings else {}),
        "speakers": "off" if step.speakers_off else "on",
    }


def _around_the_limit(run: Run, state: StepState, job: Job, gains: dict[str, str]) -> list[dict[str, Any]]:
    """Return the last clean step as evidence: volts there of a column; of an indicator, dark there and lit one step higher.

    Only of an indicator whose single mark is the one that was watched: the state of other marks wasn't recorded.
    """
    from gainwright.jobfile import instruments, volume_steps
    from gainwright.model import NO_MARK, Indicator, volume_of

    assert state.step.adjust is not None  # noqa: S101  a volume is turned until it is no longer clean
    control = state.step.adjust.control
    limit = float(state.value["value"])
    under = [(s, v) for s, v in state.rows if s <= limit]
    if under:
        step, volts = under[-1]
        shown = "over_range" if volts is None else f"{volts:.6g} V"
        return [_played(run, state, gains, **{control: f"{step:g}"}) | {"reads": shown}]
    instrument = instruments(job)[state.step.instrument]
    if not isinstance(instrument, Indicator) or list(instrument.marks) != list(instrument.distortion_marks)[:1]:
        return []
    entries: list[dict[str, Any]] = []
    if limit >= 1:
        entries.append(_played(run, state, gains, **{control: f"{limit:g}"}) | {"shows": NO_MARK})
    if limit < volume_steps(volume_of(job.stages[control.rsplit(".", 1)[0]])):
        entries.append(_played(run, state, gains, **{control: f"{limit + 1:g}"}) | {"shows": list(instrument.marks)})
    return entries


def _gain_that_gives(run: Run, state: StepState, chain: Chain, volts: float, gains: dict[str, str]) -> str:
    """Return the gain setting at which the model of the job gives a voltage, as a share of its travel.

    The source is scaled to what was read of it: otherwise a weak source would look like a low gain here and like a high
    one in later steps.
    """
    import numpy as np

    step = state.step
    assert step.adjust is not None  # noqa: S101  its gain was turned
    share = _source_ratio(run, state, chain)
    places = np.linspace(0, 1, GAIN_PLACES)
    settings = settings_during(run, state, gains=gains)
    shown = _solved(state, chain, settings, {step.adjust.control: places}, more_db=20 * math.log10(share))
    near = int(np.argmin(np.abs(np.log(np.maximum(shown, 1e-9) / max(volts, 1e-9)))))
    return f"{100 * places[near]:.4g} %"


def _source_ratio(run: Run, state: StepState, chain: Chain) -> float:
    """Return the reading of the source over the model's value, at a step's node if there is one, else at another.

    1 when no voltage was read.
    """
    import numpy as np

    here = state.step.measure_at
    for source in sorted(run.steps[: state.number], key=lambda s: s.step.measure_at != here):
        adjust = source.step.adjust
        if source.step.phase != "source" or adjust is None:
            continue
        under = [(s, v) for s, v in source.rows if v and source.state == "done" and s <= float(source.value["value"])]
        if under:
            place, volts = under[-1]
            shown = _solved(source, chain, settings_during(run, source), {adjust.control: place})
            return float(np.clip(volts / shown[0], LEAST_SHARE, 1 / LEAST_SHARE)) if shown[0] > 0 else 1.0
    return 1.0


def _solved(
    state: StepState, chain: Chain, settings: dict[str, str], moved: dict[str, Any], *, more_db: float = 0
) -> Any:
    """Return the volts at a step's node with the given settings, the tone `more_db` louder, shape (cases,)."""
    from gainwright.jobfile import with_settings
    from gainwright.solve import Chain, Conditions

    step = state.step
    level_dbfs = min((step.level_dbfs or 0.0) + more_db, 0.0)
    solved = Chain(with_settings(chain.job, settings)).solve(
        Conditions(step.tone_hz, level_dbfs, settings=moved, unloaded=frozenset(step.speakers_off))
    )
    return solved.rms_v[:, next(i for i, n in enumerate(solved.nodes) if str(n) == step.measure_at)]


def column_knee(state: StepState, instrument: Instrument, *, limit_thd: float) -> Knee | None:
    """Return the knee of a column of readings so far; None when nothing was read.

    Raises
    ------
    ReadingError : the readings can't be used, as when one is zero.
    """
    from gainwright.metering import MeterKind, find_knee
    from gainwright.model import Multimeter
    from gainwright.solve import accuracy_of

    rows = [(s, v) for s, v in state.rows if v]
    if not rows:
        return None
    kind = MeterKind()
    if isinstance(instrument, Multimeter):
        ratio, counts = accuracy_of(instrument)
        kind = MeterKind(
            "rms" if instrument.true_rms else "average",
            accuracy=ratio,
            counts=counts,
            full_counts=instrument.counts or 4000,
        )
    return find_knee([s for s, _ in rows], [v for _, v in rows], meter=kind, limit_thd=limit_thd)
