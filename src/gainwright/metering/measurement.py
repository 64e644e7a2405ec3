"""What a recording holds, channel by channel, as data."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

Verdict = Literal["clean", "clipped", "distorted", "no_tone", "overloaded_input", "too_short"]


_BEFORE_HARMONICS = (
    "channel",
    "seconds",
    "frequency_hz",
    "rms_dbfs",
    "peak_dbfs",
    "fundamental_dbfs",
    "thd_percent",
    "thd_n_percent",
)


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One harmonic: order, size re the fundamental in per cent, phase re the fundamental's peak in degrees."""

    order: int
    percent: float
    phase_deg: float | None


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel. dBFS after AES17: a full-scale sine is 0 dBFS. What can't be known is None, with its reason.

    Attributes
    ----------
    channel : from 1.
    seconds : length of the steady stretch that was measured.
    frequency_hz : of the fundamental.
    rms_dbfs : of everything but DC.
    peak_dbfs : highest sample, re full scale.
    fundamental_dbfs, dc_dbfs, noise_dbfs : noise is what is left without DC, fundamental and harmonics, 20 Hz to 20 kHz.
    thd_percent : harmonics up to 20 kHz or half the rate, re the fundamental.
    thd_n_percent : all but the fundamental re all, 20 Hz to 20 kHz (AES17-2015, 6.3.1).
    clip_depth_db : how far the uncut sine would stand above the lower ceiling.
    calibrate_v : volts rms of a 0 dBFS sine, if given.
    within : half of the 95 % interval of a figure, by its name; `volts_percent` is that of every voltage.
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
    why_not: dict[str, str] = field(default_factory=dict)
    within: dict[str, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        found: dict[str, Any] = {name: _finite(getattr(self, name)) for name in _BEFORE_HARMONICS}
        found["harmonics"] = [
            {"order": h.order, "percent": h.percent, "phase_deg": _finite(h.phase_deg)} for h in self.harmonics
        ]
        for name in ("dc_dbfs", "noise_dbfs", "clipped", "clip_depth_db", "verdict"):
            found[name] = _finite(getattr(self, name))
        if self.calibrate_v is not None:
            found |= {
                "v_rms": self._volts(self.rms_dbfs),
                "v_peak": self._volts(self.peak_dbfs, math.sqrt(2)),
                "fundamental_v_rms": self._volts(self.fundamental_dbfs),
                "noise_v_rms": self._volts(self.noise_dbfs),
                "dc_v": self._volts(self.dc_dbfs, math.sqrt(2)),
            }
        found["within"] = {key: _finite(value) for key, value in self.within.items()}
        found["why_not"] = self.why_not
        return found

    def _volts(self, level_dbfs: float | None, factor: float = 1.0) -> float | None:
        if level_dbfs is None or self.calibrate_v is None or not math.isfinite(level_dbfs):
            return None
        return self.calibrate_v * factor * float(10 ** (level_dbfs / 20))


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


@dataclass(frozen=True, slots=True)
class Measurement:
    """All channels of a recording."""

    rate_hz: int
    channels: tuple[Channel, ...]

    @property
    def clean(self) -> bool:
        """Whether every channel is."""
        return all(channel.verdict == "clean" for channel in self.channels)

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        return {"rate_hz": self.rate_hz, "channels": [channel.as_json() for channel in self.channels]}
