"""Statistics of a track, or of a list of tracks, by band; sums and counts, so that they can be merged.

Conventions:

- samples are re digital full scale (peak 1); an rms *level* in dBFS is after AES17 (0 dBFS is a full-scale sine, so 20
  lg(rms sqrt 2)); a *peak* in dBFS is 20 lg of the peak itself, a true peak in dBTP likewise;
- **channels**: sample levels are counted over all channels together (each channel drives one side for the same time, so
  a share of samples is a share of time, averaged over the sides). Powers over 100 ms and 1 s are those of the loudest
  channel of each window, since a rating holds for one speaker. Energy and rms are means over all channels, peaks the
  highest of all, `dc` that of the channel where it is largest;
- the level of silence is minus infinity, its loudness None.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Counts = npt.NDArray[np.int64]
    Floats = npt.NDArray[np.float64]

ANALYSIS_VERSION = 3
"""Increased when any figure of the same file may change; results of other versions must not be reused."""

OCTAVES = (-20, 4)
STEPS_PER_OCTAVE = 128
LEVELS = (OCTAVES[1] - OCTAVES[0]) * STEPS_PER_OCTAVE
"""Steps of the distribution of |sample|, from 2^-20 (-120.4 dB) to 2^4 (+24.1 dB)."""


def _level_edges() -> Floats:
    octave, step = np.divmod(np.arange(LEVELS + 1), STEPS_PER_OCTAVE)
    edges = np.ldexp(1 + step / STEPS_PER_OCTAVE, (octave + OCTAVES[0]).astype(np.int32))
    edges.setflags(write=False)
    return np.asarray(edges, dtype=np.float64)


LEVEL_EDGES: Floats = _level_edges()
"""`levels[i]` counts |x| from LEVEL_EDGES[i] to below LEVEL_EDGES[i + 1], re full scale; the first also counts all smaller, the last all larger samples. An octave has 128 equal steps (the first seven bits of a float32's fraction, so the edges are exact): 0.034 to 0.067 dB each."""

POWER_LOW_DBFS, POWER_STEP_DB, POWERS = -120.0, 0.1, 1400
"""`power_*[i]` counts windows from POWER_LOW_DBFS + i POWER_STEP_DB to one step above, dBFS after AES17 (a steady full-scale sine has 0); the first also counts all windows below, the last all above (+20)."""

FULL_SCALE = 1 - 2.0**-15
"""|sample| from which a run of two or more in a row counts as clipped: the largest positive code of 16 bits."""
SILENCE_DBFS = -70.0
"""A 100 ms window whose loudest channel is below this is silence (the absolute gate of BS.1770-4, in dBFS)."""


def level_dbfs(mean_square: float) -> float:
    """Return the level of a mean square, dBFS after AES17; minus infinity for 0."""
    return 10 * math.log10(2 * mean_square) if mean_square > 0 else -math.inf


def _db(amplitude: float) -> float:
    return 20 * math.log10(amplitude) if amplitude > 0 else -math.inf


@dataclass(frozen=True, slots=True)
class BandStatistics:
    """One band of a track or of several, over all channels as described for this module.

    `samples`: their number in all channels. `peak`, `true_peak`, `dc`: re full scale. `energy`: sum of squares.
    `clipped`: number of samples in runs of two or more at FULL_SCALE. `levels`, `power_100ms`, `power_1s`: counts of
    samples, of consecutive 100 ms windows, and of 1 s windows that begin every 100 ms (a shorter track has one, all of
    it). `worst_1s`: the largest mean square of the 1 s windows, 1/2 for a full-scale sine.
    """

    name: str
    samples: int
    peak: float
    true_peak: float
    energy: float
    dc: float
    clipped: int
    worst_1s: float
    levels: Counts
    power_100ms: Counts
    power_1s: Counts

    @property
    def peak_dbfs(self) -> float:
        """Highest sample of any channel, dB re digital full scale."""
        return _db(self.peak)

    @property
    def true_peak_dbtp(self) -> float:
        """Highest true peak (BS.1770-4 Annex 2), at least the sample peak, dB re digital full scale."""
        return _db(self.true_peak)

    @property
    def mean_square(self) -> float:
        """Mean of the squares over all channels, 1/2 for a full-scale sine in each."""
        return self.energy / self.samples if self.samples else 0.0

    @property
    def rms_dbfs(self) -> float:
        """Level over the whole length and all channels, dBFS after AES17."""
        return level_dbfs(self.mean_square)

    @property
    def crest_db(self) -> float:
        """Peak over rms, dB: 3.01 for a sine; 0 for silence."""
        return self.peak_dbfs - 10 * math.log10(self.mean_square) if self.energy > 0 else 0.0

    @property
    def clipped_share(self) -> float:
        """Share of samples that are clipped in the recording itself."""
        return self.clipped / self.samples if self.samples else 0.0

    @property
    def silence_share(self) -> float:
        """Share of the 100 ms windows under SILENCE_DBFS."""
        windows = int(self.power_100ms.sum())
        quiet = round((SILENCE_DBFS - POWER_LOW_DBFS) / POWER_STEP_DB)
        return int(self.power_100ms[:quiet].sum()) / windows if windows else 0.0

    @property
    def worst_1s_dbfs(self) -> float:
        """Level of the loudest second of the loudest channel, dBFS after AES17."""
        return level_dbfs(self.worst_1s)


@dataclass(frozen=True, slots=True)
class TrackStatistics:
    """A track: length, rate and channels, loudness of all channels together, and each band.

    `lufs` is the integrated loudness (BS.1770-4, gated), `loudness_range_lu` the range (EBU Tech 3342),
    `momentary_lufs` and `short_term_lufs` the highest over 400 ms and 3 s; None if no window is above the gate.
    `true_peak` is that of the unfiltered programme, re full scale; if no band is unfiltered, the highest of all bands
    (which may exceed that of the whole).
    """

    seconds: float
    rate_hz: int
    channels: int
    lufs: float | None
    loudness_range_lu: float | None
    momentary_lufs: float | None
    short_term_lufs: float | None
    bands: tuple[BandStatistics, ...]
    true_peak: float = 0.0

    @property
    def true_peak_dbtp(self) -> float:
        """Highest true peak, dB re digital full scale."""
        return _db(self.true_peak)

    def band(self, name: str) -> BandStatistics:
        """Return the band with a given name."""
        return next(band for band in self.bands if band.name == name)


def merged(one: BandStatistics, other: BandStatistics) -> BandStatistics:
    """Return the statistics of two parts of a list as one: counts are added, of peaks the higher is taken."""
    return replace(
        one,
        samples=one.samples + other.samples,
        peak=max(one.peak, other.peak),
        true_peak=max(one.true_peak, other.true_peak),
        energy=one.energy + other.energy,
        dc=max(one.dc, other.dc, key=abs),
        clipped=one.clipped + other.clipped,
        worst_1s=max(one.worst_1s, other.worst_1s),
        levels=one.levels + other.levels,
        power_100ms=one.power_100ms + other.power_100ms,
        power_1s=one.power_1s + other.power_1s,
    )
