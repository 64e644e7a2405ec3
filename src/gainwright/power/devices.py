"""What each device of a job takes from the supply in each state."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright import physics
from gainwright.model import Amplifier, HeadUnit, name_words, stages_of
from gainwright.power.result import STATES
from gainwright.solve import CONVERTER_EFFICIENCY, SWITCHING_EFFICIENCY, Taken, amplifier_draw_w
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import AnyStage, Job
    from gainwright.plan import AmplifierLoad
    from gainwright.power.programmes import Programme
    from gainwright.power.result import StateName
    from gainwright.solve import Voltage

IDLE_A = {"amplifier": 1.2, "other": 0.5}
"""Current with nothing playing of an amplifier, and of a processor or line driver (common practice, no published source)."""
RATED_SUPPLY_V = 14.4
"""Supply of a rating (CTA-2006-D)."""


def device_watts(
    job: Job, unit: str, amplifiers: Mapping[str, AmplifierLoad], programmes: Mapping[str, Programme], supply_v: float
) -> tuple[dict[StateName, float], tuple[str, ...]]:
    """Return state -> what a device takes at its terminals, W, and what was assumed for it, in words."""
    assumed: list[str] = []
    stages = {name: job.stages[name] for name in stages_of(job, unit)}
    idle_w = supply_v * _idle_a(unit, stages, assumed)
    signal: dict[StateName, float] = dict.fromkeys(STATES, 0.0)
    for name, stage in stages.items():
        if isinstance(stage, Amplifier) and name in amplifiers:
            assumed += _assumed(name, stage)
            for state in STATES[1:]:
                signal[state] += _drawn_w(stage, amplifiers[name], getattr(programmes[name], state), state)
    return {state: idle_w + watts for state, watts in signal.items()}, tuple(assumed)


def head_unit_watts(
    job: Job, loads: Mapping[str, AmplifierLoad], programmes: Mapping[str, Programme], supply_v: float
) -> dict[str, dict[StateName, float]]:
    """Return head unit -> state -> what its own power stages take for the speakers at its outputs, W, without idle.

    Bridged class B stages straight from the supply (common practice, no published source) take supply x mean |v| / load.
    """
    found: dict[str, dict[StateName, float]] = {}
    for name, load in loads.items():
        if isinstance(job.stages[load.stage], HeadUnit):
            taken = found.setdefault(load.stage, dict.fromkeys(STATES, 0.0))
            for state in STATES[1:]:
                played: Voltage = getattr(programmes[name], state)
                taken[state] += load.sides * float(
                    physics.class_b_power(
                        mean_abs_v=played.mean_abs_v, rail_v=supply_v, load_ohm=_counting_ohm(load, state)
                    )
                )
    return found


def _idle_a(unit: str, stages: Mapping[str, AnyStage], assumed: list[str]) -> float:
    """Return the current of a device with nothing playing, as given for its stages, else assumed once for all of it."""
    given = [
        s.idle.nominal for s in stages.values() if isinstance(s, Amplifier) and s.idle is not None and s.idle.known
    ]
    if given:
        return float(sum(given))
    amps = IDLE_A["amplifier" if any(isinstance(s, Amplifier) for s in stages.values()) else "other"]
    assumed.append(say("{name} takes {amps} A with nothing playing", name=name_words(unit), amps=f"{amps:g}"))
    return amps


def _assumed(name: str, stage: Amplifier) -> list[str]:
    found = []
    if stage.output_class is None:
        found.append(say("{name} is of class AB, which draws more than class D", name=name_words(name)))
    if stage.efficiency is None or not stage.efficiency.known:
        share = SWITCHING_EFFICIENCY if stage.output_class == "D" else CONVERTER_EFFICIENCY
        found.append(say("{name} has an efficiency of {share} %", name=name_words(name), share=f"{100 * share:.0f}"))
    return found


def following(job: Job, unit: str) -> dict[str, Amplifier]:
    """Return the amplifiers of a device whose rails, and so their ceilings and what they take there, follow its supply."""
    found = {n: job.stages[n] for n in stages_of(job, unit)}
    return {n: s for n, s in found.items() if isinstance(s, Amplifier) and not s.regulated}


def at_ceiling(
    job: Job, unit: str, amplifiers: Mapping[str, AmplifierLoad], programmes: Mapping[str, Programme], watts: float
) -> Taken:
    """Return how a device that takes `watts` draws with every amplifier at its ceiling: unregulated ones like resistances.

    Each of these takes its power at the supply of its rating; regulated ones and what is taken at idle are constant power.
    """
    held_w, siemens = watts, 0.0
    for name, stage in following(job, unit).items():
        if name in amplifiers:
            own_w = _drawn_w(stage, amplifiers[name], programmes[name].full_sine, "full_sine")
            rated = stage.rated_at
            rated_v = rated.nominal if rated is not None and rated.known else RATED_SUPPLY_V
            held_w, siemens = held_w - own_w, siemens + own_w / rated_v**2
    return Taken(max(held_w, 0.0), siemens * RATED_SUPPLY_V**2, RATED_SUPPLY_V)


def _drawn_w(stage: Amplifier, load: AmplifierLoad, played: Voltage, state: StateName) -> float:
    ohm = _counting_ohm(load, state)
    return load.sides * amplifier_draw_w(stage, played, load_ohm=ohm, rail_v=load.rail_v)


def _counting_ohm(load: AmplifierLoad, state: StateName) -> float:
    """Return the load on a side: of music that over its band, of a sine that where it takes most."""
    return load.sine_ohm if state == "full_sine" else load.music_ohm
