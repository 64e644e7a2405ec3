"""What the rig's stages have of their unit and its switches: supply, turn-on, input range, remote level control."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Amplifier, Powered, supply_of, supply_path, unit_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Job
    from gainwright.simulated.faults import Fault

    Floats = npt.NDArray[np.float64]

DEAD_CAUSES = ("amplifier_no_turn_on", "amplifier_no_supply", "amplifier_protecting")


class SimulatedUnits:
    """The part of the rig's chain that a chassis, a supply and the switches of an amplifier make up."""

    job: Job
    truth: dict[str, float]
    settings: dict[str, float]
    supply: str
    switched_off: frozenset[str]
    there: bool

    def fault(self, cause: str, *wheres: str) -> Fault | None:
        """Return the fault of a cause at one of several names of a place; see the chain."""
        raise NotImplementedError

    def off_by_fault(self, name: str) -> bool:
        """Return whether a stage plays nothing because its unit (it or its chassis) has no supply or turn-on, or protects."""
        unit = unit_of(self.job, name)
        if unit in self.switched_off or any(self.fault(cause, unit) for cause in DEAD_CAUSES):
            return True
        hot = self.there and self.fault("amplifier_hot", unit)
        return bool(hot) or self.fault("box_no_power", name) is not None or self.shared_dead(name) != ""

    def shared_dead(self, name: str) -> str:
        """Return which of what several devices share has failed at a stage: supply, turn_on, or empty."""
        stage = self.job.stages[name]
        if not isinstance(stage, Powered):
            return ""
        if self.fault("shared_no_supply", "") and supply_of(self.job, name) == "vehicle":
            return "supply"
        return "turn_on" if self.fault("shared_no_turn_on", "") and stage.turn_on == "remote" else ""

    def not_woken(self, name: str, stage: Any, arriving: Floats) -> bool:
        """Return whether a stage that a signal turns on gets too little of it."""
        if not isinstance(stage, Powered) or stage.turn_on != "signal":
            return False
        return math.sqrt(float(np.mean(arriving**2))) < self.truth[f"{name}.turn_on_level"]

    def supply_v(self, name: str) -> float:
        """Return the supply voltage of a stage under load, volts DC."""
        sag = self.fault("supply_sagging", unit_of(self.job, name))
        return self.truth[supply_path(self.job, name, self.supply)] * (sag.size if sag else 1.0)

    def supply_read_v(self, name: str, drawn: float) -> float:
        """Return the voltage at the supply terminals of a stage that draws a share of the current of its full power."""
        full = self.truth[supply_path(self.job, name, self.supply)]
        return full - (full - self.supply_v(name)) * min(drawn, 1.0)

    def sensitivity(self, name: str, stage: Amplifier) -> str:
        """Return the path of the sensitivity in use: in the position of the input range switch, if there is one."""
        if not stage.input_ranges:
            return f"{name}.sensitivity"
        positions = list(stage.input_ranges)
        stands = int(self.settings[f"{name}.input_range"])
        if self.fault("input_range_wrong", name):
            stands = (stands + 1) % len(positions)
        return f"{name}.input_ranges.{positions[stands]}"

    def remote_gain(self, name: str, stage: Amplifier) -> float:
        """Return the factor of an amplifier's remote level control and of its phase switch."""
        sign = -1.0 if stage.polarity == "reversed" else 1.0
        remote = stage.remote_level
        if remote is None or remote.boosts is not None:
            return sign
        if self.fault("control_bypassed", name):
            return sign
        down = self.fault("level_control_down", name)
        db = self.settings[f"{name}.remote_level"] - (down.size if down else 0.0)
        if remote.range is not None:
            db = min(max(db, remote.range.low), remote.range.high)
        return float(sign * 10 ** (db / 20))
