"""Lays a chain out for its page: across, boxes from left to right; down, a line for each stage beside the rails of its leads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.report import ChainDrawing

BOX_WIDE, BOX_HIGH = 136, 56
COLUMN, ROW, EDGE = 208, 84, 8
RAIL, STEP, TOP = 20, 56, 28
LETTERS, LEAD_LETTERS = 16, 9
"""Letters of a name that fit a box, and a lead between two boxes."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A stage where it stands: the corner of its box across, the middle of its mark down."""

    name: str
    shown: str
    kind: str
    x: float
    y: float
    note: str
    weight: str
    fed: str = ""


@dataclass(frozen=True, slots=True)
class Label:
    """Words at a lead: where they begin."""

    x: float
    y: float
    words: str


@dataclass(frozen=True, slots=True)
class Layout:
    """A chain laid out: stages, and the leads as paths.

    Attributes
    ----------
    labels : outputs at their leads (across only; down each stage says what feeds it).
    text_x : where the words of a line begin (down only).
    """

    wide: float
    high: float
    stops: tuple[Stop, ...]
    leads: tuple[str, ...]
    labels: tuple[Label, ...] = ()
    text_x: float = 0.0


Outputs = dict[tuple[str, str], list[str]]
"""Two stages -> the outputs by which one feeds the other, where it has several."""
Notes = dict[str, tuple[str, str]]
"""Stage -> how grave what is said of it is, and how it is said on the drawing."""


def across(drawing: ChainDrawing, notes: Notes, outputs: Outputs | None = None) -> Layout:
    """Return a chain laid out from left to right."""
    at = {b.name: (EDGE + b.column * COLUMN, EDGE + b.row * ROW) for b in drawing.boxes}
    stops = tuple(Stop(b.name, _short(b.name), b.kind, *at[b.name], *_noted(notes, b.name)) for b in drawing.boxes)
    leads, labels = [], []
    for line in drawing.lines:
        (x, y), (to_x, to_y) = at[line.source], at[line.target]
        middle = BOX_HIGH / 2
        bend = x + BOX_WIDE + 8 if to_x - x == COLUMN else to_x - (COLUMN - BOX_WIDE) + 8
        if words := _outputs((outputs or {}).get((line.source, line.target), [])):
            labels.append(Label(to_x - (COLUMN - BOX_WIDE) + 12, to_y + middle - 6, words))
        leads.append(f"M{x + BOX_WIDE:g} {y + middle:g}H{bend:g}V{to_y + middle:g}H{to_x:g}")
    wide = max(x for x, _ in at.values()) + BOX_WIDE + EDGE
    high = max(y for _, y in at.values()) + BOX_HIGH + EDGE
    return Layout(wide, high, stops, tuple(leads), tuple(labels))


def down(drawing: ChainDrawing, notes: Notes, outputs: Outputs | None = None) -> Layout:
    """Return a chain laid out from top to bottom, a line a stage: each lead runs down a rail of its own."""
    after: dict[str, list[str]] = {b.name: [] for b in drawing.boxes}
    before: dict[str, list[str]] = {b.name: [] for b in drawing.boxes}
    for line in drawing.lines:
        after[line.source].append(line.target)
        before[line.target].append(line.source)
    rails = _Rails(after, before)
    for b in drawing.boxes:
        if not before[b.name]:
            rails.visit(b.name)
    kinds = {b.name: b.kind for b in drawing.boxes}
    most = max([rail for rail, _ in rails.at.values()] + [run[2] for run in rails.runs])
    fed = {
        name: ", ".join(f"{b}.{o}" for b in before[name] for o in (outputs or {}).get((b, name), ())) for name in before
    }
    stops = tuple(
        Stop(name, name, kinds[name], _x(rail), _y(row), *_noted(notes, name), fed[name])
        for name, (rail, row) in rails.at.items()
    )
    leads = tuple(_run(rails.at[source], rails.at[target], rail) for source, target, rail in rails.runs)
    high = TOP + STEP * (len(stops) - 1) + TOP
    return Layout(360, high, stops, leads, text_x=_x(most) + 22)


class _Rails:
    """Gives each stage a line and each lead a rail, so that no rail runs through a stage that isn't its end."""

    def __init__(self, after: dict[str, list[str]], before: dict[str, list[str]]) -> None:
        self.after, self.before = after, before
        self.at: dict[str, tuple[int, int]] = {}
        self.runs: list[tuple[str, str, int]] = []
        self._waiting: dict[tuple[str, str], int] = {}

    def visit(self, name: str) -> None:
        if name in self.at or any(b not in self.at for b in self.before[name]):
            return
        mine = sorted(self._waiting.pop((b, name)) for b in self.before[name])
        rail = mine[0] if mine else self._free()
        self.at[name] = (rail, len(self.at))
        for i, target in enumerate(self.after[name]):
            run = rail if i == 0 else self._free(taken=rail)
            self._waiting[name, target] = run
            self.runs.append((name, target, run))
        for target in self.after[name]:
            self.visit(target)

    def _free(self, taken: int = -1) -> int:
        used = {*self._waiting.values(), taken}
        return next(i for i in range(len(used) + 1) if i not in used)


def _x(rail: int) -> float:
    return 18.0 + RAIL * rail


def _y(row: int) -> float:
    return float(TOP + STEP * row)


def _run(source: tuple[int, int], target: tuple[int, int], rail: int) -> str:
    """Return a lead: aside to its rail, down it, and into its end."""
    x, y, to_x, to_y = _x(source[0]), _y(source[1]), _x(target[0]), _y(target[1])
    along = _x(rail)
    path = f"M{x:g} {y:g}"
    path += f"H{along:g}" if along != x else ""
    return path + (f"V{to_y:g}" if along == to_x else f"V{to_y - STEP / 2:g}L{to_x:g} {to_y:g}")


def _outputs(names: list[str]) -> str:
    words = ", ".join(names)
    return _short(words, LEAD_LETTERS) if len(words) <= LEAD_LETTERS or len(names) < 2 else f"{len(names)} outputs"


def _noted(notes: Notes, name: str) -> tuple[str, str]:
    weight, note = notes.get(name, ("", ""))
    return note, weight


def _short(name: str, letters: int = LETTERS) -> str:
    return name if len(name) <= letters else f"{name[: letters - 1]}…"
