"""Papers about a job, and their rendering in the format that a file's suffix names."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, get_args

from gainwright.app.clock import read_date
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.ports import Charts, Printer
    from gainwright.diagnose import ClosedCases, Diagnoser, Diagnosis
    from gainwright.metering import Knee, Recording
    from gainwright.model import Entry, Job
    from gainwright.model.case import Case
    from gainwright.plan import Plan
    from gainwright.programme.music_result import MusicResult
    from gainwright.report.charts import Chart
    from gainwright.report.clean_steps import FoundVolume
    from gainwright.report.handover import Measured
    from gainwright.report.languages import Language
    from gainwright.report.paper import Paper
    from gainwright.report.photos import PaperNote
    from gainwright.solve.hearing_dose import DayHearing

SUFFIXES = (".pdf", ".html", ".json", ".csv")
SIZES = ("a4", "letter")


@dataclass(frozen=True, slots=True)
class PaperMaterial:
    """What a paper contains besides its job.

    Attributes
    ----------
    entries : the evidence.
    case : the case that it is about.
    measured : recordings with what was measured of them.
    knee : where a column of readings bends.
    curves : charts of the column and of recorded sweeps.
    date : printed on the paper.
    music : the result of a scan of music.
    counted : the closed cases of the store.
    short : whether the set-up sheet has one line a step.
    diagnosed : the diagnoser of the job and the diagnosis of this evidence, if they were made already.
    volumes : the highest clean volumes that were found in the set-up.
    notes : of the steps, for a handover, with their photos.
    hearing : the hearing dose of its run, for the set-up sheet.
    """

    entries: tuple[Entry, ...] = ()
    case: Case | None = None
    measured: tuple[Measured, ...] = ()
    knee: Knee | None = None
    curves: tuple[Chart, ...] = ()
    date: str = ""
    music: MusicResult | None = None
    counted: ClosedCases | None = None
    short: bool = False
    diagnosed: tuple[Diagnoser, Diagnosis] | None = None
    volumes: tuple[FoundVolume, ...] = ()
    notes: tuple[PaperNote, ...] = ()
    hearing: DayHearing | None = None


def check_kind(kind: str) -> None:
    """Refuse an unknown kind of paper. CallError."""
    from gainwright.report.paper import PaperKind

    if kind not in get_args(PaperKind):
        raise CallError(
            say("there is no paper {kind}", kind=repr(kind)),
            code="unknown_kind",
            where="kind of paper",
            rule=say("there is {listed}", listed=", ".join(get_args(PaperKind))),
        )


def make_paper(job: Job, *, kind: str, material: PaperMaterial, plan: Plan | None = None) -> Paper:
    """Return a paper about a job; its plan is made unless it is given.

    Raises
    ------
    CallError : an unknown kind, or an invalid date.
    """
    check_kind(kind)
    check_date(material.date)
    if kind in ("customer", "case"):
        return _support_paper(kind, job, material, plan)
    if kind == "power":
        from gainwright.power import evaluate_power
        from gainwright.report.power import power_paper

        return power_paper(job, evaluate_power(job, material.music), date=material.date)
    from gainwright.report.handover import handover
    from gainwright.report.setup_sheet import setup_sheet

    if plan is None:
        from gainwright.plan import make_plan

        plan = make_plan(job)
    if kind == "setup":
        return setup_sheet(job, plan, date=material.date, short=material.short, hearing=material.hearing)
    from gainwright.report.photos import note_blocks

    paper = handover(
        job,
        plan,
        entries=material.entries,
        measured=material.measured,
        knee=material.knee,
        curves=material.curves,
        date=material.date,
        music=material.music,
        volumes=material.volumes,
        closed=None if material.case is None else material.case.closed,
    )
    return replace(paper, blocks=paper.blocks + note_blocks(material.notes))


def knee_and_chart(readings: Sequence[tuple[float, float]], *, title: str) -> tuple[Knee, Chart]:
    """Return the knee of a column of (step, volts), read with a meter of 1 % of either kind, and its chart."""
    from gainwright.app.measuring.knee import knee_of, meter_kind
    from gainwright.report.knee import knee_chart

    knee = knee_of(readings, kind=meter_kind(meter="unknown", accuracy_percent=1.0), limit_percent=1.0)
    return knee, knee_chart(knee, list(readings), title=title)


def sweep_chart(recording: Recording) -> Chart:
    """Return the chart of a recorded sweep, 20 Hz to 20 kHz in 10 s. RecordingError: there isn't one."""
    from gainwright.app.measuring.responses import responses
    from gainwright.report.response import response_chart
    from gainwright.signals import Sweep

    measured = responses(recording, Sweep(rate_hz=96_000))
    return response_chart(measured, title=recording.name)


def measured_for_paper(
    recording: Recording,
    *,
    calibrate_v: float | None = None,
    expect_hz: float | None = None,
    processing: Sequence[str] = (),
) -> Measured:
    """Return a recording as papers show it: its name, the measurement of its first channel, its pictures.

    Parameters
    ----------
    calibrate_v : volts rms of full scale, if known.
    expect_hz : the frequency that was asked for, if any.
    processing : what was done to it while it was recorded, so that its levels aren't reliable.
    """
    from gainwright.metering import measure, pictures
    from gainwright.report.handover import Measured

    channel = measure(recording, calibrate_v=calibrate_v, expect_hz=expect_hz).channels[0]
    return Measured(recording.name, channel, pictures(recording, found=channel), tuple(processing))


def _support_paper(kind: str, job: Job, material: PaperMaterial, plan: Plan | None) -> Paper:
    from gainwright.diagnose import Diagnoser, make_diagnosis
    from gainwright.jobfile import read_entry
    from gainwright.report.support_papers import case_paper, customer_paper

    case, entries = material.case, material.entries
    if material.diagnosed is None:
        diagnoser = Diagnoser(job, closed=material.counted)
        declined = [] if case is None else [read_entry(dict(e), job, answered=False) for e in case.declined]
        unreachable = frozenset(case.unreachable if case is not None else ())
        diagnosis = make_diagnosis(diagnoser, entries, unreachable, declined)
    else:
        diagnoser, diagnosis = material.diagnosed
    if kind == "customer":
        from gainwright.plan import make_plan

        loud = (plan or make_plan(job)).full_scale
        return customer_paper(job, diagnosis, date=material.date, full_scale=loud)
    return case_paper(job, diagnoser, entries, diagnosis, case, date=material.date)


def check_date(date: str) -> None:
    """Refuse an invalid date; none at all is valid. CallError."""
    if date:
        read_date(date)


def paper_bytes(
    paper: Paper, suffix: str, *, charts: Charts, printer: Printer, code: str = "en", size: str = "a4"
) -> bytes:
    """Return a paper as the file of a suffix.

    Raises
    ------
    CallError : an unknown suffix, language or size.
    """
    from gainwright.report.languages import language
    from gainwright.report.paper_content import paper_content, paper_csv, paper_html

    if suffix not in SUFFIXES:
        raise CallError(
            say("a paper can't be written as {suffix}", suffix=suffix or "a file without a suffix"),
            code="bad_suffix",
            rule=say("papers are {listed}", listed=", ".join(SUFFIXES)),
            remedy=say("name the file sheet.pdf"),
        )
    if size not in SIZES:
        raise CallError(
            say("there is no paper size {size}", size=repr(size)),
            code="bad_size",
            where="paper size",
            rule=say("it is {listed}", listed=" or ".join(SIZES)),
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
