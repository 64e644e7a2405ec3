"""What a document shows to be typed and read: its fenced blocks, its commands, what they print, and files that it names."""

from __future__ import annotations

import difflib
import doctest
import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

OMITTED = "..."
"""A line of shown output that stands for any others."""

_WAITING = (
    "gainwright serve",
    "gainwright --install-completion",
    "gainwright practise",
    "gainwright knee\n",
    "gainwright docs",
)
"""Beginnings of commands that ask somebody, open a window or change this person's settings."""


class Block(NamedTuple):
    """A fenced block of a document."""

    language: str
    content: str

    @property
    def file(self) -> str:
        """The file that the block shows, named by its first line (`# car.yaml`); empty for all others."""
        found = re.match(r"# ([\w-]+\.(?:yaml|csv))\n", self.content)
        return found[1] if found else ""

    @property
    def file_content(self) -> str:
        """What is in that file; a table goes without the line that names it."""
        return self.content.partition("\n")[2] if self.file.endswith(".csv") else self.content


class Call(NamedTuple):
    """One console line, its expected status, and the output shown below it."""

    line: str
    status: int
    shown: str


def blocks(text: str) -> list[Block]:
    """Return the fenced blocks of a document in order."""
    return [Block(*found) for found in re.findall(r"^```(\w*)\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)]


def calls(block: str) -> list[Call]:
    """Return the calls of a console block; a line that ends in `# exit status N` must end with N, all others with 0."""
    found = []
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        line, _, shown = part.partition("\n")
        command, _, remark = line.partition(" # ")
        status = re.fullmatch(r"exit status (\d+)", remark.strip())
        found.append(Call(command.strip(), int(status[1]) if status else 0, shown))
    return found


def waits_for_a_person(line: str) -> bool:
    """Return whether a command asks somebody, opens a window or changes settings, and so can't be run for its output."""
    return f"{line}\n".startswith(_WAITING) and not line.endswith(" --help")


def fits(shown: str, printed: str) -> bool:
    """Return whether shown output is what was printed: `...` stands for anything, and space isn't counted."""
    return doctest.OutputChecker().check_output(shown, printed, doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)


def refreshed(text: str, printed: Callable[[Block | Call], str | None]) -> str:
    """Return a document with the output shown below each command as it is printed now; what fits it stays.

    Parameters
    ----------
    printed : called with each block that shows a file or Python, and with each call, in order; returns what a call printed, None
        where it isn't to be run.
    """

    def block(found: re.Match[str]) -> str:
        fenced = Block(found[1], found[2])
        if fenced.file or fenced.language == "python":
            printed(fenced)
        if fenced.language != "console":
            return found[0]
        parts = re.split(r"^(?=\$ )", fenced.content, flags=re.MULTILINE)
        return f"```console\n{''.join(map(call, parts))}```"

    def call(part: str) -> str:
        line, _, shown = part.partition("\n")
        new = printed(calls(part)[0]) if line.startswith("$ ") else None
        keep = new is None or not shown.strip() or fits(shown, new)
        return part if keep or new is None else f"{line}\n{_shown_again(shown, new)}"

    return re.sub(r"^```(\w*)\n(.*?)^```$", block, text, flags=re.MULTILINE | re.DOTALL)


def _shown_again(shown: str, printed: str) -> str:
    """Return new output with the same lines left out: each stretch begins at the line most like the one it began with."""
    rows = [line.rstrip() for line in printed.splitlines()]
    if OMITTED not in shown.splitlines():
        return "".join(f"{row}\n" for row in rows)
    out: list[str] = []
    at = 0
    for stretch in _stretches(shown.splitlines()):
        if stretch == [OMITTED]:
            out.append(OMITTED)
            continue
        at = _most_like(stretch[0], rows, at)
        out += rows[at : at + len(stretch)]
        at += len(stretch)
    return "".join(f"{row}\n" for row in out)


def _stretches(lines: Sequence[str]) -> Iterator[list[str]]:
    stretch: list[str] = []
    for line in lines:
        if line == OMITTED:
            if stretch:
                yield stretch
            yield [OMITTED]
            stretch = []
        else:
            stretch.append(line)
    if stretch:
        yield stretch


def _most_like(line: str, rows: Sequence[str], start: int) -> int:
    likeness = [difflib.SequenceMatcher(None, line, row).ratio() for row in rows[start:]]
    return start + likeness.index(max(likeness)) if likeness else start
