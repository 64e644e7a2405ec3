"""Text that somebody else wrote, as it may go to a terminal, a log or a table.

A control character moves the cursor or changes the colours of a terminal (ECMA-48), and a mark of direction
(Unicode UAX 9) shows letters in another order than they are. A spreadsheet takes a cell for a formula that begins with one of `= + - @`, a tab
or a line end (common practice, no published source).
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

_CONTROLS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_MEASURED = re.compile(r"[+\-][0-9](?:[0-9 .,a-zA-Zµμ°Ω%²±/]|(?<=[eE])[+\-])*")
"""A number with its sign, and what a unit or a filter is written with; no operator, bracket or reference."""
GUARD = "'"
_ADDRESS = re.compile(r"\b(?:postgres|sqlite)[\w+]*://[^\s;,]*[^\s;,:]")
_SERVER = re.compile(
    r"""\bserver (?:at|on socket) "[^"\n]*"(?: \([^)\n]*\))?(?:, port [0-9]+)?|\b(?:database|user|role) "[^"\n]*\""""
)
"""How PostgreSQL's library names where it connects to, and as whom."""
_QUOTED = re.compile(r"""(?P<quote>['"])(?:[A-Za-z]:)?[\\/](?P<path>[^\n]*?)(?P=quote)(?!\w)""")
_FOLDERS = re.compile(r"(?<![\w/\\.])(?:file:/{2})?(?:[A-Za-z]:|\\)?(?:[\\/][^\\/:;,'\"\n]+)+[\\/](?=[^\\/\s])")
"""The folders of an absolute path, before the name of the file."""


def without_folders(words: str) -> str:
    """Return words with every absolute path reduced to its file name, and no address of a database.

    In quotes a path may hold any character; without, it ends at a colon, comma, semicolon or quote.
    """
    found = _SERVER.sub(lambda name: name[0].split(" ")[0], _ADDRESS.sub("the store", words))
    return _FOLDERS.sub("", _QUOTED.sub(_name_in_quotes, found))


def _name_in_quotes(found: re.Match[str]) -> str:
    name = re.split(r"[\\/]", found["path"].rstrip("\\/"))[-1]
    return f"{found['quote']}{name}{found['quote']}"


def reason_of(error: Exception) -> str:
    """Return why something failed, without the file that it failed with, which is named elsewhere.

    Errors of the system and of libraries for sound have the reason by itself; in their text it may stand before a path or
    behind one that holds a colon.
    """
    reason = getattr(error, "strerror", None) or getattr(error, "error_string", None) or str(error)
    return without_folders(str(reason)).strip().rstrip(".") or type(error).__name__


def without_controls(text: str) -> str:
    """Return text in which each control character but line end and tab is spelt as an escape."""
    return _CONTROLS.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


def one_line(text: str) -> str:
    """Return text on one line, each blank a single space, without characters that turn or hide text.

    Those are of the Unicode categories C*: control, format, surrogate, private use and unassigned.
    """
    shown = (" " if c.isspace() else c for c in text if c.isspace() or unicodedata.category(c)[0] != "C")
    return " ".join("".join(shown).split())


def json_without_controls(text: str) -> str:
    """Return JSON text in which control characters that JSON allows in a string are escaped; its values stay the same."""
    return _CONTROLS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def harmless_cell(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula: an apostrophe is put before what would be one.

    Numbers, also with a unit, stay as they are. `cell_as_written` undoes it.
    """
    if not isinstance(value, str) or not value:
        return value
    guarded = value[0] == GUARD and value[1:2] in (*_BEGINS_FORMULA, GUARD)
    formula = value[0] in _BEGINS_FORMULA and not _MEASURED.fullmatch(value)
    return GUARD + value if formula or guarded else value


def cell_as_written(text: str) -> str:
    """Return a cell as it was before `harmless_cell`."""
    return text[1:] if text[:1] == GUARD and text[1:2] in (*_BEGINS_FORMULA, GUARD) else text


def csv_text(rows: Iterable[Iterable[Any]], *, line_end: str = "\r\n") -> str:
    """Return rows as CSV (RFC 4180), with every cell harmless in a spreadsheet."""
    return "".join(_row([harmless_cell(cell) for cell in row]) + line_end for row in rows)


def _row(cells: list[Any]) -> str:
    """Return one row without its line end; the writer quotes only the characters of its own line end."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue()[:-2]
