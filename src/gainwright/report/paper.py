"""A paper as blocks: what stands on it in which order, for any way of printing it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from gainwright.results import to_json

if TYPE_CHECKING:
    from gainwright.report import Chart

Kind = Literal["setup", "handover", "customer", "case"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; `strong` for what must not be missed."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Listed:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table: columns, rows of texts; `right` are the columns that stand to the right, as numbers do."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One step with boxes for a tick and a reading.

    Attributes
    ----------
    box : what is written into the box, as `V`; empty for a tick alone.
    """

    number: int
    do: str
    why: str = ""
    expect: str = ""
    box: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A chart with the words for who can't see it."""

    chart: Chart
    alternative: str


@dataclass(frozen=True, slots=True)
class Fill:
    """Lines that are left to be filled in by hand."""

    labels: tuple[str, ...]


Block = Heading | Paragraph | Listed | Table | Step | Figure | Fill


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper.

    Attributes
    ----------
    blocks : in the order in which they stand.
    data : the same as numbers, a result.
    date : ISO, as given; nothing is taken from the clock.
    """

    kind: Kind
    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    data: Any = None
    date: str = ""

    @property
    def fingerprint(self) -> str:
        """Sixteen hexadecimal figures of what the paper says: the same data, the same fingerprint (SHA-256)."""
        said = json.dumps(self._numbers(), sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(said.encode()).hexdigest()[:16]

    def as_json(self) -> dict[str, Any]:
        """Return the paper's data as one object."""
        head = {"kind": self.kind, "title": self.title, "date": self.date, "fingerprint": self.fingerprint}
        return head | self._numbers()

    def _numbers(self) -> dict[str, Any]:
        return {} if self.data is None else dict(to_json(self.data))

    def tables(self) -> list[tuple[str, Table]]:
        """Return its tables with the heading each stands under, for CSV."""
        found, heading = [], ""
        for block in self.blocks:
            if isinstance(block, Heading):
                heading = block.text
            elif isinstance(block, Table):
                found.append((heading, block))
        return found


def subtitle(*parts: str) -> str:
    """Return what stands below a title: those of its parts that there are."""
    return " · ".join(part for part in parts if part)
