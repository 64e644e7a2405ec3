"""The command line: one function a command, each a few lines from a verb to its rendering."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from gainwright import __version__
from gainwright.errors import GainwrightError, exit_status

SOMETHING_WRONG = 1

app = typer.Typer(
    name="gainwright",
    help="Plan, prove and write down the gain structure of a vehicle's sound chain.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

JobPath = Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")]


def main() -> None:
    """Run the command line; errors a person can mend become one message and status 2."""
    try:
        app()
    except GainwrightError as error:
        sys.stderr.write(f"gainwright: {error}\n")
        raise SystemExit(exit_status(error)) from None
    except KeyboardInterrupt:
        sys.stderr.write("gainwright: stopped\n")
        raise SystemExit(130) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None


def _print(text: str) -> None:
    sys.stdout.write(text + "\n")


def _print_json(found: Any) -> None:
    _print(json.dumps(found, ensure_ascii=False, allow_nan=False))


def _end(wrong: bool) -> None:
    if wrong:
        raise typer.Exit(SOMETHING_WRONG)


@app.callback(invoke_without_command=True)
def _root(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        _print(f"gainwright {__version__}")
        raise typer.Exit


@app.command()
def new(
    file: Annotated[Path, typer.Argument(help="Where to write the job file; leave out to list the examples.")] = Path(),
    like: Annotated[str, typer.Option(help="The example to start from.")] = "two_way_and_sub",
    as_json: Json = False,
) -> None:
    """Write a commented job file to start from, or list the examples."""
    from gainwright.app import examples, new_job

    if file == Path():
        found = examples()
        _print_json({"examples": found}) if as_json else _print(
            "\n".join(f"{name:<20} {about}" for name, about in found.items())
        )
        return
    new_job(file, like=like)
    _print_json({"file": str(file), "like": like}) if as_json else _print(
        f"{file} written, like {like}. Next: edit it, then gainwright check {file}"
    )


@app.command()
def check(job: JobPath, as_json: Json = False) -> None:
    """Check a job: its file, then its engineering."""
    from gainwright.app import check as run

    read, findings = run(job)
    blocked = any(f.severity == "blocker" for f in findings)
    if as_json:
        _print_json({"title": read.title, "findings": [f.as_json() for f in findings]})
    else:
        from gainwright.report import findings_text

        _print("\n".join(findings_text(findings)))
    _end(blocked)


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
    from gainwright.app import draw_corridor
    from gainwright.app import levels as run
    from gainwright.composition import compose

    read, found = run(job, tone_hz=tone, level_dbfs=level, sets=sets or [])
    if chart is not None:
        draw_corridor(found, compose().charts, title=read.title, path=chart)
    if as_json:
        _print_json(found.as_json())
    else:
        from gainwright.report import levels_text

        _print(levels_text(found))
        if chart is not None:
            _print(f"\ndrawn: {chart}")


@app.command()
def plan(job: JobPath, as_json: Json = False) -> None:
    """Plan the work: steps, targets and findings."""
    from gainwright.app import plan as run

    found = run(job)
    if as_json:
        _print_json(found.as_json())
    else:
        from gainwright.report import plan_text

        _print(plan_text(found))
    _end(found.blocked)


@app.command()
def assumed(job: JobPath, as_json: Json = False) -> None:
    """Show what is assumed where the job doesn't say, and why."""
    from gainwright.app import assumptions

    found = assumptions(job)
    if as_json:
        _print_json({"assumed": found})
    else:
        _print("\n".join(f"{a['path']:<40} {a['value']:<24} {a['reason']}" for a in found))


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
    from gainwright.app import tones as run

    found = run(
        job, out=out, tone_hz=tone, level_dbfs=level, seconds=seconds, rate_hz=rate, bits=bits, sides=sides, flac=flac
    )
    _print_json(found) if as_json else _print("\n".join(f"{t['file']}  {t['what']}" for t in found["tones"]))


@app.command()
def measure(
    file: Annotated[Path, typer.Argument(help="A recording: WAV, FLAC, OGG, MP3 or AIFF.")],
    calibrate: Annotated[
        float | None, typer.Option(metavar="V", help="Volts rms that a 0 dBFS sine in the file stands for.")
    ] = None,
    expect: Annotated[float | None, typer.Option(metavar="HZ", help="The frequency played.")] = None,
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD up to which a tone is clean.")] = 1.0,
    as_json: Json = False,
) -> None:
    """Measure a recording of a steady tone and judge it."""
    from gainwright.app import measure as run

    found = run(file, calibrate_v=calibrate, expect_hz=expect, limit_percent=limit)
    content = found.as_json()
    if as_json:
        _print_json(content)
    else:
        from gainwright.report import measurement_text

        _print(measurement_text(found))
    _end(any(channel["verdict"] != "clean" for channel in content["channels"]))


@app.command()
def noise(
    file: Annotated[Path, typer.Argument(help="A recording made with no tone playing.")],
    calibrate: Annotated[
        float | None, typer.Option(metavar="V", help="Volts rms that a 0 dBFS sine in the file stands for.")
    ] = None,
    power: Annotated[
        float | None, typer.Option(metavar="W", help="Signal to noise re this power, with --load.")
    ] = None,
    load: Annotated[float | None, typer.Option(metavar="OHM", help="The load of that power.")] = None,
    as_json: Json = False,
) -> None:
    """Measure noise, and tell hum, ripple, whine and hiss apart."""
    from gainwright.app import noise as run

    found = run(file, calibrate_v=calibrate, power_w=power, load_ohm=load)
    if as_json:
        _print_json({"channels": [channel.as_json() for channel in found]})
    else:
        from gainwright.report import noise_text

        _print(noise_text(found))


@app.command()
def onset(
    file: Annotated[Path, typer.Argument(help="A recording of a tone that gets louder.")],
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD that counts as clipping.")] = 1.0,
    expect: Annotated[float | None, typer.Option(metavar="HZ", help="The frequency played.")] = None,
    behind: Annotated[
        list[str] | None, typer.Option(metavar="FILTER", help="A low-pass behind the stage: 'butterworth 24 at 80 Hz'.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Find when and at which level a rising tone begins to clip."""
    from gainwright.app import onset as run

    found = run(file, limit_percent=limit, expect_hz=expect, behind=behind or [])
    if as_json:
        _print_json({"channels": [channel.as_json() for channel in found]})
    else:
        from gainwright.report import onset_text

        _print(onset_text(found))


SweepFrom = Annotated[float, typer.Option("--from", metavar="HZ", help="Where the sweep begins.")]
SweepTo = Annotated[float, typer.Option("--to", metavar="HZ", help="Where it ends.")]
SweepSeconds = Annotated[float, typer.Option("--seconds", help="How long it lasts.")]


@app.command()
def sweep(
    out: Annotated[Path, typer.Option(help="File to write, .wav or .flac.")],
    low: SweepFrom = 20.0,
    high: SweepTo = 20_000.0,
    seconds: SweepSeconds = 10.0,
    level: Annotated[float, typer.Option(metavar="DBFS", help="Its level.")] = -12.0,
    rate: Annotated[int, typer.Option(help="Samples a second.")] = 48_000,
    as_json: Json = False,
) -> None:
    """Write an exponential sweep, to measure a response with."""
    from gainwright.app import make_sweep, write_sweep

    made = make_sweep(low_hz=low, high_hz=high, seconds=seconds, level_dbfs=level, rate_hz=rate)
    write_sweep(out, made)
    found = {"file": str(out), "low_hz": low, "high_hz": high, "seconds": seconds, "level_dbfs": level, "rate_hz": rate}
    _print_json(found) if as_json else _print(
        f"{out}: {low:g} to {high:g} Hz in {seconds:g} s at {level:g} dBFS. Tweeters only behind their high-pass; begin soft."
    )


@app.command()
def response(
    file: Annotated[Path, typer.Argument(help="A recording of the sweep, or of noise in two channels.")],
    low: SweepFrom = 20.0,
    high: SweepTo = 20_000.0,
    seconds: SweepSeconds = 10.0,
    reference: Annotated[
        int | None, typer.Option(metavar="CHANNEL", help="The channel recorded before the path, instead of a sweep.")
    ] = None,
    temperature: Annotated[float, typer.Option(metavar="CELSIUS", help="Of the air, for distances.")] = 20.0,
    chart: Annotated[Path | None, typer.Option(help="Draw the responses into this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Find the response of a path: its filters, level, polarity and delay."""
    from gainwright.app import make_sweep, responses

    played = None
    if reference is None:
        played = make_sweep(low_hz=low, high_hz=high, seconds=seconds, level_dbfs=-12.0, rate_hz=96_000)
    found = responses(file, played, reference=reference, temperature_celsius=temperature)
    if chart is not None:
        from gainwright.app import write_bytes
        from gainwright.composition import compose
        from gainwright.report import response_chart

        drawn = response_chart(found.channels, found.responses, found.paths, title=file.name)
        write_bytes(chart, compose().charts.render(drawn, chart.suffix.lower()))
    if as_json:
        _print_json(found.as_json())
    else:
        from gainwright.report import response_text

        _print(response_text(found.channels, found.paths, found.matches))


@app.command()
def attenuator(
    job: JobPath,
    recorder: Annotated[str, typer.Option(help="Which recorder of the job, if it names several.")] = "",
    series: Annotated[int, typer.Option(help="Preferred values: 6, 12, 24, 48, 96 or 192.")] = 24,
    tolerance: Annotated[float, typer.Option(metavar="PERCENT", help="Of the resistors.")] = 1.0,
    as_json: Json = False,
) -> None:
    """Design what must stand between each amplifier and a recorder."""
    from gainwright.app import attenuators

    found = attenuators(job, recorder=recorder, series=series, tolerance_percent=tolerance)
    if as_json:
        _print_json({"attenuators": [a.as_json() for a in found]})
    else:
        from gainwright.report import attenuator_text

        _print(attenuator_text(found))


@app.command()
def knee(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="Readings, columns step,v_rms; leave out to type them.")
    ] = None,
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD up to which a tone is clean.")] = 1.0,
    meter: Annotated[str, typer.Option(help="How the meter responds: true-rms or average.")] = "true-rms",
    accuracy: Annotated[float, typer.Option(metavar="PERCENT", help="The meter's accuracy, of the reading.")] = 1.0,
    tone: Annotated[float | None, typer.Option(metavar="HZ", help="The tone played, for a word on meters.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw the readings into this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Find where clipping begins from meter readings step by step."""
    from gainwright.app import knee_of_file, meter_kind
    from gainwright.cli.typed import knee_as_typed

    kind = meter_kind(meter=meter, accuracy_percent=accuracy)
    if file is None:
        found, readings = knee_as_typed(sys.stdin, _say, kind=kind, limit_percent=limit)
    else:
        found, readings = knee_of_file(file, kind=kind, limit_percent=limit)
    from gainwright.report import knee_chart, knee_text, meter_caution

    if chart is not None:
        from gainwright.app import write_bytes
        from gainwright.composition import compose

        drawn = knee_chart(found, readings, title="The knee")
        write_bytes(chart, compose().charts.render(drawn, chart.suffix.lower()))
    if as_json:
        _print_json(found.as_json())
        return
    _print(knee_text(found, readings, limit_percent=limit))
    if tone is not None and meter_caution(tone):
        _print(meter_caution(tone))


def _say(text: str) -> None:
    """Talk beside the result, so that the result can be piped."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for all results.")] = Path("gainwright-demo"),
    as_json: Json = False,
) -> None:
    """Run the whole job on a shipped example, end to end."""
    from gainwright.app import demo as run
    from gainwright.composition import compose

    world = compose()
    found = run(out, charts=world.charts, benches=world.benches)
    _print_json(found.as_json()) if as_json else _print(found.text())


@app.command()
def selfcheck(as_json: Json = False) -> None:
    """Show what is installed, what is missing, and the line that mends it."""
    from gainwright.composition import compose

    found = compose().installation()
    if as_json:
        _print_json({"parts": found})
    else:
        _print("\n".join(f"{'ok' if p['ok'] else 'missing':<8} {p['part']:<22} {p['said']}" for p in found))
    _end(any(not p["ok"] for p in found))
