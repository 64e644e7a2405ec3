"""What the cables leave of an amplifier's supply while it is at its ceiling; its rails follow that unless it is regulated."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Amplifier, supply_of, supply_path, unit_of
from gainwright.solve.amplifier_draw import amplifier_draw_w, sine
from gainwright.solve.electrics import UNLOADED_SIEMENS, amplifier_rails
from gainwright.solve.loads import Loading
from gainwright.solve.supply_source import source_of
from gainwright.solve.supply_tree import Taken, supply_tree

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job, Wiring


def supply_shares(job: Job, wiring: Wiring, values: Mapping[str, Any]) -> dict[str, float]:
    """Return amplifier -> its supply over the running voltage, while all its sides give a sine at their ceiling into their load.

    For unregulated amplifiers at the end of cables that the job gives; the others have all of it, and where the cables
    carry nothing at all the power page tells. What such an amplifier takes follows its supply like a resistance (rails and
    output in proportion), so one solve of the cables is exact. The other devices play nothing meanwhile.

    Parameters
    ----------
    values : fact path -> number, of all facts.
    """
    if not job.supply:
        return {}
    tree, source, found = supply_tree(job), source_of(job), {}
    for name, stage in job.stages.items():
        unit = unit_of(job, name)
        if (
            not isinstance(stage, Amplifier)
            or stage.regulated
            or unit in tree.loose
            or supply_of(job, unit) != "vehicle"
        ):
            continue
        nodes = wiring.outputs(name)
        siemens = float(np.squeeze(Loading(wiring, values, probes={}).conductance(nodes[0])))
        if siemens <= UNLOADED_SIEMENS:
            continue
        running_v = float(values[supply_path(job, name, "running")])
        volts = float(np.squeeze(amplifier_rails(name, stage, values, siemens, running_v)))
        rated = [values[f"{name}.power.{i}"] * rating.load.nominal for i, rating in enumerate(stage.power)]
        rail_v = math.sqrt(2 * max(rated)) * running_v / float(values[f"{name}.rated_at"])
        watts = len(nodes) * amplifier_draw_w(stage, sine(volts), load_ohm=1 / siemens, rail_v=max(rail_v, volts))
        left = float(tree.solve(source, {unit: Taken(0.0, watts, source.running_v)}).devices_v[unit])
        if not math.isnan(left):
            found[name] = left / source.running_v
    return found
