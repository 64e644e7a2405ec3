"""Commands about faults: find one, count closed cases, practise."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, draw, print_json, print_text, say

if TYPE_CHECKING:
    from gainwright.app.ports import CaseStore
    from gainwright.diagnose import Diagnosis
    from gainwright.model import Job

OptionalJob = Annotated[Path | None, typer.Argument(metavar="[JOB]", help="The job file.")]
CasesFolder = Annotated[Path | None, typer.Option("--cases", metavar="DIR", help="Where cases are kept.")]


@app.command()
def diagnose(
    job: OptionalJob = None,
    evidence: Annotated[Path | None, typer.Option(help="What was found so far; without it you are asked.")] = None,
    case: Annotated[str, typer.Option(metavar="NAME", help="Keep the dialogue as a case, or go on with one.")] = "",
    cases: CasesFolder = None,
    cant_reach: Annotated[
        list[str] | None, typer.Option(metavar="PLACE", help="A stage or lead that can't be got at.")
    ] = None,
    page: Annotated[Path | None, typer.Option(help="Write the customer's page into this .html or .pdf file.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw the chain with what is suspected (.svg or .png).")] = None,
    as_json: Json = False,
) -> None:
    """Find the fault: what is probably wrong, why, and the one test to make next."""
    from gainwright.app.cases.finding import closed_counts
    from gainwright.app.cases.finding import diagnose as run
    from gainwright.errors import CallError

    store = _store(cases) if case or cases is not None else None
    closed = closed_counts(store) if store is not None else None
    if job is not None and (evidence is not None or as_json) and not case:
        read, found = run(job, evidence, unreachable=cant_reach or [], closed=closed)
        _written(read, found, page, chart)
        if as_json:
            print_json(found)
        else:
            from gainwright.report import diagnosis_text

            print_text(diagnosis_text(found))
        return
    if evidence is not None:
        raise CallError(
            "an evidence file and a case don't go together", code="bad_call", remedy="leave one of them out"
        )
    from gainwright.app.cases.finding import check_unreachable, open_dialogue
    from gainwright.cli.dialogue import talk

    dialogue = open_dialogue(job, name=case, store=store, closed=closed)
    check_unreachable(cant_reach or [], dialogue.diagnoser.job)
    dialogue.unreachable += [place for place in cant_reach or [] if place not in dialogue.unreachable]
    found = dialogue.diagnosis() if as_json else talk(sys.stdin, say, dialogue, name=case, store=store)
    _written(dialogue.diagnoser.job, found, page, chart)
    if as_json:
        print_json(found)


def _store(folder: Path | None) -> CaseStore:
    from gainwright.composition import compose

    return compose().cases(folder)


def _written(job: Job, found: Diagnosis, page: Path | None, chart: Path | None) -> None:
    from gainwright.report import chain_drawing, customer_paper, suspicion

    if chart is not None:
        draw(chain_drawing(job, title=job.title or "The chain", marks=suspicion(found)), chart)
    if page is not None:
        from gainwright.app.papers.papers import write_paper
        from gainwright.composition import compose

        world = compose()
        write_paper(customer_paper(job, found), page, charts=world.charts, printer=world.printer)


@app.command()
def cases(
    folder: CasesFolder = None,
    chart: Annotated[Path | None, typer.Option(help="Draw closed cases by cause into this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Count the closed cases: the most common concerns, their tests and minutes, where the belief was wrong."""
    from gainwright.app.cases.finding import count_cases
    from gainwright.report import cases_chart, cases_text

    counts = count_cases(_store(folder))
    if chart is not None:
        draw(cases_chart(counts), chart)
    print_json(counts) if as_json else print_text(cases_text(counts))


@app.command()
def practise(
    job: OptionalJob = None,
    seed: Annotated[int | None, typer.Option(help="The same number hides the same fault.")] = None,
    as_json: Json = False,
) -> None:
    """Practise: find the fault that is hidden in a simulated chain, then see a short way to it."""
    from gainwright.app.practice.practising import practise as run
    from gainwright.app.practice.practising import practise_job
    from gainwright.cli.practice import exercise
    from gainwright.composition import compose

    read = practise_job(job)
    if seed is None:
        import secrets

        seed = secrets.randbelow(1_000_000)
    rigs = compose().hidden_rigs
    practice = run(read, rigs=rigs, seed=seed)
    found = exercise(sys.stdin, say, practice, rigs=rigs, seed=seed)
    if as_json:
        print_json(found)
