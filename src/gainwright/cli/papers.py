"""Commands about papers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, print_json, print_text
from gainwright.cli.stored_cases import CasesFolder, StorePlace, closed_by_cause, opened_store

if TYPE_CHECKING:
    from gainwright.model import Case


@app.command()
def report(
    job: Annotated[
        Path | None, typer.Argument(metavar="[JOB]", help="The job file; with --case it may be left out.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Where to write it: .pdf, .html, .json or .csv.")] = None,
    kind: Annotated[str, typer.Option(help="setup, handover, customer or case.")] = "setup",
    evidence: Annotated[Path | None, typer.Option(help="What was read or found.")] = None,
    case: Annotated[str, typer.Option(metavar="NAME", help="A case of the store.")] = "",
    cases: CasesFolder = None,
    store: StorePlace = "",
    recording: Annotated[list[Path] | None, typer.Option(help="A recording for the handover; may be repeated.")] = None,
    knee: Annotated[Path | None, typer.Option(help="Readings step by step, columns step,v_rms.")] = None,
    response: Annotated[
        list[Path] | None, typer.Option(help="A recording of the sweep, 20 Hz to 20 kHz in 10 s; may be repeated.")
    ] = None,
    music: Annotated[Path | None, typer.Option(help="What gainwright music wrote as .json, for the handover.")] = None,
    date: Annotated[str, typer.Option(metavar="YYYY-MM-DD", help="The date that stands on it.")] = "",
    language: Annotated[str, typer.Option(help="en or de.")] = "en",
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    as_json: Json = False,
) -> None:
    """Write a paper: the set-up sheet, the handover, the customer's page or the case."""
    from gainwright.app.papers.papers import PaperFiles, make_paper, write_paper
    from gainwright.composition import compose
    from gainwright.errors import CallError

    if out is None and not as_json:
        raise CallError("it isn't said where to write it", code="no_out", where="--out", remedy="write --out sheet.pdf")
    world = compose()
    kept, closed = _of_store(kind, case, store, cases)
    read = (tuple(recording or ()), knee, tuple(response or ()), date, music)
    files = PaperFiles(evidence, case, *read, kept, closed)
    made = make_paper(job, kind=kind, files=files)
    if out is not None:
        write_paper(made, out, charts=world.charts, printer=world.printer, code=language, size=paper)
    if as_json:
        print_json(made.as_json())
    else:
        print_text(f"written: {out}")


def _of_store(kind: str, name: str, place: str, folder: Path | None) -> tuple[Case | None, dict[str, int]]:
    """Return the case of a name, and the closed cases by cause where a paper holds a diagnosis."""
    if name:
        with opened_store(place, folder, name=name) as store:
            return store.cases.get(name).case, store.cases.closed_by_cause()
    return None, closed_by_cause(place, folder) if kind in ("customer", "case") else {}
