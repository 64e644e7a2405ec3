"""The drawing of a chain: no lead crosses a stage that isn't its end, no two stages are in one place."""

from __future__ import annotations

import itertools
import re
from xml.etree import ElementTree

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gainwright.adapters.charts import VegaCharts
from gainwright.report.chain_drawing import ChainDrawing, LeadLine, StageBox
from gainwright.report.chain_layout import (
    BOX_HIGH,
    BOX_WIDE,
    LETTER,
    LETTERS,
    LETTERS_BESIDE_MARK,
    SMALL_LETTER,
    TEXT_IN,
    ChainLayout,
    LeadPath,
    lay_out_across,
    lay_out_down,
    lay_out_for_paper,
)


@st.composite
def chains(draw: st.DrawFn) -> ChainDrawing:
    """Chains that branch and join as they like, in signal order, with the columns that a drawing gives them."""
    size = draw(st.integers(2, 14))
    before: dict[int, list[int]] = {0: []}
    for i in range(1, size):
        before[i] = sorted(draw(st.sets(st.integers(0, i - 1), min_size=0 if i < 3 else 1, max_size=3)))
    column: dict[int, int] = {}
    for i in range(size):
        column[i] = max((column[b] + 1 for b in before[i]), default=0)
    rows: dict[int, int] = {}
    boxes = []
    for i in range(size):
        rows[column[i]] = rows.get(column[i], -1) + 1
        boxes.append(StageBox(f"s{i}", "amplifier", column[i], float(rows[column[i]]), ""))
    lines = tuple(LeadLine(f"s{b}", f"s{i}", "") for i in range(size) for b in before[i])
    return ChainDrawing("a chain", "", tuple(boxes), lines, "")


def _points(path: str) -> list[tuple[float, float]]:
    """Return the corners of a path."""
    x = y = 0.0
    found = []
    for letter, rest in re.findall(r"([MHVL])([^MHVL]*)", path):
        numbers = [float(n) for n in rest.split()]
        if letter in "ML":
            x, y = numbers
        elif letter == "H":
            x = numbers[0]
        else:
            y = numbers[0]
        found.append((x, y))
    return found


def _through(layout: ChainLayout) -> list[str]:
    """Return the stages that a vertical piece of a lead passes without ending there."""
    found = []
    for lead in layout.leads:
        points = _points(lead.path)
        for (x, y), (to_x, to_y) in itertools.pairwise(points):
            if x != to_x:
                continue
            low, high = sorted((y, to_y))
            found += [s.name for s in layout.stops if s.x == x and low < s.y < high]
    return found


@settings(max_examples=200)
@given(drawing=chains())
def test_vertical_layout_has_a_line_per_stage_and_a_rail_per_lead(drawing: ChainDrawing) -> None:
    """Every stage once, each below all that feed it, its leads ending at it, none crossing another."""
    layout = lay_out_down(drawing, {})
    assert sorted(s.name for s in layout.stops) == sorted(b.name for b in drawing.boxes)
    assert len({s.y for s in layout.stops}) == len(layout.stops)
    at = {s.name: (s.x, s.y) for s in layout.stops}
    assert all(at[line.source][1] < at[line.target][1] for line in drawing.lines)
    ends = sorted((_points(lead.path)[0], _points(lead.path)[-1]) for lead in layout.leads)
    assert ends == sorted((at[line.source], at[line.target]) for line in drawing.lines)
    assert _through(layout) == []
    assert layout.text_x > max(s.x for s in layout.stops)


def test_a_name_stays_clear_of_the_edge_of_its_box() -> None:
    """With the most letters that are shown there is as much room behind it as before it, nearly, and beside a mark too."""
    assert TEXT_IN + LETTERS * LETTER + 8 <= BOX_WIDE
    assert TEXT_IN + LETTERS_BESIDE_MARK * LETTER + 8 <= BOX_WIDE - 14


@settings(max_examples=100)
@given(drawing=chains())
def test_horizontal_layout_keeps_boxes_apart(drawing: ChainDrawing) -> None:
    """And inside the drawing."""
    layout = lay_out_across(drawing, {"s0": ("high", "1 caution")})
    for a, b in itertools.combinations(layout.stops, 2):
        assert abs(a.x - b.x) >= BOX_WIDE or abs(a.y - b.y) >= BOX_HIGH
    assert all(s.x + BOX_WIDE <= layout.wide and s.y + BOX_HIGH <= layout.high for s in layout.stops)
    first = next(s for s in layout.stops if s.name == "s0")
    assert (first.weight, first.note) == ("high", "1 caution")


@st.composite
def marked_chains(draw: st.DrawFn) -> tuple[ChainDrawing, LeadLine, str]:
    """A chain, one of its leads and one of its stages."""
    drawing = draw(chains().filter(lambda drawing: drawing.lines))
    return drawing, draw(st.sampled_from(drawing.lines)), draw(st.sampled_from(drawing.boxes)).name


def _crossed(sources: int, ends: int) -> ChainDrawing:
    """A chain in which every source feeds every end."""
    boxes = [StageBox(f"s{i}", "amplifier", 0, float(i), "") for i in range(sources)]
    boxes += [StageBox(f"e{i}", "amplifier", 1, float(i), "") for i in range(ends)]
    lines = [LeadLine(f"s{i}", f"e{k}", "") for k in range(ends) for i in range(sources)]
    return ChainDrawing("a chain", "", tuple(boxes), tuple(lines), "")


@settings(max_examples=100)
@given(marked=marked_chains())
@example(marked=(_crossed(3, 6), LeadLine("s2", "e5", ""), "s0"))
@example(marked=(_crossed(3, 11), LeadLine("s2", "e10", ""), "s0"))
def test_balloons_mark_where_the_fault_may_be(marked: tuple[ChainDrawing, LeadLine, str]) -> None:
    """At a stage on its box or in its line, at a lead beside its end at a stage; inside the drawing; marked places are suspected."""
    drawing, line, name = marked
    marks = {f"{name}.out": [1, 2, 3, 4, 5, 6], f"lead:{line.source}.left-{line.target}": [7, 8, 9]}
    for layout in (lay_out_across(drawing, {}, marks=marks), lay_out_down(drawing, {}, marks=marks)):
        assert sorted(b.mark for b in layout.balloons) == ["1", "2", "3", "4", "7", "8"]
        assert all(11.5 <= b.y <= layout.high - 11.5 for b in layout.balloons)
        assert all(5 <= b.x <= layout.wide - 11.5 for b in layout.balloons)
        assert [s.name for s in layout.stops if s.weight == "suspected"] == [name]
        (lead,) = (lead for lead in layout.leads if lead.suspected)
        at = {s.name: (s.x, s.y) for s in layout.stops}
        end = at[line.target] if layout.text_x else (at[line.target][0], at[line.target][1] + BOX_HIGH / 2)
        assert _points(lead.path)[-1] == end
        seven = next(b for b in layout.balloons if b.mark == "7")
        assert abs(seven.y - end[1]) <= 30
    drawn = lay_out_down(drawing, {}, marks={drawing.boxes[0].name: [1, 2]})
    first = next(s for s in drawn.stops if s.name == drawing.boxes[0].name)
    leftmost = min(b.x for b in drawn.balloons) - 11.5
    assert drawn.text_x + LETTER * len(first.shown) <= leftmost
    assert drawn.text_x + SMALL_LETTER * len(first.under) <= leftmost


def test_the_check_notices_a_lead_through_a_stage() -> None:
    """A rail drawn through another stage's symbol is found."""
    drawing = ChainDrawing(
        "a",
        "",
        tuple(StageBox(n, "x", i, 0.0, "") for i, n in enumerate("abc")),
        (LeadLine("a", "b", ""), LeadLine("b", "c", "")),
        "",
    )
    layout = lay_out_down(drawing, {})
    first, _, last = layout.stops
    bad = ChainLayout(layout.wide, layout.high, layout.stops, (LeadPath(f"M{first.x:g} {first.y:g}V{last.y:g}"),))
    assert _through(layout) == []
    assert _through(bad) == ["b"]


@pytest.mark.parametrize("letters", [16, 17, 40])
def test_long_name_is_shortened_horizontally_and_complete_vertically(letters: int) -> None:
    """In the horizontal layout a name fits its box."""
    name = "n" * letters
    drawing = ChainDrawing("a", "", (StageBox(name, "x", 0, 0.0, ""),), (), "")
    shown = lay_out_across(drawing, {}).stops[0].shown
    assert len(shown) <= 16
    assert (shown == name) == (letters <= 16)
    assert lay_out_down(drawing, {}).stops[0].shown == name


def test_paper_and_page_are_drawn_from_one_layout() -> None:
    """The picture has the leads, boxes and balloons of the page's own layout, and explains each balloon below."""
    boxes = (StageBox("head", "head unit", 0, 0.0, "low & open"), StageBox("amp", "amplifier", 1, 0.0, ""))
    drawing = ChainDrawing(
        "A <chain>", "", boxes, (LeadLine("head", "amp", "step 1", shown="lead from head to amp"),), ""
    )
    page = lay_out_across(drawing, {}, {"head": ["A"], "lead:head-amp": ["B"]})
    root = ElementTree.fromstring(VegaCharts().render(drawing, ".svg"))  # noqa: S314  our own picture
    found = list(root.iter())
    assert [e.get("d") for e in found if e.tag.endswith("path")] == [lead.path for lead in page.leads]
    circles = [(float(e.get("cx", 0)), float(e.get("cy", 0))) for e in found if e.tag.endswith("circle")]
    assert circles == [(b.x, b.y) for b in page.balloons]
    words = [e.text for e in found if e.tag.endswith("text")]
    assert {"A <chain>", "head", "amp", "A   head: low & open", "B   Lead from head to amp: step 1"} <= set(words)
    below = max(float(e.get("y", 0)) for e in found if e.tag.endswith("text"))
    assert below < float(root.get("height", 0))


@pytest.mark.parametrize(("index", "letters"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA")])
def test_places_are_lettered_past_z(index: int, letters: str) -> None:
    """A chain may have more marked places than the alphabet has letters."""
    boxes = tuple(StageBox(f"s{i}", "x", i, 0.0, "looked at") for i in range(60))
    assert lay_out_for_paper(ChainDrawing("a", "", boxes, (), "")).lines[index] == f"{letters}   s{index}: looked at"
