"""Live measurement of a sound input: choose a device, calibrate it, follow it."""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.quantities import check_bounds
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.app.ports import Block, Calibrations, InputDevice, SoundInput
    from gainwright.metering import LiveReading, Pictures
    from gainwright.plan import Plan

UPDATES_A_SECOND = 14
STEADY_SECONDS = 1.5
"""How long a tone must be steady before a calibration is taken from it."""
NOT_CALIBRATED = say(
    "not calibrated: levels are relative to full scale; calibrate with a meter's reading of the same tone"
)


@dataclass(frozen=True, slots=True)
class LiveOptions:
    """Options of a live measurement."""

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
    """One update: the reading (None while the device is away or too few samples came), and the input."""

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


def expectation_of(plan: Plan, step: str) -> Expectation:
    """Return the reading that a step of a plan expects.

    Raises
    ------
    CallError : no such step, or one that doesn't expect a voltage.
    """
    steps = {s.id: s for s in plan.steps}
    if step not in steps:
        near = difflib.get_close_matches(step, steps, n=1)
        raise CallError(
            say("the plan has no step {step}", step=step),
            code="unknown_step",
            where="step",
            remedy=say("did you mean {near}?", near=near[0])
            if near
            else say("it has {listed}", listed=", ".join(steps)),
        )
    expect = steps[step].expect
    if expect is None or expect.quantity != "v_rms":
        raise CallError(say("step {step} expects no voltage", step=step), code="unknown_step", where="step")
    return Expectation(step, expect.low, expect.high)


def choose_device(sound: SoundInput, name: str) -> InputDevice:
    """Return the one device that a name means: its whole name, or a part that only one has; the first when empty.

    Raises
    ------
    CallError : none, or several.
    """
    devices = sound.devices()
    if not devices:
        raise CallError(
            say("there is no sound input"), code="no_device", remedy=say("plug the interface in and try again")
        )
    if not name:
        return devices[0]
    exact = [d for d in devices if name in (d.name, d.key)]
    matches = exact or [d for d in devices if name.lower() in d.key.lower()]
    listed = "; ".join(d.key for d in devices)
    if not matches:
        raise CallError(
            say("no input is named {name}", name=name),
            code="no_device",
            where="input",
            rule=say("there is {listed}", listed=listed),
        )
    if len(matches) > 1:
        raise CallError(
            say("{name} may be {listed}", name=name, listed=" or ".join(d.key for d in matches)),
            code="no_device",
            where="input",
            remedy=say("write the whole name, including the part in brackets"),
        )
    return matches[0]


class LiveSession:
    """A live measurement of one input: blocks go in, updates come out; a meter's reading calibrates it.

    Attributes
    ----------
    key : of the calibration: device and gain.
    calibrate_v : volts rms of a full-scale sine, None when unknown.
    notes : messages about the whole measurement.
    taken : frames received.

    Raises
    ------
    CallError : options out of their bounds; calibrations that can't be read.
    """

    def __init__(
        self, device: InputDevice, options: LiveOptions, calibrations: Calibrations, *, rate_hz: int, channels: int
    ) -> None:
        from gainwright.metering import LiveMeter
        from gainwright.model import RECORDER_VOLTS

        check_options(options)
        self.device, self.options, self.rate_hz, self.channels = device, options, rate_hz, channels
        self.key = f"{device.key} gain {options.gain}" if options.gain else device.key
        self.calibrate_v = options.calibrate_v or calibrations.kept().get(self.key)
        self.notes = [RECORDER_VOLTS]
        if rate_hz != device.rate_hz:
            self.notes.append(
                say(
                    "the system converts {own} Hz to {rate} Hz: ask for {own} Hz",
                    own=f"{device.rate_hz}",
                    rate=f"{rate_hz}",
                )
            )
        if self.calibrate_v is None and options.meter_v is None:
            self.notes.append(NOT_CALIBRATED)
        self.taken = 0
        self._calibrations = calibrations
        self._since = 0.0
        self._pending = options.meter_v
        self._meter = LiveMeter(
            rate_hz=rate_hz,
            channels=channels,
            expect_hz=options.expect_hz,
            limit_percent=options.limit_percent,
            calibrate_v=self.calibrate_v,
        )

    def take(self, block: Block) -> None:
        """Take a block without measuring."""
        if block.lost or block.away:
            self._meter.lost(len(block.samples) / self.rate_hz)
        if not block.away:
            self._meter.push(block.samples)
            self.taken += len(block.samples)
            self._since += len(block.samples)

    def push(self, block: Block) -> LiveUpdate | None:
        """Take a block; return an update when one is due.

        Raises
        ------
        CallError : no clean tone comes in to calibrate by.
        """
        self.take(block)
        if block.away:
            return self.away()
        return self.update() if self.due else None

    @property
    def due(self) -> bool:
        """Whether an update is due."""
        return self._since * UPDATES_A_SECOND >= self.rate_hz

    def away(self) -> LiveUpdate:
        """Return the update for a device that is away."""
        notes = (*self.notes, say("the input is disconnected; waiting for it"))
        return LiveUpdate(self.device, self.rate_hz, self.calibrate_v, None, True, notes)

    def update(self) -> LiveUpdate:
        """Return an update.

        Raises
        ------
        CallError : no clean tone comes in to calibrate by.
        """
        # what came over the time of one update counts for the next, but never for more than that
        period = self.rate_hz / UPDATES_A_SECOND
        self._since = min(max(0.0, self._since - period), period)
        reading = self._meter.reading()
        if self._pending is not None and reading is not None and self.taken > STEADY_SECONDS * self.rate_hz:
            pending, self._pending = self._pending, None
            self.calibrate_v = _calibrated(reading, pending)
            kept = self._calibrations.keep(self.key, self.calibrate_v)
            self.notes = [note for note in self.notes if note != NOT_CALIBRATED]
            self.notes.append(
                say(
                    "calibrated: full scale is {volts} V rms, kept in {file}",
                    volts=f"{self.calibrate_v:.4g}",
                    file=kept,
                )
            )
            self._meter.calibrate(self.calibrate_v)
            self._meter.reset()
            reading = self._meter.reading()
        return LiveUpdate(self.device, self.rate_hz, self.calibrate_v, reading, False, tuple(self.notes))

    def calibrate(self, meter_v: float) -> None:
        """Calibrate, with the next update, by what a meter shows of the tone that comes in.

        Raises
        ------
        CallError : it is out of its bounds.
        """
        check_options(replace(self.options, meter_v=meter_v))
        self._pending = meter_v

    def reset(self) -> None:
        """Clear the held worst reading and the count of gaps."""
        self._meter.reset()

    def pictures(self, *, channel: int = 1) -> Pictures | None:
        """Return waveform and spectrum of one channel of the last reading, None before there is one."""
        return self._meter.pictures(channel=channel)


def follow_input(sound: SoundInput, options: LiveOptions, calibrations: Calibrations) -> Iterator[LiveUpdate]:
    """Follow an input, about twelve updates a second, until `seconds` are over or the caller stops.

    With `meter_v` the tone that comes in calibrates the device; the calibration is kept for device and gain.

    Raises
    ------
    CallError : no such device, it can't be opened, options out of their bounds.
    """
    check_options(options)
    session = open_session(sound, options, calibrations)
    for block in sound.blocks(session.device, rate_hz=session.rate_hz, channels=session.channels):
        update = session.push(block)
        if update is not None:
            yield update
        if options.seconds is not None and session.taken >= options.seconds * session.rate_hz:
            return


def open_session(sound: SoundInput, options: LiveOptions, calibrations: Calibrations) -> LiveSession:
    """Return a session of one of the system's inputs.

    Raises
    ------
    CallError : no such device, options out of their bounds.
    """
    device = choose_device(sound, options.device)
    rate_hz = options.rate_hz or device.rate_hz
    channels = min(options.channels, device.channels)
    return LiveSession(device, options, calibrations, rate_hz=rate_hz, channels=channels)


def check_options(options: LiveOptions) -> None:
    """Refuse options out of their bounds.

    Raises
    ------
    CallError : one is.
    """
    check_bounds(
        ("meter reading", options.meter_v, 1e-4, 1e3, "V"),
        ("calibration", options.calibrate_v, 1e-6, 1e4, "V"),
        ("expected frequency", options.expect_hz, 1.0, 1e5, "Hz"),
        ("THD limit", options.limit_percent, 1e-4, 48.0, "%"),
        ("duration", options.seconds, 0.1, 1e6, "s"),
        ("channels", float(options.channels), 1, 64, ""),
    )


def _calibrated(reading: LiveReading, meter_v: float) -> float:
    """Return full scale in volts from the loudest channel's tone."""
    tones = [c for c in reading.channels if c.verdict == "clean" and c.rms_dbfs is not None]
    if not tones:
        raise CallError(
            say("no clean tone comes in to calibrate by"),
            code="no_tone",
            where=say("meter reading"),
            remedy=say("play a steady tone, not too loud, and read the meter at the same place"),
        )
    loudest = max(float(c.rms_dbfs or -math.inf) for c in tones)
    return meter_v / 10 ** (loudest / 20)
