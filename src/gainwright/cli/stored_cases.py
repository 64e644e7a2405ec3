"""The store for commands about cases, with an optional folder of case files, imported first and kept up to date."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.app.store import Store
    from gainwright.diagnose import ClosedCases

CasesFolder = Annotated[
    Path | None,
    typer.Option(
        "--cases", metavar="DIR", help="A folder of case files: imported first; the case is also written there."
    ),
]
StorePlace = Annotated[
    str,
    typer.Option(
        "--store",
        metavar="PLACE",
        envvar="GAINWRIGHT_STORE",
        help="The store: a file, or the address of a PostgreSQL database.",
    ),
]


@contextlib.contextmanager
def opened_store(place: str, folder: Path | None = None, *, name: str = "") -> Iterator[Store]:
    """Open the store, with the case files of a folder imported first.

    Raises
    ------
    CallError : it can't be opened, or the case `name` in the folder isn't the one of that name in the store.
    """
    from gainwright.app.cases.import_export import import_cases, import_summary
    from gainwright.composition import compose
    from gainwright.errors import CallError

    world = compose()
    with contextlib.closing(world.store(place, on_imported=lambda done: say(import_summary(done)))) as store:
        if folder is not None:
            done = import_cases(world.case_folder(folder), store.cases)
            if name in done.differing:
                raise CallError(
                    f"the case {name} in the folder differs from the case {name} in the store",
                    code="case_differs",
                    where=str(folder),
                    remedy="rename the file, or omit --cases",
                )
            for line in done.left_out():
                say(line)
        yield store


def counted_cases(place: str, folder: Path | None = None) -> ClosedCases:
    """Return the closed cases, counted; none if there is no store, and none is created."""
    from gainwright.composition import compose
    from gainwright.diagnose import ClosedCases

    if folder is None and not compose().has_store(place):
        return ClosedCases()
    with opened_store(place, folder) as store:
        return store.cases.counted()
