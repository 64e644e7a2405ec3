"""Commands about recordings and live input: measure, noise, onset, sweep, response."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright.cli.base import Json, app, exit_if_wrong, print_json, print_text, say, write_chart
from gainwright.errors import CallError
from gainwright.results import to_json

if TYPE_CHECKING:
    from gainwright.app.measuring.live import LiveOptions
    from gainwright.plan import Step


Calibrate = Annotated[
    float | None, typer.Option(metavar="V", help="Volts rms that a 0 dBFS sine in the file stands for.")
]
Within = Annotated[float, typer.Option(metavar="PERCENT", help="Uncertainty of the calibration: meter and attenuator.")]
CheckGain = Annotated[
    bool,
    typer.Option(
        "--check-gain",
        help="With --live: check the input for automatic gain, guided, with one tone at two levels 20 dB apart.",
    ),
]
Expect = Annotated[float | None, typer.Option(metavar="HZ", help="The frequency played.")]
SweepFrom = Annotated[float, typer.Option("--from", metavar="HZ", help="Start of the sweep.")]
SweepTo = Annotated[float, typer.Option("--to", metavar="HZ", help="End of the sweep.")]
SweepSeconds = Annotated[float, typer.Option("--seconds", help="Duration of the sweep.")]


@app.command()
def measure(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="A recording: WAV, FLAC, OGG, MP3 or AIFF.")
    ] = None,
    calibrate: Calibrate = None,
    within: Within = 0.0,
    expect: Expect = None,
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD up to which a tone is clean.")] = 1.0,
    live: Annotated[bool, typer.Option("--live", help="Measure a sound input instead of a file; Ctrl-C ends.")] = False,
    device: Annotated[str, typer.Option(help="With --live: the input, by its name (see `devices`).")] = "",
    channels: Annotated[int, typer.Option(help="With --live: number of channels.")] = 2,
    rate: Annotated[
        int | None, typer.Option(metavar="HZ", help="With --live: the sample rate, if not the device's own.")
    ] = None,
    gain: Annotated[
        str, typer.Option(help="With --live: a name for the input's gain setting, stored with the calibration.")
    ] = "",
    meter_reads: Annotated[
        float | None,
        typer.Option(metavar="V", help="With --live: a meter's reading of the present tone, to calibrate."),
    ] = None,
    seconds: Annotated[float | None, typer.Option(help="With --live: stop after this time.")] = None,
    job: Annotated[
        Path | None, typer.Option(help="With --live and --step: the job whose plan gives the expected reading.")
    ] = None,
    step: Annotated[str, typer.Option(help="The step of that plan.")] = "",
    check_gain: CheckGain = False,
    as_json: Json = False,
) -> None:
    """Measure a steady tone, in a recording or live, and give a verdict."""
    if check_gain and (not live or meter_reads is not None):
        raise CallError("--check-gain needs --live, and no --meter-reads", code="bad_call", remedy="check first")
    if live == (file is not None):
        raise CallError("name a recording, or --live", code="bad_call", remedy="gainwright measure tone.wav")
    if live:
        from gainwright.app.measuring.live import LiveOptions

        options = LiveOptions(device, channels, rate, gain, calibrate, meter_reads, expect, limit, seconds)
        _live(options, job=job, step=step, check_gain=check_gain, as_json=as_json)
        return
    from gainwright.metering import measure as run
    from gainwright.metering import opened_recording

    assert file is not None  # noqa: S101  asked above
    with opened_recording(file) as recording:
        found = run(
            recording,
            calibrate_v=calibrate,
            calibrated_within=within / 100,
            expect_hz=expect,
            limit_percent=limit,
        )
    if as_json:
        print_json(found)
    else:
        from gainwright.report.measurement import measurement_text

        print_text(measurement_text(found))
    exit_if_wrong(not found.clean)


def _live(options: LiveOptions, *, job: Path | None, step: str, check_gain: bool, as_json: bool) -> None:
    from gainwright.app.measuring.live import expectation_of, follow_input
    from gainwright.cli.live_display import show_updates
    from gainwright.composition import compose

    if (job is None) != (not step):
        raise CallError("--job and --step must be given together", code="bad_call")
    expected, of_plan = None, None
    if job is not None:
        from gainwright.jobfile import read_job
        from gainwright.plan import make_plan

        plan = make_plan(read_job(job).job)
        expected = expectation_of(plan, step)
        of_plan = next(s for s in plan.steps if s.id == step)
        if options.expect_hz is None:
            options = replace(options, expect_hz=of_plan.tone_hz)
    if check_gain:
        _check_gain(options, of_plan, as_json=as_json)
        return
    if expected is not None:
        say(f"step {expected.step} expects {expected.low_v:.4g} to {expected.high_v:.4g} V")
    world = compose()
    found = show_updates(follow_input(world.sound, options, world.calibrations), expected=expected)
    if as_json:
        print_json(found)
    exit_if_wrong(found.last is None or any(verdict != "clean" for verdict in found.last.worst))


def _check_gain(options: LiveOptions, step: Step | None, *, as_json: bool) -> None:
    """Guide through the check of an input at two levels; the status is 1 unless it is linear."""
    from gainwright.app.measuring.gain_check import follow_check
    from gainwright.app.measuring.level_check import level_tones
    from gainwright.cli.live_display import show_check
    from gainwright.composition import compose

    tones = level_tones(step)
    if options.expect_hz is not None:
        tones = replace(tones, tone_hz=options.expect_hz)
    world = compose()
    done = show_check(follow_check(world.sound, options, world.calibrations), tones=tones)
    found = done.result
    assert found is not None  # noqa: S101  the last progress has it
    if as_json:
        input_checked = {"device": done.update.device.key, "rate_hz": done.update.rate_hz, "channel": done.channel}
        print_json({**input_checked, **to_json(found)})
    else:
        print_text(found.text)
    exit_if_wrong(found.result != "linear")


@app.command()
def devices(as_json: Json = False) -> None:
    """List the sound inputs, the system's default first."""
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
        float | None, typer.Option(metavar="W", help="Reference power of the signal-to-noise ratio, with --load.")
    ] = None,
    load: Annotated[float | None, typer.Option(metavar="OHM", help="The load for that power.")] = None,
    as_json: Json = False,
) -> None:
    """Measure noise, and distinguish hum, ripple, whine and hiss."""
    from gainwright.metering import measure_noise, read_recording

    reference_v = _reference_v(power, load, calibrate)
    found = measure_noise(
        read_recording(file), calibrate_v=calibrate, calibrated_within=within / 100, reference_v=reference_v
    )
    if as_json:
        print_json({"channels": found})
    else:
        from gainwright.report.noise import noise_text

        print_text(noise_text(found))


def _reference_v(power_w: float | None, load_ohm: float | None, calibrate_v: float | None) -> float | None:
    """Return the reference voltage of the signal-to-noise ratio, None if it isn't requested."""
    from gainwright.physics import voltage_for_power
    from gainwright.quantities import check_bounds

    if power_w is None and load_ohm is None:
        return None
    if power_w is None or load_ohm is None or calibrate_v is None:
        raise CallError(
            "the signal-to-noise ratio needs --power, --load and --calibrate together",
            code="bad_call",
            remedy="for example --power 300 --load 4 --calibrate 63",
        )
    check_bounds(("power", power_w, 1e-6, 1e5, "W"), ("load", load_ohm, 0.01, 1e6, "ohm"))
    return float(voltage_for_power(power_w=power_w, resistance_ohm=load_ohm))


@app.command()
def onset(
    file: Annotated[Path, typer.Argument(help="A recording of a rising tone.")],
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD that counts as clipping.")] = 1.0,
    expect: Expect = None,
    behind: Annotated[
        list[str] | None,
        typer.Option(metavar="FILTER", help="A low-pass after the stage, such as 'butterworth 24 at 80 Hz'."),
    ] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw level and THD to this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Find when and at which level a rising tone begins to clip."""
    from gainwright.metering import find_onset, low_pass_response, read_recording

    filters = low_pass_response(behind or [])
    found = find_onset(read_recording(file), limit_percent=limit, expect_hz=expect, behind=filters)
    if chart is not None:
        from gainwright.report.onset import onset_chart

        write_chart(onset_chart(found, title=file.name), chart)
    if as_json:
        print_json({"channels": found})
    else:
        from gainwright.report.onset import onset_text

        print_text(onset_text(found))


@app.command()
def sweep(
    out: Annotated[Path, typer.Option(help="File to write, .wav or .flac.")],
    low: SweepFrom = 20.0,
    high: SweepTo = 20_000.0,
    seconds: SweepSeconds = 10.0,
    level: Annotated[float, typer.Option(metavar="DBFS", help="Its level.")] = -12.0,
    rate: Annotated[int, typer.Option(help="Sample rate, Hz.")] = 48_000,
    as_json: Json = False,
) -> None:
    """Write an exponential sweep for measuring a response."""
    from gainwright.adapters.files import write_file
    from gainwright.signals import Sweep

    made = Sweep(low, high, seconds, level, rate)
    write_file(out, made.file_bytes(out.suffix))
    found = {"file": str(out), "low_hz": low, "high_hz": high, "seconds": seconds, "level_dbfs": level, "rate_hz": rate}
    print_json(found) if as_json else print_text(
        f"{out}: {low:g} to {high:g} Hz in {seconds:g} s at {level:g} dBFS. Play it to tweeters only through their high-pass, and start at a low volume."
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
    temperature: Annotated[
        float, typer.Option(metavar="CELSIUS", help="Temperature of the air, for distances.")
    ] = 20.0,
    chart: Annotated[Path | None, typer.Option(help="Draw the responses to this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Find the response of a path: its filters, level, polarity and delay."""
    from gainwright.app.measuring.responses import responses
    from gainwright.metering import read_recording
    from gainwright.signals import Sweep

    played = Sweep(low, high, seconds, rate_hz=96_000) if reference is None else None
    found = responses(read_recording(file), played, reference=reference, temperature_celsius=temperature)
    if chart is not None:
        from gainwright.report.response import response_chart

        write_chart(response_chart(found, title=file.name), chart)
    if as_json:
        print_json(found)
    else:
        from gainwright.report.response import response_text

        print_text(response_text(found))
