"""Commands about the store as a whole: back it up, restore it, check it, import and export cases as files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, exit_if_wrong, print_json, print_text, say
from gainwright.cli.stored_cases import StorePlace, opened_store

if TYPE_CHECKING:
    from gainwright.adapters.store import StoreCheck

group = typer.Typer(
    name="store",
    help="Maintain the store of jobs, runs, recordings and cases.",
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
    """Write the whole store into one file, even while it is in use."""
    from gainwright.composition import compose

    written = compose().store_maintenance(store).backup(file)
    print_json({"file": str(written)}) if as_json else print_text(f"backed up into {written}")


@group.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Replace the whole content of the store by a backup; the previous content is saved to a file next to it. Damage found in it is reported."""
    from gainwright.composition import compose

    keeper = compose().store_maintenance(store)
    former = keeper.restore(file)
    wrong = keeper.check().wrong
    if as_json:
        print_json({"restored": str(file), "former": str(former) if former else None, "wrong": list(wrong)})
    else:
        done = f"restored from {file}" + (f"; the previous content is in {former}" if former else "")
        print_text("\n".join([done, *wrong]))
    exit_if_wrong(bool(wrong))


@group.command()
def check(
    backups: Annotated[
        list[Path] | None,
        typer.Option(
            "--backup", metavar="FILE", help="A backup in which to look for what is damaged; may be repeated."
        ),
    ] = None,
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Check the whole store, each checksum and everything that is read; nothing is changed. Damage is listed with what the backups have of it."""
    from gainwright.composition import compose

    found = compose().store_maintenance(store).check(backups or ())
    print_json(found) if as_json else print_text(_check_text(found))
    exit_if_wrong(bool(found.wrong))


@group.command(name="import-cases")
def import_cases(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder of cases.")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Import the case files of a folder into the store; cases that are already in the store aren't changed."""
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
        first = f"cases imported: {len(done.added)}; unchanged: {len(done.same)}"
        print_text("\n".join([first, *done.left_out()]))
    exit_if_wrong(bool(done.differing or done.unreadable))


@group.command(name="export-cases")
def export_cases(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder; it is created if necessary.")],
    words: Annotated[str, typer.Option(help="Only cases that contain all of these words.")] = "",
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Export the cases of the store to a folder, one file each; existing files of the same name aren't changed."""
    from gainwright.app.cases.import_export import export_cases
    from gainwright.composition import compose

    with opened_store(store) as opened:
        done = export_cases(opened.cases.find(words), compose().case_folder(folder))
    if as_json:
        print_json(done)
    else:
        first = f"cases exported: {len(done.added)}; unchanged: {len(done.same)}"
        print_text("\n".join([first, *(f"{name}: a different file of this name exists" for name in done.differing)]))
    exit_if_wrong(bool(done.differing))


@group.command(name="import-history")
def import_history(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A table of closed cases (CSV).")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Import a shop's history of closed cases from a table: all of it, or nothing; wrong lines are listed."""
    from gainwright.adapters.files import read_text
    from gainwright.app.cases.history import MOST_BYTES, HistoryError
    from gainwright.app.cases.history_import import import_history

    content = read_text(file, most_bytes=MOST_BYTES, remedy="name a table").encode()
    with opened_store(store) as opened:
        try:
            done = import_history(opened.cases, content)
        except HistoryError as error:
            for line in error.lines:
                say(str(line))
            wrong = f"{len(error.lines)} line{'s are' if len(error.lines) != 1 else ' is'} wrong"
            raise HistoryError(
                f"nothing was imported: {wrong}", code=error.code, where=str(file), remedy="correct the table"
            ) from None
    if as_json:
        print_json(done)
    else:
        print_text(f"cases imported: {len(done.added)}; unchanged: {len(done.same)}")


@group.command(name="export-history")
def export_history(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new table (CSV).")],
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Write all closed cases into a table, which can be imported again."""
    from gainwright.app.cases.history import write_history
    from gainwright.cli.base import write_new_file

    with opened_store(store) as opened:
        table = write_history(opened.cases.find())
    write_new_file(file, table)
    print_json({"file": str(file)}) if as_json else print_text(f"written: {file}")


def _check_text(found: StoreCheck) -> str:
    holds = ", ".join(f"{count} {name}" for name, count in found.holds.items())
    lines = [f"{found.where}: revision {found.revision}; {holds}", *found.wrong]
    return "\n".join([*lines, f"problems: {len(found.wrong)}" if found.wrong else "all is well"])
