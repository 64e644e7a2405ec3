"""Common parts of the commands: the application, printing of results, exit statuses."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from gainwright.harmless import json_without_controls, without_controls
from gainwright.results import to_json

SOMETHING_WRONG = 1
LARGEST_COLUMN_BYTES = 1_000_000
"""Most bytes of a file of readings step by step."""

app = typer.Typer(
    name="gainwright",
    help="Plan, verify and document the gain structure of a vehicle's sound chain.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

JobPath = Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")]


def print_text(text: str) -> None:
    """Print a result."""
    sys.stdout.write(without_controls(text) + "\n")


def print_json(found: Any) -> None:
    """Print a result, or a dictionary of results, as one JSON object."""
    sys.stdout.write(json_without_controls(json.dumps(to_json(found), ensure_ascii=False, allow_nan=False)) + "\n")


def say(text: str) -> None:
    """Print a message to standard error, so that standard output holds the result alone."""
    sys.stderr.write(without_controls(text) + "\n")
    sys.stderr.flush()


def exit_if_wrong(wrong: bool) -> None:
    """Exit with status 1 when something is wrong with the job or the verdict."""
    if wrong:
        raise typer.Exit(SOMETHING_WRONG)


def read_column(path: Path) -> list[tuple[float, float]]:
    """Return the (step, volts) of a file of readings. ReadingError: it can't be read, or a line isn't a step and a voltage."""
    from gainwright.adapters.files import read_text
    from gainwright.app.measuring.knee import parse_readings

    return parse_readings(read_text(path, most_bytes=LARGEST_COLUMN_BYTES).splitlines(), str(path))


def write_new_file(path: Path, text: str) -> None:
    """Write a file that isn't there yet. CallError: it is, or it can't be written."""
    from gainwright.adapters.files import write_file
    from gainwright.errors import CallError

    if path.exists():
        raise CallError(
            "the file exists already",
            code="exists",
            where=str(path),
            rule="nothing is overwritten",
            remedy="choose another name",
        )
    write_file(path, text)


def write_chart(chart: Any, path: Path) -> None:
    """Draw a chart into a file; the suffix selects the format."""
    from gainwright.adapters.files import write_file
    from gainwright.composition import compose

    write_file(path, compose().charts.render(chart, path.suffix.lower()))
