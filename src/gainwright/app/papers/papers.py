"""The papers: made from a job and what belongs to it, written in the form that the file's suffix names."""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from gainwright.app.jobs.answers import write_bytes
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.app.ports import Charts, Printer
    from gainwright.metering import Knee
    from gainwright.model import Case, Entry, Job
    from gainwright.plan import Plan
    from gainwright.programme.library import MusicResult
    from gainwright.report import Chart, Language, Measured, Paper

SUFFIXES = (".pdf", ".html", ".json", ".csv")
SIZES = ("a4", "letter")


@dataclass(frozen=True, slots=True)
class PaperFiles:
    """What belongs to a paper beside its job: evidence, a case of the store by name and as it is kept, the closed cases by cause, recordings, a column of readings, recorded sweeps, what music gave, a date."""

    evidence: Path | None = None
    case: str = ""
    recordings: tuple[Path, ...] = ()
    knee: Path | None = None
    responses: tuple[Path, ...] = ()
    date: str = ""
    music: Path | None = None
    kept: Case | None = None
    closed_by_cause: Mapping[str, int] = field(default_factory=dict)


def make_paper(job_path: Path | None, *, kind: str, files: PaperFiles) -> Paper:
    """Return a paper about a job, or about a kept case.

    Raises
    ------
    JobError, RecordingError, ReadingError : something of it can't be read.
    CallError : an unknown kind, a date that is none, or nothing to write about.
    """
    from gainwright.report import Kind

    if kind not in get_args(Kind):
        raise CallError(
            f"there is no paper {kind!r}",
            code="unknown_kind",
            where="kind of paper",
            rule=f"there is {', '.join(get_args(Kind))}",
        )
    check_date(files.date)
    job, case = _about(job_path, files)
    entries = _entries(job, case, files.evidence)
    knee, curves = _curves(files) if kind == "handover" else (None, [])
    measured = [_measured(path) for path in files.recordings] if kind == "handover" else []
    music = _music(files) if kind == "handover" else None
    material = PaperMaterial(
        entries, case, tuple(measured), knee, tuple(curves), files.date, music, files.closed_by_cause
    )
    return paper_about(job, kind=kind, material=material)


@dataclass(frozen=True, slots=True)
class PaperMaterial:
    """What belongs to a paper, read: entries, the case, recordings with their pictures, curves, a date, what music gave."""

    entries: tuple[Entry, ...] = ()
    case: Case | None = None
    measured: tuple[Measured, ...] = ()
    knee: Knee | None = None
    curves: tuple[Chart, ...] = ()
    date: str = ""
    music: MusicResult | None = None
    closed_by_cause: Mapping[str, int] = field(default_factory=dict)


def paper_about(job: Job, *, kind: str, material: PaperMaterial, plan: Plan | None = None) -> Paper:
    """Return a paper about a job that is read; its plan is made unless it is at hand."""
    if kind in ("customer", "case"):
        return _support_paper(kind, job, material)
    from gainwright.report import handover, setup_sheet

    if plan is None:
        from gainwright.plan import make_plan

        plan = make_plan(job)
    if kind == "setup":
        return setup_sheet(job, plan, date=material.date)
    return handover(
        job,
        plan,
        entries=material.entries,
        measured=material.measured,
        knee=material.knee,
        curves=material.curves,
        date=material.date,
        music=material.music,
    )


def _music(files: PaperFiles) -> MusicResult | None:
    from gainwright.app.music.result import read_music

    return None if files.music is None else read_music(files.music)


def _curves(files: PaperFiles) -> tuple[Knee | None, list[Chart]]:
    """Return the knee of the column of readings, and the charts of it and of the recorded sweeps."""
    from gainwright.app.measuring.knee import knee_of_file, meter_kind
    from gainwright.app.measuring.responses import make_sweep, responses
    from gainwright.report import knee_chart, response_chart

    knee, curves = None, list[Any]()
    if files.knee is not None:
        kind = meter_kind(meter="true-rms", accuracy_percent=1.0)
        knee, readings = knee_of_file(files.knee, kind=kind, limit_percent=1.0)
        curves.append(knee_chart(knee, readings, title=files.knee.name))
    for path in files.responses:
        sweep = make_sweep(low_hz=20.0, high_hz=20_000.0, seconds=10.0, level_dbfs=-12.0, rate_hz=96_000)
        found = responses(path, sweep, reference=None, temperature_celsius=20.0)
        curves.append(response_chart(found, title=path.name))
    return knee, curves


def _about(job_path: Path | None, files: PaperFiles) -> tuple[Job, Case | None]:
    from gainwright.jobfile import read_job, read_job_text

    case = files.kept
    if job_path is not None:
        return read_job(job_path).job, case
    if case is None:
        raise CallError(
            "no job is named", code="no_job", remedy="name a job file, or a case of the store", where="case"
        )
    return read_job_text(case.job, name=files.case).job, case


def _entries(job: Job, case: Case | None, evidence: Path | None) -> tuple[Entry, ...]:
    from gainwright.jobfile import read_entry, read_evidence

    if evidence is not None:
        return read_evidence(evidence, job)
    return () if case is None else tuple(read_entry(dict(entry), job) for entry in case.evidence)


def _support_paper(kind: str, job: Job, material: PaperMaterial) -> Paper:
    from gainwright.diagnose import Diagnoser, tell
    from gainwright.jobfile import read_entry
    from gainwright.report import case_paper, customer_paper

    case, entries = material.case, material.entries
    diagnoser = Diagnoser(job, closed=material.closed_by_cause)
    declined = [] if case is None else [read_entry(dict(e), job, answered=False) for e in case.declined]
    found = tell(diagnoser, entries, frozenset(case.unreachable if case is not None else ()), declined)
    if kind == "customer":
        return customer_paper(job, found, date=material.date)
    return case_paper(job, diagnoser, entries, found, case, date=material.date)


def _measured(path: Path) -> Measured:
    from gainwright.metering import measure, pictures, read_recording
    from gainwright.report import Measured

    recording = read_recording(path)
    return Measured(path.name, measure(recording).channels[0], pictures(recording))


def check_date(date: str) -> None:
    """Refuse what is no date. CallError."""
    if not date:
        return
    try:
        found = datetime.date.fromisoformat(date)
    except ValueError:
        found = None
    if found is None or found.isoformat() != date:
        raise CallError(f"{date!r} is no date", code="bad_date", where="date", remedy="write for example 2026-11-26")


def write_paper(
    paper: Paper, out: Path, *, charts: Charts, printer: Printer, code: str = "en", size: str = "a4"
) -> None:
    """Write a paper as .pdf, .html, .json or .csv, in a language, for A4 or Letter.

    Raises
    ------
    CallError : another suffix, language or size, or the file can't be written.
    """
    try:
        content = paper_bytes(paper, out.suffix.lower(), charts=charts, printer=printer, code=code, size=size)
    except CallError as error:
        raise (error.placed(str(out)) if error.code == "bad_suffix" else error) from None
    write_bytes(out, content)


def paper_bytes(
    paper: Paper, suffix: str, *, charts: Charts, printer: Printer, code: str = "en", size: str = "a4"
) -> bytes:
    """Return a paper as the file of a suffix.

    Raises
    ------
    CallError : another suffix, language or size.
    """
    from gainwright.report import language, paper_content, paper_csv, paper_html

    if suffix not in SUFFIXES:
        raise CallError(
            f"a paper can't be written as {suffix or 'a file without a suffix'}",
            code="bad_suffix",
            rule=f"papers are {', '.join(SUFFIXES)}",
            remedy="name the file sheet.pdf",
        )
    if size not in SIZES:
        raise CallError(
            f"paper of the size {size!r}", code="bad_size", where="paper size", rule=f"it is {' or '.join(SIZES)}"
        )
    into = language(code)

    def draw(chart: Chart, speaks: Language) -> str:
        return charts.render(chart, ".svg", speaks).decode()

    if suffix == ".json":
        return (json.dumps(paper.as_json(), ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()
    content = paper_content(paper, into, draw if suffix != ".csv" else lambda _chart, _into: "", size=size)
    if suffix == ".pdf":
        return printer.pdf(content, date=paper.date)
    return (paper_html(content) if suffix == ".html" else paper_csv(content)).encode()
