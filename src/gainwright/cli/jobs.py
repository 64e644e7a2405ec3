"""Commands about a job: start, check, levels, plan, tones; the demo and what is installed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gainwright.cli.base import JobPath, Json, app, end, print_json, print_text
from gainwright.results import to_json


@app.command()
def new(
    file: Annotated[Path, typer.Argument(help="Where to write the job file; leave out to list the examples.")] = Path(),
    like: Annotated[str, typer.Option(help="The example to start from.")] = "two_way_and_sub",
    as_json: Json = False,
) -> None:
    """Write a commented job file to start from, or list the examples."""
    from gainwright.app.jobs.starting import examples, new_job

    if file == Path():
        found = examples()
        print_json({"examples": found}) if as_json else print_text(
            "\n".join(f"{name:<20} {about}" for name, about in found.items())
        )
        return
    new_job(file, like=like)
    print_json({"file": str(file), "like": like}) if as_json else print_text(
        f"{file} written, like {like}. Next: edit it, then gainwright check {file}"
    )


@app.command()
def check(job: JobPath, as_json: Json = False) -> None:
    """Check a job: its file, then its engineering."""
    from gainwright.app.jobs.answers import check as run

    read, findings = run(job)
    blocked = any(f.severity == "blocker" for f in findings)
    if as_json:
        print_json({"title": read.title, "findings": findings})
    else:
        from gainwright.report import findings_text

        print_text("\n".join(findings_text(findings)))
    end(blocked)


@app.command()
def levels(
    job: JobPath,
    tone: Annotated[float, typer.Option(metavar="HZ", help="Frequency of the tone.")],
    level: Annotated[float, typer.Option(metavar="DBFS", help="Level of the tone, 0 is full scale.")] = 0.0,
    sets: Annotated[
        list[str] | None, typer.Option("--set", metavar="CONTROL=VALUE", help="Put a control somewhere else.")
    ] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw the corridor into this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Show the corridor: level, floor and ceiling at every node."""
    from gainwright.app.jobs.answers import draw_corridor
    from gainwright.app.jobs.answers import levels as run
    from gainwright.composition import compose

    read, found = run(job, tone_hz=tone, level_dbfs=level, sets=sets or [])
    if chart is not None:
        draw_corridor(found, compose().charts, title=read.title, path=chart)
    if as_json:
        print_json(found)
    else:
        from gainwright.report import levels_text

        print_text(levels_text(found))
        if chart is not None:
            print_text(f"\ndrawn: {chart}")


@app.command()
def plan(
    job: JobPath,
    evidence: Annotated[
        Path | None, typer.Option(help="Readings so far: expect the next ones with what they taught.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Plan the work: steps, targets and findings."""
    from gainwright.app.jobs.answers import plan as run
    from gainwright.app.jobs.answers import plan_with

    found, learned = (run(job), ()) if evidence is None else plan_with(job, evidence)
    if as_json:
        print_json(to_json(found) | {"learned": to_json(learned)})
    else:
        from gainwright.report import learned_text, plan_text

        print_text(plan_text(found))
        if evidence is not None:
            print_text(learned_text([(x.path, x.low, x.high, x.before_low, x.before_high) for x in learned]))
    end(found.blocked)


@app.command()
def assumed(job: JobPath, as_json: Json = False) -> None:
    """Show what is assumed where the job doesn't say, and why."""
    from gainwright.app.jobs.starting import assumptions

    found = assumptions(job)
    if as_json:
        print_json({"assumed": found})
    else:
        print_text("\n".join(f"{a.path:<40} {a.value:<24} {a.reason}" for a in found))


@app.command()
def tones(
    job: Annotated[Path | None, typer.Argument(metavar="[JOB]", help="Write every tone this job needs.")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for a job's tones, or file for one tone.")] = None,
    tone: Annotated[float | None, typer.Option(metavar="HZ", help="Frequency of a single tone.")] = None,
    level: Annotated[float, typer.Option(metavar="DBFS", help="Its level.")] = 0.0,
    seconds: Annotated[float, typer.Option(help="Its length.")] = 60.0,
    rate: Annotated[int, typer.Option(help="Samples a second.")] = 44_100,
    bits: Annotated[int, typer.Option(help="16 (dithered) or 24.")] = 16,
    sides: Annotated[str, typer.Option(help="both, left, right or mono.")] = "both",
    flac: Annotated[bool, typer.Option("--flac", help="FLAC instead of WAV, for a job's tones.")] = False,
    as_json: Json = False,
) -> None:
    """Write the signals: a job's whole set, or one tone."""
    from gainwright.app.tones.sets import tones as run

    found = run(
        job, out=out, tone_hz=tone, level_dbfs=level, seconds=seconds, rate_hz=rate, bits=bits, sides=sides, flac=flac
    )
    print_json({"tones": found}) if as_json else print_text("\n".join(f"{t.file}  {t.what}" for t in found))


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for all results.")] = Path("gainwright-demo"),
    as_json: Json = False,
) -> None:
    """Run the whole job on a shipped example, end to end."""
    from gainwright.app.practice.demo import demo as run
    from gainwright.composition import compose

    world = compose()
    found = run(out, charts=world.charts, benches=world.benches)
    print_json(found) if as_json else print_text(found.text())


@app.command()
def selfcheck(as_json: Json = False) -> None:
    """Show what is installed, what is missing, and the line that mends it."""
    from gainwright.composition import compose

    found = compose().installation()
    if as_json:
        print_json({"parts": found})
    else:
        print_text("\n".join(f"{'ok' if p.ok else 'missing':<8} {p.part:<22} {p.said}" for p in found))
    end(any(not p.ok for p in found))
