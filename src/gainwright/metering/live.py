"""Live measurement: takes blocks of samples, returns the latest figures and holds the worst."""

from __future__ import annotations

import collections
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.measurement import Channel, Verdict
from gainwright.metering.pictures import Pictures, pictures
from gainwright.metering.recording import Recording
from gainwright.metering.tone_measurement import measure
from gainwright.texts import say

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

WINDOW_SECONDS, LONGEST_SECONDS = 0.3, 1.0
PERIODS, ENDS_SECONDS = 12, 0.1
"""Seconds added to the window, since `measure` drops the ends of a stretch."""
OVERLOADED = 0.999
"""Samples this close to full scale mean that the input overloads."""
WATCHED_SECONDS = 4.0
DRIFT_DB, JUMP_DB = 1.0, 0.3
"""A drift of this size in four seconds without a jump is automatic gain of the system."""
SEVERITY: tuple[Verdict, ...] = (
    "too_short",
    "no_tone",
    "other_tone",
    "clean",
    "distorted",
    "clipped",
    "overloaded_input",
)
"""Verdicts from the one that says nothing to the worst: nothing measured, or another tone, is not clean."""


@dataclass(frozen=True, slots=True)
class LiveReading:
    """The latest reading.

    Attributes
    ----------
    time_s : since the start, gaps included.
    channels : result of `measure` for the latest window, by channel.
    room_db : distance of the highest sample from the input's full scale, by channel.
    worst : the channels' worst verdict since the start; `no_tone` or `too_short` as long as nothing was measured.
    worst_thd_percent, highest_dbfs : the largest since the start, by channel; None before any tone.
    gaps : how often samples were lost.
    warnings : problems, in sentences.
    """

    time_s: float
    channels: tuple[Channel, ...]
    room_db: tuple[float, ...]
    worst: tuple[Verdict, ...]
    worst_thd_percent: tuple[float | None, ...]
    highest_dbfs: tuple[float | None, ...]
    gaps: int
    warnings: tuple[str, ...]


@dataclass(slots=True)
class _Held:
    verdict: Verdict = "too_short"
    thd_percent: float | None = None
    level_dbfs: float | None = None
    levels: collections.deque[tuple[float, float]] = field(default_factory=collections.deque)


class LiveMeter:
    """Measures the last third of a second (or twelve periods) of a stream.

    Parameters
    ----------
    rate_hz, channels : of the stream.
    expect_hz, limit_percent, calibrate_v : as for `measure`.
    """

    def __init__(
        self,
        *,
        rate_hz: int,
        channels: int,
        expect_hz: float | None = None,
        limit_percent: float = 1.0,
        calibrate_v: float | None = None,
    ) -> None:
        self._rate_hz = rate_hz
        self._expect_hz, self._limit, self._calibrate_v = expect_hz, limit_percent, calibrate_v
        self._kept = np.zeros((0, channels))
        self._held = [_Held() for _ in range(channels)]
        self._count = 0
        self._gaps = 0
        self._last: tuple[Recording, tuple[Channel, ...]] | None = None
        self._window_s = WINDOW_SECONDS if expect_hz is None else self._window_for(expect_hz)

    @staticmethod
    def _window_for(frequency_hz: float) -> float:
        return min(LONGEST_SECONDS, max(WINDOW_SECONDS, PERIODS / frequency_hz + ENDS_SECONDS))

    def push(self, samples: Floats) -> None:
        """Add a block, shape (frames, channels), re full scale."""
        self._count += len(samples)
        longest = int(LONGEST_SECONDS * self._rate_hz)
        self._kept = np.concatenate([self._kept, samples])[-longest:]

    def lost(self, seconds: float = 0.0) -> None:
        """Record a gap: earlier samples are not contiguous with later ones."""
        self._gaps += 1
        self._count += round(seconds * self._rate_hz)
        self._kept = self._kept[:0]

    def calibrate(self, calibrate_v: float) -> None:
        """Set the volts rms of full scale from now on."""
        self._calibrate_v = calibrate_v

    def reset(self) -> None:
        """Reset the held worst values and the gaps."""
        self._held = [_Held() for _ in self._held]
        self._gaps = 0

    def reading(self) -> LiveReading | None:
        """Return the latest reading, None before there are enough samples."""
        window = int(self._window_s * self._rate_hz)
        if len(self._kept) < window:
            return None
        part = self._kept[-window:]
        now_s = self._count / self._rate_hz
        moment = Recording(part, self._rate_hz, "input")
        found = measure(
            moment,
            calibrate_v=self._calibrate_v,
            expect_hz=self._expect_hz,
            limit_percent=self._limit,
        ).channels
        self._last = moment, found
        lowest = [c.frequency_hz for c in found if c.frequency_hz is not None]
        if any(c.verdict == "too_short" for c in found):
            self._window_s = LONGEST_SECONDS
        elif lowest:
            self._window_s = self._window_for(min(lowest) if self._expect_hz is None else min(*lowest, self._expect_hz))
        peaks = np.max(np.abs(part), axis=0)
        warnings = [w for i, c in enumerate(found) for w in self._hold(i, c, float(peaks[i]), now_s)]
        if self._gaps:
            lost = say("samples were lost 1 time")
            warnings.append(lost if self._gaps == 1 else say("samples were lost {times} times", times=f"{self._gaps}"))
        return LiveReading(
            now_s,
            tuple(replace(c, channel=i + 1) for i, c in enumerate(found)),
            tuple(float(-20 * np.log10(max(p, 1e-9))) for p in peaks),
            tuple(h.verdict for h in self._held),
            tuple(h.thd_percent for h in self._held),
            tuple(h.level_dbfs for h in self._held),
            self._gaps,
            tuple(warnings),
        )

    def pictures(self, *, channel: int = 1) -> Pictures | None:
        """Return waveform and spectrum of one channel of the latest reading, None before there is one."""
        if self._last is None:
            return None
        moment, found = self._last
        return pictures(moment, channel=channel, found=found[channel - 1])

    def _hold(self, i: int, channel: Channel, peak: float, now_s: float) -> list[str]:
        held = self._held[i]
        held.verdict = max(held.verdict, channel.verdict, key=SEVERITY.index)
        if channel.thd_percent is not None and channel.verdict != "other_tone":
            held.thd_percent = max(channel.thd_percent, held.thd_percent or 0.0)
        warnings = []
        level = channel.fundamental_dbfs
        if level is not None:
            held.level_dbfs = level if held.level_dbfs is None else max(level, held.level_dbfs)
            held.levels.append((now_s, level))
        else:
            held.levels.clear()
        while held.levels and held.levels[0][0] < now_s - WATCHED_SECONDS:
            held.levels.popleft()
        if peak >= OVERLOADED:
            warnings.append(
                say(
                    "channel {channel}: the input itself is overloaded: turn it down, or attenuate more",
                    channel=f"{i + 1}",
                )
            )
        if _drifts([v for _, v in held.levels], held.levels[-1][0] - held.levels[0][0] if held.levels else 0.0):
            warnings.append(
                say(
                    "channel {channel}: the level drifts by itself: automatic gain? Turn it off in the system's settings",
                    channel=f"{i + 1}",
                )
            )
        return warnings


def _drifts(levels: list[float], seconds: float) -> bool:
    if len(levels) < 8 or seconds < 0.7 * WATCHED_SECONDS:
        return False
    steps = np.diff(levels)
    one_way = abs(float(np.sum(steps))) > 0.9 * float(np.sum(np.abs(steps)))
    return bool(abs(levels[-1] - levels[0]) > DRIFT_DB and np.max(np.abs(steps)) < JUMP_DB and one_way)
