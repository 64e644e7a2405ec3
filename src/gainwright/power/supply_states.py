"""The supply of a job in each state: solved once for a job, and again for a job whose cables were changed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import name_words, supply_of
from gainwright.power.devices import at_ceiling, device_watts, head_unit_watts
from gainwright.power.result import STATES
from gainwright.solve import Source, SupplyTree, Taken, source_of, supply_tree
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job
    from gainwright.plan import AmplifierLoad
    from gainwright.power.programmes import Programme
    from gainwright.power.result import StateName


@dataclass(frozen=True, slots=True)
class SupplyStates:
    """The supply of a job in all states; NaN where it collapses.

    Attributes
    ----------
    tree, source : as solved.
    watts : device -> state -> what it takes.
    assumed : device -> what was assumed, in words.
    devices_v, devices_a, cables_a : device or cable -> state -> voltage or current.
    battery_v, drawn_a : state -> voltage at the battery's terminals, and what is drawn there.
    """

    tree: SupplyTree
    source: Source
    watts: dict[str, dict[StateName, float]]
    assumed: dict[str, tuple[str, ...]]
    devices_v: dict[str, dict[StateName, float]]
    devices_a: dict[str, dict[StateName, float]]
    cables_a: dict[str, dict[StateName, float]]
    battery_v: dict[StateName, float]
    drawn_a: dict[StateName, float]

    def collapses(self, state: StateName) -> bool:
        """Return whether some device gets nothing in a state."""
        return any(math.isnan(volts[state]) for volts in self.devices_v.values())


def supply_states(
    job: Job, amplifiers: Mapping[str, AmplifierLoad], programmes: Mapping[str, Programme]
) -> SupplyStates:
    """Return the supply of a job in every state; devices with a supply of their own stand apart from the battery's tree."""
    tree, source = supply_tree(job), source_of(job)
    apart = {unit for unit in tree.loose if supply_of(job, unit) != "vehicle"}
    heads = head_unit_watts(job, amplifiers, programmes, source.running_v)
    cabled = SupplyTree(tree.branches, tuple(u for u in tree.loose if u not in apart))
    tree = SupplyTree(cabled.branches, (*cabled.loose, *heads))
    watts: dict[str, dict[StateName, float]] = {}
    assumed: dict[str, tuple[str, ...]] = {}
    for name, taken in heads.items():
        watts[name] = taken
        assumed[name] = (
            say("the power stages of {name} take their current from the vehicle's own wiring", name=name_words(name)),
        )
    for unit in cabled.devices:
        watts[unit], assumed[unit] = device_watts(job, unit, amplifiers, programmes, source.running_v)
    powers = tree.solve(source, {u: Taken(np.array([watts[u][s] for s in STATES[:-1]])) for u in tree.devices})
    sine = tree.solve(
        source, {u: at_ceiling(job, u, amplifiers, programmes, watts[u]["full_sine"]) for u in tree.devices}
    )

    def by_state(others: np.ndarray, full_sine: np.ndarray) -> dict[StateName, float]:
        return dict(zip(STATES, [*others.tolist(), float(full_sine)], strict=True))

    return SupplyStates(
        tree,
        source,
        watts,
        assumed,
        {u: by_state(powers.devices_v[u], sine.devices_v[u]) for u in tree.devices},
        {u: by_state(powers.devices_a[u], sine.devices_a[u]) for u in tree.devices},
        {b.name: by_state(powers.cables_a[b.name], sine.cables_a[b.name]) for b in tree.branches},
        by_state(powers.battery_v, sine.battery_v),
        by_state(powers.drawn_a, sine.drawn_a),
    )
