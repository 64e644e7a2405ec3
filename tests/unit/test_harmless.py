"""Text of others in a terminal and in tables: no control of a terminal, no formula of a spreadsheet, numbers as they are."""

from __future__ import annotations

import csv
import datetime
import io
import json

import pytest

from gainwright.adapters.music_tables import _csv
from gainwright.app.cases.history import read_history, write_history
from gainwright.app.store import StoredCase
from gainwright.harmless import cell_as_written, csv_text, harmless_cell, json_without_controls, without_controls
from gainwright.model.case import Case, Closure
from gainwright.report.class_table import ClassRow, ClassTable, class_table_csv
from gainwright.report.paper_content import paper_csv

FORMULAS = [
    "=1+1", "+1+cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "-A1", "+A1*2", "-2-3", "+(1)", "\uff1d1",
]  # fmt: skip


@pytest.mark.parametrize("text", FORMULAS)
def test_formulas_are_guarded_in_every_table(text: str) -> None:
    """An apostrophe is before each in the tables of music, classes, papers and closed cases; reading takes it off again."""
    assert harmless_cell(text) == f"'{text}"
    assert cell_as_written(harmless_cell(text)) == text
    learner = ClassRow(text, 1, text, "c", "", True, "", "", 0, 1, 1.0, 1, 1.0)
    paper = {"blocks": [{"kind": "table", "columns": [text], "rows": [["-3 dB"]]}, {"kind": "heading", "text": text}]}
    for table in (
        class_table_csv(ClassTable("", (learner,))),
        paper_csv(paper),
        _csv(["file"], [{"file": text}]).decode(),
    ):
        cells = [cell for row in csv.reader(io.StringIO(table, newline="")) for cell in row]
        assert f"'{text}" in cells
        assert text not in cells


@pytest.mark.parametrize(
    "text", ["-3", "+3 dB", "-12.5", "-1.5e-3", "-40 .. 0 dB", "+3 dB at 50 Hz q 1.2", "5 V", "", "a=b"]
)
def test_numbers_stay_numbers(text: str) -> None:
    """With a sign, a unit, a range; and text that is no formula."""
    assert harmless_cell(text) == text
    assert harmless_cell(-2.5) == -2.5


def test_closed_cases_come_back_as_they_were() -> None:
    """Titles that would be formulas, and one with the apostrophe already, are the same after export and import."""
    titles = ["=1+1", "-2+3+cmd|' /C calc'!A0", "'=1", "''", "plain", "-3 dB"]
    cases = [
        StoredCase(
            f"c{i}",
            Case(title=title, job="", closed=Closure(cause="lead_open", where="", on="2026-01-01")),
            1,
            datetime.datetime(2026, 1, 1 + i, tzinfo=datetime.UTC),
        )
        for i, title in enumerate(titles)
    ]
    table = write_history(cases)
    assert "\r\nc1,'-2+3+cmd" in table
    assert [row.case.title for row in read_history(table.encode())] == titles


def test_controls_of_a_terminal_are_spelt_out() -> None:
    """Escape sequences, marks of direction and lone surrogates; line ends and tabs stay; JSON means the same as before."""
    text = "a\x1b[31mred\x9b2J\u202egnp\ud800\n\tb"
    assert without_controls(text) == r"a\x1b[31mred\x9b2J\u202egnp\ud800" + "\n\tb"
    said = json_without_controls(json.dumps({"title": text}, ensure_ascii=False))
    assert "\x9b" not in said
    assert json.loads(said) == {"title": text}


def test_rows_are_as_the_standard_says() -> None:
    """RFC 4180: quotes where a cell has a comma, lines end with CR LF."""
    assert csv_text([["a", 1.5, "b,c"], ["=x", "", "-1"]]) == 'a,1.5,"b,c"\r\n\'=x,,-1\r\n'
