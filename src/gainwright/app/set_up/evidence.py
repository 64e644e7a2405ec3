"""The readings of a set-up run as entries of evidence, and the knee of a column of readings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.app.set_up.step_settings import found_gains, settings_during, stages_before

if TYPE_CHECKING:
    from gainwright.app.set_up.run import Run, StepState
    from gainwright.metering import Knee
    from gainwright.model import Instrument, Job, Wiring
    from gainwright.solve import Chain


def evidence_of(run: Run, job: Job, chain: Chain) -> list[dict[str, Any]]:
    """Return the run's readings as mappings of an evidence file, in the order of the plan.

    Each is given with the settings on its way as they were at that reading. A gain that was turned until a voltage was reached stands
    at the position that was typed, as exactly as a knob is read; without one, where the model gives that voltage, and as
    uncertain as that is: then this voltage alone says nothing of the amplifier.
    """
    gains = {control: found.doubt for control, found in found_gains(run, chain).items()}
    entries: list[dict[str, Any]] = []
    for state in run.steps:
        if state.state == "done" and state.entry is not None and state.entry.kind == "reading":
            entries += [_on_its_way(entry, chain.wiring) for entry in _entries(run, state, job, gains)]
    return entries


def _on_its_way(entry: dict[str, Any], wiring: Wiring) -> dict[str, Any]:
    """Return an entry with the settings of the stages that its signal goes through; those of other ways say nothing of it."""
    if "set" not in entry:
        return entry
    stages = stages_before(wiring, entry["at"]) | (
        stages_before(wiring, entry["against"]) if "against" in entry else frozenset()
    )
    moved = {control: text for control, text in entry["set"].items() if control.split(".")[0] in stages}
    return {key: moved if key == "set" else value for key, value in entry.items() if key != "set" or moved}


def _entries(run: Run, state: StepState, job: Job, gains: dict[str, str]) -> list[dict[str, Any]]:
    value, step = state.value, state.step
    beyond = bool(value.get("beyond"))
    if state.asked == "supply":  # neither over range, of earlier versions, nor the wrong way round is evidence
        return [] if beyond or value["value"] < 0 else _check(state, reads=_number(value, "V"))
    if state.asked in ("ohm", "lead"):
        ohms = "open" if beyond else _number(value, "ohm")
        return _check(state, reads=ohms) if state.asked == "ohm" else _check(state, resistance=ohms, **_between(value))
    if step.tone_hz is None or step.level_dbfs is None:
        return []
    if state.asked in ("column", "place"):
        return _around_the_limit(run, state, job, gains)
    if state.asked == "look":  # an entry of 0.1.0 names no marks and can't be used
        return [_played(run, state, gains) | {"shows": value["lit"] or "none"}] if "lit" in value else []
    read = _played(run, state, gains) | {"reads": "over_range" if beyond else _number(value, "V")}
    if step.proves:
        from gainwright.plan import put_back_text

        stands = {**read.get("set", {}), step.proves: put_back_text(job, step.proves)}
        read |= {"proves": step.proves, "set": stands}
    return [read]


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
    at, _, against = step.measure_at.partition("-")
    return {
        "at": at,
        **({"against": against} if against else {}),
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


def column_knee(
    state: StepState, instrument: Instrument, *, limit_thd: float, response_known: bool = True
) -> Knee | None:
    """Return the knee of a column of readings so far; None when nothing was read.

    Where the job doesn't say how the meter responds (`response_known`), both kinds are weighed.

    Raises
    ------
    ReadingError : the readings can't be used, as when one is zero.
    """
    from gainwright.metering import LowerColumn, MeterKind, find_knee
    from gainwright.model import Multimeter
    from gainwright.solve import accuracy_of

    rows = [(s, v) for s, v in state.rows if v]
    if not rows:
        return None
    kind = MeterKind()
    if isinstance(instrument, Multimeter):
        ratio, counts = accuracy_of(instrument)
        kind = MeterKind(
            "unknown" if not response_known else "rms" if instrument.true_rms else "average",
            accuracy=ratio,
            counts=counts,
            full_counts=instrument.counts or 4000,
        )
    second = [(s, v) for s, v in state.column.lower if v]
    lower = LowerColumn([s for s, _ in second], [v for _, v in second], state.column.lower_db) if second else None
    return find_knee([s for s, _ in rows], [v for _, v in rows], meter=kind, limit_thd=limit_thd, lower=lower)
