"""Commands about the store as a whole: back it up, bring it back, check it, take cases of a folder in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, end, print_json, print_text

if TYPE_CHECKING:
    from gainwright.adapters.store import StoreCheck
    from gainwright.app.cases.importing import TakenCases

group = typer.Typer(
    name="store",
    help="Look after what the web app keeps: jobs, runs, recordings, cases.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(group)

StorePlace = Annotated[
    str,
    typer.Option(
        "--store",
        metavar="PLACE",
        envvar="GAINWRIGHT_STORE",
        help="The store: a file, or the address of a PostgreSQL database.",
    ),
]


@group.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file.")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Write all that the store holds into one file, also while it is in use."""
    from gainwright.composition import compose

    written = compose().store_maintenance(store).backup(file)
    print_json({"file": str(written)}) if as_json else print_text(f"backed up into {written}")


@group.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Put a backup in the place of all that the store holds; what it held before is kept in a file beside it."""
    from gainwright.composition import compose

    former = compose().store_maintenance(store).restore(file)
    if as_json:
        print_json({"restored": str(file), "former": str(former) if former else None})
    else:
        print_text(f"restored from {file}" + (f"; what was there before is in {former}" if former else ""))


@group.command()
def check(store: StorePlace = "", as_json: Json = False) -> None:
    """Go through the whole store: the database, its links, every job and case; nothing is changed."""
    from gainwright.composition import compose

    found = compose().store_maintenance(store).check()
    print_json(found.as_json()) if as_json else print_text(_check_text(found))
    end(bool(found.wrong))


@group.command(name="import-cases")
def import_cases(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder of cases.")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Take the cases of a folder into the store; one that is there already stays as it is there."""
    from contextlib import closing

    from gainwright.app.cases.importing import take_cases
    from gainwright.composition import compose
    from gainwright.errors import CallError

    if not folder.is_dir():
        raise CallError("there is no such folder", code="no_such_folder", where=str(folder), remedy="name a folder")
    world = compose()
    with closing(world.store(store)) as kept:
        taken = take_cases(world.cases(folder), kept.cases)
    print_json(taken.as_json()) if as_json else print_text(_taken_text(taken))
    end(bool(taken.differing or taken.unreadable))


def _check_text(found: StoreCheck) -> str:
    holds = ", ".join(f"{count} {name}" for name, count in found.holds.items())
    lines = [f"{found.where}: revision {found.revision}; {holds}", *found.wrong]
    return "\n".join([*lines, f"wrong: {len(found.wrong)}" if found.wrong else "all is well"])


def _taken_text(taken: TakenCases) -> str:
    lines = [f"{len(taken.added)} cases taken in, {len(taken.same)} were there already"]
    lines += [f"{name}: the store has another of this name, which stays" for name in taken.differing]
    lines += [f"{name}: left out; {why}" for name, why in taken.unreadable]
    return "\n".join(lines)
