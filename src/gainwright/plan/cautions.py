"""Cautions: what holds all the time, said once, and what a step needs, said there. Makers, codes and licensed practice come first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import (
    AIRBAG_DASH,
    COIL_DEAD,
    DC_VOLTS,
    HOT_OUTPUT,
    METAL,
    OHMS_DEAD,
    OUTDOORS,
    RECORDER_VOLTS,
    SUPPLY_REPAIR,
    VOLTS_ONLY,
    Amplifier,
    HeadUnit,
    Indicator,
    Multimeter,
    Recorder,
    gives_power,
    is_tweeter,
    may_float,
    stages_at,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Instrument, Job
    from gainwright.plan.result import Step

MAKER_FIRST = say("Manufacturers' manuals, local codes and licensed practice come first.")
STANDING_VEHICLE = say("Vehicle parked, handbrake on, out of gear.")
HIGH_VOLTAGE = say(
    "Hybrid and electric vehicles: orange cables and what they lead to carry a lethal voltage. Leave them alone; prepare the vehicle as its maker says."
)
AIRBAG = say(
    "Keep off airbag and belt-tensioner wiring (usually yellow): no meter, no probe, no splice. Leave it to a licensed technician."
)
ALONE = say("Don't work alone on a supply or at full power.")
PLUGS = say("Plugs and bare wires are moved with the system off only, probes with the tone stopped.")
GENERAL = (MAKER_FIRST, STANDING_VEHICLE, HIGH_VOLTAGE, AIRBAG, METAL, ALONE, PLUGS)
"""What holds all the time."""

CHARGED = say(
    "Capacitors in amplifiers and at the supply stay charged: wait as long as their makers say, never short them."
)
SWITCH_ON = say("Smell, smoke, a blown fuse: off at once, and find out why.")
CHARGER = say(
    "A charger made for this battery (lithium has its own); its clamps on and off with everything off, away from the battery's vents."
)
FULL_LEVEL = say("All speakers off; no fingers, no bare ends at the terminals.")
HEAD_BRIDGED = say(
    "Head units' speaker outputs are nearly always bridged: neither terminal is ground, no wire may touch ground or another."
)
BRIDGED = say("Bridged: neither terminal is ground, nothing grounded may touch it.")
RECORDER_GROUNDS = say(
    "The divider on both terminals, its end on a balanced or floating input, the computer on its own battery with nothing else connected: a ground there shorts a bridged output. If that can't be, use the meter."
)
SCOPE_GROUNDS = say(
    "Only an instrument on its own battery, connected to nothing else: a ground clip shorts a bridged output."
)
HEARING = say("Hearing protection on, doors open, nobody else in the cabin.")
LISTENING = say("Loud music harms hearing before it hurts: stop at the first distortion.")
TWEETER_OPEN = say("A tone destroys a tweeter whose high-pass is open: it stays disconnected until that is back.")
TWEETER_BACK = say("Tweeters only after their high-pass is back and proved.")


def step_cautions(
    job: Job, step: Step, connected: Sequence[Instrument], *, protecting: frozenset[str] = frozenset()
) -> tuple[str, ...]:
    """Return the cautions that a step needs where it stands.

    Parameters
    ----------
    connected : the instruments at its place.
    protecting : the outputs and stages whose filters protect a tweeter.
    """
    found = [*_of_hands(job, step, protecting), *_of_power(job, step)]
    if step.measure_at and step.tone_hz is not None:
        found += _of_reading(job, step, connected)
    return tuple(dict.fromkeys(found))


def _charged(job: Job) -> list[str]:
    return [CHARGED] if any(isinstance(stage, Amplifier) for stage in job.stages.values()) else []


def _supply(step: Step) -> bool:
    return step.expect is not None and step.expect.quantity == "supply_v"


def _of_hands(job: Job, step: Step, protecting: frozenset[str]) -> list[str]:
    """Return what plugs, leads and filters need."""
    powered_head = any(isinstance(s, HeadUnit) and s.speaker_level for s in job.stages.values())
    if step.id == "prepare.speakers":
        return [*_charged(job), *((HEAD_BRIDGED,) if powered_head else ())]
    if step.id == "verify.speakers":
        tweeters = any(is_tweeter(job, speaker) for speaker in job.stages)
        return [*((TWEETER_BACK,) if tweeters else ()), *((HEAD_BRIDGED,) if powered_head else ())]
    if step.phase == "leads":
        dash = any(isinstance(job.stages.get(stage), HeadUnit) for stage in stages_at(step.measure_at))
        dead = () if step.expect is None else (COIL_DEAD if step.id.startswith("speaker.") else OHMS_DEAD,)
        return [*dead, *((AIRBAG_DASH,) if dash else ())]
    if step.phase in ("controls", "restore"):
        high = [c.removesuffix(".high_pass") for c in step.sets if c.endswith(".high_pass")]
        return [TWEETER_OPEN] if protecting.intersection(high) else []
    return [LISTENING] if step.id == "verify.sound" else []


def _of_power(job: Job, step: Step) -> list[str]:
    """Return what a change of the supply, or a reading of it, needs."""
    if _supply(step):
        return [*((HEARING,) if step.id == "verify.supply" else ()), DC_VOLTS, SUPPLY_REPAIR]
    changes = {"power.on": [SWITCH_ON, CHARGER], "power.running": [OUTDOORS], "power.again": [OUTDOORS, CHARGER]}
    return changes.get(step.id, _charged(job) if step.id in ("power.off", "power.end") else [])


def _of_reading(job: Job, step: Step, connected: Sequence[Instrument]) -> list[str]:
    """Return what a reading with a tone needs, by the place and by the instruments."""
    stage = job.stages[step.measure_at.split(".")[0]]
    power, floats = gives_power(stage), may_float(stage) or "-" in step.measure_at
    kinds = {type(instrument) for instrument in connected}
    found = [VOLTS_ONLY] if Multimeter in kinds else []
    found += [FULL_LEVEL] if power and step.speakers_off else []
    if floats:
        found.append(HEAD_BRIDGED if isinstance(stage, HeadUnit) else BRIDGED)
    if Recorder in kinds and power:
        found += [RECORDER_VOLTS, RECORDER_GROUNDS]
    if Indicator in kinds and power:
        found.append(SCOPE_GROUNDS if floats else HOT_OUTPUT)
    return found
