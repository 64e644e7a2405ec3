"""Commands about faults: find one, count closed cases, practise."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, print_json, print_text, say, write_chart
from gainwright.cli.stored_cases import CasesFolder, StorePlace, counted_cases, opened_store

if TYPE_CHECKING:
    from gainwright.diagnose import ClosedCases, Diagnosis
    from gainwright.jobfile import JobFile
    from gainwright.model import Job

OptionalJob = Annotated[Path | None, typer.Argument(metavar="[JOB]", help="The job file.")]


@app.command()
def diagnose(
    job: OptionalJob = None,
    evidence: Annotated[
        Path | None, typer.Option(help="What was found so far; without it, a dialogue is started.")
    ] = None,
    case: Annotated[
        str, typer.Option(metavar="NAME", help="Store the dialogue as a case of this name, or continue it.")
    ] = "",
    cases: CasesFolder = None,
    store: StorePlace = "",
    cant_reach: Annotated[
        list[str] | None, typer.Option(metavar="PLACE", help="A stage or lead that can't be reached.")
    ] = None,
    page: Annotated[Path | None, typer.Option(help="Write the customer's page to this .html or .pdf file.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw the chain with the suspected places (.svg or .png).")] = None,
    complaint: Annotated[
        str, typer.Option(metavar="TEXT", help="What is wrong, in your own words, instead of asking for it.")
    ] = "",
    chain: Annotated[
        str, typer.Option(metavar="CHAIN", help="Without a job file: the typical chain, instead of asking for it.")
    ] = "",
    also: Annotated[
        list[str] | None,
        typer.Option(metavar="EXTRA", help="What that chain has too: knob, speaker_wires or meter."),
    ] = None,
    write_job: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Without a job file: write the chain as a new one.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Find the fault: the likely causes, the reasons, and the next test; without a job file, of a typical chain."""
    from gainwright.cli.call_start import job_of_call, refuse_chain
    from gainwright.errors import CallError
    from gainwright.jobfile import read_job

    if case and evidence is not None:
        raise CallError(
            "an evidence file and a case can't be combined", code="bad_call", remedy="leave one of them out"
        )
    if job is not None or (case and not chain):
        refuse_chain(chain, also or [], write_job)
        read = None if job is None else read_job(job)
    else:
        read = job_of_call(chain, also or [], ask=evidence is None and not as_json, write_to=write_job)
    if case:
        found, of = _resume_case(case, read, complaint, store, cases, cant_reach or [], as_json=as_json)
    else:
        assert read is not None  # noqa: S101  a job's, or the call's
        counted = counted_cases(store, cases)
        found, of = _without_case(read, evidence, complaint, counted, cant_reach or [], as_json=as_json), read.job
    _write_outputs(of, found, page, chart)
    if as_json:
        print_json(found)
    elif evidence is not None:
        from gainwright.report.diagnosis import diagnosis_text

        print_text(diagnosis_text(found))


def _without_case(
    read: JobFile, evidence: Path | None, complaint: str, counted: ClosedCases, cant_reach: list[str], *, as_json: bool
) -> Diagnosis:
    """Diagnose a job from a complaint and its evidence file, or in a dialogue; with `as_json` no dialogue is started."""
    from gainwright.app.cases.complaints import complaint_entries
    from gainwright.app.cases.diagnosis import begin_dialogue
    from gainwright.app.cases.diagnosis import diagnose as run
    from gainwright.cli.dialogue import run_dialogue
    from gainwright.jobfile import read_entry, read_evidence

    if evidence is not None or as_json:
        complained = complaint_entries(complaint, read.job) if complaint else []
        entries = [read_entry(entry, read.job) for entry in complained]
        entries += () if evidence is None else read_evidence(evidence, read.job)
        return run(read.job, entries, unreachable=cant_reach, counted=counted)
    dialogue = begin_dialogue(read.text, read.job.title, counted=counted)
    dialogue.leave_out(cant_reach)
    if complaint:
        dialogue.complain(complaint)
    return run_dialogue(sys.stdin, say, dialogue)


def _resume_case(
    name: str,
    read: JobFile | None,
    complaint: str,
    place: str,
    folder: Path | None,
    cant_reach: list[str],
    *,
    as_json: bool,
) -> tuple[Diagnosis, Job]:
    """Resume a case, or begin one about a job; with `as_json` the diagnosis is only printed."""
    from gainwright.app.cases.diagnosis import open_case
    from gainwright.cli.dialogue import run_dialogue
    from gainwright.composition import compose

    with opened_store(place, folder, name=name) as store:
        copies = None if folder is None else compose().case_folder(folder)
        text, title = (None, "") if read is None else (read.text, read.job.title)
        kept = open_case(store.cases, name, job_text=text, title=title, copies=copies)
        kept.dialogue.leave_out(cant_reach)
        if complaint:
            kept.dialogue.complain(complaint)
        if not as_json:
            kept.refuse_closed()
        found = kept.dialogue.diagnosis() if as_json else run_dialogue(sys.stdin, say, kept.dialogue, kept=kept)
        return found, kept.dialogue.diagnoser.job


def _write_outputs(job: Job, found: Diagnosis, page: Path | None, chart: Path | None) -> None:
    from gainwright.report.chain_drawing import chain_drawing, suspected_places
    from gainwright.report.support_papers import customer_paper

    if chart is not None:
        write_chart(chain_drawing(job, title=job.title or "The chain", marks=suspected_places(found)), chart)
    if page is not None:
        from gainwright.cli.papers import write_paper
        from gainwright.plan import make_plan

        write_paper(customer_paper(job, found, full_scale=make_plan(job).full_scale), page)


@app.command()
def cases(
    folder: CasesFolder = None,
    store: StorePlace = "",
    chart: Annotated[
        Path | None, typer.Option(help="Draw the closed cases by cause to this .svg or .png file.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Count the closed cases by cause, with their tests and minutes, and list wrong diagnoses."""
    from gainwright.app.cases.tally import count_cases
    from gainwright.composition import compose
    from gainwright.report.cases import cases_chart, cases_text

    counts = count_cases(())
    if folder is not None or compose().has_store(store):
        with opened_store(store, folder) as opened:
            counts = count_cases(opened.cases.find())
    if chart is not None:
        write_chart(cases_chart(counts), chart)
    print_json(counts) if as_json else print_text(cases_text(counts))


@app.command()
def practise(
    job: OptionalJob = None,
    seed: Annotated[int | None, typer.Option(help="The same number hides the same fault.")] = None,
    as_json: Json = False,
) -> None:
    """Practise: find the fault hidden in a simulated chain, then compare with a short sequence of tests."""
    from gainwright.app.practice.class_exercises import Replay
    from gainwright.app.practice.practice import example_job, with_gains_set
    from gainwright.app.practice.practice import practise as run
    from gainwright.cli.practice import run_exercise
    from gainwright.composition import compose
    from gainwright.jobfile import read_job
    from gainwright.model.class_exercise import PracticeLimits

    read = with_gains_set(read_job(job).job if job is not None else example_job())
    if seed is None:
        import secrets

        seed = secrets.randbelow(1_000_000)
    rigs = compose().hidden_rigs
    going = Replay(run(read, rigs=rigs, seed=seed), PracticeLimits())
    found = run_exercise(sys.stdin, say, going, rigs=rigs, seed=seed)
    if as_json:
        print_json(found)
