"""Commands about recordings: what they hold, and the sweep to make them with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, draw, end, print_json, print_text, say
from gainwright.errors import CallError

if TYPE_CHECKING:
    from gainwright.app.measuring.live import LiveOptions


Calibrate = Annotated[
    float | None, typer.Option(metavar="V", help="Volts rms that a 0 dBFS sine in the file stands for.")
]
Within = Annotated[
    float, typer.Option(metavar="PERCENT", help="How far the calibration may be off: meter and attenuator.")
]
Expect = Annotated[float | None, typer.Option(metavar="HZ", help="The frequency played.")]
SweepFrom = Annotated[float, typer.Option("--from", metavar="HZ", help="Where the sweep begins.")]
SweepTo = Annotated[float, typer.Option("--to", metavar="HZ", help="Where it ends.")]
SweepSeconds = Annotated[float, typer.Option("--seconds", help="How long it lasts.")]


@app.command()
def measure(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="A recording: WAV, FLAC, OGG, MP3 or AIFF.")
    ] = None,
    calibrate: Calibrate = None,
    within: Within = 0.0,
    expect: Expect = None,
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD up to which a tone is clean.")] = 1.0,
    live: Annotated[bool, typer.Option("--live", help="What comes in now, instead of a file; Ctrl-C ends.")] = False,
    device: Annotated[str, typer.Option(help="With --live: the input, by its name (see `devices`).")] = "",
    channels: Annotated[int, typer.Option(help="With --live: how many channels.")] = 2,
    rate: Annotated[
        int | None, typer.Option(metavar="HZ", help="With --live: another rate than the device's own.")
    ] = None,
    gain: Annotated[
        str, typer.Option(help="With --live: a word for the input's gain, kept with its calibration.")
    ] = "",
    meter_reads: Annotated[
        float | None, typer.Option(metavar="V", help="With --live: what a meter shows of the tone now; calibrates.")
    ] = None,
    seconds: Annotated[float | None, typer.Option(help="With --live: end by itself.")] = None,
    job: Annotated[Path | None, typer.Option(help="With --live and --step: what this job's plan expects.")] = None,
    step: Annotated[str, typer.Option(help="The step of that plan.")] = "",
    as_json: Json = False,
) -> None:
    """Measure a steady tone, of a recording or coming in now, and judge it."""
    if live == (file is not None):
        raise CallError("name a recording, or --live", code="bad_call", remedy="gainwright measure tone.wav")
    if live:
        from gainwright.app.measuring.live import LiveOptions

        options = LiveOptions(device, channels, rate, gain, calibrate, meter_reads, expect, limit, seconds)
        _live(options, job=job, step=step, as_json=as_json)
        return
    from gainwright.app.measuring.recordings import measure as run

    assert file is not None  # noqa: S101  asked above
    found = run(file, calibrate_v=calibrate, expect_hz=expect, limit_percent=limit, within_percent=within)
    if as_json:
        print_json(found)
    else:
        from gainwright.report import measurement_text

        print_text(measurement_text(found))
    end(not found.clean)


def _live(options: LiveOptions, *, job: Path | None, step: str, as_json: bool) -> None:
    from gainwright.app.measuring.live import expectation, live
    from gainwright.cli.running import follow
    from gainwright.composition import compose

    if (job is None) != (not step):
        raise CallError("--job and --step belong together", code="bad_call")
    expected = expectation(job, step) if job is not None else None
    if expected is not None:
        say(f"step {expected.step} expects {expected.low_v:.4g} to {expected.high_v:.4g} V")
    found = follow(live(compose().sound, options), expected=expected)
    if as_json:
        print_json(found)
    end(found.last is None or any(verdict != "clean" for verdict in found.last.worst))


@app.command()
def devices(as_json: Json = False) -> None:
    """List the sound inputs, the system's own choice first."""
    from gainwright.composition import compose

    found = compose().sound.devices()
    if as_json:
        listed = [{"name": d.name, "host": d.host, "channels": d.channels, "rate_hz": d.rate_hz} for d in found]
        print_json({"devices": listed})
    else:
        print_text("\n".join(f"{d.key:<50} {d.channels} channels, {d.rate_hz} Hz" for d in found) or "no sound input")


@app.command()
def noise(
    file: Annotated[Path, typer.Argument(help="A recording made with no tone playing.")],
    calibrate: Calibrate = None,
    within: Within = 0.0,
    power: Annotated[
        float | None, typer.Option(metavar="W", help="Signal to noise re this power, with --load.")
    ] = None,
    load: Annotated[float | None, typer.Option(metavar="OHM", help="The load of that power.")] = None,
    as_json: Json = False,
) -> None:
    """Measure noise, and tell hum, ripple, whine and hiss apart."""
    from gainwright.app.measuring.recordings import noise as run

    found = run(file, calibrate_v=calibrate, power_w=power, load_ohm=load, within_percent=within)
    if as_json:
        print_json({"channels": found})
    else:
        from gainwright.report import noise_text

        print_text(noise_text(found))


@app.command()
def onset(
    file: Annotated[Path, typer.Argument(help="A recording of a tone that gets louder.")],
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD that counts as clipping.")] = 1.0,
    expect: Expect = None,
    behind: Annotated[
        list[str] | None, typer.Option(metavar="FILTER", help="A low-pass behind the stage: 'butterworth 24 at 80 Hz'.")
    ] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw level and THD into this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Find when and at which level a rising tone begins to clip."""
    from gainwright.app.measuring.recordings import onset as run

    found = run(file, limit_percent=limit, expect_hz=expect, behind=behind or [])
    if chart is not None:
        from gainwright.report import onset_chart

        draw(onset_chart(found, title=file.name), chart)
    if as_json:
        print_json({"channels": found})
    else:
        from gainwright.report import onset_text

        print_text(onset_text(found))


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
    from gainwright.app.measuring.responses import make_sweep, write_sweep

    made = make_sweep(low_hz=low, high_hz=high, seconds=seconds, level_dbfs=level, rate_hz=rate)
    write_sweep(out, made)
    found = {"file": str(out), "low_hz": low, "high_hz": high, "seconds": seconds, "level_dbfs": level, "rate_hz": rate}
    print_json(found) if as_json else print_text(
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
    from gainwright.app.measuring.responses import make_sweep, responses

    played = None
    if reference is None:
        played = make_sweep(low_hz=low, high_hz=high, seconds=seconds, level_dbfs=-12.0, rate_hz=96_000)
    found = responses(file, played, reference=reference, temperature_celsius=temperature)
    if chart is not None:
        from gainwright.report import response_chart

        draw(response_chart(found, title=file.name), chart)
    if as_json:
        print_json(found)
    else:
        from gainwright.report import response_text

        print_text(response_text(found))
