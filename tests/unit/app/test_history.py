"""A shop's history as a table: read, imported all or nothing, counted, and written to be read again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from commands import run
from fastapi.testclient import TestClient

from gainwright.adapters.store import SqlStore, open_store
from gainwright.app.cases.history import COLUMNS, HistoryError, read_history, write_history
from gainwright.app.cases.history_import import import_history
from gainwright.app.cases.tally import count_cases
from gainwright.composition import compose
from gainwright.model.case import Case, Closure
from gainwright.web.server import create_app
from gainwright.web.site import Site

KIND = "line source, processor, several amplifiers, sub"
TABLE = f"""\ufeffcase;title;closed;complaint;chain;outcome;cause;where;second cause;second where;named;tests;minutes;note
van 1;White van;2025-03-01;silent;{KIND};;Lead open;sub lead;;;;4;12,5;"trodden on;
twice"
van 2;;2025-03-02;;;;gain_low;;boost_on;;;;;
;;2025-03-03;faint;;no fault;;;;;;2;3;
;;2025-03-03;faint;;no fault;;;;;;2;3;
;;;;;;;;;;wrong disc;;;
;;2025-03-04;;;unsolved;;;;;;9;80;
;;;;;;;;;;;;;
"""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlStore]:
    """Return an empty store."""
    with closing(open_store(tmp_path / "shop.sqlite")) as opened:
        yield opened


def test_a_table_is_imported_counted_and_written_again(store: SqlStore, tmp_path: Path) -> None:
    """Semicolons, a byte order mark, decimal commas and line ends within quotes; twice is once; out and in is the same."""
    done = import_history(store.cases, TABLE.encode())
    assert (len(done.added), done.same) == (6, ())
    again = import_history(store.cases, TABLE.encode())
    assert (again.added, set(again.same)) == ((), set(done.added))
    first = store.cases.get("van 1").case
    assert first.closed == Closure(
        cause="lead_open",
        where="sub lead",
        on="2025-03-01",
        complaint="silent",
        chain=KIND,
        tests=4,
        minutes=12.5,
        note="trodden on;\ntwice",
    )
    counts = count_cases(store.cases.find())
    assert {o.outcome: o.cases for o in counts.outcomes} == {
        "found": 1, "something_else": 1, "two_faults": 1, "no_fault": 2, "unsolved": 1
    }  # fmt: skip
    assert next(c.tests for c in counts.causes if c.cause == "lead_open") == 4
    causes = {"lead_open": 1, "gain_low": 1, "boost_on": 1, "nothing_wrong": 2}
    assert store.cases.counted().by_cause == causes | {"something_else": 1}
    table = write_history(store.cases.find())
    with closing(open_store(tmp_path / "other.sqlite")) as other:
        assert set(import_history(other.cases, table.encode()).added) == set(done.added)
        assert count_cases(other.cases.find()) == counts
        assert other.cases.counted() == store.cases.counted()


def test_every_wrong_line_is_named_and_nothing_is_imported(store: SqlStore) -> None:
    """One sentence for each, with the line in the file; a quoted value may span lines."""
    store.cases.write("open", Case(job="1"), seen=0)
    table = """case,cause,where,outcome,complaint,chain,tests,minutes,note
good,lead_open,sub,,,,,,"two
lines"
a,lead_opn,,,,,,,
b,,,,,,,,
c,lead_open,,fund,,,,,
d,lead_open,,,loud,,,,
e,lead_open,,,,"sub, processor",,,
f,lead_open,,,,,two,,
g,lead_open,,,,,,-3,
h,lead_open,,two_faults,,,,,
good,lead_open,,,,,,,
"""
    with pytest.raises(HistoryError) as caught:
        import_history(store.cases, table.encode())
    said = {line.line: line.why for line in caught.value.lines}
    assert list(said) == [4, 5, 6, 7, 8, 9, 10, 11, 12]
    assert said[4] == "there is no cause 'lead_opn'; did you mean lead_open?"
    assert said[5] == "the cause is missing"
    assert "'fund' isn't an outcome; it is found, something_else" in said[6]
    assert "'loud' isn't a complaint" in said[7]
    assert "isn't a kind of chain; it has one of each: line source, factory source" in said[8]
    assert "tests is 'two'; it is a whole number" in said[9]
    assert "minutes is '-3'" in said[10]
    assert said[11] == "the second fault is missing"
    assert said[12] == "the case good stands in line 2 already"
    for name, why in [
        ("open", "the store has another case called open"),
        ("../x", "can't be the name"),
        ("tally", "can't be called"),
    ]:
        with pytest.raises(HistoryError, match=why) as caught:
            import_history(store.cases, f"case,cause\nfine,gain_low\n{name},gain_low\n".encode())
        assert [line.line for line in caught.value.lines] == [3]
    assert [kept.name for kept in store.cases.find()] == ["open"]


@pytest.mark.parametrize(
    ("content", "line", "why"),
    [
        (b"", 1, "empty"),
        (b"cause\n", 1, "no case"),
        (b"cause,reason\nx,y\n", 1, "there is no column 'reason'"),
        (b"cause,cause\nx,y\n", 1, "twice"),
        (b"title\nx\n", 1, "neither the column cause nor outcome"),
        (b"cause,where\nlead_open,a,b\n", 2, "it has 3 values"),
        (b"cause,note\nlead_open,\"a\n", 2, "quotation mark"),
        (b"cause,note\nlead_open,\xe4\n", 2, "UTF-8"),
        (b"cause,note\nlead_open," + b"a" * 2001 + b"\n", 2, "note is over 2000 characters"),
    ],
)  # fmt: skip
def test_what_is_no_table_is_refused(content: bytes, line: int, why: str) -> None:
    """With the line and the reason."""
    with pytest.raises(HistoryError) as caught:
        read_history(content)
    assert [found.line for found in caught.value.lines] == [line]
    assert why in caught.value.lines[0].why


def test_a_case_that_says_no_minutes_is_not_counted_as_quick(store: SqlStore) -> None:
    """Medians are over those that say; the table that comes out leaves the others empty."""
    import_history(store.cases, b"case,cause,tests,minutes\na,gain_low,4,10\nb,gain_low,,\nc,boost_on,,\n")
    counts = {c.cause: (c.cases, c.tests, c.minutes) for c in count_cases(store.cases.find()).causes}
    assert counts == {"gain_low": (2, 4, 10.0), "boost_on": (1, 0, 0.0)}
    assert {
        row.case.closed.tests for row in read_history(write_history(store.cases.find()).encode()) if row.case.closed
    } == {4, None}


def test_new_cases_are_added_all_or_none(store: SqlStore) -> None:
    """One name in use: nothing is stored."""
    store.cases.write("b", Case(job="1"), seen=0)
    with pytest.raises(Exception, match="in use"):
        store.cases.add_all({name: Case(job="2") for name in "abc"})
    assert [kept.name for kept in store.cases.find()] == ["b"]
    store.cases.add_all({})


def test_history_in_the_web_app_and_in_the_terminal(store: SqlStore, tmp_path: Path) -> None:
    """A table with a wrong line, then a right one, on the page; out over HTTP, into another store by the command."""
    with TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as api:
        wrong = api.post("/cases/tally/history", files={"file": ("h.csv", b"cause\nlead_open\nnonsense\n")})
        assert (wrong.status_code, "line 3: there is no cause" in wrong.text) == (422, True)
        assert api.post("/api/history", files={"file": ("h.csv", b"cause\nnonsense\n")}).json()["code"] == "bad_history"
        done = api.post("/cases/tally/history", files={"file": ("h.csv", TABLE.encode())})
        assert "6 cases were imported, 0 were there already." in done.text
        shown = api.get("/cases/van 1").text
        assert "Lead open: sub lead" in shown
        assert "several amplifiers" in shown
        assert api.post("/api/cases/van 1/reopen", json={"seen": 1}).json()["code"] == "no_job"
        assert api.get("/api/cases/van 1/diagnosis").json()["code"] == "no_job"
        assert 'href="/api/history.csv"' in api.get("/cases/tally").text
        table = api.get("/api/history.csv")
        assert api.post("/api/history", files={"file": ("h.csv", table.content)}).json()["added"] == []
    assert table.text.splitlines()[0] == ",".join(COLUMNS)
    (tmp_path / "h.csv").write_bytes(table.content)
    (tmp_path / "bad.csv").write_text("cause\nlead_open\nnonsense\nrubbish\n", encoding="utf-8")
    done_2 = run("store", "import-history", "h.csv", "--store", "c.sqlite", folder=tmp_path)
    assert (done_2.returncode, done_2.stdout) == (0, "cases imported: 6; unchanged: 0\n"), done_2.stderr
    bad = run("store", "import-history", "bad.csv", "--store", "c.sqlite", folder=tmp_path)
    assert (bad.returncode, "line 3: there is no cause 'nonsense'\nline 4: " in bad.stderr) == (2, True), bad.stderr
    assert "nothing was imported: 2 lines are wrong" in bad.stderr
    out = run("store", "export-history", "again.csv", "--store", "c.sqlite", folder=tmp_path)
    assert out.returncode == 0, out.stderr
    assert len(read_history((tmp_path / "again.csv").read_bytes())) == 6
