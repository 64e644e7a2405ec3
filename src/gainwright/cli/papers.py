"""Commands about papers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, print_json, print_text, read_column
from gainwright.cli.stored_cases import CasesFolder, StorePlace, counted_cases, opened_store
from gainwright.composition import compose
from gainwright.errors import CallError

if TYPE_CHECKING:
    from gainwright.app.papers.papers import PaperMaterial
    from gainwright.diagnose import ClosedCases
    from gainwright.metering import Recording
    from gainwright.model import Job
    from gainwright.model.case import Case
    from gainwright.plan import Plan
    from gainwright.programme.music_result import MusicResult
    from gainwright.report.charts import Chart
    from gainwright.report.paper import Paper


@app.command()
def report(
    job: Annotated[Path | None, typer.Argument(metavar="[JOB]", help="The job file; optional with --case.")] = None,
    out: Annotated[Path | None, typer.Option(help="The file to write: .pdf, .html, .json or .csv.")] = None,
    kind: Annotated[str, typer.Option(help="setup, handover, customer or case.")] = "setup",
    evidence: Annotated[Path | None, typer.Option(help="Readings and other findings.")] = None,
    case: Annotated[str, typer.Option(metavar="NAME", help="The name of a stored case.")] = "",
    cases: CasesFolder = None,
    store: StorePlace = "",
    recording: Annotated[list[Path] | None, typer.Option(help="A recording for the handover; may be repeated.")] = None,
    knee: Annotated[Path | None, typer.Option(help="Readings step by step, columns step,v_rms.")] = None,
    response: Annotated[
        list[Path] | None, typer.Option(help="A recording of the sweep, 20 Hz to 20 kHz in 10 s; may be repeated.")
    ] = None,
    music: Annotated[Path | None, typer.Option(help="The .json written by gainwright music, for the handover.")] = None,
    date: Annotated[str, typer.Option(metavar="YYYY-MM-DD", help="The date to print.")] = "",
    language: Annotated[str, typer.Option(help="en or de.")] = "en",
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    short: Annotated[bool, typer.Option("--short", help="The set-up sheet with one line a step.")] = False,
    as_json: Json = False,
) -> None:
    """Write a paper: the set-up sheet, the handover, the customer's page or the case paper."""
    from gainwright.app.papers.papers import check_date, check_kind, make_paper

    if out is None and not as_json:
        raise CallError("the output file is missing", code="no_out", where="--out", remedy="write --out sheet.pdf")
    check_kind(kind)
    check_date(date)
    kept, closed = _from_store(kind, case, store, cases)
    about = _job(job, kept, case)
    material = replace(_material(about, kept, evidence, date, closed), short=short)
    plan = None
    if kind == "handover":
        about, plan, material = _as_set(about, material)
        material = _with_measurements(material, recording or [], knee, response or [], music)
    made = make_paper(about, kind=kind, material=material, plan=plan)
    if out is not None:
        write_paper(made, out, code=language, size=paper)
    if as_json:
        print_json(made.as_json())
    else:
        print_text(f"written: {out}")


def write_paper(paper: Paper, out: Path, *, code: str = "en", size: str = "a4") -> None:
    """Write a paper as .pdf, .html, .json or .csv, in a language, for A4 or Letter.

    Raises
    ------
    CallError : another suffix, language or size, or the file can't be written.
    """
    from gainwright.adapters.files import write_file
    from gainwright.app.papers.papers import paper_bytes

    world = compose()
    try:
        content = paper_bytes(
            paper, out.suffix.lower(), charts=world.charts, printer=world.printer, code=code, size=size
        )
    except CallError as error:
        raise (error.with_place(str(out)) if error.code == "bad_suffix" else error) from None
    write_file(out, content)


def _job(path: Path | None, case: Case | None, name: str) -> Job:
    from gainwright.app.cases.dialogue import check_has_job
    from gainwright.jobfile import read_job, read_job_text

    if path is not None:
        return read_job(path).job
    if case is None:
        raise CallError("the job is missing", code="no_job", remedy="give a job file, or a stored case with --case")
    check_has_job(case)
    return read_job_text(case.job, name=name).job


def _material(
    job: Job, case: Case | None, evidence: Path | None, date: str, counted: ClosedCases | None
) -> PaperMaterial:
    from gainwright.app.papers.papers import PaperMaterial
    from gainwright.jobfile import read_entry, read_evidence

    if evidence is not None:
        entries = read_evidence(evidence, job)
    else:
        entries = () if case is None else tuple(read_entry(dict(entry), job) for entry in case.evidence)
    return PaperMaterial(entries, case, date=date, counted=counted)


def _as_set(job: Job, material: PaperMaterial) -> tuple[Job, Plan, PaperMaterial]:
    """Return a job with the settings of the last reading, its plan, and the material with the volumes that were found."""
    from gainwright.app.set_up.evidence_settings import settings_in_evidence, volumes_in_evidence
    from gainwright.jobfile import with_settings
    from gainwright.plan import make_plan

    plan = make_plan(job)
    found = {f.control: f.text for f in settings_in_evidence(job, plan, material.entries)}
    volumes = volumes_in_evidence(job, plan, material.entries)
    as_set = with_settings(job, found)
    return as_set, make_plan(as_set) if found else plan, replace(material, volumes=volumes)


def _from_store(kind: str, name: str, place: str, folder: Path | None) -> tuple[Case | None, ClosedCases | None]:
    """Return the case of a name, and the closed cases for papers with a diagnosis."""
    if name:
        with opened_store(place, folder, name=name) as store:
            return store.cases.get(name).case, store.cases.counted()
    return None, counted_cases(place, folder) if kind in ("customer", "case") else None


def read_music_file(path: Path) -> MusicResult:
    """Return the result that `gainwright music --out FILE.json` wrote. ReadingError: it isn't one."""
    from gainwright.adapters.files import read_text
    from gainwright.app.music.result import LARGEST_BYTES, read_music

    return read_music(read_text(path, most_bytes=LARGEST_BYTES), name=str(path))


def _with_measurements(
    material: PaperMaterial, recordings: list[Path], column: Path | None, sweeps: list[Path], music: Path | None
) -> PaperMaterial:
    from gainwright.app.papers.papers import knee_and_chart, measured_for_paper, sweep_chart
    from gainwright.metering import read_recording

    knee, curves = None, list["Chart"]()
    if column is not None:
        knee, chart = knee_and_chart(read_column(column), title=column.name)
        curves.append(chart)

    def recorded(path: Path) -> Recording:
        return replace(read_recording(path), name=path.name)

    curves += [sweep_chart(recorded(path)) for path in sweeps]
    return replace(
        material,
        measured=tuple(measured_for_paper(recorded(path)) for path in recordings),
        knee=knee,
        curves=tuple(curves),
        music=None if music is None else read_music_file(music),
    )
