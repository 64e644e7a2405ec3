"""A shop's history of closed cases as a table of CSV, one case a row: read with all its errors, and written."""

from __future__ import annotations

import csv
import difflib
import hashlib
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

from gainwright.app.cases.endings import LONGEST_NAME, Ending, closure_of
from gainwright.app.cases.tally import minutes_of, tests_of
from gainwright.errors import CallError, GainwrightError
from gainwright.harmless import cell_as_written, csv_text
from gainwright.quantities import decimal, whole_number
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from gainwright.app.store import StoredCase
    from gainwright.model.case import Case, Closure

COLUMNS = (
    "case", "title", "opened", "closed", "complaint", "chain", "outcome", "cause", "where", "second_cause",
    "second_where", "named", "tests", "minutes", "note",
)  # fmt: skip
LONGEST = {
    "case": 80,
    "title": 300,
    "opened": 40,
    "closed": 40,
    "where": 200,
    "second_where": 200,
    "named": LONGEST_NAME,
    "note": 2000,
}
MOST_BYTES = 5_000_000
MOST_ROWS = 20_000
MOST_TESTS, MOST_MINUTES = 10_000, 100_000.0
SHOWN = 20
"""Number of wrong lines that a message lists."""
_DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class WrongLine:
    """A line that can't be imported, counted from 1 with the header, and why."""

    line: int
    why: str

    @classmethod
    def of(cls, line: int, error: GainwrightError) -> WrongLine:
        """Return what an error says of a line."""
        return cls(line, joined([part for part in (error.what, error.rule) if part], by="{a}; {b}"))

    @property
    def text(self) -> str:
        """The line and the reason as a sentence that can be translated."""
        return say("line {number}: {why}", number=self.line, why=self.why)

    def __str__(self) -> str:
        return self.text


class HistoryError(CallError):
    """A table that can't be imported, with every wrong line; nothing was stored."""

    lines: tuple[WrongLine, ...] = ()

    @classmethod
    def of(cls, lines: list[WrongLine]) -> HistoryError:
        """Return the error that lists some wrong lines."""
        what = joined([line.text for line in lines[:SHOWN]], by="{a}; {b}")
        if len(lines) > SHOWN:
            what = say("{listed} ... and {number} more", listed=what, number=len(lines) - SHOWN)
        found = cls(
            what,
            code="bad_history",
            rule=say("nothing was imported"),
            remedy=say("correct the table and import it again"),
        )
        found.lines = tuple(lines)
        return found


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """A case of a table: its line, its name, the case."""

    line: int
    name: str
    case: Case


def read_history(content: bytes) -> list[HistoryRow]:
    """Return the cases of a table in UTF-8, with commas, semicolons or tabs between its columns.

    Raises
    ------
    HistoryError : with every line that is wrong.
    """
    rows: list[HistoryRow] = []
    wrong: list[WrongLine] = []
    names: dict[str, int] = {}
    for line, fields in _lines(content):
        try:
            row = _row(line, fields, names)
        except GainwrightError as error:
            wrong.append(WrongLine.of(line, error))
            continue
        names[row.name] = line
        rows.append(row)
    if wrong:
        raise HistoryError.of(wrong)
    if not rows:
        raise HistoryError.of([WrongLine(1, say("the table has no case"))])
    return rows


def _lines(content: bytes) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the line at which each row begins, and its values by column; rows without any value are left out."""
    if len(content) > MOST_BYTES:
        raise HistoryError.of([WrongLine(1, say("the table is over {most} MB", most=f"{MOST_BYTES / 1e6:g}"))])
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise HistoryError.of([WrongLine(line, say("the table isn't in UTF-8; save it as CSV in UTF-8"))]) from None
    head = text.partition("\n")[0]
    read = csv.reader(io.StringIO(text, newline=""), delimiter=max(_DELIMITERS, key=head.count), strict=True)
    columns: list[str] = []
    line, count = 1, 0
    try:
        for values in read:
            if not columns:
                columns = _columns(values)
            elif any(value.strip() for value in values):
                count += 1
                if len(values) > len(columns) or count > MOST_ROWS:
                    too_many = say(
                        "it has {values} values, the first line has {columns} columns",
                        values=len(values),
                        columns=len(columns),
                    )
                    raise HistoryError.of(
                        [WrongLine(line, too_many if count <= MOST_ROWS else say("over {most} cases", most=MOST_ROWS))]
                    )
                yield (
                    line,
                    {column: cell_as_written(value.strip()) for column, value in zip(columns, values, strict=False)},
                )
            line = read.line_num + 1
    except csv.Error as error:
        if "field larger" in str(error):
            raise HistoryError.of(
                [WrongLine(line, say("a value is far too long; a quotation mark may be missing"))]
            ) from None
        raise HistoryError.of(
            [WrongLine(line, say("a quotation mark isn't closed, or stands inside a value"))]
        ) from None
    if not columns:
        raise HistoryError.of([WrongLine(1, say("the table is empty"))])


def _columns(values: list[str]) -> list[str]:
    columns = ["_".join(value.lower().split()) for value in values]
    unknown = [column for column in columns if column not in COLUMNS]
    if unknown:
        why = say(
            "there is no column {name}; columns are {listed}", name=repr(unknown[0][:40]), listed=", ".join(COLUMNS)
        )
        raise HistoryError.of([WrongLine(1, why)])
    if len(set(columns)) < len(columns):
        raise HistoryError.of([WrongLine(1, say("a column is there twice"))])
    if not {"cause", "outcome"} & set(columns):
        raise HistoryError.of([WrongLine(1, say("neither the column cause nor outcome is there"))])
    return columns


def _row(line: int, fields: Mapping[str, str], names: Mapping[str, int]) -> HistoryRow:
    from gainwright.model.case import Case

    for column, most in LONGEST.items():
        if len(fields.get(column, "")) > most:
            raise _wrong(say("{column} is over {most} characters", column=column, most=most))
    closed = _closure(fields)
    name = " ".join(fields.get("case", "").split())
    if name in names:
        raise _wrong(say("the case {name} stands in line {line} already", name=name, line=names[name]))
    if not name:
        digest = hashlib.sha256(repr(sorted((k, v) for k, v in fields.items() if v)).encode()).hexdigest()[:10]
        name, count = f"history-{digest}", 1
        while name in names:
            count += 1
            name = f"history-{digest}-{count}"
    case = Case(title=fields.get("title", ""), opened=fields.get("opened", ""), job="", closed=closed)
    return HistoryRow(line, name, case)


def _closure(fields: Mapping[str, str]) -> Closure:
    from gainwright.diagnose import COMPLAINTS
    from gainwright.model import read_chain_kind
    from gainwright.model.case import Outcome

    cause, second = _cause(fields.get("cause", "")), _cause(fields.get("second_cause", ""))
    given = "_".join(fields.get("outcome", "").lower().split())
    named = fields.get("named", "")
    outcome = given or ("two_faults" if second else "something_else" if named and not cause else "found")
    if outcome not in get_args(Outcome):
        raise _wrong(
            say("{text} isn't an outcome", text=repr(given[:40])),
            say("it is {listed}", listed=", ".join(get_args(Outcome))),
        )
    complaint = fields.get("complaint", "").lower()
    if complaint and complaint not in COMPLAINTS:
        raise _wrong(
            say("{text} isn't a complaint", text=repr(complaint[:40])),
            say("it is {listed}, or empty", listed=", ".join(COMPLAINTS)),
        )
    try:
        chain = read_chain_kind(fields.get("chain", ""))
    except ValueError as error:
        raise _wrong(say("{text} isn't a kind of chain", text=repr(fields["chain"][:80])), error.args[0]) from None
    where, there = fields.get("where", ""), fields.get("second_where", "")
    note = fields.get("note", "")
    ending = Ending(cause, where, outcome, second, there, named, note)  # type: ignore[arg-type]
    sort = {"complaint": complaint, "chain": chain, "tests": _tests(fields), "minutes": _minutes(fields)}
    return closure_of(ending, on=fields.get("closed", "")).model_copy(update=sort)


def _cause(text: str) -> str:
    from gainwright.diagnose import ODDS
    from gainwright.model.case import NO_FAULT

    cause = "_".join(text.lower().split())
    known = (*NO_FAULT, *ODDS)
    if cause and cause not in known:
        near = difflib.get_close_matches(cause, known, n=1)
        raise _wrong(
            say("there is no cause {name}", name=repr(text[:40])),
            say("did you mean {near}?", near=near[0]) if near else "",
        )
    return cause


def _tests(fields: Mapping[str, str]) -> int | None:
    text = fields.get("tests", "")
    found = whole_number(text, most=MOST_TESTS)
    if text and found is None:
        raise _wrong(
            say("tests is {text}", text=repr(text[:20])), say("it is a whole number up to {most}", most=MOST_TESTS)
        )
    return found


def _minutes(fields: Mapping[str, str]) -> float | None:
    text = fields.get("minutes", "")
    if not text:
        return None
    number = decimal(text)
    if number is None or not 0 <= float(number) <= MOST_MINUTES:
        raise _wrong(
            say("minutes is {text}", text=repr(text[:20])),
            say("it is a number from 0 to {most}", most=f"{MOST_MINUTES:g}"),
        )
    return float(number)


def _wrong(what: str, rule: str = "") -> CallError:
    return CallError(what, code="bad_history", rule=rule)


def write_history(cases: Iterable[StoredCase]) -> str:
    """Return the closed cases as a table that can be imported again, the first closed case first."""
    rows: list[list[object]] = [list(COLUMNS)]
    for stored in sorted(cases, key=lambda kept: (kept.changed, kept.name)):
        closed = stored.case.closed
        if closed is None:
            continue
        minutes = minutes_of(stored.case)
        values = {
            **closed.model_dump(),
            "case": stored.name,
            "title": stored.case.title,
            "opened": stored.case.opened,
            "closed": closed.on,
            "tests": tests_of(stored.case),
            "minutes": "" if minutes is None else f"{minutes:g}",
        }
        rows.append([values[column] for column in COLUMNS])
    return csv_text(rows)
