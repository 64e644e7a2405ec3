"""What each amplifier of a chain drives, and how far: load, target and ceiling, with the band that it plays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import Amplifier, unit_of
from gainwright.plan.amplifier_bands import bands_of, reached_volts
from gainwright.plan.context import PlanContext
from gainwright.plan.strapping import halves
from gainwright.plan.taken_loads import taken_ohms
from gainwright.plan.targets import load_ohm, rail_v, rating_v

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job
    from gainwright.plan.amplifier_bands import AmplifierBand


@dataclass(frozen=True, slots=True)
class AmplifierLoad:
    """One amplifier with its speakers, or one output of a head unit with its own power stages.

    Attributes
    ----------
    stage, unit : the amplifier, and the chassis it is in or its own name.
    sides : number of its outputs, each of which drives `load_ohm`, the nominal load.
    music_ohm, sine_ohm : what counts for what it takes from its supply (`taken_ohms`).
    target_v, ceiling_v : rms of the set-up tone at its terminals, and of the sine at its rating into this load.
    rail_v : peak that its rails allow, from its highest rated voltage.
    speakers : that it drives.
    follows_allowance : whether full scale is the target and the allowance; else it is the target.
    paired : those of them whose other end a second amplifier drives: the voltage across them is twice as much.
    band : what it plays, and its allowance.
    """

    stage: str
    unit: str
    sides: int
    load_ohm: float
    music_ohm: float
    sine_ohm: float
    target_v: float
    ceiling_v: float
    rail_v: float
    speakers: tuple[str, ...]
    band: AmplifierBand
    paired: frozenset[str] = frozenset()
    follows_allowance: bool = True


def amplifier_loads(job: Job, reached: Mapping[str, float] | None = None) -> tuple[AmplifierLoad, ...]:
    """Return every amplifier that drives speakers, in signal order.

    Parameters
    ----------
    reached : stage -> volts that its set-up reached, as a share of its target.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    context = PlanContext(job)
    volts = reached_volts(context, reached)
    found = []
    for end, band in zip(context.ends, bands_of(context, volts), strict=True):
        if not isinstance(job.stages[end.stage], Amplifier):
            continue
        load = load_ohm(context, end)
        found.append(
            AmplifierLoad(
                end.stage,
                unit_of(job, end.stage),
                len(end.nodes),
                load,
                *taken_ohms(context, end.stage, end.nodes, end.speakers, load),
                volts[end.stage],
                rating_v(context, end),
                rail_v(context, end),
                end.speakers,
                band,
                frozenset(name for name in end.speakers if halves(context, name) > 1),
            )
        )
    return tuple(found)
