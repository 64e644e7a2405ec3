"""The drawing of a chain: no lead runs through a stage that isn't its end, no two stages stand in one place."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.report import ChainDrawing
from gainwright.report.chain_drawing import Box, Line
from gainwright.web.jobs.chain_layout import BOX_HIGH, BOX_WIDE, LETTER, SMALL_LETTER, Layout, Run, across, down


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
        boxes.append(Box(f"s{i}", "amplifier", column[i], float(rows[column[i]]), ""))
    lines = tuple(Line(f"s{b}", f"s{i}", "") for i in range(size) for b in before[i])
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


def _through(layout: Layout) -> list[str]:
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
def test_downwards_each_stage_has_its_line_and_each_lead_its_rail(drawing: ChainDrawing) -> None:
    """Every stage once, each below all that feed it, its leads ending at it, none through another."""
    layout = down(drawing, {})
    assert sorted(s.name for s in layout.stops) == sorted(b.name for b in drawing.boxes)
    assert len({s.y for s in layout.stops}) == len(layout.stops)
    at = {s.name: (s.x, s.y) for s in layout.stops}
    assert all(at[line.source][1] < at[line.target][1] for line in drawing.lines)
    ends = sorted((_points(lead.path)[0], _points(lead.path)[-1]) for lead in layout.leads)
    assert ends == sorted((at[line.source], at[line.target]) for line in drawing.lines)
    assert _through(layout) == []
    assert layout.text_x > max(s.x for s in layout.stops)


@settings(max_examples=100)
@given(drawing=chains())
def test_across_no_two_boxes_touch(drawing: ChainDrawing) -> None:
    """Boxes stand apart and inside the sheet."""
    layout = across(drawing, {"s0": ("high", "1 caution")})
    for a, b in itertools.combinations(layout.stops, 2):
        assert abs(a.x - b.x) >= BOX_WIDE or abs(a.y - b.y) >= BOX_HIGH
    assert all(s.x + BOX_WIDE <= layout.wide and s.y + BOX_HIGH <= layout.high for s in layout.stops)
    first = next(s for s in layout.stops if s.name == "s0")
    assert (first.weight, first.note) == ("high", "1 caution")


@settings(max_examples=100)
@given(drawing=chains().filter(lambda drawing: drawing.lines), data=st.data())
def test_balloons_stand_where_the_fault_may_be(drawing: ChainDrawing, data: st.DataObject) -> None:
    """At a stage on its box or in its line, at a lead beside its way into a stage; inside the sheet; what they mark is suspected."""
    line = data.draw(st.sampled_from(drawing.lines))
    name = data.draw(st.sampled_from(drawing.boxes)).name
    marks = {f"{name}.out": [1, 2, 3, 4, 5, 6], f"lead:{line.source}.left-{line.target}": [7, 8, 9]}
    for layout in (across(drawing, {}, marks=marks), down(drawing, {}, marks=marks)):
        assert [b.number for b in sorted(layout.balloons, key=lambda b: b.number)] == [1, 2, 3, 4, 7, 8]
        assert all(11.5 <= b.y <= layout.high - 11.5 for b in layout.balloons)
        assert all(5 <= b.x <= layout.wide - 11.5 for b in layout.balloons)
        assert [s.name for s in layout.stops if s.weight == "suspected"] == [name]
        (lead,) = (lead for lead in layout.leads if lead.suspected)
        at = {s.name: (s.x, s.y) for s in layout.stops}
        end = at[line.target] if layout.text_x else (at[line.target][0], at[line.target][1] + BOX_HIGH / 2)
        assert _points(lead.path)[-1] == end
        seven = next(b for b in layout.balloons if b.number == 7)
        assert abs(seven.y - end[1]) <= 30
    drawn = down(drawing, {}, marks={drawing.boxes[0].name: [1, 2]})
    first = next(s for s in drawn.stops if s.name == drawing.boxes[0].name)
    leftmost = min(b.x for b in drawn.balloons) - 11.5
    if drawn.text_x < 200:  # with more rails than any vehicle has nothing is left for names
        assert drawn.text_x + LETTER * len(first.shown) <= leftmost
        assert drawn.text_x + SMALL_LETTER * len(first.under) <= leftmost


def test_the_check_notices_a_lead_through_a_stage() -> None:
    """A rail drawn through another stage's mark is found."""
    drawing = ChainDrawing(
        "a",
        "",
        tuple(Box(n, "x", i, 0.0, "") for i, n in enumerate("abc")),
        (Line("a", "b", ""), Line("b", "c", "")),
        "",
    )
    layout = down(drawing, {})
    first, _, last = layout.stops
    bad = Layout(layout.wide, layout.high, layout.stops, (Run(f"M{first.x:g} {first.y:g}V{last.y:g}"),))
    assert _through(layout) == []
    assert _through(bad) == ["b"]


@pytest.mark.parametrize("letters", [16, 17, 40])
def test_a_long_name_is_cut_across_and_whole_down(letters: int) -> None:
    """Across a name fits its box; down it stands whole."""
    name = "n" * letters
    drawing = ChainDrawing("a", "", (Box(name, "x", 0, 0.0, ""),), (), "")
    shown = across(drawing, {}).stops[0].shown
    assert len(shown) <= 16
    assert (shown == name) == (letters <= 16)
    assert down(drawing, {}).stops[0].shown == name
