"""The supply as a tree: battery, cables, devices, each on rows of its own, laid out for pages and papers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import BATTERY, device_words, name_words
from gainwright.power import STATES
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.power import CableResult, DeviceResult, PowerResult, StateName

ROW, TOP, EDGE, INDENT, TEXT_AFTER = 80, 12, 18, 22, 16
LINE = 17
WIDE = 300
THIN, THICK, AMPS_THICK = 1.5, 8.0, 100.0
"""Line width without current, the largest one, and the current at which it is reached, A."""


@dataclass(frozen=True, slots=True)
class SupplyRow:
    """One row: the position of its dot, its three lines of text, and the line that leads to it.

    Attributes
    ----------
    title, detail, figures : what it is, its wire and fuse, its figures by state, a line for each quantity.
    from_y : where the line that leads to it begins; None for the battery.
    width : of that line, by the current in the worst second.
    caution : whether something is wrong with it.
    """

    kind: str
    title: str
    detail: str
    figures: tuple[str, ...]
    x: float
    y: float
    from_x: float
    from_y: float | None
    width: float
    caution: bool

    @property
    def lines(self) -> list[str]:
        """Its lines of text."""
        return [text for text in (self.title, self.detail, *self.figures) if text]

    @property
    def text_x(self) -> float:
        """Where its text begins."""
        return self.x + TEXT_AFTER


@dataclass(frozen=True, slots=True)
class SupplyDrawing:
    """The supply of a job as rows, with the size of the drawing."""

    title: str
    description: str
    legend: str
    rows: tuple[SupplyRow, ...]
    wide: float
    high: float


def state_words(state: StateName) -> str:
    """Return a state in words."""
    return {
        "idle": say("idle"),
        "music": say("music"),
        "worst_second": say("worst second"),
        "full_sine": say("full power"),
    }[state]


def supply_drawing(result: PowerResult, job: Job) -> SupplyDrawing:
    """Return the drawing of a job's supply."""
    wrong = {f.where.removeprefix("supply.") for f in result.findings if f.severity == "caution"}
    rows: list[SupplyRow] = []
    volts = (_by_state(result.battery.volts, "V", 1),)
    rows.append(_row(rows, "battery", say("Battery"), say("at its terminals"), volts, None, 0.0, 0, BATTERY in wrong))
    devices = {d.name: d for d in result.devices}
    fed = {d for c in result.cables for d in c.feeds}
    for name, device in devices.items():
        if name not in fed:
            rows.append(_device(rows, job, device, rows[0], 1, wrong))
    _branches(rows, job, result, devices, BATTERY, rows[0], 1, wrong)
    words = joined([joined(r.lines) for r in rows], by="{a}; {b}")
    deepest = max(r.text_x for r in rows)
    letters = max(len(text) for r in rows for text in r.lines[1:])
    return SupplyDrawing(
        say("Supply"),
        words,
        say("In this order: {states}.", states=joined([state_words(s) for s in STATES])),
        tuple(rows),
        max(WIDE, deepest + 6.6 * letters + EDGE),
        TOP + ROW * len(rows),
    )


def _branches(
    rows: list[SupplyRow], job: Job, result: PowerResult, devices: dict[str, DeviceResult], source: str,
    parent: SupplyRow, depth: int, wrong: set[str],
) -> None:  # fmt: skip
    for cable in result.cables:
        if cable.source != source:
            continue
        row = _cable(rows, cable, parent, depth, wrong)
        rows.append(row)
        for name in cable.feeds:
            rows.append(_device(rows, job, devices[name], row, depth + 1, wrong))
        _branches(rows, job, result, devices, cable.name, row, depth + 1, wrong)


def _cable(rows: list[SupplyRow], cable: CableResult, parent: SupplyRow, depth: int, wrong: set[str]) -> SupplyRow:
    parts = [cable.wire or say("wire not given")]
    parts.append(say("no fuse") if cable.fuse_a is None else say("fuse {amps} A", amps=f"{cable.fuse_a:g}"))
    parts.append(say("{ohm} mohm there and back", ohm=f"{1000 * cable.ohm:.1f}"))
    figures = (_by_state(cable.amps, "A", 0), _by_state(cable.end_v, "V", 1))
    return _row(
        rows, "cable", name_words(cable.name), joined(parts), figures, parent,
        cable.amps["worst_second"] or 0.0, depth, cable.name in wrong,
    )  # fmt: skip


def _device(
    rows: list[SupplyRow], job: Job, device: DeviceResult, parent: SupplyRow, depth: int, wrong: set[str]
) -> SupplyRow:
    figures = (_by_state(device.amps, "A", 0), _by_state(device.volts, "V", 1))
    return _row(
        rows, "device", device_words(job, device.name), "", figures, parent,
        device.amps["worst_second"] or 0.0, depth, device.name in wrong,
    )  # fmt: skip


def _row(
    rows: list[SupplyRow], kind: str, title: str, detail: str, figures: tuple[str, ...], parent: SupplyRow | None, amps: float,
    depth: int, caution: bool,
) -> SupplyRow:  # fmt: skip
    width = THIN + (THICK - THIN) * min(amps / AMPS_THICK, 1.0)
    return SupplyRow(
        kind, title, detail, figures, EDGE + INDENT * depth, TOP + ROW * len(rows) + 12,
        EDGE if parent is None else parent.x, None if parent is None else parent.y, width, caution,
    )  # fmt: skip


def _by_state(values: dict[StateName, float | None], unit: str, decimals: int) -> str:
    shown = []
    for state in STATES:
        value = values[state]
        places = 1 if unit == "A" and value is not None and value < 10 else decimals
        shown.append("–" if value is None else f"{value:.{places}f}")
    return f"{' / '.join(shown)} {unit}"
