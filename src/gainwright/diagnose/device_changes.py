"""Changes of whole devices and of what comes and goes: dead boxes, outputs, speakers, controls that do nothing.

The spans of the amounts are common practice, no published source. Arrays are over draws, shape (draws,).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import crossed_outputs, powered_units
from gainwright.diagnose.change import Change
from gainwright.diagnose.overloads import with_protection
from gainwright.model import Amplifier, HeadUnit, LevelControl, Speaker, is_subwoofer, leads_by_name, stages_of
from gainwright.solve import ABSENT_LOW_PASS_HZ

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from gainwright.model import Node, Port
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

OPEN_OHM = 1e12
FADER_DB = (6.0, 60.0)
"""From a step or two off the middle to the end of its travel."""
MODE_DB = (10.0, 26.0)
"""Between line and speaker level the ranges of an input differ by 10 to 26 dB."""
MODE_SILENT, MODE_OTHER_WAY = 0.4, 0.2
"""Share of wrong input modes that take nothing from the input in use, and of those that go the less usual way.

The usual way is that of the level in use: made for speakers, an input takes little of a line; made for a line, it is too
sensitive for speakers.
"""
EQUALISER_DB = (3.0, 15.0)
EQUALISER_HZ = (40.0, 12e3)
SUB_FILTERED, SUB_CORNER_HZ, SUB_SLOPES = 0.8, (50.0, 150.0), (12.0, 24.0)
"""Share of radios whose output for a subwoofer has a low-pass, where nobody knows the radio; its corner and slopes."""
RUBBING_THD = (0.06, 0.6)
"""Of a coil that rubs, a torn cone: heard at any level."""


def nodes_at(where: str, chain: Chain) -> list[Node]:
    """Return the nodes of a stage, a chassis or an output."""
    members = stages_of(chain.job, where)
    return [n for n in chain.nodes if n.stage in members or where == f"{n.stage}.{n.output}"]


def _silent(nodes: list[Node], hidden: Floats) -> Change:
    return Change(gain={node: np.zeros(len(hidden)) for node in nodes})


def _box_no_power(where: str, chain: Chain, hidden: Floats) -> Change:
    found = _silent(nodes_at(where, chain), hidden)
    found.dead[where] = "supply"
    return found


def _shared(why: str) -> Callable[[str, Chain, Floats], Change]:
    def make(where: str, chain: Chain, hidden: Floats) -> Change:
        del where
        units = powered_units(chain.job, turned_on=why == "turn_on")
        found = _silent([node for unit in units for node in nodes_at(unit, chain)], hidden)
        found.dead |= dict.fromkeys(units, why)
        return found

    return make


def _fader_over(where: str, chain: Chain, hidden: Floats) -> Change:
    low, high = FADER_DB
    down = 10 ** (-(low + (high - low) * hidden[:, 0]) / 20)
    return Change(gain=dict.fromkeys(nodes_at(where, chain), down))


def _switched_off(where: str, chain: Chain, hidden: Floats) -> Change:
    return _silent(nodes_at(where, chain), hidden)


def _outputs_crossed(where: str, chain: Chain, hidden: Floats) -> Change:
    stage, _, output = where.rpartition(".")
    other = crossed_outputs(stage, chain.wiring)[output]
    taken: dict[tuple[Port, Port], Floats] = {}
    for mine, theirs in ((output, other), (other, output)):
        from_them = _ports_by_side(stage, theirs, chain)
        for side, ports in _ports_by_side(stage, mine, chain).items():
            via = from_them.get(side) or from_them.get("mono") or next(iter(from_them.values()), None)
            if via is None:
                continue
            taken |= {(port, via[0]): np.ones(len(hidden)) for port in ports}
    nodes = [node for node in chain.wiring.outputs(stage) if node.output in (output, other)]
    filtered = [node for node in nodes if _has_filter_of_its_own(node, chain)]
    low_hz, high_hz = SUB_CORNER_HZ
    corner_hz = low_hz * (high_hz / low_hz) ** np.minimum(hidden[:, 0] / SUB_FILTERED, 1.0)
    corner_hz = np.where(hidden[:, 0] < SUB_FILTERED, corner_hz, ABSENT_LOW_PASS_HZ)
    slope = np.where(hidden[:, 1] < 0.5, *SUB_SLOPES)
    return Change(taken=taken, low_pass_hz=dict.fromkeys(filtered, corner_hz), slope=dict.fromkeys(filtered, slope))


def _has_filter_of_its_own(node: Node, chain: Chain) -> bool:
    """Return whether an output may have a low-pass that nobody told of: for subwoofers alone, of a radio without figures."""
    source = chain.job.stages[node.stage]
    if not isinstance(source, HeadUnit) or (source.rated_output is not None and source.rated_output.known):
        return False
    told = source.outputs[node.output].low_pass is not None
    paths = [path for path in chain.wiring.paths if node in path.nodes]
    return not told and bool(paths) and all(is_subwoofer(chain.job, path.speaker, path.nodes) for path in paths)


def _ports_by_side(stage: str, output: str, chain: Chain) -> dict[str, list[Port]]:
    found: dict[str, list[Port]] = {}
    for node in chain.wiring.outputs(stage):
        if node.output == output:
            found.setdefault(node.side, []).extend(chain.wiring.ports_fed_by(node))
    return {side: ports for side, ports in found.items() if ports}


def _input_mode(where: str, chain: Chain, hidden: Floats) -> Change:
    low, high = MODE_DB
    stage = chain.job.stages[where]
    louder = isinstance(stage, Amplifier) and stage.high_level
    way = np.where((hidden[:, 2] < MODE_OTHER_WAY) != louder, 1.0, -1.0)
    share = np.where(hidden[:, 0] < MODE_SILENT, 0.0, 10 ** (way * (low + (high - low) * hidden[:, 1]) / 20))
    return Change(gain=dict.fromkeys(nodes_at(where, chain), share))


def _player_equaliser(where: str, chain: Chain, hidden: Floats) -> Change:
    low, high = EQUALISER_DB
    size_db = (low + (high - low) * hidden[:, 0]) * np.where(hidden[:, 2] < 0.5, 1.0, -1.0)
    centre_hz = EQUALISER_HZ[0] * (EQUALISER_HZ[1] / EQUALISER_HZ[0]) ** hidden[:, 1]
    return Change(boost=dict.fromkeys(nodes_at(where, chain), (size_db, centre_hz)))


def _bypassed(where: str, chain: Chain, hidden: Floats) -> Change:
    stage = chain.job.stages[where]
    control = f"{where}.level" if isinstance(stage, LevelControl) else f"{where}.remote_level"
    return Change(settings={control: np.zeros(len(hidden))}, idle={where: True})


def _speaker_damaged(where: str, chain: Chain, hidden: Floats) -> Change:
    """Return a damaged speaker: of a pair one side, or both."""
    low, high = RUBBING_THD
    thd = low * (high / low) ** hidden[:, 0]
    ports = chain.wiring.ports(where)
    one = np.minimum((hidden[:, 1] * (len(ports) + 1)).astype(int), len(ports))
    return Change(damaged={port: np.where((one == i) | (one == len(ports)), thd, 0.0) for i, port in enumerate(ports)})


def _coil_open(where: str, chain: Chain, hidden: Floats) -> Change:
    """Return one coil less: of parallel ones their current, of series ones all; the others move the cone alone."""
    stage = chain.job.stages[where]
    assert isinstance(stage, Speaker)  # noqa: S101  causes are of this stage
    assert stage.coils is not None  # noqa: S101
    coils, wiring = stage.coils.number, stage.coils.wiring
    factor = {"parallel": coils / (coils - 1), "series-parallel": 2.0}.get(wiring, OPEN_OHM)
    ports = chain.wiring.ports(where)
    ports = ports[:1] if wiring == "separate" else ports
    found = Change(load={port: np.full(len(hidden), factor) for port in ports})
    if wiring != "series":
        found.coil[where] = (coils - 1) / coils if wiring != "series-parallel" else 0.5
    return with_protection(found, chain, hidden)


def _lead_loose(where: str, chain: Chain, hidden: Floats) -> Change:
    ohm = np.full(len(hidden), OPEN_OHM)
    return Change(series_ohm=dict.fromkeys(leads_by_name(chain.wiring)[where], ohm), comes_and_goes={where: True})


def _amplifier_hot(where: str, chain: Chain, hidden: Floats) -> Change:
    found = _silent(nodes_at(where, chain), hidden)
    found.comes_and_goes[where] = True
    if any(isinstance(chain.job.stages.get(stage), Amplifier) for stage in stages_of(chain.job, where)):
        found.protecting[where] = np.ones(len(hidden), dtype=bool)
    return found


DEVICE_CHANGES: dict[str, Callable[[str, Chain, Floats], Change]] = {
    "box_no_power": _box_no_power,
    "shared_no_supply": _shared("supply"),
    "shared_no_turn_on": _shared("turn_on"),
    "fader_over": _fader_over,
    "output_switched_off": _switched_off,
    "outputs_crossed": _outputs_crossed,
    "input_mode_wrong": _input_mode,
    "player_equaliser_on": _player_equaliser,
    "control_bypassed": _bypassed,
    "speaker_damaged": _speaker_damaged,
    "coil_open": _coil_open,
    "lead_loose": _lead_loose,
    "amplifier_hot": _amplifier_hot,
}
"""Cause -> the function that makes its change from place, chain and hidden amounts."""
