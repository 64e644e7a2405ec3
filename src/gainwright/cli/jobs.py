"""Commands about a job: start, check, levels, plan, tones; the demo and what is installed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import (
    JobPath,
    Json,
    app,
    exit_if_wrong,
    print_json,
    print_text,
    say,
    write_chart,
    write_new_file,
)
from gainwright.errors import CallError
from gainwright.results import to_json
from gainwright.texts import sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.set_up.found_settings import SettingChange
    from gainwright.app.tones import WrittenTone
    from gainwright.diagnose import LearnedValue
    from gainwright.jobfile import JobFile
    from gainwright.model import Entry


@app.command()
def new(
    file: Annotated[Path, typer.Argument(help="Where to write the job file; leave out to list the examples.")] = Path(),
    like: Annotated[str, typer.Option(help="The example to start from.")] = "two_way_and_sub",
    as_json: Json = False,
) -> None:
    """Write a commented job file to start from, or list the examples."""
    from gainwright.jobfile import example_text, examples

    if file == Path():
        found = examples()
        print_json({"examples": found}) if as_json else print_text(
            "\n".join(f"{name:<20} {about}" for name, about in found.items())
        )
        return
    write_new_file(file, example_text(like))
    print_json({"file": str(file), "like": like}) if as_json else print_text(
        f"{file} written, like {like}. Next: edit it, then gainwright check {file}"
    )


@app.command()
def check(job: JobPath, as_json: Json = False) -> None:
    """Check a job: its file, then its engineering."""
    from gainwright.jobfile import read_job

    read = read_job(job).job  # read before the planner is imported, so that a mistake in the file is reported at once
    from gainwright.plan import check_job

    findings = check_job(read)
    blocked = any(f.severity == "blocker" for f in findings)
    if as_json:
        print_json({"title": read.title, "findings": [to_json(f) for f in findings]})
    else:
        from gainwright.report.text import findings_text

        print_text("\n".join(findings_text(findings)))
    exit_if_wrong(blocked)


@app.command()
def levels(
    job: JobPath,
    tone: Annotated[float, typer.Option(metavar="HZ", help="Frequency of the tone.")],
    level: Annotated[float, typer.Option(metavar="DBFS", help="Level of the tone, 0 is full scale.")] = 0.0,
    sets: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="CONTROL=VALUE", help="Change a control, for this command only."),
    ] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw the corridor to this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Show the corridor: level, floor and ceiling at every node."""
    from gainwright.app.jobs.corridor import parse_settings, solve_corridor
    from gainwright.jobfile import read_job

    read = read_job(job).job
    found = solve_corridor(read, parse_settings(sets or []), tone_hz=tone, level_dbfs=level)
    if chart is not None:
        from gainwright.report.corridor import corridor_chart

        write_chart(corridor_chart(found, read, title=read.title), chart)
    if as_json:
        print_json(found)
    else:
        from gainwright.report.text import levels_text

        print_text(levels_text(found))
        if chart is not None:
            print_text(f"\ndrawn: {chart}")


@app.command()
def plan(
    job: JobPath,
    evidence: Annotated[
        Path | None, typer.Option(help="Readings so far, which make the expected readings more precise.")
    ] = None,
    short: Annotated[bool, typer.Option("--short", help="One line a step, without the reasons.")] = False,
    take_over: Annotated[
        bool, typer.Option("--take-over", help="Write the settings of the last reading into the job file first.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Plan the work: steps, targets and findings."""
    from gainwright.jobfile import read_evidence, read_job

    file = read_job(job)
    read = file.job
    entries = () if evidence is None else read_evidence(evidence, read)
    from gainwright.plan import make_plan

    taken = _taken_over(job, file, entries) if take_over else ()
    if taken:
        read = read_job(job).job

    learned: tuple[LearnedValue, ...] = ()
    if evidence is None:
        found = make_plan(read)
    else:
        from gainwright.diagnose import Diagnoser, learn_values

        draws, learned = learn_values(Diagnoser(read), entries)
        found = make_plan(read, learned=draws)
    if as_json:
        also = {"taken_over": [to_json(change) for change in taken]} if take_over else {}
        print_json(to_json(found) | {"learned": [to_json(x) for x in learned]} | also)
    else:
        from gainwright.report.text import learned_text, plan_text

        if take_over:
            print_text(
                "".join(f"{sentence(c.where_text)}: {c.old or '-'} -> {c.new}\n" for c in taken)
                or "nothing to take over\n"
            )
        print_text(plan_text(found, short=short))
        if evidence is not None:
            print_text(learned_text([(x.path, x.low, x.high, x.before_low, x.before_high) for x in learned]))
    exit_if_wrong(found.blocked)


def _taken_over(job: Path, file: JobFile, entries: Sequence[Entry]) -> tuple[SettingChange, ...]:
    """Write what was set, as the evidence says it, into a job file; return what changed."""
    from gainwright.adapters.files import write_file
    from gainwright.app.set_up.evidence_settings import settings_in_evidence
    from gainwright.app.set_up.found_settings import as_set, setting_changes
    from gainwright.plan import make_plan

    if not entries:
        raise CallError("--take-over needs readings", code="bad_call", remedy="give them with --evidence run.yaml")
    changes = setting_changes(file.job, settings_in_evidence(file.job, make_plan(file.job), entries))
    if changes:
        write_file(job, as_set(file, changes))
    return changes


@app.command()
def assumed(job: JobPath, as_json: Json = False) -> None:
    """Show what is assumed for values missing from the job, and why."""
    from gainwright.app.jobs.assumptions import assumptions
    from gainwright.jobfile import read_job

    found = assumptions(read_job(job))
    if as_json:
        print_json({"assumed": found})
    else:
        print_text("\n".join(f"{a.path:<40} {a.value:<24} {a.reason}" for a in found))


@app.command()
def tones(
    job: Annotated[Path | None, typer.Argument(metavar="[JOB]", help="The job whose tones to write.")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for a job's tones, or file for a single tone.")] = None,
    tone: Annotated[float | None, typer.Option(metavar="HZ", help="Frequency of a single tone.")] = None,
    level: Annotated[float, typer.Option(metavar="DBFS", help="Its level.")] = 0.0,
    seconds: Annotated[float, typer.Option(help="Its length.")] = 60.0,
    rate: Annotated[int, typer.Option(help="Sample rate, Hz.")] = 44_100,
    bits: Annotated[int, typer.Option(help="16 (dithered) or 24.")] = 16,
    sides: Annotated[str, typer.Option(help="both, left, right or mono.")] = "both",
    flac: Annotated[bool, typer.Option("--flac", help="Write a job's tones as FLAC instead of WAV.")] = False,
    as_json: Json = False,
) -> None:
    """Write test tones: all tones of a job, or a single one."""
    if (job is None) == (tone is None):
        raise CallError(
            "the job or the tone is missing",
            code="bad_call",
            rule="give a job file for all its tones, or --tone HZ for a single one",
            remedy="gainwright tones car.yaml --out signals",
        )
    if out is None:
        raise CallError(
            "--out is missing",
            code="bad_call",
            rule="--out must be a folder for a job's tones, a file for a single tone",
        )
    if job is not None:
        found = _job_tones(job, out, seconds=seconds, rate_hz=rate, bits=bits, flac=flac)
    else:
        from gainwright.adapters.files import write_file
        from gainwright.app.tones import written_tone
        from gainwright.signals import NumberedTone, Tone, tone_bytes

        one = Tone(float(tone or 0.0), (level,), seconds, rate, bits, sides)  # type: ignore[arg-type]
        write_file(out, tone_bytes(one, out.suffix))
        entry = NumberedTone(str(out), one, f"{one.frequency_hz:g} Hz at {level:g} dBFS")
        found = [written_tone(entry)]
    print_json({"tones": found}) if as_json else print_text("\n".join(f"{t.file}  {t.what}" for t in found))
    exit_if_wrong(not found)


def _job_tones(job: Path, out: Path, *, seconds: float, rate_hz: int, bits: int, flac: bool) -> list[WrittenTone]:
    from gainwright.adapters.files import make_folder, write_file
    from gainwright.app.tones import plan_tones, written_tone
    from gainwright.jobfile import read_job
    from gainwright.plan import make_plan
    from gainwright.signals import number_tones, set_files

    read = read_job(job).job
    try:
        tones_of_plan = plan_tones(make_plan(read), seconds=seconds, rate_hz=rate_hz, bits=bits)
    except CallError as error:
        if error.code != "plan_blocked":
            raise
        say(f"gainwright: {error}")
        return []
    entries = number_tones(tones_of_plan, flac=flac)
    make_folder(out)
    for name, content in set_files(entries, title=read.title):
        write_file(out / name, content)
    return [written_tone(replace(entry, file=str(out / entry.file))) for entry in entries]


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for all results.")] = Path("gainwright-demo"),
    as_json: Json = False,
) -> None:
    """Run a complete job on a shipped example."""
    from gainwright.adapters.files import make_folder, write_file
    from gainwright.app.practice.demo import demo as run
    from gainwright.composition import compose

    for folder in (out, out / "tones", out / "recordings"):
        make_folder(folder)
    world = compose()
    found, files = run(str(out), charts=world.charts, benches=world.benches)
    for name, content in files.items():
        write_file(out / name, content)
    print_json(found) if as_json else print_text(found.text())


@app.command()
def selfcheck(as_json: Json = False) -> None:
    """Show what is installed, and of what is missing what can't be done without it and the line that installs it."""
    from gainwright.composition import compose

    found = compose().installation()
    if as_json:
        print_json({"parts": found})
    else:
        for part in found:
            state = "missing" if not part.ok else "optional" if part.remedy else "ok"
            print_text(f"{state:<8} {part.part:<22} {part.said}")
            if part.remedy:
                print_text(f"{'':<31} without it: {part.costs}\n{'':<31} to add it: {part.remedy}")
    exit_if_wrong(any(not p.ok for p in found))
