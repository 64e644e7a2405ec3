"""How loud a tone of connected speakers is at the ear, A-weighted, as an interval: distance and cabin are known roughly or not at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright import physics
from gainwright.model import Speaker
from gainwright.solve.loads import LOWEST_SHARE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Port
    from gainwright.solve.chain import Chain

NEAREST_M, OTHERS_M, FARTHEST_M = 0.5, 1.0, 2.0
"""From an ear in a vehicle to a speaker whose `distance` isn't given: the nearest, the others while that one is so near, the farthest
(common practice, no published source)."""
BELOW_DB, ABOVE_DB = 10.0, 3.0
"""A speaker's response at one tone against its sensitivity: at the ends of its effective frequency range it is 10 dB lower (IEC 60268-5,
clause from memory); 3 dB higher is common practice, no published source."""
SMALLEST_CABIN_M3 = 2.0
"""Air of a cabin of two seats (common practice, no published source); a larger one raises low tones less."""
AT_A_WALL = 2.0
"""Pressure of direct sound and one reflection in step with it, as a ratio."""
THIRD_HARMONIC = 0.1
"""Third harmonic at the end of a cone's linear travel, as a ratio: Xmax is where distortion is 10 % (IEC 62458; clause from memory)."""


@dataclass(frozen=True, slots=True)
class EarLevel:
    """The level of a tone at the ear while it plays.

    Attributes
    ----------
    tone_hz : its frequency.
    level_dba_low : of the loudest speaker alone, in the open; None if no sensitivity is known.
    level_dba_high : at most, in a cabin, everything in step.
    unknown : speakers without a sensitivity, for which all of their power is taken as sound.
    peak_dbc_high : its peak at most, C-weighted; None where a level is given without it.
    """

    tone_hz: float
    level_dba_low: float | None
    level_dba_high: float
    unknown: tuple[str, ...] = ()
    peak_dbc_high: float | None = None


def ear_level(chain: Chain, *, tone_hz: float, volts: Mapping[str, float]) -> EarLevel | None:
    """Return how loud a tone is at the ear; None if no speaker gets any of it.

    Parameters
    ----------
    volts : stage that feeds speakers -> V rms of the tone at each of its outputs.
    """
    near, others, lowest, unknown = list[float](), list[float](), -math.inf, dict[str, None]()
    for name, stage in chain.job.stages.items():
        if not isinstance(stage, Speaker):
            continue
        for port in chain.wiring.ports(name):
            across = _volts(chain, port, volts)
            if across <= 0:
                continue
            level = sensitivity_level_db(chain, name, volts=across)
            nearest, usual, farthest = _distances_m(stage)
            if level is None:
                unknown[name] = None
                level = _most_db(chain, name, across)
            else:
                low, high = _spread_db(stage)
                lowest = max(lowest, level + low - BELOW_DB - 20 * math.log10(farthest))
                level += high + ABOVE_DB
            near.append(_pressure_in_cabin(level, nearest, tone_hz))
            others.append(_pressure_in_cabin(level, usual, tone_hz))
    if not near:
        return None
    together = sum(others) + max(one - other for one, other in zip(near, others, strict=True))
    low_dba = (
        None if lowest == -math.inf else float(physics.a_weighted_level_dba(level_db=lowest, frequency_hz=tone_hz))
    )
    most_db = 20 * math.log10(together)
    return EarLevel(
        tone_hz, low_dba, _with_harmonic_dba(most_db, tone_hz), tuple(unknown), peak_with_harmonic_dbc(most_db, tone_hz)
    )


def sensitivity_level_db(chain: Chain, name: str, *, volts: float) -> float | None:
    """Return the sound pressure level of a speaker at 1 m in the open, dB, its units in step; None without a sensitivity.

    Parameters
    ----------
    volts : V rms across the side that feeds it.
    """
    stage = chain.job.stages[name]
    assert isinstance(stage, Speaker)  # noqa: S101  callers name speakers
    if stage.sensitivity is None or not stage.sensitivity.level.known:
        return None
    share = {"parallel": 1.0, "series": 1 / stage.count, "series-parallel": 0.5 if stage.count > 1 else 1.0}
    of_one = physics.speaker_spl(
        sensitivity_db=stage.sensitivity.level.nominal,
        reference="1 W" if stage.sensitivity.per_watt else "2.83 V",
        voltage_v=volts * share[stage.wiring],
        impedance_ohm=chain.nominal()[f"{name}.impedance"] * share[stage.wiring] ** 2 * stage.count,
        distance_m=1.0,
    )
    return float(of_one) + 20 * math.log10(stage.count)


def speaker_volts(chain: Chain, name: str, volts: Mapping[str, float]) -> float:
    """Return the voltage across the side of a speaker that gets most, V rms: between a strapped pair the sum of both."""
    return max((_volts(chain, port, volts) for port in chain.wiring.ports(name)), default=0.0)


def _volts(chain: Chain, port: Port, volts: Mapping[str, float]) -> float:
    return sum(volts.get(feed.node.stage, 0.0) for feed in chain.wiring.feeds[port])


def _distances_m(stage: Speaker) -> tuple[float, float, float]:
    """Return the distance to an ear of a speaker that may be the nearest, of one that isn't, and the largest."""
    if stage.distance is not None and stage.distance.known:
        low, high = stage.distance.interval
        return low, low, high
    return NEAREST_M, OTHERS_M, FARTHEST_M


def _spread_db(stage: Speaker) -> tuple[float, float]:
    """Return by how much the sensitivity may be lower and higher than its nominal value, dB."""
    assert stage.sensitivity is not None  # noqa: S101  callers know it
    low, high = stage.sensitivity.level.interval
    return low - stage.sensitivity.level.nominal, high - stage.sensitivity.level.nominal


def _most_db(chain: Chain, name: str, volts: float) -> float:
    """Return the level at 1 m of a speaker that turns all of its power into sound, dB: no speaker is that loud."""
    watts = volts**2 / (LOWEST_SHARE * chain.nominal()[f"{name}.impedance"])
    return float(physics.sound_level_of_power_db(power_w=watts, distance_m=1.0))


def _pressure_in_cabin(level_db: float, distance_m: float, tone_hz: float) -> float:
    """Return the pressure in a small cabin of what is `level_db` at 1 m in the open, at most, re 20 uPa."""
    pressed = float(
        physics.cabin_pressure_ratio(frequency_hz=tone_hz, distance_m=distance_m, volume_m3=SMALLEST_CABIN_M3)
    )
    return float(10 ** (level_db / 20)) / distance_m * (AT_A_WALL + pressed)


def _with_harmonic_dba(level_db: float, tone_hz: float) -> float:
    """Return the A-weighted level of a tone with the third harmonic of a cone at the end of its travel, which weighs more."""
    levels = [(level_db, tone_hz), (level_db + 20 * math.log10(THIRD_HARMONIC), 3 * tone_hz)]
    heard = [float(physics.a_weighted_level_dba(level_db=db, frequency_hz=hz)) for db, hz in levels]
    return float(physics.sum_of_powers_db(levels_db=heard))


def peak_with_harmonic_dbc(level_db: float, tone_hz: float) -> float:
    """Return the peak of a tone with the same third harmonic, C-weighted, both peaks at once, dB(C)."""
    levels = [(level_db, tone_hz), (level_db + 20 * math.log10(THIRD_HARMONIC), 3 * tone_hz)]
    peaks = [float(physics.tone_peak_dbc(level_db=db, frequency_hz=hz)) for db, hz in levels]
    return 20 * math.log10(sum(10 ** (db / 20) for db in peaks))
