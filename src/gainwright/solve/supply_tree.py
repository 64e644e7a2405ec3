"""The supply of a job as a tree: battery and alternator, cables and fuses, and what stands at their ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.model import BATTERY, Powered, unit_of
from gainwright.solve.cable_resistance import cable_ohm

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gainwright.model import Job
    from gainwright.solve.cable_resistance import Assumed

    Floats = npt.NDArray[np.float64]

ROUNDS, HALVINGS, STEPS_DOWN = 400, 40, 30
"""Sweeps of the tree; steps and halvings in the search for the voltage at the battery: 2^-40 of 0.5 V is 5e-13 V."""
SETTLED_V = 1e-9


@dataclass(frozen=True, slots=True)
class Source:
    """Battery and alternator as seen from the cables.

    Attributes
    ----------
    running_v : what the alternator holds while it carries the load.
    battery_v, battery_ohm : the battery behind it, at rest and its internal resistance.
    alternator_a : what the alternator gives; 0 with the engine off.
    other_a : what the vehicle itself takes.
    """

    running_v: float
    battery_v: float
    battery_ohm: float
    alternator_a: float
    other_a: float

    def voltage(self, drawn_a: Floats) -> Floats:
        """Return the voltage at the battery's terminals for what the sound system draws, shape (...)."""
        missing = np.maximum(drawn_a + self.other_a - self.alternator_a, 0.0)
        falls = self.battery_v - self.battery_ohm * missing
        return np.where(missing > 0, np.minimum(falls, self.running_v), self.running_v)


@dataclass(frozen=True, slots=True)
class Branch:
    """One cable: its name, what it comes from, the devices at its end, and its resistance there and back with its joints."""

    name: str
    source: str
    feeds: tuple[str, ...]
    ohm: float


@dataclass(frozen=True, slots=True)
class Taken:
    """What a device takes, shape (...): constant power, and what follows its voltage like a resistance.

    Attributes
    ----------
    watts : taken at any voltage.
    following_w : taken at `rated_v`, as by a resistance.
    """

    watts: float | Floats
    following_w: float | Floats = 0.0
    rated_v: float = 1.0

    def amps(self, volts: Floats) -> Floats:
        """Return the current at a voltage."""
        return np.asarray(self.watts / volts + self.following_w * volts / self.rated_v**2)

    def voltage(self, source_v: Floats, ohm: float) -> Floats:
        """Return the voltage of the device alone behind a resistance, NaN where it collapses.

        What follows the voltage makes a divider; the constant power is fed by that divider's voltage and resistance.
        """
        divided = physics.unregulated_voltage(
            source_v=source_v, resistance_ohm=ohm, power_w=self.following_w, rated_v=self.rated_v
        )
        return physics.regulated_voltage(source_v=divided, resistance_ohm=ohm * divided / source_v, power_w=self.watts)


NOTHING = Taken(0.0)


@dataclass(frozen=True, slots=True)
class SupplyState:
    """Voltages and currents of the supply, each of shape (...); NaN where a cable can't carry what is asked.

    Attributes
    ----------
    devices_v, devices_a : device -> voltage at it, and what it draws.
    cables_a : cable -> current.
    battery_v, drawn_a : at the battery's terminals, and what all devices draw.
    """

    devices_v: dict[str, Floats]
    devices_a: dict[str, Floats]
    cables_a: dict[str, Floats]
    battery_v: Floats
    drawn_a: Floats


@dataclass(frozen=True, slots=True)
class SupplyTree:
    """The cables of a job, each after the one that it comes from.

    Attributes
    ----------
    loose : devices that no cable is given for; they are taken as at the battery.
    """

    branches: tuple[Branch, ...]
    loose: tuple[str, ...]

    @property
    def devices(self) -> tuple[str, ...]:
        """Every device."""
        return (*self.loose, *(d for b in self.branches for d in b.feeds))

    @property
    def _ohm_to(self) -> dict[str, float]:
        """Return device -> resistance of all cables on the way to it."""
        ends, found = {BATTERY: 0.0}, dict.fromkeys(self.loose, 0.0)
        for branch in self.branches:
            ends[branch.name] = ends[branch.source] + branch.ohm
            found |= dict.fromkeys(branch.feeds, ends[branch.name])
        return found

    def solve(self, source: Source, taken: Mapping[str, Taken]) -> SupplyState:
        """Return the steady state; the highest voltage is taken where several are possible, since a supply starts unloaded.

        The voltage at the battery by bisection: where the alternator is at its limit the battery takes over between its
        own voltage and the alternator's.
        """
        shape = np.broadcast_shapes(*(np.shape(t.watts) for t in taken.values()), ())
        low, high = np.full(shape, np.nan), np.full(shape, source.running_v)
        for volts in np.linspace(1.0, 0.0, STEPS_DOWN, endpoint=False) * source.running_v:
            holds = self._holds(np.full(shape, volts), source, taken) & np.isnan(low)
            low = np.where(holds, volts, low)
            high = np.where(np.isnan(low), volts, high)
            if not np.any(np.isnan(low)):
                break
        for _ in range(HALVINGS):
            if not np.any(high - low > SETTLED_V):
                break
            middle = (low + high) / 2
            holds = self._holds(middle, source, taken)
            low, high = np.where(holds, middle, low), np.where(holds, high, middle)
        return self._at(low, taken)

    def _holds(self, terminal: Floats, source: Source, taken: Mapping[str, Taken]) -> npt.NDArray[np.bool_]:
        """Return whether battery and alternator hold a voltage with what is drawn at it."""
        with np.errstate(invalid="ignore"):
            return np.asarray(source.voltage(self._at(terminal, taken).drawn_a) >= terminal)

    def _at(self, terminal: Floats, taken: Mapping[str, Taken]) -> SupplyState:
        """Return the state for a voltage at the battery, by sweeps from the ends to the battery and back.

        The usual way for radial networks; what isn't settled collapses. Each device starts at the voltage that it would
        have alone, which no other load can raise: where there is no such load, nothing has to be swept.
        """
        alone = self._ohm_to
        volts = {d: taken.get(d, NOTHING).voltage(terminal, alone[d]) for d in self.devices}
        change: Floats = np.zeros_like(terminal)
        with np.errstate(all="ignore"):
            for _ in range(ROUNDS):
                amps = {d: taken.get(d, NOTHING).amps(volts[d]) for d in self.devices}
                currents = {
                    b.name: np.asarray(sum((amps[d] for d in b.feeds), np.zeros_like(terminal))) for b in self.branches
                }
                for branch in reversed(self.branches):
                    if branch.source != BATTERY:
                        currents[branch.source] = currents[branch.source] + currents[branch.name]
                drawn = sum((currents[b.name] for b in self.branches if b.source == BATTERY), np.zeros_like(terminal))
                drawn = np.asarray(drawn + sum(amps[d] for d in self.loose))
                ends, found = {BATTERY: terminal}, dict.fromkeys(self.loose, terminal)
                for branch in self.branches:
                    fallen = ends[branch.source] - branch.ohm * currents[branch.name]
                    ends[branch.name] = np.where(fallen > 0, fallen, np.nan)
                    found |= dict.fromkeys(branch.feeds, ends[branch.name])
                change = np.max(
                    [np.abs(found[d] - volts[d]) for d in self.devices] or [np.zeros_like(terminal)], axis=0
                )
                volts = found
                if not np.any(change > SETTLED_V):
                    break
        settled = change <= SETTLED_V

        def kept(values: dict[str, Floats]) -> dict[str, Floats]:
            return {name: np.where(settled, value, np.nan) for name, value in values.items()}

        return SupplyState(
            kept(volts),
            kept(amps),
            kept(currents),
            np.where(settled, terminal, np.nan),
            np.where(settled, drawn, np.nan),
        )


def supply_tree(job: Job, *, assumed: Assumed = "usual") -> SupplyTree:
    """Return the supply tree of a job, with its chassis and stages alone as devices; `assumed` is of joints and body."""
    done: list[Branch] = []
    left = dict(job.supply)
    while left:
        ready = [n for n, c in left.items() if c.source == BATTERY or c.source in {b.name for b in done}]
        for name in ready:
            cable = left.pop(name)
            feeds = tuple(unit_of(job, d) for d in cable.feeds)
            done.append(Branch(name, cable.source, feeds, cable_ohm(cable, assumed=assumed)))
    fed = {d for b in done for d in b.feeds}
    units = dict.fromkeys(unit_of(job, n) for n, s in job.stages.items() if isinstance(s, Powered))
    return SupplyTree(tuple(done), tuple(u for u in units if u not in fed))
