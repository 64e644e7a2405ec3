"""A filter in the way: its corner lies on its knob, and inside the band that should be heard.

The spans of the amounts are common practice, no published source. Arrays are over draws, shape (draws,).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.change import Change
from gainwright.diagnose.device_changes import nodes_at
from gainwright.diagnose.played_paths import MUSIC_HZ
from gainwright.model import Amplifier, HeadUnit, Processor

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Node
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

KNOBS_HZ: dict[type, dict[str, tuple[float, float]]] = {
    HeadUnit: {"low_pass": (30.0, 4000.0), "high_pass": (30.0, 8000.0)},  # those for active ways reach far
    Processor: {"low_pass": (20.0, 20e3), "high_pass": (20.0, 20e3)},
    Amplifier: {"low_pass": (30.0, 4000.0), "high_pass": (15.0, 4000.0)},
}
"""Corners that the knobs and menus of a kind of stage usually have; a job's `low_pass_range` goes before."""
CORNERS_HZ: dict[type, dict[str, tuple[float, float]]] = {
    HeadUnit: {"low_pass": (50.0, 250.0), "high_pass": (50.0, 250.0)},
    Processor: {"low_pass": (50.0, 5000.0), "high_pass": (20.0, 5000.0)},
    Amplifier: {"low_pass": (40.0, 500.0), "high_pass": (20.0, 500.0)},
}
"""Corners that are in use: those that part a sub from doors, in a processor also doors from tweeters."""
IN_USE = 0.8
"""Share of filters in the way whose corner is one of those; others stand anywhere on their knob."""
SLOPES = (12.0, 24.0)
"""Slopes that such filters usually have, dB per octave; one as likely as the other."""
IN_THE_WAY = 0.7
"""A filter in the way is at least this far inside the band that should be heard, as a ratio of corners: else nobody hears it."""


def _log(span: tuple[float, float], u: Floats) -> Floats:
    return np.asarray(span[0] * (span[1] / span[0]) ** u)


def _span_hz(chain: Chain, node: Node, control: str) -> tuple[float, float]:
    """Return the ends of a filter's knob: the job's, else those that are usual for its kind of stage."""
    stage = chain.job.stages[node.stage]
    holder = stage if isinstance(stage, Amplifier) else getattr(stage, "outputs", {}).get(node.output)
    given = getattr(holder, f"{control}_range", None)
    usual = next((ends for kind, ends in KNOBS_HZ.items() if isinstance(stage, kind)), KNOBS_HZ[Processor])[control]
    return usual if given is None or given.high_hz <= given.low_hz else (given.low_hz, given.high_hz)


def _anywhere(chain: Chain, node: Node, control: str, span_hz: tuple[float, float], u: Floats) -> Floats:
    """Return corners within a span, Hz, most of them where such corners are in use."""
    stage = chain.job.stages[node.stage]
    used = next((ends for kind, ends in CORNERS_HZ.items() if isinstance(stage, kind)), CORNERS_HZ[Processor])[control]
    low_hz, high_hz = max(span_hz[0], used[0]), min(span_hz[1], used[1])
    if high_hz <= low_hz:
        return _log(span_hz, u)
    return np.where(u < IN_USE, _log((low_hz, high_hz), u / IN_USE), _log(span_hz, (u - IN_USE) / (1 - IN_USE)))


def _edge_hz(chain: Chain, node: Node, control: str) -> float:
    """Return where the band of what is heard behind an output ends without the fault, Hz: of several ways the widest."""
    low = control == "low_pass"
    ends = []
    for path in chain.wiring.paths:
        if node in path.nodes:
            facts = [chain.facts.get(f"{n.stage}.{n.output}.{control}.corner") for n in path.nodes]
            found = [fact.quantity.nominal for fact in facts if fact is not None]
            ends.append(min(found, default=MUSIC_HZ[1]) if low else max(found, default=MUSIC_HZ[0]))
    return (max if low else min)(ends, default=MUSIC_HZ[low])


def _slope(where: str, chain: Chain, hidden: Floats) -> dict[Node, Floats]:
    return dict.fromkeys(nodes_at(where, chain), np.where(hidden[:, 1] < 0.5, *SLOPES))


def low_pass_in_the_way(where: str, chain: Chain, hidden: Floats) -> Change:
    """Return the change of a low-pass at an output or an amplifier."""
    found = {}
    for node in nodes_at(where, chain):
        low_hz, high_hz = _span_hz(chain, node, "low_pass")
        high_hz = min(IN_THE_WAY * _edge_hz(chain, node, "low_pass"), high_hz)
        span_hz = min(low_hz, IN_THE_WAY * high_hz), high_hz
        found[node] = _anywhere(chain, node, "low_pass", span_hz, hidden[:, 0])
    return Change(low_pass_hz=found, slope=_slope(where, chain, hidden))


def high_pass_in_the_way(where: str, chain: Chain, hidden: Floats) -> Change:
    """Return the change of a high-pass at an output or an amplifier."""
    found = {}
    for node in nodes_at(where, chain):
        low_hz, high_hz = _span_hz(chain, node, "high_pass")
        low_hz = max(_edge_hz(chain, node, "high_pass") / IN_THE_WAY, low_hz)
        span_hz = low_hz, max(high_hz, low_hz / IN_THE_WAY)
        found[node] = _anywhere(chain, node, "high_pass", span_hz, hidden[:, 0])
    return Change(high_pass_hz=found, slope=_slope(where, chain, hidden))
