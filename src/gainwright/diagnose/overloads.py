"""What a short, or a load far too low, does to the amplifier before it: it protects, or gives its current limit.

A short has ohms and a place. The shares and spans are common practice, no published source.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose.change import Trip
from gainwright.model import Amplifier, HeadUnit, gives_power, stages_of, unit_of
from gainwright.solve import Alteration, Loading

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt

    from gainwright.diagnose.change import Change
    from gainwright.model import Node
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

TOUCHING_OHM = (0.005, 2.0)
"""From strands twisted together to a crushed lead that touches at a point (common practice, no published source)."""
PROTECTS = 0.75
"""Share of amplifiers that switch off into a short; the others give what their current limit leaves of the voltage."""
TRIPS_BELOW = (0.15, 0.6)
"""Load at which they do, relative to the lowest rated one: current limits lie above the rated current, and by how much
isn't published."""
SOURCE_NEEDS_OHM = 1.5
"""Load below which the output stage of a head unit, made for 4 ohm, mutes itself."""
SOURCE_MUTES_ALL = 0.5
"""Share of head units that mute all their outputs then; others mute that one, or go on and give what their current limit leaves."""


def with_protection(change: Change, chain: Chain, hidden: Floats) -> Change:
    """Return a change of leads or loads with what it makes of the amplifiers before it.

    The outputs of a chassis are silent, and its protection lamp is lit, in the draws in which one of its loads is low
    enough and it protects, while enough is played into that load: a bass tone that never reaches a shorted tweeter
    leaves it on, music doesn't. In the others the solver's current limit is what is left.
    """
    protects = hidden[:, 2] < PROTECTS
    low, high = TRIPS_BELOW
    share = low + (high - low) * np.mod(7 * hidden[:, 2] / PROTECTS, 1.0)
    for node in _power_outputs(change, chain):
        stage = chain.job.stages[node.stage]
        if isinstance(stage, Amplifier):
            lowest = min(stage.power, key=lambda rating: rating.load.nominal)
            bound, load = share * lowest.load.nominal, load_ohm(change, chain, node)
            tripped = protects & (load < bound)
            from_v = math.sqrt(lowest.power.nominal * lowest.load.nominal) * load / bound
        else:
            tripped, from_v = protects & (load_ohm(change, chain, node) < SOURCE_NEEDS_OHM), 0.0
            alone = tripped & (hidden[:, 2] >= SOURCE_MUTES_ALL)
            if np.any(alone):
                change.gain[node] = np.where(alone, 0.0, change.gain.get(node, 1.0))
            tripped = tripped & ~alone
        if np.any(tripped):
            can, volts = (np.broadcast_to(x, protects.shape) for x in (tripped, from_v))
            _switch_off(change, chain, node, can, volts)
    return change


def load_ohm(change: Change, chain: Chain, node: Node) -> Any:
    """Return the load on a node under a change, at the job's nominal values and impedances, ohm."""
    with np.errstate(divide="ignore"):
        loading = Loading(chain.wiring, chain.nominal(), probes={}, alter=_of_leads_and_loads(change))
        return 1 / np.asarray(loading.conductance(node))


def load_at_tone_ohm(change: Change, chain: Chain, node: Node, *, values: Mapping[str, Any], tone_hz: Any) -> Floats:
    """Return the size of the impedance that loads a node at a tone under a change, ohm, in every draw of `values`."""
    loading = Loading(
        chain.wiring, values, probes={}, alter=_of_leads_and_loads(change), curves=chain.curves, tone_hz=tone_hz
    )
    with np.errstate(divide="ignore"):
        return np.asarray(1 / np.abs(loading.admittance(node)))


def _of_leads_and_loads(change: Change) -> Alteration:
    return Alteration(
        series_ohm=change.series_ohm, shorted=change.shorted, short_place=change.short_place, load=change.load
    )


def _power_outputs(change: Change, chain: Chain) -> Iterable[Node]:
    touched = [node for node, _ in change.shorted]
    touched += [feed.node for port in change.load for feed in chain.wiring.feeds[port]]
    return [node for node in dict.fromkeys(touched) if gives_power(chain.job.stages[node.stage])]


def _switch_off(change: Change, chain: Chain, node: Node, can: npt.NDArray[np.bool_], from_v: Floats) -> None:
    unit = unit_of(chain.job, node.stage)
    silences = tuple(other for other in chain.nodes if other.stage in stages_of(chain.job, unit))
    change.trips[node] = Trip(can, from_v, silences)
    if not isinstance(chain.job.stages[node.stage], HeadUnit):
        change.protecting[unit] = can | change.protecting.get(unit, False)
