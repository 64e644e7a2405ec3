"""Writes the manual page `man/gainwright.1` from the commands themselves; started with the environment of the tree."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "man" / "gainwright.1"
HEAD = r""".TH GAINWRIGHT 1 "{date}" "Gainwright {version}" "User Commands"
.SH NAME
gainwright \- plan, verify and document the gain structure of a vehicle's sound chain
.SH SYNOPSIS
.B gainwright
.I COMMAND
[\fIOPTION\fR]... [\fIARGUMENT\fR]...
.SH DESCRIPTION
From a job file, which describes the sound chain of one vehicle, Gainwright works out in which order to work, which tone to play, what to
set, where to measure and which reading to expect; it writes the tones, measures recordings, finds faults and writes papers.
.B gainwright docs
opens the documentation.
"""
TAIL = r""".SH EXIT STATUS
0 when all is well; 1 when something is wrong with the job or a verdict isn't clean; 2 when the file or the call is invalid; 70 when
Gainwright itself failed; 130 when it was stopped.
.SH ENVIRONMENT
.TP
.B GAINWRIGHT_STORE
The store: a file, or the address of a PostgreSQL database.
.TP
.B GAINWRIGHT_CACHE
The folder for cached files.
.TP
.B XDG_DATA_HOME, XDG_CONFIG_HOME
Where data and settings are, instead of where the system keeps them.
.SH FILES
.B gainwright \-\-version
says where the store, other data, settings and the cache are.
"""


def page() -> str:
    """Return the text of the manual page."""
    from typer.main import get_command

    import gainwright.cli.main  # noqa: F401  it registers the commands
    from gainwright import __version__
    from gainwright.cli.base import app

    released = re.search(r"^## \S+ - (\S+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    date = released[1] if released else ""
    top: Any = get_command(app)
    lines = [HEAD.format(date=date, version=__version__).rstrip("\n"), ".SH OPTIONS", *_options(top), ".SH COMMANDS"]
    for name, command in sorted(top.commands.items()):
        inner = getattr(command, "commands", None)
        if inner is None:
            lines += _command(name, command)
        else:
            for sub, one in sorted(inner.items()):
                lines += _command(f"{name} {sub}", one)
    return "\n".join([*lines, TAIL])


def _command(name: str, command: Any) -> list[str]:
    """Return the lines of one command: its arguments, what it does, its options."""
    arguments = [p for p in command.params if p.param_type_name == "argument"]
    named = " ".join(f"\\fI{_escaped((p.metavar or p.name).strip('[]').upper())}\\fR" for p in arguments)
    about = " ".join((command.help or "").split("\n\n")[0].split())
    return [f".SS {_escaped(name)} {named}".rstrip(), _text(about), *_options(command)]


def _options(command: Any) -> list[str]:
    """Return the lines of the options of a command."""
    lines = []
    for option in command.params:
        if option.param_type_name != "option" or option.hidden or "--help" in option.opts:
            continue
        names = ", ".join(_escaped(name) for name in [*option.opts, *option.secondary_opts])
        value = "" if option.is_flag else f" \\fI{_escaped((option.metavar or option.name).upper())}\\fR"
        lines += [".TP", f"\\fB{names}\\fR{value}", _text(" ".join((option.help or "").split()))]
    return lines


def _text(text: str) -> str:
    """Return a line of text; a dot or quote that begins it would be a command of the formatter."""
    escaped = _escaped(text)
    return f"\\&{escaped}" if escaped.startswith((".", "'")) else escaped


def _escaped(text: str) -> str:
    return text.replace("\\", "\\e").replace("-", "\\-")


def main() -> int:
    """Write the page."""
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
