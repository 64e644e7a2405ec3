"""The change that a hypothesis makes to a chain, and two of them together. Arrays are over draws, shape (draws,)."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Node, Port
    from gainwright.solve import Chain, Wire


@dataclass(frozen=True, slots=True)
class Trip:
    """What a load that is far too low makes of the chassis before it: it switches itself off, once enough is played into it.

    Attributes
    ----------
    can : whether it does, in each draw, at full power; shape (draws,).
    from_v : volts that the output gives in a sound chain, from which it does, same shape.
    silences : the outputs of the chassis.
    """

    can: Any
    from_v: Any
    silences: tuple[Node, ...]


@dataclass(slots=True)
class Change:
    """The changes of one hypothesis: the fields of `solve.Alteration`, controls, and changes that no tone shows.

    Attributes
    ----------
    settings : control -> its actual setting.
    dead : amplifier or chassis -> why it doesn't play: turn_on, supply or protecting.
    protecting : amplifier or chassis -> whether it protects itself from its load in a draw, with music.
    trips : output with a load far too low -> what its chassis makes of it, by what is played.
    supply : amplifier or chassis -> factor on its supply voltage.
    hum, whine : lead -> volts rms picked up there.
    instrument : instrument -> open, shorted or function.
    coil : speaker -> factor on its cone's movement.
    burnt : port of a speaker -> whether its coil is burnt together in a draw, so that its cone doesn't move.
    damaged : port of a speaker -> distortion that it adds to what it plays, as a ratio.
    idle : controls that do nothing.
    comes_and_goes : place -> True where it is there in one observation and not in the next; the change is that when it is.
    """

    gain: dict[Node, Any] = field(default_factory=dict)
    ceiling: dict[Node, Any] = field(default_factory=dict)
    series_ohm: dict[Wire, Any] = field(default_factory=dict)
    shorted: dict[Wire, Any] = field(default_factory=dict)
    short_place: dict[Wire, Any] = field(default_factory=dict)
    sign: dict[Wire, Any] = field(default_factory=dict)
    load: dict[Port, Any] = field(default_factory=dict)
    low_pass_hz: dict[Node, Any] = field(default_factory=dict)
    high_pass_hz: dict[Node, Any] = field(default_factory=dict)
    boost: dict[Node, tuple[Any, Any]] = field(default_factory=dict)
    crossed: dict[Port, Any] = field(default_factory=dict)
    taken: dict[tuple[Port, Port], Any] = field(default_factory=dict)
    misrouted: dict[Node, Any] = field(default_factory=dict)
    instead: dict[Node, Node] = field(default_factory=dict)
    slope: dict[Node, Any] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    dead: dict[str, str] = field(default_factory=dict)
    protecting: dict[str, Any] = field(default_factory=dict)
    trips: dict[Node, Trip] = field(default_factory=dict)
    supply: dict[str, Any] = field(default_factory=dict)
    hum: dict[str, Any] = field(default_factory=dict)
    whine: dict[str, Any] = field(default_factory=dict)
    instrument: dict[str, str] = field(default_factory=dict)
    coil: dict[str, float] = field(default_factory=dict)
    burnt: dict[Port, Any] = field(default_factory=dict)
    damaged: dict[Port, Any] = field(default_factory=dict)
    idle: dict[str, bool] = field(default_factory=dict)
    comes_and_goes: dict[str, bool] = field(default_factory=dict)

    @property
    def crosses(self) -> bool:
        """Whether it brings signals to places that they don't reach otherwise."""
        return bool(self.crossed or self.misrouted or self.taken)

    def gains(self, off: Mapping[Node, Any] | None = None) -> dict[Node, Any]:
        """Return the factors on the outputs with the chassis silent that switch themselves off into their load.

        Parameters
        ----------
        off : output with such a load -> in which draws they do, shape (draws,); all that can by default.
        """
        found = dict(self.gain)
        for node, trip in self.trips.items():
            silent = trip.can if off is None else off[node]
            found |= {other: np.where(silent, 0.0, found.get(other, 1.0)) for other in trip.silences}
        return found

    def touches(self, chain: Chain) -> frozenset[tuple[str, Node | Port]]:
        """Return the keys of the chain's cells that it changes directly."""
        found: set[tuple[str, Node | Port]] = set()
        for nodes in (self.gain, self.ceiling, self.low_pass_hz, self.high_pass_hz, self.boost, self.misrouted):
            found |= {("output", node) for node in nodes}
        for node, port in (*self.series_ohm, *self.shorted, *self.sign):
            found |= {("output", node), ("port", port)}
        for port in self.load:
            found |= {("output", feed.node) for feed in chain.wiring.feeds[port]}
        found |= {("port", port) for port in (*self.crossed, *(port for port, _ in self.taken))}
        found |= {("output", node) for trip in self.trips.values() for node in trip.silences}
        stages = {control.split(".")[0] for control in self.settings}
        return frozenset(found | {("output", node) for node in chain.nodes if node.stage in stages})


def combined(first: Change, second: Change) -> Change:
    """Return both changes combined: factors multiply, resistances add, and of two settings the second counts."""
    found = Change()
    for f in fields(Change):
        mine, other = getattr(first, f.name), getattr(second, f.name)
        joined = {**mine, **other}
        for key in mine.keys() & other.keys():
            if f.name in ("gain", "ceiling", "sign", "load", "supply"):
                joined[key] = mine[key] * other[key]
            elif f.name == "series_ohm":
                joined[key] = mine[key] + other[key]
        setattr(found, f.name, joined)
    return found
