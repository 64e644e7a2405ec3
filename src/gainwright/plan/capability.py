"""What an instrument can show: steps are given only to instruments that can, and where none can, the plan says what would."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.model import Indicator, Multimeter, Recorder, gives_power, instrument_title, may_connect
from gainwright.plan.distortion_seen import sees_distortion
from gainwright.plan.result import Finding
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.model import AnyStage, Instrument, Node
    from gainwright.plan.context import PlanContext
    from gainwright.plan.result import Step

METER = "{kind: multimeter, true_rms: yes, counts: 6000, bandwidth: 20 kHz}"
"""The meter that is named, as the job writes it, where none at hand can show something."""
_CLEAN = ("source", "processor")
"""Phases in which it is asked whether a tone is still clean: a meter tells by whether its reading follows the volume."""


def instrument_words(context: PlanContext, name: str, node: Node) -> str:
    """Return an instrument as a step names it at a node: a recorder at an output for speakers with its divider; "" is a meter that isn't there."""
    if not name:
        return say("a multimeter (none is at hand)")
    instrument = context.instruments[name]
    if isinstance(instrument, Recorder) and gives_power(context.job.stages[node.stage]):
        db = abs(instrument.attenuator.nominal) if instrument.attenuator is not None else 0.0
        return say("{name} through its divider of {db} dB", name=instrument_title(name), db=f"{db:g}")
    return instrument_title(name)


def finds_limit(instrument: Instrument, stage: AnyStage, tone_hz: float) -> bool:
    """Return whether an instrument may be connected to a stage and can tell where a tone is no longer clean."""
    return may_connect(instrument, stage) and (
        isinstance(instrument, Multimeter) or sees_distortion(instrument, tone_hz)
    )


def watching(context: PlanContext, stage: str, tone_hz: float) -> str:
    """Return the instrument that watches for distortion while an amplifier's gain is raised; empty if none can."""
    power = context.job.stages[stage]
    found = context.instruments.items()
    return next((n for n, i in found if sees_distortion(i, tone_hz) and may_connect(i, power)), "")


def can_show(context: PlanContext, step: Step) -> bool:
    """Return whether a step's instrument can show what the step reads; steps that read nothing by an instrument always can."""
    if step.expect is None or step.expect.quantity == "step":
        return True
    instrument = context.instruments.get(step.instrument)
    if instrument is None:
        return False
    if step.expect.quantity in ("ohm", "supply_v"):
        return isinstance(instrument, Multimeter)
    stage = context.job.stages.get(step.measure_at.split(".")[0])
    if stage is None or step.tone_hz is None or not may_connect(instrument, stage):
        return False
    if step.phase in _CLEAN:
        return finds_limit(instrument, stage, step.tone_hz)
    return not isinstance(instrument, Indicator) or (step.expect.lit is not None and step.adjust is None)


def only_what_shows(context: PlanContext, steps: Iterable[Step]) -> tuple[list[Step], list[Finding]]:
    """Return the steps, those that nothing at hand can show without an instrument and not visible, and a finding for each kind of them."""
    kept: list[Step] = []
    found: dict[str, Finding] = {}
    for step in steps:
        if can_show(context, step):
            kept.append(step)
            continue
        kept.append(replace(step, instrument="", visible=False))
        finding = _missing(context, step)
        found.setdefault(finding.message, finding)
    return kept, list(found.values())


def _missing(context: PlanContext, step: Step) -> Finding:
    assert step.expect is not None  # noqa: S101  only steps with a reading can't be shown
    if step.expect.quantity == "ohm":
        message, would = say("nothing at hand reads ohms: leads and coils can't be checked"), say("a multimeter would")
    elif step.expect.quantity == "supply_v":
        message, would = say("nothing at hand reads DC volts: the supply can't be checked"), say("a multimeter would")
    elif step.phase in _CLEAN:
        message = say("nothing at hand shows where {tone_hz} Hz is no longer clean", tone_hz=f"{step.tone_hz:g}")
        would = say(
            "a multimeter would, an indicator with a mark for distortion, or a recorder (at an output for speakers through a divider: gainwright attenuator)"
        )
    else:
        message = say("nothing at hand reads volts at {place}", place=step.measure_at)
        would = say(
            "a multimeter would, or a recorder (at an output for speakers through a divider: gainwright attenuator)"
        )
    sets = {"instruments.other": METER}
    return Finding("caution", "no_instrument", ", ".join(context.instruments), message, would, sets)
