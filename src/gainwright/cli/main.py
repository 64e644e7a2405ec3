"""The command line: commands register themselves, `main` turns errors into messages and exit statuses."""

from __future__ import annotations

import copy
import sys
from typing import TYPE_CHECKING, Annotated

import typer
from typer.main import get_command_name

from gainwright import __version__
from gainwright.cli import (
    class_exercises,
    documentation,
    faults,
    hearing,
    jobs,
    music,
    papers,
    power,
    readings,
    recordings,
    server,
    store,
)
from gainwright.cli.base import app, print_text, say
from gainwright.cli.options import with_option
from gainwright.cli.streams import speak_utf8
from gainwright.errors import GainwrightError, exit_status

if TYPE_CHECKING:
    from collections.abc import Sequence

COMMANDS = (
    jobs,
    recordings,
    readings,
    music,
    power,
    hearing,
    faults,
    class_exercises,
    papers,
    server,
    store,
    documentation,
)
"""Modules whose functions are the commands."""


def main() -> None:
    """Run the command line; errors that the user can correct become one message and exit status 2, all others status 70."""
    speak_utf8()
    try:
        with_called_command(sys.argv[1:])(prog_name="gainwright")
    except GainwrightError as error:
        say(f"gainwright: {with_option(error)}")
        raise SystemExit(exit_status(error)) from None
    except KeyboardInterrupt:
        sys.stderr.write("gainwright: stopped\n")
        raise SystemExit(130) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None
    except Exception as error:  # noqa: BLE001  whatever it is, the person gets a sentence
        from gainwright.cli.failures import FAILED_INSIDE, describe_failure

        say(f"gainwright: {describe_failure(error, sys.argv[1:])}")
        raise SystemExit(FAILED_INSIDE) from None


def with_called_command(arguments: Sequence[str]) -> typer.Typer:
    """Return the application with the called command alone, as making all of them takes longer than reading a job.

    It is the whole application when no command is called or the command is unknown.
    """
    called = [
        c for c in app.registered_commands if c.callback and get_command_name(c.callback.__name__) in arguments[:1]
    ]
    if not called:
        return app
    found = copy.copy(app)
    found.registered_commands, found.registered_groups = called, []
    return found


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version, and where jobs, settings and caches are.")
    ] = False,
) -> None:
    if version:
        from gainwright.composition import compose

        print_text(
            "\n".join([f"gainwright {__version__}", *(f"{what:<9} {where}" for what, where in compose().places())])
        )
        raise typer.Exit
