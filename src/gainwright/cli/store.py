"""Commands about the store as a whole: back it up, restore it, check it, import and export cases as files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, exit_if_wrong, print_json, print_text
from gainwright.cli.stored_cases import StorePlace, opened_store

if TYPE_CHECKING:
    from gainwright.adapters.store import StoreCheck

group = typer.Typer(
    name="store",
    help="Look after what the web app keeps: jobs, runs, recordings, cases.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(group)


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
    print_json(found) if as_json else print_text(_check_text(found))
    exit_if_wrong(bool(found.wrong))


@group.command(name="import-cases")
def import_cases(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder of cases.")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Import the case files of a folder into the store; a case that is there already stays as it is there."""
    from gainwright.app.cases.import_export import import_cases
    from gainwright.composition import compose
    from gainwright.errors import CallError

    if not folder.is_dir():
        raise CallError("there is no such folder", code="no_such_folder", where=str(folder), remedy="name a folder")
    with opened_store(store) as opened:
        done = import_cases(compose().case_folder(folder), opened.cases)
    if as_json:
        print_json(done)
    else:
        first = f"cases imported: {len(done.added)}; there already: {len(done.same)}"
        print_text("\n".join([first, *done.left_out()]))
    exit_if_wrong(bool(done.differing or done.unreadable))


@group.command(name="export-cases")
def export_cases(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder, made if it isn't there.")],
    words: Annotated[str, typer.Option(help="Only cases that hold every one of these words.")] = "",
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Write the cases of the store into a folder, a file each; another file of the same name stays as it is."""
    from gainwright.app.cases.import_export import export_cases
    from gainwright.composition import compose

    with opened_store(store) as opened:
        done = export_cases(opened.cases.find(words), compose().case_folder(folder))
    if as_json:
        print_json(done)
    else:
        first = f"cases exported: {len(done.added)}; there already: {len(done.same)}"
        print_text("\n".join([first, *(f"{name}: there is another file of this name" for name in done.differing)]))
    exit_if_wrong(bool(done.differing))


def _check_text(found: StoreCheck) -> str:
    holds = ", ".join(f"{count} {name}" for name, count in found.holds.items())
    lines = [f"{found.where}: revision {found.revision}; {holds}", *found.wrong]
    return "\n".join([*lines, f"wrong: {len(found.wrong)}" if found.wrong else "all is well"])
