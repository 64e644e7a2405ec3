"""Measuring what comes in now: choose a device, calibrate it, follow it."""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.calibrations import keep_calibration, kept_calibrations
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gainwright.app.ports import InputDevice, SoundInput
    from gainwright.metering import LiveReading

UPDATES_A_SECOND = 14
STEADY_SECONDS = 1.5
"""How long a tone is watched before a calibration is taken from it."""


@dataclass(frozen=True, slots=True)
class LiveOptions:
    """What is asked of a running measurement."""

    device: str = ""
    channels: int = 2
    rate_hz: int | None = None
    gain: str = ""
    calibrate_v: float | None = None
    meter_v: float | None = None
    expect_hz: float | None = None
    limit_percent: float = 1.0
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class LiveUpdate:
    """One update: the reading (None while the device is away or too little came), and what was opened."""

    device: InputDevice
    rate_hz: int
    calibrate_v: float | None
    reading: LiveReading | None
    away: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Expectation:
    """The reading that a step of a plan expects, volts rms."""

    step: str
    low_v: float
    high_v: float

    def verdict(self, v_rms: float) -> str:
        """Return whether a reading fits: fits, low, high."""
        return "low" if v_rms < self.low_v else "high" if v_rms > self.high_v else "fits"


def expectation(job: Path, step: str) -> Expectation:
    """Return what a step of a job's plan expects.

    Raises
    ------
    JobError : the file is no job.
    CallError : no such step, or one that expects no voltage.
    """
    from gainwright.app.verbs import plan

    steps = {s.id: s for s in plan(job).steps}
    if step not in steps:
        near = difflib.get_close_matches(step, steps, n=1)
        raise CallError(
            f"the plan has no step {step}",
            code="unknown_step",
            where="--step",
            remedy=f"did you mean {near[0]}?" if near else f"it has {', '.join(steps)}",
        )
    expect = steps[step].expect
    if expect is None or expect.quantity != "v_rms":
        raise CallError(f"step {step} expects no voltage", code="unknown_step", where="--step")
    return Expectation(step, expect.low, expect.high)


def choose_device(sound: SoundInput, name: str) -> InputDevice:
    """Return the one device that a name means: its whole name, or a part that only one has; the first when empty.

    Raises
    ------
    CallError : none, or several.
    """
    devices = sound.devices()
    if not devices:
        raise CallError("there is no sound input", code="no_device", remedy="plug the interface in and try again")
    if not name:
        return devices[0]
    exact = [d for d in devices if name in (d.name, d.key)]
    found = exact or [d for d in devices if name.lower() in d.key.lower()]
    listed = "; ".join(d.key for d in devices)
    if not found:
        raise CallError(f"no input is named {name}", code="no_device", where="--device", rule=f"there is {listed}")
    if len(found) > 1:
        raise CallError(
            f"{name} may be {' or '.join(d.key for d in found)}",
            code="no_device",
            where="--device",
            remedy="write the whole name, with what stands in brackets",
        )
    return found[0]


def live(sound: SoundInput, options: LiveOptions) -> Iterator[LiveUpdate]:
    """Follow an input, some twelve updates a second, until `seconds` are over or the caller stops.

    With `meter_v` the tone that comes in calibrates the device: the meter's reading stands for its level, and is kept for
    device and gain.

    Raises
    ------
    CallError : no such device, it can't be opened, options out of their bounds.
    """
    from gainwright.metering import LiveMeter
    from gainwright.plan import RECORDER_VOLTS

    _check(options)
    device = choose_device(sound, options.device)
    rate_hz = options.rate_hz or device.rate_hz
    channels = min(options.channels, device.channels)
    key = f"{device.key} gain {options.gain}" if options.gain else device.key
    calibrate_v = options.calibrate_v or kept_calibrations().get(key)
    notes = [RECORDER_VOLTS]
    if rate_hz != device.rate_hz:
        notes.append(f"the system converts {device.rate_hz} Hz to {rate_hz} Hz: ask for {device.rate_hz} Hz")
    if calibrate_v is None and options.meter_v is None:
        notes.append("not calibrated: levels are re full scale; give the meter's reading with --meter-reads")

    def meter() -> LiveMeter:
        return LiveMeter(
            rate_hz=rate_hz,
            channels=channels,
            expect_hz=options.expect_hz,
            limit_percent=options.limit_percent,
            calibrate_v=calibrate_v,
        )

    running, taken, since, pending = meter(), 0, 0, options.meter_v
    for block in sound.blocks(device, rate_hz=rate_hz, channels=channels):
        if block.lost or block.away:
            running.lost(len(block.samples) / rate_hz)
        if block.away:
            yield LiveUpdate(device, rate_hz, calibrate_v, None, True, (*notes, "the device is away; waiting for it"))
            continue
        running.push(block.samples)
        taken += len(block.samples)
        since += len(block.samples)
        if since * UPDATES_A_SECOND >= rate_hz:
            since = 0
            reading = running.reading()
            if pending is not None and reading is not None and taken > STEADY_SECONDS * rate_hz:
                calibrate_v = _calibrated(reading, pending)
                notes.append(
                    f"calibrated: full scale is {calibrate_v:.4g} V rms, kept in {keep_calibration(key, calibrate_v)}"
                )
                running, pending = meter(), None
            yield LiveUpdate(device, rate_hz, calibrate_v, reading, False, tuple(notes))
        if options.seconds is not None and taken >= options.seconds * rate_hz:
            return


def _check(options: LiveOptions) -> None:
    bounds = (
        ("--meter-reads", options.meter_v, 1e-4, 1e3, "V"),
        ("--calibrate", options.calibrate_v, 1e-6, 1e4, "V"),
        ("--expect", options.expect_hz, 1.0, 1e5, "Hz"),
        ("--limit", options.limit_percent, 1e-4, 48.0, "%"),
        ("--seconds", options.seconds, 0.1, 1e6, "s"),
        ("--channels", float(options.channels), 1, 64, ""),
    )
    for name, value, low, high, unit in bounds:
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise CallError(f"{name} {value:g}", code="bad_option", rule=f"it is {low:g} to {high:g} {unit}".strip())


def _calibrated(reading: LiveReading, meter_v: float) -> float:
    """Return full scale in volts from the loudest channel's tone."""
    tones = [c for c in reading.channels if c.verdict == "clean" and c.rms_dbfs is not None]
    if not tones:
        raise CallError(
            "no clean tone comes in to calibrate by",
            code="no_tone",
            where="--meter-reads",
            remedy="play a steady tone, not too loud, and read the meter at the same place",
        )
    loudest = max(float(c.rms_dbfs or -math.inf) for c in tones)
    return meter_v / 10 ** (loudest / 20)
