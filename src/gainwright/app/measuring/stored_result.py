"""The measurement that is stored with a recording."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.metering.measurement import Measurement


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a recording comes from, and what may have spoiled it.

    Attributes
    ----------
    came : where from, in words.
    device : the input it was recorded from; empty for a file.
    gaps : how often samples were lost.
    processing : what the browser did to it.
    """

    came: str = ""
    device: str = ""
    gaps: int = 0
    processing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StoredMeasurement(Measurement):
    """The measurement of a recording, with the volts of a 0 dBFS sine and its origin."""

    calibrate_v: float | None = None
    about: Origin = Origin()
