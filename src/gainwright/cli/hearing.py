"""The command about hearing: how loud tones are at the ear, for how long, and the dose of a day."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, print_json, print_text
from gainwright.cli.stored_cases import StorePlace, opened_store
from gainwright.errors import CallError

if TYPE_CHECKING:
    from gainwright.app.set_up.hearing_of_job import JobHearing
    from gainwright.model import Job
    from gainwright.solve.hearing_dose import DayHearing

LONGEST_S = 24 * 3600.0


@app.command()
def hearing(
    job: Annotated[Path | None, typer.Argument(metavar="[JOB]", help="The job file; optional with --day.")] = None,
    evidence: Annotated[Path | None, typer.Option(help="Readings and other findings, with the tones heard.")] = None,
    seconds: Annotated[
        float | None, typer.Option(help="How long each tone of the evidence played at most; then its dose is shown.")
    ] = None,
    day: Annotated[
        str, typer.Option(metavar="YYYY-MM-DD", help="The dose of all stored jobs of a day, instead of a job file.")
    ] = "",
    store: StorePlace = "",
    as_json: Json = False,
) -> None:
    """Show how loud tones are at the ear, for how long they may be heard, and the dose."""
    if (job is None) == (not day):
        raise CallError(
            "a job file or a day is needed, not both", code="no_job", remedy="give a job file, or --day 2026-11-28"
        )
    if job is None:
        found = _of_day(day, store)
        if as_json:
            print_json(found)
            return
        from gainwright.report.hearing_dose import dose_text, remarks

        print_text(f"{day}, jobs with tones heard: {found.jobs}\n\n{dose_text(found.of_day, remarks(found))}")
        return
    if seconds is not None and not 0 < seconds <= LONGEST_S:
        raise CallError(
            f"{seconds:g} s can't be", code="out_of_bounds", where="--seconds", rule="it is above 0 and up to a day"
        )
    read, heard = _of_job(job, evidence, seconds)
    if as_json:
        print_json(heard)
        return
    print_text(_text(read, heard))


def _of_job(path: Path, evidence: Path | None, seconds: float | None) -> tuple[Job, JobHearing]:
    from gainwright.app.set_up.hearing_of_job import hearing_of_job
    from gainwright.jobfile import read_evidence, read_job
    from gainwright.plan import make_plan

    job = read_job(path).job
    entries = () if evidence is None else read_evidence(evidence, job)
    return job, hearing_of_job(job, make_plan(job), entries, seconds=seconds)


def _of_day(day: str, place: str) -> DayHearing:
    from gainwright.app.set_up.hearing import day_hearing
    from gainwright.jobfile import read_job_text
    from gainwright.plan import make_plan

    with opened_store(place) as opened:
        return day_hearing(
            opened,
            None,
            day=day,
            job_of=lambda stored: read_job_text(stored.text).job,
            plan_of=lambda stored: make_plan(read_job_text(stored.text).job),
        )


def _text(job: Job, heard: JobHearing) -> str:
    from gainwright.report.figures import wrapped
    from gainwright.report.hearing import hours_text
    from gainwright.report.hearing_dose import dose_remarks, dose_text
    from gainwright.report.sheet import ear_text

    lines = ["Tones with speakers connected, as they are at the ear, and how long a day NIOSH recommends them at most:"]
    for tone in (*heard.planned, *heard.heard):
        longest = hours_text(min(tone.seconds_a_day, LONGEST_S))
        lines.append(wrapped(f"{tone.what}: {tone.ear.tone_hz:g} Hz, {ear_text(tone.ear)}; {longest}", 4, "  - "))
    if len(lines) == 1:
        lines.append("  none: no tone is heard.")
    if heard.dose is not None:
        lines += ["", "The tones of the evidence:", dose_text(heard.dose, dose_remarks(heard.dose, job))]
    return "\n".join([*lines, "", "Hearing protection on, doors open, nobody else in the cabin."])
