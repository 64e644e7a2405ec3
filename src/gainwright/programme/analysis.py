"""From blocks of samples to the statistics of a track."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.errors import RecordingError
from gainwright.programme import compiled
from gainwright.programme.band import USUAL_BANDS
from gainwright.programme.filter_layout import BLOCK
from gainwright.programme.time_windows import TimeWindows
from gainwright.programme.track_statistics import BandStatistics, TrackStatistics
from gainwright.programme.weighting import channel_weights

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import numpy.typing as npt

    from gainwright.programme.band import Band
    from gainwright.programme.channel_pair import ChannelPair, Totals
    from gainwright.programme.decoding import Fill

    Floats = npt.NDArray[np.float64]
    Samples = npt.NDArray[np.float32]
    MakeChannelPair = Callable[[tuple[Band, ...], int], ChannelPair]

MOST_CHANNELS = 8
RATES_HZ = (4000, 768_000)
"""Lowest and highest sample rate of music."""
DRAIN_AFTER_S = 60.0


class Analysis:
    """The analysis of one track: call `add` for each block, then `result`.

    `note` is called with a message when the kernel is compiled, which takes some seconds the first time on a machine.
    `pair` is a factory, called with the bands and the rate in Hz, of the object that analyses two channels; the default
    uses the compiled kernel, or numpy and scipy where the extra `fast-music` isn't installed.

    Raises
    ------
    RecordingError : a rate or a number of channels that isn't supported.
    CallError : the kernel can't be compiled here.
    """

    def __init__(
        self,
        *,
        rate_hz: int,
        channels: int,
        bands: tuple[Band, ...] = USUAL_BANDS,
        note: Callable[[str], None] = lambda _: None,
        pair: MakeChannelPair | None = None,
    ) -> None:
        _refuse_unusual(rate_hz, channels)
        if not bands:
            raise ValueError("no band to analyse")
        self._rate_hz, self._channels, self._bands = rate_hz, channels, bands
        make = compiled.pair_factory(note) if pair is None else pair
        self._pairs = [make(bands, rate_hz) for _ in range((channels + 1) // 2)]
        self._frames = self._filled = self._undrained = 0
        self._weights = channel_weights(channels)
        self._windows = TimeWindows(rate_hz, len(bands), channels)

    def add(self, block: npt.NDArray[Any]) -> None:
        """Add a block, shape (frames, channels), of any length, full scale 1."""
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

    def read(self, fill: Fill) -> int:
        """Add what `fill` writes into a buffer of shape (frames, channels); return the number of frames, 0 at the end.

        Two channels are written directly into the analysis's own buffer.
        """
        if self._filled == BLOCK:
            self._feed(last=False)
        if self._channels == 2:
            count = fill(self._pairs[0].frames()[self._filled :])
            self._filled += count
            return count
        block = np.empty((BLOCK, self._channels), dtype=np.float32)
        count = fill(block)
        self.add(block[:count])
        return count

    def result(self) -> TrackStatistics:
        """Return the statistics of the track.

        Raises
        ------
        RecordingError : no samples, or samples that aren't numbers.
        """
        self._feed(last=True)
        if not self._frames:
            raise RecordingError("contains no samples", code="empty", remedy="leave it out")
        self._drain()
        totals = [pair.totals() for pair in self._pairs]
        rest = self._joined([part.rest.energies for part in totals])
        _refuse_not_finite(rest)
        self._windows.finish(rest[0], self._frames)
        heard, momentary = self._windows.loudness()
        bands = tuple(self._band(index, totals) for index in range(len(self._bands)))
        whole = [found for band, found in zip(self._bands, bands, strict=True) if not (band.high_pass or band.low_pass)]
        return TrackStatistics(
            seconds=self._frames / self._rate_hz,
            rate_hz=self._rate_hz,
            channels=self._channels,
            lufs=heard.lufs,
            loudness_range_lu=heard.loudness_range_lu,
            momentary_lufs=momentary,
            short_term_lufs=heard.short_term_lufs,
            bands=bands,
            true_peak=max(band.true_peak for band in whole or bands),
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
        """Reduce the collected ticks, so that memory doesn't grow with the length of the track."""
        drained = [pair.drain() for pair in self._pairs]
        energies = self._joined([ticks.energies for ticks in drained])
        _refuse_not_finite(energies)
        self._windows.add(self._joined([ticks.weighted for ticks in drained]) @ self._weights, energies)
        self._undrained = 0

    def _joined(self, parts: list[Floats]) -> Floats:
        """Return the channels of all pairs, without the silent one that was added to an odd number of channels."""
        return np.concatenate(parts, axis=-1)[..., : self._channels]

    def _band(self, index: int, totals: list[Totals]) -> BandStatistics:
        levels = np.concatenate([part.levels[index] for part in totals])[: self._channels]
        means = np.concatenate([part.sums[index] for part in totals])[: self._channels] / self._frames
        return BandStatistics(
            name=self._bands[index].name,
            samples=self._frames * self._channels,
            peak=max(float(part.peaks[index]) for part in totals),
            true_peak=max(float(part.true_peaks[index]) for part in totals),
            energy=float(self._windows.energy[index].sum()),
            dc=float(max(means, key=abs)),
            clipped=sum(int(part.clipped[index]) for part in totals),
            worst_1s=float(self._windows.powers.worst_second[index]),
            levels=levels.sum(axis=0),
            power_100ms=self._windows.powers.short[index],
            power_1s=self._windows.powers.second[index],
        )


def _refuse_unusual(rate_hz: int, channels: int) -> None:
    if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        raise RecordingError(
            f"has a sample rate of {rate_hz} Hz",
            code="rate",
            rule=f"the rate must be {RATES_HZ[0]} to {RATES_HZ[1]} Hz",
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise RecordingError(f"has {channels} channels", code="channels", rule=f"there must be 1 to {MOST_CHANNELS}")


def _refuse_not_finite(energies: Floats) -> None:
    """Refuse a track with a NaN or infinite sample, which would stay in the filters' states."""
    if not np.isfinite(energies).all():
        raise RecordingError("contains samples that aren't numbers", code="not_numbers", remedy="convert it again")


def analyse(
    blocks: Iterable[npt.NDArray[Any]],
    *,
    rate_hz: int,
    channels: int,
    bands: tuple[Band, ...] = USUAL_BANDS,
    note: Callable[[str], None] = lambda _: None,
    pair: MakeChannelPair | None = None,
) -> TrackStatistics:
    """Return the statistics of a track from its blocks of (frames, channels), full scale 1.

    Raises
    ------
    RecordingError : no samples, samples that aren't numbers, or a rate or number of channels that isn't supported.
    CallError : the kernel can't be compiled here.
    """
    analysis = Analysis(rate_hz=rate_hz, channels=channels, bands=bands, note=note, pair=pair)
    for block in blocks:
        analysis.add(block)
    return analysis.result()
