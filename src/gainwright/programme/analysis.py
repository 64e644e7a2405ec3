"""From blocks of samples to the statistics of a track."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from gainwright.errors import RecordingError
from gainwright.programme import compiled
from gainwright.programme.arrangement import BLOCK
from gainwright.programme.band import USUAL_BANDS
from gainwright.programme.loudness import loudness
from gainwright.programme.plain import PlainPair
from gainwright.programme.powers import Powers
from gainwright.programme.result import BandStatistics, TrackStatistics
from gainwright.programme.weighting import channel_weights

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import numpy.typing as npt

    from gainwright.programme.band import Band
    from gainwright.programme.pair import Pair, Totals

    Floats = npt.NDArray[np.float64]
    Samples = npt.NDArray[np.float32]

Way = Literal["best", "compiled", "plain"]
MOST_CHANNELS = 8
RATES_HZ = (4000, 768_000)
"""Lowest and highest sample rate that is music."""
DRAIN_AFTER_S = 300.0


class Analysis:
    """A track being analysed: `add` its blocks, then `result`.

    `way`: `compiled` or `plain`, else `best`, the compiled one where it can be had. `note` is told when something is
    compiled, which takes some seconds the first time on a machine.
    """

    def __init__(
        self,
        *,
        rate_hz: int,
        channels: int,
        bands: tuple[Band, ...] = USUAL_BANDS,
        way: Way = "best",
        note: Callable[[str], None] = lambda _: None,
    ) -> None:
        _refuse_odd(rate_hz, channels)
        if not bands:
            raise ValueError("no band to analyse")
        self._rate_hz, self._channels, self._bands = rate_hz, channels, bands
        kernel = None if way == "plain" else compiled.load(note)
        if kernel is None and way == "compiled":
            raise ValueError("the compiled analysis can't be had here")
        self._pairs: list[Pair] = [
            PlainPair(bands, rate_hz) if kernel is None else compiled.CompiledPair(kernel, bands, rate_hz)
            for _ in range((channels + 1) // 2)
        ]
        self._frames = self._filled = self._windows = self._undrained = 0
        self._powers = Powers(len(bands), channels)
        self._energy = np.zeros((len(bands), channels))
        self._weighted: list[Floats] = []

    def add(self, block: npt.NDArray[Any]) -> None:
        """Take in a block of (frames, channels), of any length, full scale 1."""
        if block.ndim != 2 or block.shape[1] != self._channels:
            raise ValueError(f"a block has {self._channels} channels")
        done = 0
        while done < len(block):
            if self._filled == BLOCK:
                self._feed(last=False)
            take = min(len(block) - done, BLOCK - self._filled)
            for index, pair in enumerate(self._pairs):
                part = block[done : done + take, 2 * index : 2 * index + 2]
                pair.frames()[self._filled : self._filled + take, : part.shape[1]] = part
            self._filled += take
            done += take

    def result(self) -> TrackStatistics:
        """Return what the track held.

        Raises
        ------
        RecordingError : it holds no samples, or samples that are no numbers.
        """
        self._feed(last=True)
        if not self._frames:
            raise RecordingError("holds no samples", code="empty", remedy="leave it out")
        self._drain()
        totals = [pair.totals() for pair in self._pairs]
        rest_length = float(self._frames - self._windows * self._rate_hz // 10)
        rest = self._joined([part.rest.energies for part in totals])
        self._energy += rest[0]
        if not np.isfinite(self._energy).all():
            raise RecordingError("holds samples that are no numbers", code="not_numbers", remedy="convert it anew")
        self._powers.finish(rest, rest_length)
        weighted = np.concatenate([*self._weighted, np.zeros(0)])
        heard = loudness(weighted, self._lengths(0, len(weighted)))
        return TrackStatistics(
            seconds=self._frames / self._rate_hz,
            rate_hz=self._rate_hz,
            channels=self._channels,
            lufs=heard.lufs,
            loudness_range_lu=heard.loudness_range_lu,
            momentary_lufs=heard.momentary_lufs,
            short_term_lufs=heard.short_term_lufs,
            bands=tuple(self._band(index, totals) for index in range(len(self._bands))),
        )

    def _feed(self, *, last: bool) -> None:
        for pair in self._pairs:
            pair.feed(self._filled, last=last)
        self._frames += self._filled
        self._undrained += self._filled
        self._filled = 0
        if self._undrained > DRAIN_AFTER_S * self._rate_hz:
            self._drain()

    def _drain(self) -> None:
        """Reduce the windows that have gathered, so that memory does not grow with the length."""
        drained = [pair.drain() for pair in self._pairs]
        energies = self._joined([windows.energies for windows in drained])
        weighted = self._joined([windows.weighted for windows in drained])
        self._powers.add(energies, self._lengths(self._windows, len(energies)))
        self._energy += energies.sum(axis=0)
        self._weighted.append(weighted @ channel_weights(self._channels))
        self._windows += len(energies)
        self._undrained = 0

    def _joined(self, parts: list[Floats]) -> Floats:
        """Return the channels of all pairs side by side, without the silent one that makes an odd number even."""
        return np.concatenate(parts, axis=-1)[..., : self._channels]

    def _lengths(self, first: int, count: int) -> Floats:
        """Return the frames of windows from `first` on."""
        return np.diff(np.arange(first, first + count + 1) * self._rate_hz // 10).astype(np.float64)

    def _band(self, index: int, totals: list[Totals]) -> BandStatistics:
        levels = np.concatenate([part.levels[index] for part in totals])[: self._channels]
        means = np.concatenate([part.sums[index] for part in totals])[: self._channels] / self._frames
        return BandStatistics(
            name=self._bands[index].name,
            samples=self._frames * self._channels,
            peak=max(float(part.peaks[index]) for part in totals),
            true_peak=max(float(part.true_peaks[index]) for part in totals),
            energy=float(self._energy[index].sum()),
            dc=float(max(means, key=abs)),
            clipped=sum(int(part.clipped[index]) for part in totals),
            worst_1s=float(self._powers.worst_second[index]),
            levels=levels.sum(axis=0),
            power_100ms=self._powers.short[index],
            power_1s=self._powers.second[index],
        )


def _refuse_odd(rate_hz: int, channels: int) -> None:
    if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        raise RecordingError(
            f"has {rate_hz} samples a second", code="rate", rule=f"from {RATES_HZ[0]} to {RATES_HZ[1]} is music"
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise RecordingError(f"has {channels} channels", code="channels", rule=f"1 to {MOST_CHANNELS} are analysed")


def analyse(
    blocks: Iterable[npt.NDArray[Any]],
    *,
    rate_hz: int,
    channels: int,
    bands: tuple[Band, ...] = USUAL_BANDS,
    way: Way = "best",
    note: Callable[[str], None] = lambda _: None,
) -> TrackStatistics:
    """Return the statistics of a track from its blocks of (frames, channels), full scale 1.

    Raises
    ------
    RecordingError : no samples, samples that are no numbers, a rate or a number of channels that is not analysed.
    """
    analysis = Analysis(rate_hz=rate_hz, channels=channels, bands=bands, way=way, note=note)
    for block in blocks:
        analysis.add(block)
    return analysis.result()
