"""What a lead may read end to end: from what it feeds, from the lead to be expected, and from the meter that reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Node, Port
    from gainwright.solve.chain import Chain

UNSEEN_LOSS_DB = 0.01
"""No meter of 6000 counts can show a smaller loss: it is 0.12 % (common practice, no published source)."""
METER_OHM = 0.5
"""A meter's own leads, 0.2 ohm, and three digits of 0.1 ohm (common practice, no published source)."""
MEASURING_LEAD_OHM = 0.3
"""A conductor of a sound measuring lead (common practice, no published source)."""


def good_lead_ohm(chain: Chain, wires: Sequence[tuple[Node, Port]]) -> float:
    """Return up to what one conductor of a lead may read end to end, ohm.

    That is the more of two: what takes 0.01 dB from what the lead feeds (`physics.series_for_loss`), or the upper end of
    the lead to be expected, each of its two conductors half of it; and the meter's own leads and doubt on top.
    """
    nominal = chain.nominal()
    found = []
    for node, port in wires:
        key = f"{port.stage}.input_impedance"
        load = nominal[key] if key in nominal else nominal[f"{port.stage}.impedance"]
        source = nominal.get(f"{node.stage}.output_impedance", 0.0)
        found.append(load_loss_ohm(source_ohm=source, load_ohm=load))
    return max(min(found) + METER_OHM, sound_lead_ohm(chain, wires))


def sound_lead_ohm(chain: Chain, wires: Sequence[tuple[Node, Port]]) -> float:
    """Return up to what one conductor of a sound lead reads end to end, the meter's own leads and doubt included, ohm."""
    run = next(run for run, pairs in chain.wiring.leads.items() if wires[0] in pairs)
    return chain.facts[f"{run}.resistance"].quantity.interval[1] / 2 + METER_OHM


def load_loss_ohm(*, source_ohm: Any, load_ohm: Any) -> float:
    """Return the series resistance that takes a loss that can't be seen from a load, ohm."""
    return float(np.squeeze(physics.series_for_loss(loss_db=UNSEEN_LOSS_DB, source_ohm=source_ohm, load_ohm=load_ohm)))
