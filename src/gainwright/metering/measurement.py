"""The result of measuring a recording, channel by channel."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from gainwright.results import Number

Verdict = Literal["clean", "clipped", "distorted", "no_tone", "other_tone", "overloaded_input", "too_short"]


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One harmonic: order, amplitude re the fundamental in per cent, phase re the fundamental's peak in degrees."""

    order: int
    percent: float
    phase_deg: float | None


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel. dBFS after AES17: a full-scale sine is 0 dBFS. Unknown values are None, with the reason.

    Attributes
    ----------
    channel : from 1.
    seconds : length of the steady stretch that was measured.
    frequency_hz : of the fundamental.
    rms_dbfs : of everything but DC.
    peak_dbfs : highest sample, re full scale.
    fundamental_dbfs, dc_dbfs, noise_dbfs : noise is the rest without DC, fundamental and harmonics, 20 Hz to 20 kHz.
    thd_percent : harmonics up to 20 kHz or half the rate, re the fundamental.
    thd_n_percent : all but the fundamental re all, 20 Hz to 20 kHz (AES17-2015, 6.3.1).
    clip_depth_db : how far the unclipped sine would be above the lower ceiling.
    calibrate_v : volts rms of a 0 dBFS sine, if given; without it no voltage is known.
    v_rms, v_peak, fundamental_v_rms, noise_v_rms, dc_v : the same levels in volts.
    why_not : reason for each figure that is missing, by its name; for `verdict` why a tone is another than the one asked for.
    within : half of the 95 % interval of a figure, by its name; `volts_percent` is that of every voltage.
    asked_hz : the frequency that was asked for, if any.
    """

    channel: int
    seconds: float
    verdict: Verdict
    frequency_hz: float | None = None
    rms_dbfs: float | None = None
    peak_dbfs: float | None = None
    fundamental_dbfs: float | None = None
    thd_percent: float | None = None
    thd_n_percent: float | None = None
    harmonics: tuple[Harmonic, ...] = ()
    dc_dbfs: float | None = None
    noise_dbfs: float | None = None
    clipped: bool | None = None
    clip_depth_db: float | None = None
    calibrate_v: float | None = None
    v_rms: float | None = None
    v_peak: float | None = None
    fundamental_v_rms: float | None = None
    noise_v_rms: float | None = None
    dc_v: float | None = None
    why_not: dict[str, str] = field(default_factory=dict)
    within: dict[str, Number] = field(default_factory=dict)
    asked_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Measurement:
    """All channels of a recording."""

    rate_hz: int
    channels: tuple[Channel, ...]

    @property
    def clean(self) -> bool:
        """Whether every channel is clean."""
        return all(channel.verdict == "clean" for channel in self.channels)
