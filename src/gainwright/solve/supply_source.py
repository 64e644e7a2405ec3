"""Battery and alternator of a job as the cables see them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.jobfile import facts
from gainwright.solve.supply_tree import Source

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.quantities import Quantity

BATTERY_OHM_AH = 0.4
"""Internal resistance of a starting battery times its capacity, so 70 Ah has 6 milliohm (common practice, no published source)."""
CAPACITY_AH = 70.0
"""Of a car's battery (common practice, no published source)."""
RESTING_V = {"starting": 12.6, "deep_cycle": 12.8, "lithium": 13.2}
"""Open voltage of a charged battery by its kind (common practice, no published source)."""


def source_of(job: Job, *, idling: bool = False) -> Source:
    """Return battery and alternator of a job with the engine running, or idling, where its current is known.

    An alternator of unknown current is taken to carry everything.
    """
    running = next(f.quantity.nominal for f in facts(job).values() if f.path == "vehicle.running")
    battery, alternator = job.vehicle.battery, job.vehicle.alternator
    resting = _known(job.vehicle.resting)
    if resting is None:
        # a 24 V vehicle has two batteries in series
        resting = RESTING_V[battery.kind] * (2 if running > 20 else 1)
    ohm = _known(battery.resistance)
    if ohm is None:
        ohm = BATTERY_OHM_AH / (_known(battery.capacity) or CAPACITY_AH) * (resting / 12.6)
    amps = (_known(alternator.at_idle) if idling else None) or _known(alternator.current)
    return Source(
        running, min(resting, running), ohm, math.inf if amps is None else amps, _known(alternator.other_loads) or 0.0
    )


def _known(value: Quantity | None) -> float | None:
    return value.nominal if value is not None and value.known else None
