"""Each cause as a change to the chain, with sampled amounts: never as a rule about readings.

The spans of the amounts are common practice, no published source. Arrays are over draws, shape (draws,).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import line_leads
from gainwright.diagnose.change import Change
from gainwright.diagnose.device_changes import DEVICE_CHANGES
from gainwright.diagnose.filter_changes import high_pass_in_the_way, low_pass_in_the_way
from gainwright.diagnose.overloads import TOUCHING_OHM, with_protection
from gainwright.model import (
    Amplifier,
    LevelControl,
    LineDriver,
    Port,
    RemoteLevel,
    Speaker,
    leads_by_name,
    stages_of,
    volume_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.model import Node
    from gainwright.solve import Chain, Wire

    Floats = npt.NDArray[np.float64]

OPEN_OHM = 1e12
OPEN_SPEAKER = 1e12
"""Factor on a speaker's resistance that opens it."""
SHORTED_SPEAKER = (0.02, 0.4)
"""From a coil burnt together at its ends to some of its turns: a meter then reads far below, not always 0."""
LINE_LEAD_OHM = (10.0, 1e5)
"""From a tarnished plug that takes nothing a meter sees from an input of 10 kohm to one that hardly lets through; more is open."""
POWER_LEAD_OHM = (0.5, 1e3)
"""From a strand left of a speaker lead to a green plug: volts break a thicker film down, so that more is open or less."""
SOURCE_LOW_DB = (4.0, 40.0)
"""From the least that is complained about to an output stage that is broken, or a menu's lowest setting."""
TONE_LOW_DB = (2.0, 40.0)
"""Levelling takes a few decibels from a loud file; a player's own volume may be nearly down."""
BALANCE_DB = (6.0, 60.0)
"""From a step or two off the middle to the end of its travel."""
NEAR = 1.5
"""Exponent by which a level, gain or volume is rather a little off than far: a knob that was bumped, a menu set for another source."""
LEVEL_DOWN_DB = 3.0
"""The least by which a level control is off: less isn't complained about."""
AT_LOWEST = 0.3
"""Share of turned-down level controls that are at their minimum."""
GAIN_SEEN = 0.06
"""A gain nearer than this to its place looks right, as a share of its travel (the doubt of the hand that reads it)."""
BOOST_DB = (2.0, 18.0)
"""Bass boosts and loudness reach 18 dB; parametric bands mostly 12."""
BOOST_HZ, BASS_BOOST_HZ = (30.0, 10e3), (30.0, 120.0)
"""Bands of an equaliser lie anywhere, more often low; the boost of an amplifier is a bass boost mostly."""
BASS_BOOSTS = 0.7
"""Share of amplifiers' boosts that are one (common practice, no published source)."""
LOAD = (0.15, 0.7)
"""From eight speakers where two were meant to one more in parallel with two."""
SAG = (0.5, 0.92)
"""Supply left at full power: from a wire that is far too thin, or a loose ground, to a drop of 1 V."""
SAG_SHOWN = (0.15, 1.0)
"""Share of that drop at a reading: what is played draws less than full power, in music much less."""
HUM_V = (1e-3, 0.3)
"""From just above the noise of a quiet car to what drowns music."""
LEVEL_LOWEST_DB = -60.0
"""Attenuation of a level control without a stated range at its minimum (common practice, no published source)."""


def change_of(cause: Cause, chain: Chain, hidden: Floats) -> Change:
    """Return the change that a cause makes.

    Parameters
    ----------
    hidden : points in the unit cube from which amounts are sampled, shape (draws, 3).
    """
    make = _MAKERS.get(cause.id) or DEVICE_CHANGES.get(cause.id)
    return Change() if make is None else make(cause.where, chain, hidden)


def _log(span: tuple[float, float], u: Floats) -> Floats:
    return np.asarray(span[0] * (span[1] / span[0]) ** u)


def _even(span: tuple[float, float], u: Floats) -> Floats:
    return np.asarray(span[0] + (span[1] - span[0]) * u)


def _ratio(db: Floats) -> Floats:
    return np.asarray(10 ** (db / 20))


def _outputs(where: str, chain: Chain) -> list[Node]:
    """Return the nodes of a stage, a chassis, an output or a node name."""
    members = stages_of(chain.job, where)
    return [n for n in chain.nodes if n.stage in members or where in (f"{n.stage}.{n.output}", str(n))]


# ---- leads -----------------------------------------------------------------------------------------------------


def _lead(where: str, chain: Chain) -> tuple[Wire, ...]:
    return leads_by_name(chain.wiring)[where]


def _lead_open(where: str, chain: Chain, hidden: Floats) -> Change:
    return Change(series_ohm={wire: np.full(len(hidden), OPEN_OHM) for wire in _lead(where, chain)})


def _lead_resistive(where: str, chain: Chain, hidden: Floats) -> Change:
    found = _lead(where, chain)
    power = isinstance(chain.job.stages[found[0][1].stage], Speaker)
    ohm = _log(POWER_LEAD_OHM if power else LINE_LEAD_OHM, hidden[:, 0])
    return Change(series_ohm=dict.fromkeys(found, ohm))


def _lead_shorted(where: str, chain: Chain, hidden: Floats) -> Change:
    found = _lead(where, chain)
    siemens = 1 / _log(TOUCHING_OHM, hidden[:, 0])
    short = Change(shorted=dict.fromkeys(found, siemens), short_place=dict.fromkeys(found, hidden[:, 1]))
    return with_protection(short, chain, hidden)


def _polarity_reversed(where: str, chain: Chain, hidden: Floats) -> Change:
    return Change(sign={wire: np.full(len(hidden), -1.0) for wire in _lead(where, chain)})


def _leads_swapped(where: str, chain: Chain, hidden: Floats) -> Change:
    wiring = chain.wiring
    ports = [p for p in wiring.ports(where) if p.side in ("left", "right") and not wiring.is_fed_digitally(p)]
    both = [p for p in ports if Port(p.stage, p.input, "right" if p.side == "left" else "left") in ports]
    return Change(crossed={port: np.ones(len(hidden)) for port in both})


def _ground_loop(where: str, chain: Chain, hidden: Floats) -> Change:
    del chain
    return Change(hum={where: _log(HUM_V, hidden[:, 0])})


def _alternator_whine(where: str, chain: Chain, hidden: Floats) -> Change:
    del chain
    return Change(whine={where: _log(HUM_V, hidden[:, 0])})


def _source_ground_bad(where: str, chain: Chain, hidden: Floats) -> Change:
    return Change(whine=dict.fromkeys(line_leads(where, chain.job, chain.wiring), _log(HUM_V, hidden[:, 0])))


# ---- source and controls ---------------------------------------------------------------------------------------


def _silent(where: str, chain: Chain, hidden: Floats) -> Change:
    return Change(gain={node: np.zeros(len(hidden)) for node in _outputs(where, chain)})


def _source_low(where: str, chain: Chain, hidden: Floats) -> Change:
    factor = _ratio(-_even(SOURCE_LOW_DB, hidden[:, 0] ** NEAR))
    nodes = _outputs(where, chain)
    return Change(gain=dict.fromkeys(nodes, factor), ceiling=dict.fromkeys(nodes, factor))


def _tone_level_wrong(where: str, chain: Chain, hidden: Floats) -> Change:
    return Change(gain=dict.fromkeys(_outputs(where, chain), _ratio(-_even(TONE_LOW_DB, hidden[:, 0] ** NEAR))))


def _balance_over(where: str, chain: Chain, hidden: Floats) -> Change:
    down = _ratio(-_even(BALANCE_DB, hidden[:, 0]))
    right = hidden[:, 1] < 0.5
    sides = {"left": np.where(right, 1.0, down), "right": np.where(right, down, 1.0)}
    return Change(gain={node: sides[node.side] for node in _outputs(where, chain) if node.side in sides})


def _level_control_down(where: str, chain: Chain, hidden: Floats) -> Change:
    stage = chain.job.stages[where]
    volume = volume_of(stage)
    if volume is not None:
        stands = chain.settings[f"{where}.volume"]
        highest = max(stands - LEVEL_DOWN_DB / chain.nominal()[f"{where}.volume.step"], 1.0)
        steps = np.where(hidden[:, 1] < AT_LOWEST, 1.0, _even((highest, 1.0), hidden[:, 0] ** NEAR))
        return Change(settings={f"{where}.volume": steps})
    if isinstance(stage, LineDriver) and stage.range is not None:
        stands = chain.settings[f"{where}.gain"]
        highest = max(stands - LEVEL_DOWN_DB, stage.range.low)
        gain_db = np.where(
            hidden[:, 1] < AT_LOWEST, stage.range.low, _even((highest, stage.range.low), hidden[:, 0] ** NEAR)
        )
        return Change(settings={f"{where}.gain": gain_db})
    control = f"{where}.remote_level" if isinstance(stage, Amplifier) else f"{where}.level"
    holder = stage.remote_level if isinstance(stage, Amplifier) else stage
    stands = chain.settings[control]
    limited = isinstance(holder, LevelControl | RemoteLevel) and holder.range is not None
    lowest = holder.range.low if limited else LEVEL_LOWEST_DB  # type: ignore[union-attr]
    down = min(lowest, stands - LEVEL_DOWN_DB)
    level_db = np.where(hidden[:, 1] < AT_LOWEST, down, _even((stands - LEVEL_DOWN_DB, down), hidden[:, 0] ** NEAR))
    return Change(settings={control: level_db})


def _gain_low(where: str, chain: Chain, hidden: Floats) -> Change:
    stands = chain.settings[f"{where}.gain"]
    nearest = max(stands - GAIN_SEEN, 0.7 * stands)
    return Change(settings={f"{where}.gain": nearest * (1 - (1 - hidden[:, 0]) ** NEAR)})


def _gain_high(where: str, chain: Chain, hidden: Floats) -> Change:
    stands = chain.settings[f"{where}.gain"]
    return Change(settings={f"{where}.gain": _even((min(stands + GAIN_SEEN, 0.98), 1.0), hidden[:, 0] ** NEAR)})


def _input_range_wrong(where: str, chain: Chain, hidden: Floats) -> Change:
    stage = chain.job.stages[where]
    positions = len(stage.input_ranges) if isinstance(stage, Amplifier) else 1
    stands = chain.settings[f"{where}.input_range"]
    away = 1 + np.minimum((hidden[:, 0] * (positions - 1)).astype(int), positions - 2)
    return Change(settings={f"{where}.input_range": (stands + away) % positions})


def _boost_on(where: str, chain: Chain, hidden: Floats) -> Change:
    bass = isinstance(chain.job.stages.get(where), Amplifier)
    centre_hz = _log(BOOST_HZ, hidden[:, 1] ** 1.5)
    if bass:
        low, high = np.minimum(hidden[:, 1] / BASS_BOOSTS, 1.0), (hidden[:, 1] - BASS_BOOSTS) / (1 - BASS_BOOSTS)
        centre_hz = np.where(
            hidden[:, 1] < BASS_BOOSTS, _log(BASS_BOOST_HZ, low), _log(BOOST_HZ, np.maximum(high, 0.0))
        )
    part = (_even(BOOST_DB, hidden[:, 0]), centre_hz)
    return Change(boost=dict.fromkeys(_outputs(where, chain), part))


def _output_misrouted(where: str, chain: Chain, hidden: Floats) -> Change:
    wiring, instead = chain.wiring, {}
    for node in _outputs(where, chain):
        others = [n for n in wiring.outputs(node.stage) if n.output != node.output]
        different = [n for n in others if wiring.routes[n] != wiring.routes[node]]
        if different:
            instead[node] = different[0]
    return Change(misrouted={node: np.ones(len(hidden)) for node in _outputs(where, chain)}, instead=instead)


# ---- amplifiers, speakers, instruments -------------------------------------------------------------------------


def _dead(why: str) -> Callable[[str, Chain, Floats], Change]:
    def make(where: str, chain: Chain, hidden: Floats) -> Change:
        found = _silent(where, chain, hidden)
        found.dead[where] = why
        return found

    return make


def _load_too_low(where: str, chain: Chain, hidden: Floats) -> Change:
    takers = [p for n in chain.wiring.outputs(where) for p in chain.wiring.ports_fed_by(n)]
    speakers = [p for p in takers if isinstance(chain.job.stages[p.stage], Speaker)]
    return with_protection(Change(load=dict.fromkeys(speakers, _even(LOAD, hidden[:, 0]))), chain, hidden)


def _supply_sagging(where: str, chain: Chain, hidden: Floats) -> Change:
    left = _even(SAG, hidden[:, 0])
    found = Change(supply={where: 1 - (1 - left) * _even(SAG_SHOWN, hidden[:, 1])})
    for node in _outputs(where, chain):
        stage = chain.job.stages[node.stage]
        if isinstance(stage, Amplifier) and not stage.regulated:
            found.ceiling[node] = left
    return found


def _speaker(span: tuple[float, float], *, burnt: bool = False) -> Callable[[str, Chain, Floats], Change]:
    """Return the change function of a speaker's fault, on both sides or on one unknown side."""

    def make(where: str, chain: Chain, hidden: Floats) -> Change:
        factor = _log(span, hidden[:, 0])
        ports: Iterable[Port] = chain.wiring.ports(where)
        sides = sorted({p.side for p in ports})
        # as often both as one of them: the same hand wired them
        chosen = np.floor(hidden[:, 1] * 2 * len(sides)).astype(int) if len(sides) > 1 else None
        found = Change()
        for port in ports:
            mine = np.ones(len(factor), dtype=bool)
            if chosen is not None:
                mine = (chosen == sides.index(port.side)) | (chosen >= len(sides))
            found.load[port] = np.where(mine, factor, 1.0)
            found.burnt |= {port: mine} if burnt else {}
        return with_protection(found, chain, hidden)

    return make


def _coil_reversed(where: str, chain: Chain, hidden: Floats) -> Change:
    del chain, hidden
    return Change(coil={where: 0.02})


def _instrument(how: str) -> Callable[[str, Chain, Floats], Change]:
    def make(where: str, chain: Chain, hidden: Floats) -> Change:
        del chain, hidden
        return Change(instrument={where: how})

    return make


_MAKERS: dict[str, Callable[[str, Chain, Floats], Change]] = {
    "lead_open": _lead_open,
    "lead_resistive": _lead_resistive,
    "lead_shorted": _lead_shorted,
    "leads_swapped": _leads_swapped,
    "polarity_reversed": _polarity_reversed,
    "source_muted": _silent,
    "source_low": _source_low,
    "balance_over": _balance_over,
    "tone_level_wrong": _tone_level_wrong,
    "level_control_down": _level_control_down,
    "gain_muted": _silent,
    "gain_low": _gain_low,
    "gain_high": _gain_high,
    "input_range_wrong": _input_range_wrong,
    "low_pass_in_the_way": low_pass_in_the_way,
    "high_pass_in_the_way": high_pass_in_the_way,
    "boost_on": _boost_on,
    "output_muted": _silent,
    "output_misrouted": _output_misrouted,
    "measuring_lead_open": _instrument("open"),
    "measuring_lead_shorted": _instrument("shorted"),
    "meter_wrong_function": _instrument("function"),
    "amplifier_no_turn_on": _dead("turn_on"),
    "amplifier_no_supply": _dead("supply"),
    "amplifier_protecting": _dead("protecting"),
    "side_dead": _silent,
    "load_too_low": _load_too_low,
    "supply_sagging": _supply_sagging,
    "speaker_open": _speaker((OPEN_SPEAKER, OPEN_SPEAKER)),
    "speaker_shorted": _speaker(SHORTED_SPEAKER, burnt=True),
    "coil_reversed": _coil_reversed,
    "ground_loop": _ground_loop,
    "alternator_whine": _alternator_whine,
    "source_ground_bad": _source_ground_bad,
}
