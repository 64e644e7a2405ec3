"""The command line: commands register themselves, `main` turns errors into messages and statuses."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from gainwright import __version__
from gainwright.cli import faults, jobs, music, papers, readings, recordings, server, store
from gainwright.cli.base import app, print_text
from gainwright.cli.options import with_option
from gainwright.errors import GainwrightError, exit_status

COMMANDS = (jobs, recordings, readings, music, faults, papers, server, store)
"""Modules whose functions are the commands."""


def main() -> None:
    """Run the command line; errors a person can mend become one message and status 2."""
    try:
        app()
    except GainwrightError as error:
        sys.stderr.write(f"gainwright: {with_option(error)}\n")
        raise SystemExit(exit_status(error)) from None
    except KeyboardInterrupt:
        sys.stderr.write("gainwright: stopped\n")
        raise SystemExit(130) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None


@app.callback(invoke_without_command=True)
def _root(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        print_text(f"gainwright {__version__}")
        raise typer.Exit
