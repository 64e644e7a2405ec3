"""The layout of a chain drawing for pages and papers: the position of each box, lead and text, in pixels.

In the layout across, boxes run from left to right; in the layout down, each stage is a line of text next to vertical
rails that carry its leads. A balloon is a number or letter, at a stage or lead, to which a list refers.
"""

from __future__ import annotations

import string
import textwrap
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

from gainwright.model import stages_at, stages_of
from gainwright.report.chain_drawing import chain_drawing
from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import Job
    from gainwright.report.chain_drawing import ChainDrawing
    from gainwright.report.languages import Language

BOX_WIDE, BOX_HIGH, TEXT_IN = 156, 56, 10
"""A box, and how far in from its edge its text begins."""
COLUMN, ROW, EDGE = 228, 84, 16
RAIL, STEP, TOP, WIDE = 20, 56, 28, 360
TEXT_WIDE = 160
"""Least width of a line's text, however many rails there are."""
LETTERS, LETTERS_BESIDE_MARK, LEAD_LETTERS = 16, 13, 9
"""Letters of a name that fit in a box, in one beside its mark, and on a lead between two boxes."""
LETTER, SMALL_LETTER, BALLOON = 8.6, 7.2, 25
"""Width of a letter of a name, and of the line below it; distance between balloons."""
MOST_AT_STAGE, MOST_AT_LEAD = 4, 2
SUSPECTED = "suspected"
"""Line weight of a stage that has a balloon."""
TITLE_HIGH, LINE_HIGH, LETTER_OF_LIST = 30, 18, 7.0
"""Height of the title above a drawing and of a line of the list below it; width of a letter of that line."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A stage and its position: the corner of its box (across), the centre of its mark (down).

    Attributes
    ----------
    called, shown : what people call it, in full and as far as there is room.
    """

    name: str
    called: str
    shown: str
    kind: str
    x: float
    y: float
    note: str
    weight: str
    under: str = ""


@dataclass(frozen=True, slots=True)
class Label:
    """Text at a lead, and the position of its beginning."""

    x: float
    y: float
    words: str


@dataclass(frozen=True, slots=True)
class LeadPath:
    """A lead as a path."""

    path: str
    suspected: bool = False


@dataclass(frozen=True, slots=True)
class Balloon:
    """A number or letter in a circle, and the position of its centre."""

    x: float
    y: float
    mark: str


@dataclass(frozen=True, slots=True)
class ChainLayout:
    """A chain laid out: stages, and the leads between them.

    Attributes
    ----------
    labels : outputs at their leads (across only; down, each stage names what feeds it).
    text_x : where the text of a line begins (down only).
    box_wide, text_in : of a box (across only), and how far in from its edge its text begins.
    """

    wide: float
    high: float
    stops: tuple[Stop, ...]
    leads: tuple[LeadPath, ...]
    labels: tuple[Label, ...] = ()
    balloons: tuple[Balloon, ...] = ()
    text_x: float = 0.0
    box_wide: int = BOX_WIDE
    text_in: int = TEXT_IN


@dataclass(frozen=True, slots=True)
class PaperDrawing:
    """A chain as a separate picture: a title, the chain, and below it a list that explains the balloons."""

    title: str
    description: str
    wide: float
    high: float
    chain: ChainLayout
    lines: tuple[str, ...]


Notes = dict[str, tuple[str, str]]
"""Stage -> line weight, and the note on the drawing."""
Marks: TypeAlias = "Mapping[str, Sequence[int | str]]"
"""Stage, output, control or lead -> numbers or letters of its balloons."""


@dataclass(frozen=True, slots=True)
class DrawnChain:
    """A chain in both layouts, for wide windows and for phones."""

    across: ChainLayout
    down: ChainLayout


def lay_out_both_ways(job: Job, *, title: str, notes: Notes | None = None, marks: Marks | None = None) -> DrawnChain:
    """Return a job's chain in both layouts, for a page.

    Parameters
    ----------
    notes : notes of stages.
    marks : balloons at suspected places.
    """
    drawing = chain_drawing(job, title=title)
    marks = _on_stages(job, marks)
    return DrawnChain(lay_out_across(drawing, notes or {}, marks), lay_out_down(drawing, notes or {}, marks))


def _on_stages(job: Job, marks: Marks | None) -> Marks:
    """Return marks with those of a chassis on each stage in it."""
    found: dict[str, list[int | str]] = {}
    for place, numbers in (marks or {}).items():
        for stage in stages_of(job, place):
            found.setdefault(stage, []).extend(numbers)
    return found


def lay_out_for_paper(drawing: ChainDrawing, into: Language | None = None) -> PaperDrawing:
    """Return a chain laid out across, with letters in balloons and a list of the notes that they refer to."""
    translate = str if into is None else into.translate
    called = {b.name: b.called for b in drawing.boxes}
    marked = [(b.name, b.called, b.words) for b in drawing.boxes if b.words]
    marked += [
        (f"lead:{x.source}-{x.target}", sentence(x.shown) or f"{called[x.source]} - {called[x.target]}", x.words)
        for x in drawing.lines
        if x.words
    ]
    layout = lay_out_across(drawing, {}, {place: [_letters(i)] for i, (place, _, _) in enumerate(marked)})
    layout = replace(layout, stops=tuple(replace(stop, kind=translate(stop.kind)) for stop in layout.stops))
    layout = replace(layout, labels=tuple(replace(label, words=translate(label.words)) for label in layout.labels))
    wide = max(layout.wide, WIDE)
    fitting = int((wide - 2 * EDGE) / LETTER_OF_LIST)
    lines: list[str] = []
    for i, (_, name, words) in enumerate(marked):
        lines += textwrap.wrap(
            f"{_letters(i)}   {translate(name)}: {translate(words)}", fitting, subsequent_indent="      "
        )
    high = TITLE_HIGH + layout.high + LINE_HIGH * len(lines)
    return PaperDrawing(translate(drawing.title), drawing.description, wide, high, layout, tuple(lines))


def _letters(index: int) -> str:
    """Return A to Z, then AA to AZ and so on."""
    before, letter = divmod(index, len(string.ascii_uppercase))
    return (_letters(before - 1) if before else "") + string.ascii_uppercase[letter]


def lay_out_across(drawing: ChainDrawing, notes: Notes, marks: Marks | None = None) -> ChainLayout:
    """Return a chain laid out from left to right."""
    at = {b.name: (EDGE + b.column * COLUMN, EDGE + b.row * ROW) for b in drawing.boxes}
    here, between = _balloons_by_place(marks)
    notes = {**notes, **dict.fromkeys(here, (SUSPECTED, ""))}
    stops = tuple(
        Stop(
            b.name,
            b.called,
            _shortened(b.called, LETTERS_BESIDE_MARK if b.name in notes else LETTERS),
            say(b.kind),
            *at[b.name],
            *_note_of(notes, b.name),
        )
        for b in drawing.boxes
    )
    balloons = [
        Balloon(at[name][0] + BOX_WIDE - 14 - BALLOON * i, at[name][1] - 3, str(mark))
        for name, numbers in here.items()
        if name in at
        for i, mark in enumerate(numbers)
    ]
    leads, labels = [], []
    for line in drawing.lines:
        (x, y), (to_x, to_y) = at[line.source], at[line.target]
        middle = BOX_HIGH / 2
        bend = x + BOX_WIDE + 8 if to_x - x == COLUMN else to_x - (COLUMN - BOX_WIDE) + 8
        if words := _outputs(line.outputs):
            labels.append(Label(to_x - (COLUMN - BOX_WIDE) + 12, to_y + middle - 6, words))
        numbers = between.get((line.source, line.target), [])
        # below the lead: its label is above it
        balloons += [Balloon(to_x - 22 - BALLOON * i, to_y + middle + 13, str(mark)) for i, mark in enumerate(numbers)]
        path = f"M{x + BOX_WIDE:g} {y + middle:g}H{bend:g}V{to_y + middle:g}H{to_x:g}"
        leads.append(LeadPath(path, bool(numbers)))
    wide = max(x for x, _ in at.values()) + BOX_WIDE + EDGE
    high = max(y for _, y in at.values()) + BOX_HIGH + EDGE
    return ChainLayout(wide, high, stops, tuple(leads), tuple(labels), tuple(balloons))


def lay_out_down(drawing: ChainDrawing, notes: Notes, marks: Marks | None = None) -> ChainLayout:
    """Return a chain laid out from top to bottom, one line for each stage; each lead has its own rail."""
    called = {b.name: b.called for b in drawing.boxes}
    after: dict[str, list[str]] = {b.name: [] for b in drawing.boxes}
    before: dict[str, list[str]] = {b.name: [] for b in drawing.boxes}
    fed: dict[str, list[str]] = {b.name: [] for b in drawing.boxes}
    for line in drawing.lines:
        after[line.source].append(line.target)
        before[line.target].append(line.source)
        fed[line.target] += [_output_of(called, line.source, output) for output in line.outputs]
    rails = _Rails(after, before)
    for b in drawing.boxes:
        if not before[b.name]:
            rails.visit(b.name)
    kinds = {b.name: say(b.kind) for b in drawing.boxes}
    most = max([rail for rail, _ in rails.at.values()] + [run[2] for run in rails.runs])
    under = {
        name: say("{kind} from {sources}", kind=kinds[name], sources=", ".join(fed[name])) if fed[name] else kinds[name]
        for name in fed
    }
    here, between = _balloons_by_place(marks)
    notes = {**notes, **dict.fromkeys(here, (SUSPECTED, ""))}
    text_x = _x(most) + 22
    wide = max(WIDE, text_x + TEXT_WIDE)
    stops = tuple(
        Stop(
            name,
            called[name],
            _shortened_beside(called[name], len(here.get(name, ())), wide - text_x, LETTER),
            kinds[name],
            _x(rail),
            _y(row),
            *_note_of(notes, name),
            _shortened_beside(under[name], len(here.get(name, ())), wide - text_x, SMALL_LETTER),
        )
        for name, (rail, row) in rails.at.items()
    )
    leads, balloons = [], []
    for source, target, rail in rails.runs:
        numbers = between.get((source, target), [])
        leads.append(LeadPath(_lead_down(rails.at[source], rails.at[target], rail), bool(numbers)))
        y = _y(rails.at[target][1]) - STEP / 2
        balloons += [Balloon(_x(rail) + BALLOON * i, y, str(mark)) for i, mark in enumerate(numbers)]
    for name, numbers in here.items():
        if name in rails.at:
            y = _y(rails.at[name][1])
            balloons += [Balloon(wide - 14 - BALLOON * i, y, str(mark)) for i, mark in enumerate(numbers)]
    high = TOP + STEP * (len(stops) - 1) + TOP
    return ChainLayout(wide, high, stops, tuple(leads), balloons=tuple(balloons), text_x=text_x)


def _balloons_by_place(
    marks: Marks | None,
) -> tuple[dict[str, list[int | str]], dict[tuple[str, str], list[int | str]]]:
    """Return the balloons of each stage, and of each lead between two stages; only the first few of each."""
    here: dict[str, list[int | str]] = {}
    between: dict[tuple[str, str], list[int | str]] = {}
    for place, numbers in (marks or {}).items():
        ends = stages_at(place)
        if len(ends) > 1:
            between.setdefault((ends[0], ends[1]), []).extend(numbers)
        else:
            here.setdefault(ends[0], []).extend(numbers)
    return (
        {name: numbers[:MOST_AT_STAGE] for name, numbers in here.items()},
        {pair: numbers[:MOST_AT_LEAD] for pair, numbers in between.items()},
    )


def _shortened_beside(words: str, balloons: int, room: float, letter: float) -> str:
    """Return a text, shortened to leave room for the balloons if there are any."""
    return _shortened(words, max(1, int((room - BALLOON * balloons - 8) / letter))) if balloons else words


class _Rails:
    """Assigns each stage a line and each lead a rail, so that no rail crosses a stage other than its ends."""

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


def _lead_down(source: tuple[int, int], target: tuple[int, int], rail: int) -> str:
    """Return the path of a lead: sideways to its rail, down, and into its target."""
    x, y, to_x, to_y = _x(source[0]), _y(source[1]), _x(target[0]), _y(target[1])
    along = _x(rail)
    path = f"M{x:g} {y:g}"
    path += f"H{along:g}" if along != x else ""
    return path + (f"V{to_y:g}" if along == to_x else f"V{to_y - STEP / 2:g}L{to_x:g} {to_y:g}")


def _output_of(called: Mapping[str, str], stage: str, output: str) -> str:
    """Return an output on the line of what it feeds."""
    return f"{called[stage]}, {output}"


def _outputs(names: tuple[str, ...]) -> str:
    words = ", ".join(names)
    return (
        _shortened(words, LEAD_LETTERS)
        if len(words) <= LEAD_LETTERS or len(names) < 2
        else say("{number} outputs", number=len(names))
    )


def _note_of(notes: Notes, name: str) -> tuple[str, str]:
    weight, note = notes.get(name, ("", ""))
    return note, weight


def _shortened(name: str, letters: int = LETTERS) -> str:
    return name if len(name) <= letters else f"{name[: letters - 1]}…"
