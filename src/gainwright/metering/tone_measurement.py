"""Measure a recording of a steady tone, from samples to a verdict."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.clipping import Flattening, find_clipping, find_clipping_behind_coupling
from gainwright.metering.measurement import Channel, Harmonic, Measurement
from gainwright.metering.phasors import tone_phasors
from gainwright.metering.sine import SineFit
from gainwright.metering.spectrum import HIGH_HZ, Lines
from gainwright.metering.steady_stretch import levels_along, steady_stretch
from gainwright.metering.tone_search import FoundTone, find_tone, hertz, other_than_asked
from gainwright.metering.uncertainty import half_widths
from gainwright.physics import dbfs_from_rms
from gainwright.quantities import check_bounds
from gainwright.texts import say

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.metering.recording import Recording
    from gainwright.metering.recording_file import RecordingFile
    from gainwright.metering.steady_stretch import BlockLevels

    Floats = npt.NDArray[np.float64]

SILENCE_DBFS = -90.0
OFFSET_DBFS = -60.0
"""A silent channel with a larger constant offset than this is reported as that."""
EVEN_SHARE, EVEN_SECONDS = 0.3, 1.0
"""A tone is steady for this share of the loud part, or for this long; music isn't."""
LEAST_SECONDS = 0.1
LEAST_PERIODS = 8
FULL_SCALE_WITHIN_DB = 0.02
WHOLE_THD = 2e-4
HARMONICS_LISTED = 10
COUPLED_THD, COUPLED_BELOW_HZ = 0.002, 500.0
"""Below this, a distorted tone is analysed again with a coupling capacitor undone."""


def measure(
    recording: Recording | RecordingFile,
    *,
    calibrate_v: float | None = None,
    calibrated_within: float = 0.0,
    expect_hz: float | None = None,
    limit_percent: float = 1.0,
) -> Measurement:
    """Measure every channel of a recording.

    Parameters
    ----------
    recording : in memory, or an open file, of which only a steady stretch of one channel at a time is held in memory.
    calibrate_v : volts rms that a 0 dBFS sine stands for.
    calibrated_within : its uncertainty as a ratio (95 %): meter, attenuator.
    expect_hz : the frequency asked for; its neighbourhood is searched first, and any other tone gets the verdict `other_tone`.
    limit_percent : THD up to which an unclipped sine is clean.

    Raises
    ------
    RecordingError : no samples, or some that aren't numbers.
    CallError : an option is out of bounds.
    """
    check_bounds(
        ("calibration", calibrate_v, 1e-6, 1e4, "V"),
        ("tolerance of the calibration", 100 * calibrated_within, 0.0, 50.0, "%"),
        ("expected frequency", expect_hz, 1.0, 1e5, "Hz"),
        ("THD limit", limit_percent, 1e-4, 48.0, "%"),
    )
    levels = levels_along(recording)
    return Measurement(
        recording.rate_hz,
        tuple(
            _channel(
                i + 1,
                recording,
                levels,
                calibrate_v=calibrate_v,
                calibrated_within=calibrated_within,
                expect_hz=expect_hz,
                limit_percent=limit_percent,
            )
            for i in range(recording.channels)
        ),
    )


def _dbfs(rms: float) -> float:
    """Return dBFS after AES17 of an rms re full scale (peak 1)."""
    return float(dbfs_from_rms(rms=rms))


def _volts(level_dbfs: float, calibrate_v: float | None, factor: float = 1.0) -> float | None:
    """Return volts of a level; None without a calibration, or of nothing at all."""
    if calibrate_v is None or not math.isfinite(level_dbfs):
        return None
    return calibrate_v * factor * float(10 ** (level_dbfs / 20))


def _channel(
    number: int,
    recording: Recording | RecordingFile,
    levels: BlockLevels,
    *,
    calibrate_v: float | None,
    calibrated_within: float,
    expect_hz: float | None,
    limit_percent: float,
) -> Channel:
    peak, rate_hz = float(levels.peak[number - 1]), recording.rate_hz
    peak_dbfs = float(20 * np.log10(peak)) if peak > 0 else float("-inf")
    begin, end, share = steady_stretch(levels.power[number - 1], block=levels.block, frames=levels.frames)
    part = recording.part(number - 1, begin, end)
    seconds = len(part) / rate_hz
    dc = float(np.mean(part))
    power = float(np.dot(part, part) / len(part)) - dc * dc
    rms_dbfs = _dbfs(np.sqrt(max(power, 0.0)))

    dc_dbfs = _dbfs(abs(dc) / np.sqrt(2))

    def plain(verdict: str, why: str) -> Channel:
        names = ("frequency_hz", "fundamental_dbfs", "thd_percent", "thd_n_percent", "noise_dbfs", "clipped")
        return Channel(
            number,
            seconds,
            verdict,  # type: ignore[arg-type]
            rms_dbfs=rms_dbfs,
            peak_dbfs=peak_dbfs,
            dc_dbfs=dc_dbfs,
            calibrate_v=calibrate_v,
            v_rms=_volts(rms_dbfs, calibrate_v),
            v_peak=_volts(peak_dbfs, calibrate_v, math.sqrt(2)),
            dc_v=_volts(dc_dbfs, calibrate_v, math.sqrt(2)),
            why_not=dict.fromkeys(names, why),
            asked_hz=expect_hz,
        )

    early = _too_short(levels.frames, rate_hz) or _nothing_to_fit(rms_dbfs, dc_dbfs, seconds, share)
    if early is not None:
        return plain(*early)
    tone = find_tone(part, rate_hz=rate_hz, power=power, expect_hz=expect_hz)
    if not isinstance(tone, FoundTone):
        return plain("no_tone", tone)
    hz = tone.fit.frequency_hz
    if seconds * hz < LEAST_PERIODS:
        return plain(
            "too_short",
            say("{seen} periods; {needed} are needed", seen=f"{seconds * hz:.1f}", needed=f"{LEAST_PERIODS}"),
        )
    return _verdict(
        number, part, rate_hz, tone, _clipping(part, rate_hz, tone),
        peak_dbfs=peak_dbfs, rms_dbfs=rms_dbfs, dc_dbfs=dc_dbfs, calibrate_v=calibrate_v,
        calibrated_within=calibrated_within, expect_hz=expect_hz, limit_percent=limit_percent,
    )  # fmt: skip


def _clipping(part: Floats, rate_hz: int, tone: FoundTone) -> Flattening | None:
    split, hz = tone.split, tone.fit.frequency_hz
    cut = None
    if not _certainly_unclipped(split, hz, rate_hz):
        cut = find_clipping(part, rate_hz=rate_hz, frequency_hz=hz)
    if cut is None and split.thd > COUPLED_THD and hz < COUPLED_BELOW_HZ:
        cut = find_clipping_behind_coupling(part, rate_hz=rate_hz, frequency_hz=hz)
    return cut


def _certainly_unclipped(split: Lines, frequency_hz: float, rate_hz: float) -> bool:
    """Return whether distortion is so low, and would be visible if it were higher, that clipping can be ruled out.

    The shallowest clipping that is reported, 0.02 dB, has 0.04 % THD.
    """
    seen = 3 * frequency_hz < 0.9 * min(HIGH_HZ, 0.5 * rate_hz) and split.thd_of_noise < WHOLE_THD
    return seen and split.thd < WHOLE_THD


def _too_short(count: int, rate_hz: int) -> tuple[str, str] | None:
    """Return verdict and reason of a recording in which nothing could be distinguished."""
    if count >= LEAST_SECONDS * rate_hz:
        return None
    return "too_short", say(
        "the recording is {seen} s long; {seconds} s are needed",
        seen=f"{count / rate_hz:.2g}",
        seconds=f"{LEAST_SECONDS:g}",
    )


def _nothing_to_fit(rms_dbfs: float, dc_dbfs: float, seconds: float, share: float) -> tuple[str, str] | None:
    """Return verdict and reason where a sine fit is pointless."""
    if rms_dbfs < SILENCE_DBFS and dc_dbfs > OFFSET_DBFS:
        return "no_tone", say("only a constant offset (DC) of {level} dBFS comes in, no tone", level=f"{dc_dbfs:.1f}")
    if rms_dbfs < SILENCE_DBFS:
        return "no_tone", say("the channel is silent (under {level} dBFS)", level=f"{SILENCE_DBFS:g}")
    if share < EVEN_SHARE and seconds < EVEN_SECONDS:
        return "no_tone", say("the level isn't steady for longer than {seconds} s", seconds=f"{seconds:.2f}")
    if seconds < LEAST_SECONDS:
        return "too_short", say(
            "{seen} s of steady tone; {seconds} s and {periods} periods are needed",
            seen=f"{seconds:.3f}", seconds=f"{LEAST_SECONDS:g}", periods=f"{LEAST_PERIODS}",
        )  # fmt: skip
    return None


def _verdict(
    number: int,
    part: Floats,
    rate_hz: int,
    tone: FoundTone,
    cut: Flattening | None,
    *,
    peak_dbfs: float,
    rms_dbfs: float,
    dc_dbfs: float,
    calibrate_v: float | None,
    calibrated_within: float,
    expect_hz: float | None,
    limit_percent: float,
) -> Channel:
    fit, split = tone.fit, tone.split
    fundamental = 0.5 * fit.amplitude**2
    # The fit is more accurate for the fundamental than the spectrum; the ratios use it.
    exact = Lines(fundamental, split.harmonics, split.residual, split.noise, split.false_harmonics)
    thd_percent = 100 * exact.thd
    bent = thd_percent > limit_percent and exact.thd > exact.thd_of_noise
    verdict = "distorted" if bent else "clean"
    if cut is not None:
        ceiling = max(cut.high, -cut.low) if np.isfinite(cut.high) and np.isfinite(cut.low) else 0.0
        ceiling = ceiling or (cut.high if np.isfinite(cut.high) else -cut.low)
        full = 20 * np.log10(max(ceiling, 1e-12)) > -FULL_SCALE_WITHIN_DB
        verdict = "overloaded_input" if full else "clipped"
    why_not: dict[str, str] = {} if cut is not None else {"clip_depth_db": say("no flattening was found")}
    if verdict != "overloaded_input" and other_than_asked(fit.frequency_hz, expect_hz):
        verdict = "other_tone"
        why_not["verdict"] = say(
            "asked for {asked}, heard {heard}", asked=hertz(expect_hz or 0.0), heard=hertz(fit.frequency_hz)
        )
    fundamental_dbfs, noise_dbfs = _dbfs(fit.amplitude / np.sqrt(2)), _dbfs(np.sqrt(split.noise))
    return Channel(
        number,
        len(part) / rate_hz,
        verdict,  # type: ignore[arg-type]
        frequency_hz=fit.frequency_hz,
        rms_dbfs=rms_dbfs,
        peak_dbfs=peak_dbfs,
        fundamental_dbfs=fundamental_dbfs,
        thd_percent=thd_percent,
        thd_n_percent=100 * exact.thd_n,
        harmonics=_harmonics(part, rate_hz, fit, split),
        dc_dbfs=dc_dbfs,
        noise_dbfs=noise_dbfs,
        clipped=cut is not None,
        clip_depth_db=None if cut is None else cut.depth_db,
        calibrate_v=calibrate_v,
        v_rms=_volts(rms_dbfs, calibrate_v),
        v_peak=_volts(peak_dbfs, calibrate_v, math.sqrt(2)),
        fundamental_v_rms=_volts(fundamental_dbfs, calibrate_v),
        noise_v_rms=_volts(noise_dbfs, calibrate_v),
        dc_v=_volts(dc_dbfs, calibrate_v, math.sqrt(2)),
        why_not=why_not,
        within=half_widths(fit, exact, cut, count=len(part), rate_hz=rate_hz, calibrated_within=calibrated_within),
        asked_hz=expect_hz,
    )


def _harmonics(part: Floats, rate_hz: int, fit: SineFit, split: Lines) -> tuple[Harmonic, ...]:
    """Return the first harmonics with their phases re the fundamental's peak."""
    count = min(len(part), 1 << 15)
    periods = max(1, int(count * fit.frequency_hz / rate_hz))
    count = round(periods * rate_hz / fit.frequency_hz)
    piece = part[:count] * np.hanning(count) * 2
    turning = tone_phasors(-2 * np.pi * fit.frequency_hz / rate_hz, count, start=-fit.phase)
    power, reached, found = turning, 1, []
    for order in sorted(split.harmonics)[: HARMONICS_LISTED - 1]:
        while reached < order:
            power, reached = power * turning, reached + 1
        phasor = 2 / count * np.dot(piece, power)
        percent = 100 * float(np.sqrt(2 * split.harmonics[order])) / fit.amplitude
        found.append(Harmonic(order, percent, float(np.degrees(np.angle(phasor))) if percent > 0 else None))
    return tuple(found)
