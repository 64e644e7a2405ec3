"""Find where clipping begins in a recording of a rising tone: the stepped run of `tones`, or a control turned by hand.

The harmonics are measured frame by frame, without noise; the onset is where THD exceeds the limit and stays over it. A
filter after the stage removes harmonics and hides the onset. A known filter is undone; otherwise, in a run of even
steps, the fundamental shows it: after any filter it still stops following the steps (`find_knee`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.metering.clipping import find_clipping
from gainwright.metering.interval import Interval, interval_from_parts, interval_parts
from gainwright.metering.knee import MeterKind, find_knee
from gainwright.metering.recording import Recording, require_finite
from gainwright.metering.sine import four_parameter_fit, frequency_start
from gainwright.physics import clipped_sine_harmonic, drive_for_thd
from gainwright.quantities import check_bounds

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Filter = Callable[[Floats], npt.NDArray[np.complex128]]

By = Literal["thd", "level"]

FRAME_SECONDS, FRAME_PERIODS = 0.05, 8
MOST_HARMONICS = 20
ROUNDED_SHARE = 0.03
"""Share of the limit that counts as the onset for rounded tops."""
STAYS = 5
"""Number of consecutive frames over the limit that count as an onset."""
LEAST_POWER = 1e-30
"""Power that the rounding of a loud constant may leave of nothing."""
AUDIBLE_DB = 60.0
"""Frames this far below the loudest are ignored."""
EVEN_SHARE = 0.3
"""Ratio of even to odd harmonics from which clipping is called one-sided."""
PLATEAU_DB, PLATEAU_FRAMES = 0.02, 5
LEAST_PLATEAUS = 6
FITTED_DB = 20.0
"""Range below the loudest plateau in which others are used."""
LOUDER_DB = 3.0
MOST_LOSS = 100.0
"""Harmonics that a known filter attenuates by 40 dB are left out; the series of a hard ceiling makes up for them."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One moment: time of its middle, level of the fundamental and of everything, THD, even harmonics over odd."""

    time_s: float
    fundamental_dbfs: float
    rms_dbfs: float
    thd_percent: float
    even_ratio: float


@dataclass(frozen=True, slots=True)
class Onset:
    """Where one channel begins to clip.

    Attributes
    ----------
    time_s, level_dbfs : of the onset; level is the rms, with its 95 % interval; None when there is none.
    by : harmonics ("thd") or a fundamental that stops following even steps ("level").
    one_sided : whether one ceiling is reached before the other.
    flattened : whether the waveform is flattened where it is most distorted.
    rounded : it is not: a soft ceiling, or a filter after it that removes harmonics; the onset may lie lower, and its
        interval reaches down to where any distortion begins.
    hidden : the fundamental is compressed, but a filter leaves too few harmonics for the limit.
    """

    channel: int
    frequency_hz: float | None
    limit_percent: float
    time_s: float | None
    level_dbfs: float | None
    level_dbfs_low: float | None
    level_dbfs_high: float | None
    by: By | None
    one_sided: bool
    flattened: bool
    rounded: bool
    hidden: bool
    frames: tuple[Frame, ...]
    why_not: str = ""

    @property
    def level(self) -> Interval | None:
        """The level of the onset with its interval."""
        return interval_from_parts(self.level_dbfs, self.level_dbfs_low, self.level_dbfs_high)


def find_onset(
    recording: Recording, *, limit_percent: float = 1.0, expect_hz: float | None = None, behind: Filter | None = None
) -> tuple[Onset, ...]:
    """Find where each channel begins to clip.

    Parameters
    ----------
    limit_percent : THD that counts as the onset.
    expect_hz : the tone's frequency, if it is known.
    behind : response of a known filter after the stage, H(Hz); its loss on each harmonic is undone.

    Raises
    ------
    RecordingError : no samples, or some that aren't numbers.
    CallError : an option is out of bounds.
    """
    check_bounds(("THD limit", limit_percent, 0.01, 40.0, "%"), ("expected frequency", expect_hz, 1.0, 1e5, "Hz"))
    require_finite(recording)
    return tuple(
        _channel(
            i + 1, np.ascontiguousarray(recording.samples[:, i]), recording.rate_hz, limit_percent, expect_hz, behind
        )
        for i in range(recording.channels)
    )


def _channel(
    number: int, samples: Floats, rate_hz: int, limit_percent: float, expect_hz: float | None, behind: Filter | None
) -> Onset:
    frequency_hz: float | None = None
    track: _Track | None = None
    why = ""
    if len(samples) < rate_hz * 0.3 or np.max(np.abs(samples)) < 1e-5:
        why = "no part is long and loud enough to measure"
    else:
        frequency_hz = _frequency(samples, rate_hz, expect_hz)
        if not 10 <= frequency_hz <= 0.22 * rate_hz:
            why = f"the strongest tone, {frequency_hz:.0f} Hz, has no harmonics within the recording's band"
        elif len(samples) < 3 * rate_hz * max(FRAME_SECONDS, FRAME_PERIODS / frequency_hz):
            why = "too short to see a level rise"
        else:
            track = _track_tone(samples, rate_hz, frequency_hz, behind, limit_percent)
            if len(track.frames) < 2 * STAYS:
                why = "too short to see a level rise"
            elif np.ptp(track.rms) < LOUDER_DB:
                why = "the level does not rise: play the stepped run, or turn the control up"
    frames = track.frames if track is not None else ()
    if why or track is None or frequency_hz is None:
        return Onset(
            number,
            frequency_hz,
            limit_percent,
            None,
            *interval_parts(None),
            None,
            False,
            False,
            False,
            False,
            frames,
            why,
        )
    return _find_crossing(number, samples, rate_hz, frequency_hz, limit_percent, track, known=behind is not None)


def _find_crossing(
    number: int,
    samples: Floats,
    rate_hz: int,
    frequency_hz: float,
    limit_percent: float,
    track: _Track,
    *,
    known: bool,
) -> Onset:
    frames = track.frames
    by_level = _onset_by_level(frames, limit_percent)
    at = _first_over_limit(track, limit_percent)
    common = (number, frequency_hz, limit_percent)
    if at is None and by_level is None:
        why = f"THD stays under {limit_percent:g} % to the loudest moment"
        return Onset(*common, None, *interval_parts(None), None, False, False, False, False, frames, why)
    if by_level is not None and (at is None or by_level.value < track.rms[at] - 0.5):
        time_s = frames[int(np.argmax(track.rms >= by_level.value))].time_s
        return Onset(*common, time_s, *interval_parts(by_level), "level", False, False, False, True, frames)
    assert at is not None  # noqa: S101  one of the two is there
    level, time_s = _crossing(track, at, limit_percent)
    over = [f for f in frames[at : at + 10 * STAYS] if f.thd_percent > limit_percent]
    one_sided = float(np.median([f.even_ratio for f in over])) > EVEN_SHARE
    flattened = not known and _flattened(samples, rate_hz, frequency_hz, frames)
    rounded = not known and not flattened
    if rounded:
        first = _first_over_limit(track, ROUNDED_SHARE * limit_percent)
        level = Interval(level.value, min(level.low, float(track.rms[first if first is not None else at])), level.high)
    return Onset(*common, time_s, *interval_parts(level), "thd", one_sided, flattened, rounded, False, frames)


def _frequency(samples: Floats, rate_hz: int, expect_hz: float | None) -> float:
    """Return the tone's frequency from the loudest complete half second."""
    count = min(len(samples), rate_hz // 2)
    ends = np.cumsum(np.concatenate([[0.0], samples**2]))
    energy = ends[count:] - ends[:-count]
    begin = int(np.argmax(energy))
    part = samples[begin : begin + count]
    start_hz = frequency_start(part, rate_hz=rate_hz, expect_hz=expect_hz)
    fitted = four_parameter_fit(part, rate_hz=rate_hz, start_hz=start_hz).frequency_hz
    return fitted if 0.9 * start_hz < fitted < 1.1 * start_hz else start_hz


@dataclass(frozen=True, slots=True)
class _Track:
    """Frames, their rms in dBFS, and the bounds of their THD in per cent due to noise."""

    frames: tuple[Frame, ...]
    rms: Floats
    low: Floats
    high: Floats


def _track_tone(
    samples: Floats, rate_hz: int, frequency_hz: float, behind: Filter | None, limit_percent: float
) -> _Track:
    """Track the tone's harmonics through the recording."""
    count = round(max(FRAME_SECONDS, FRAME_PERIODS / frequency_hz) * rate_hz)
    hop = max(1, count // 2)
    windows = np.lib.stride_tricks.sliding_window_view(samples, count)[::hop]
    harmonics = min(MOST_HARMONICS, int(0.45 * rate_hz / frequency_hz))
    window = np.hanning(count)
    angle = 2 * np.pi * frequency_hz / rate_hz * np.arange(count)
    basis = np.exp(-1j * np.outer(angle, np.arange(1, harmonics + 1))) * window[:, None] * (2 / np.sum(window))
    phasors = np.abs(windows @ basis)
    weight = window**2 / np.sum(window**2)
    mean = windows @ (window / np.sum(window))
    power = np.square(windows) @ weight - mean**2
    # the noise under a line is that halfway between lines, where a changing level leaves almost nothing
    between = np.exp(-1j * np.outer(angle, np.arange(1, harmonics + 1) + 0.5)) * window[:, None] * (2 / np.sum(window))
    noise = np.median(np.square(np.abs(windows @ between)), axis=1) / math.log(2) + 1e-16
    loss, scale = np.ones(harmonics), 1.0
    if behind is not None:
        response = np.abs(behind(frequency_hz * np.arange(1.0, harmonics + 1)))
        loss = response[0] / np.maximum(response, 1e-9)
        loss[loss > MOST_LOSS] = 0.0
        scale = _omitted_factor(loss > 0, limit_percent)
    squares = np.maximum(phasors**2 - noise[:, None], 0) * loss**2
    first = np.maximum(phasors[:, 0] ** 2, 1e-20)
    own = np.sum(squares[:, 1:], axis=1)
    scatter = 3 * noise * np.sqrt(np.sum(loss[1:] ** 4))
    thd = scale * np.sqrt(own / first)
    low = scale * np.sqrt(np.maximum(own - scatter, 0) / first)
    high = scale * np.sqrt((own + scatter) / first)
    odd = np.sum(squares[:, 2::2], axis=1)
    even = np.sum(squares[:, 1::2], axis=1)
    loud = np.flatnonzero(phasors[:, 0] > np.max(phasors[:, 0]) * 10 ** (-AUDIBLE_DB / 20))
    found = tuple(
        Frame(
            float((i * hop + count / 2) / rate_hz),
            20 * math.log10(phasors[i, 0]),
            10 * math.log10(max(2 * power[i], LEAST_POWER)),
            100 * float(thd[i]),
            float(np.sqrt(even[i] / odd[i])) if odd[i] > 0 else 0.0,
        )
        for i in loud
    )
    rms = np.array([f.rms_dbfs for f in found], dtype=np.float64)
    return _Track(found, rms, np.asarray(100 * low[loud]), np.asarray(100 * high[loud]))


def _omitted_factor(used: npt.NDArray[np.bool_], limit_percent: float) -> float:
    """Return THD over that of the harmonics that are used, for a hard ceiling at the limit (Fourier series)."""
    drive = drive_for_thd(thd=limit_percent / 100)
    orders = 1 + np.flatnonzero(used)
    parts = [float(clipped_sine_harmonic(drive=drive, order=int(k))) for k in orders if k > 1]
    seen = math.sqrt(sum(b * b for b in parts)) / float(clipped_sine_harmonic(drive=drive, order=1))
    return limit_percent / 100 / seen if seen > 0 else 1.0


def _first_over_limit(track: _Track, limit: float) -> int | None:
    """Return the first of enough consecutive frames that are over the limit by more than their noise."""
    thd = np.array([f.thd_percent for f in track.frames])
    over = ((thd > limit) & (track.low > 0.3 * limit)).astype(int)
    runs = np.convolve(over, np.ones(STAYS, dtype=int), "valid") == STAYS
    return int(np.argmax(runs)) if np.any(runs) else None


def _crossing(track: _Track, at: int, limit: float) -> tuple[Interval, float]:
    """Return level and time at which THD crosses the limit, between the last frame under it and the first over it."""
    before, after = track.frames[max(at - 1, 0)], track.frames[at]

    def crossed(first: float, second: float) -> float:
        if second <= first or first <= 0:
            return after.rms_dbfs
        share = (math.log(limit) - math.log(first)) / (math.log(second) - math.log(first))
        return before.rms_dbfs + min(max(share, 0.0), 1.0) * (after.rms_dbfs - before.rms_dbfs)

    value = crossed(before.thd_percent, after.thd_percent)
    # 95 %: THD as high, or as low, as the noise in it allows; and the level is no more precise than its change in a frame
    edges = [crossed(float(b[max(at - 1, 0)]), float(b[at])) for b in (track.low, track.high)]
    half = abs(after.rms_dbfs - before.rms_dbfs)
    share = 0.0 if after.rms_dbfs == before.rms_dbfs else (value - before.rms_dbfs) / (after.rms_dbfs - before.rms_dbfs)
    time_s = before.time_s + share * (after.time_s - before.time_s)
    return Interval(value, min(*edges, value) - half, max(*edges, value) + half), time_s


def _flattened(samples: Floats, rate_hz: int, frequency_hz: float, frames: tuple[Frame, ...]) -> bool:
    """Return whether the waveform is flattened where distortion is highest."""
    middle = int(max(frames, key=lambda f: f.thd_percent).time_s * rate_hz)
    half = int(max(FRAME_SECONDS, FRAME_PERIODS / frequency_hz) * rate_hz)
    part = samples[max(0, middle - half) : middle + half]
    return find_clipping(part, rate_hz=rate_hz, frequency_hz=frequency_hz) is not None


def _onset_by_level(frames: tuple[Frame, ...], limit_percent: float) -> Interval | None:
    """Return the rms at which the fundamental of a run of even steps is compressed, None when there is no such point."""
    levels = np.array([f.fundamental_dbfs for f in frames])
    rms = np.array([f.rms_dbfs for f in frames])
    still = np.abs(np.diff(levels)) < PLATEAU_DB
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.view(np.int8), [0]])))
    spans = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= PLATEAU_FRAMES]
    plateaus = np.array([np.median(levels[a + 1 : b]) for a, b in spans])
    if len(plateaus) < LEAST_PLATEAUS:
        return None
    near = plateaus > np.max(plateaus) - FITTED_DB
    plateaus, spans = plateaus[near], [s for s, n in zip(spans, near, strict=True) if n]
    rises = np.diff(plateaus)
    usual = float(np.median(rises[: max(3, len(rises) // 2)]))
    if len(plateaus) < LEAST_PLATEAUS or usual <= 0 or np.max(np.abs(rises[: len(rises) // 2] - usual)) > 0.1 * usual:
        return None
    exact = MeterKind("fundamental", accuracy=1e-4, counts=0, full_counts=10**9)
    scaled = 1000 * 10 ** (plateaus / 20)
    found = find_knee(list(range(len(plateaus))), scaled.tolist(), meter=exact, limit_thd=limit_percent / 100)
    if not found.found or found.onset is None:
        return None
    own = np.array([np.median(rms[a + 1 : b]) for a, b in spans])
    steps = np.arange(len(own))
    value, low, high = (float(np.interp(s, steps, own)) for s in (found.onset.value, found.onset.low, found.onset.high))
    return Interval(value, low, high)
