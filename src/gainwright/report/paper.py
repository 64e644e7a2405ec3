"""A paper as a sequence of blocks, independent of how it is printed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from gainwright.results import to_json
from gainwright.texts import joined

if TYPE_CHECKING:
    from gainwright.report.charts import Chart

PaperKind = Literal["setup", "handover", "customer", "case", "power"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of a section."""

    kind: ClassVar = "heading"
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; `strong` if it must not be overlooked."""

    kind: ClassVar = "paragraph"
    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class BulletList:
    """A list of sentences."""

    kind: ClassVar = "listed"
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table: columns, rows of texts; `right` are the columns aligned right, as numbers are."""

    kind: ClassVar = "table"
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class StepBlock:
    """One step with a box for a reading or a tick, or with a row and its boxes for each of several.

    Attributes
    ----------
    number : 0 prints none.
    box : unit of the reading in the box, such as `V`; empty for a tick. With rows there is none.
    columns : headings of the rows' texts, then of their boxes.
    rows, boxes : texts of each row, and the units of its boxes.
    """

    kind: ClassVar = "step"
    number: int
    do: str
    why: str = ""
    expect: str = ""
    box: str = ""
    cautions: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    boxes: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A chart with its text alternative; `share` of its usual size."""

    kind: ClassVar = "figure"
    chart: Chart
    alternative: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo with its text alternative.

    Attributes
    ----------
    orientation : how it is turned, 1 to 8 as in Exif (CIPA DC-008, 4.6.4, tag 274); its file itself doesn't say.
    """

    kind: ClassVar = "figure"
    content: bytes
    media_type: str
    width: int
    height: int
    orientation: int
    alternative: str


@dataclass(frozen=True, slots=True)
class BlankLines:
    """Lines to be filled in by hand, each with its label."""

    kind: ClassVar = "fill"
    labels: tuple[str, ...]


Block = Heading | Paragraph | BulletList | Table | StepBlock | Figure | Picture | BlankLines


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper.

    Attributes
    ----------
    blocks : in printed order.
    data : the paper's content as a typed result.
    date : ISO, as given; the clock isn't read.
    pages : that it should fit on, with smaller type if necessary; that of its kind unless given.
    """

    kind: PaperKind
    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    data: Any = None
    date: str = ""
    pages: int | None = None

    @property
    def fingerprint(self) -> str:
        """Sixteen hexadecimal digits of the SHA-256 of the paper's data."""
        content = json.dumps(self._numbers(), sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(content.encode()).hexdigest()[:16]

    def as_json(self) -> dict[str, Any]:
        """Return the paper's data as one object."""
        head = {"kind": self.kind, "title": self.title, "date": self.date, "fingerprint": self.fingerprint}
        return head | self._numbers()

    def _numbers(self) -> dict[str, Any]:
        return {} if self.data is None else dict(to_json(self.data))

    def tables(self) -> list[tuple[str, Table]]:
        """Return its tables, each with the heading above it, for CSV."""
        found, heading = [], ""
        for block in self.blocks:
            if isinstance(block, Heading):
                heading = block.text
            elif isinstance(block, Table):
                found.append((heading, block))
        return found


def subtitle(*parts: str) -> str:
    """Return the line below a title: its parts that aren't empty."""
    return joined([part for part in parts if part], by="{a} · {b}")
