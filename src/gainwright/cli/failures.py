"""An error that nobody foresaw: one sentence, a status of its own, and a report that the person may send."""

from __future__ import annotations

import datetime
import platform
import secrets
import tempfile
import traceback
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright import __version__
from gainwright.harmless import without_controls, without_folders

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

FAILED_INSIDE = 70
"""Exit status of an error in the program itself (EX_SOFTWARE of BSD's sysexits.h)."""
REPORTS_KEPT = 20
LONGEST_WORDS = 300
_ABOUT = """\
Report of an error inside Gainwright. It holds the versions, the name of the command and of its options, the error in the
program's own words, and its place in the program: none of your files, readings, folders or names of theirs. Its words may
repeat a name or a number out of a file of yours; change it if it is private.
"""


def describe_failure(error: Exception, arguments: Sequence[str]) -> str:
    """Write a report of an error and return the sentence about it; nothing is raised."""
    kind = type(error).__name__
    place = _written(report_of(error, arguments))
    if place is None:
        where = next(reversed(list(_places(error))), "unknown place")
        return f"an error inside the program ({kind}, {where}), not in your input; please tell its makers"
    return f"an error inside the program ({kind}), not in your input; a report with no file of yours is in {place}: please send it to its makers"


def report_of(error: Exception, arguments: Sequence[str]) -> str:
    """Return the report of an error: text without folders, and of the arguments only the command and the names of options."""
    command = arguments[0] if arguments and arguments[0].isalpha() else ""
    options = [argument.partition("=")[0] for argument in arguments[1:] if argument.startswith("--")]
    words = without_controls(without_folders(" ".join(str(error).split())))[:LONGEST_WORDS]
    lines = [
        _ABOUT,
        f"version  {__version__}, Python {platform.python_version()}, {platform.system()} {platform.machine()}",
        f"command  {' '.join([command, *options])}",
        f"error    {type(error).__name__}: {words}",
        *(f"at       {place}" for place in _places(error)),
    ]
    return "\n".join(lines) + "\n"


def _places(error: Exception) -> Iterator[str]:
    """Yield the places in the program and its libraries that led to an error, without their folders."""
    for frame in traceback.extract_tb(error.__traceback__):
        parts = Path(frame.filename).parts
        yield f"{'/'.join(parts[-3:])}:{frame.lineno} in {frame.name}"


def _written(report: str) -> Path | None:
    """Return the file in which a report was stored, None if there is no place for it; the oldest ones are removed."""
    name = f"error-{datetime.datetime.now(datetime.UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(2)}.txt"
    with suppress(OSError, RuntimeError):
        from gainwright.adapters.user_folders import data_path

        folder = data_path("error-reports")
        folder.mkdir(parents=True, exist_ok=True)
        for old in sorted(folder.glob("error-*.txt"))[: -REPORTS_KEPT + 1 or None]:
            old.unlink(missing_ok=True)
        return _new(folder / name, report)
    with suppress(OSError):
        return _new(Path(tempfile.gettempdir()) / f"gainwright-{name}", report)
    return None


def _new(file: Path, report: str) -> Path:
    """Write a new file that only this account can read; what another account has put there is neither followed nor written over."""
    file.touch(mode=0o600, exist_ok=False)
    file.write_text(report, encoding="utf-8")
    return file
