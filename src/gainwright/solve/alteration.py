"""Deviations of a chain from its job, as arrays over the cases of one solve."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Node, Port

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Wire = tuple[Node, Port]
"""One side of a lead: its node and its port."""

ABSENT_LOW_PASS_HZ, ABSENT_HIGH_PASS_HZ = 1e9, 1e-6
"""Corners of a filter that isn't there."""


@dataclass(frozen=True, slots=True)
class Alteration:
    """Changes to a chain, each by place; an array of shape (cases,) or a scalar; missing entries are as in the job.

    Attributes
    ----------
    gain : factor on the output, 0 when it is dead.
    ceiling : factor on an output's ceiling.
    series_ohm : resistance added in a lead; 1e12 opens it.
    shorted : conductance between a lead's conductors where they touch, siemens, 0 elsewhere.
    short_place : share of the lead's resistance that lies before that place, 0.5 if not given.
    sign : -1 where a lead's conductors are exchanged, 1 elsewhere.
    load : factor on the input resistance of a port.
    low_pass_hz, high_pass_hz : corner of a Butterworth filter that isn't in the job.
    slope : of those filters, 12 or 24 dB per octave; 24 if not given.
    boost : gain in dB and centre in Hz of a peak (q 0.7) that isn't in the job.
    crossed : share of a port's signal that comes from the other side's source instead of its own.
    taken : (port, other port) -> share of the first one's signal that comes from what feeds the other instead.
    misrouted : share of an output's signal that comes from the routes of another output, named by `instead`.
    fed_v : port -> volts rms of a separate source connected in place of its lead, for a tone of 0 dBFS.
    """

    gain: Mapping[Node, Any] = field(default_factory=dict)
    ceiling: Mapping[Node, Any] = field(default_factory=dict)
    series_ohm: Mapping[Wire, Any] = field(default_factory=dict)
    shorted: Mapping[Wire, Any] = field(default_factory=dict)
    short_place: Mapping[Wire, Any] = field(default_factory=dict)
    sign: Mapping[Wire, Any] = field(default_factory=dict)
    load: Mapping[Port, Any] = field(default_factory=dict)
    low_pass_hz: Mapping[Node, Any] = field(default_factory=dict)
    high_pass_hz: Mapping[Node, Any] = field(default_factory=dict)
    slope: Mapping[Node, Any] = field(default_factory=dict)
    boost: Mapping[Node, tuple[Any, Any]] = field(default_factory=dict)
    crossed: Mapping[Port, Any] = field(default_factory=dict)
    taken: Mapping[tuple[Port, Port], Any] = field(default_factory=dict)
    misrouted: Mapping[Node, Any] = field(default_factory=dict)
    instead: Mapping[Node, Node] = field(default_factory=dict)
    fed_v: Mapping[Port, float] = field(default_factory=dict)

    def sizes(self) -> list[int]:
        """Return the number of cases of each entry, 1 for a scalar."""
        varying = [f.name for f in fields(self) if f.name not in ("instead", "fed_v")]
        return [int(np.size(part)) for name in varying for v in getattr(self, name).values() for part in _parts(v)]

    def cut(self, rows: slice) -> Alteration:
        """Return the entries of some cases."""
        found: dict[str, Any] = {}
        for f in fields(self):
            mapping = getattr(self, f.name)
            if f.name not in ("instead", "fed_v"):
                mapping = {k: _cut(v, rows) for k, v in mapping.items()}
            found[f.name] = mapping
        return Alteration(**found)


def _parts(value: Any) -> tuple[Any, ...]:
    return value if isinstance(value, tuple) else (value,)


def _cut(value: Any, rows: slice) -> Any:
    if isinstance(value, tuple):
        return tuple(_cut(part, rows) for part in value)
    return value if np.size(value) == 1 else np.asarray(value)[rows]


UNALTERED = Alteration()

NEUTRAL = {
    "gain": 1.0,
    "ceiling": 1.0,
    "series_ohm": 0.0,
    "shorted": 0.0,
    "short_place": 0.5,
    "sign": 1.0,
    "load": 1.0,
    "low_pass_hz": ABSENT_LOW_PASS_HZ,
    "high_pass_hz": ABSENT_HIGH_PASS_HZ,
    "slope": 24.0,
    "crossed": 0.0,
    "taken": 0.0,
    "misrouted": 0.0,
}
"""Entries that deviate in nothing; of a boost 0 dB."""
_NO_BOOST = (0.0, 1000.0)


Entry = tuple[str, Any, Any]
"""Field, key and value of one entry of an alteration."""


def entries_of(alter: Alteration) -> list[Entry]:
    """Return the entries of an alteration, but for what is fed."""
    return [
        (name, key, value) for name in (*NEUTRAL, "boost", "instead") for key, value in getattr(alter, name).items()
    ]


def joined(each: Sequence[Sequence[Entry]], *, draws: int, fed_v: Mapping[Port, float]) -> Alteration:
    """Return several alterations of `draws` draws each, given by their entries, as one; its cases are theirs, block by block."""
    found: dict[str, Any] = {name: {} for name in (*NEUTRAL, "boost", "instead")}
    cases = len(each) * draws
    for i, entries in enumerate(each):
        rows = slice(i * draws, (i + 1) * draws)
        for name, key, value in entries:
            if name == "instead":
                found[name][key] = value
                continue
            arrays = found[name].get(key)
            if arrays is None:
                neutral = _NO_BOOST if name == "boost" else (NEUTRAL[name],)
                arrays = found[name][key] = [np.full(cases, part) for part in neutral]
            for array, part in zip(arrays, _parts(value), strict=True):
                array[rows] = part
    for name in NEUTRAL:
        found[name] = {key: arrays[0] for key, arrays in found[name].items()}
    found["boost"] = {key: tuple(arrays) for key, arrays in found["boost"].items()}
    return Alteration(**found, fed_v=fed_v)
