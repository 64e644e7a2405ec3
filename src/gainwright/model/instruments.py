"""What one can measure with: a meter, a recorder, and anything that only says yes or no."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from gainwright.model.fields import (
    AccuracyField,
    Fraction,
    Frequency,
    Frozen,
    Ratio,
    Resistance,
    Voltage,
    YesNo,
    by_kind,
)


class Multimeter(Frozen):
    """A handheld meter on its AC volts range."""

    kind: Literal["multimeter"]
    true_rms: YesNo | None = Field(default=None, description="whether it shows the true rms of any waveform")
    accuracy: AccuracyField | None = None
    counts: int | None = Field(default=None, ge=200, le=1_000_000, description="the largest number it shows, 6000")
    bandwidth: Frequency | None = None
    input_impedance: Resistance | None = None


class Recorder(Frozen):
    """An audio interface with what attenuates before it."""

    kind: Literal["recorder"]
    full_scale: Voltage
    attenuator: Ratio | None = None
    rate: Frequency | None = None
    input_impedance: Resistance | None = None


class Indicator(Frozen):
    """Anything that only shows whether something passes its thresholds."""

    kind: Literal["indicator"]
    level_above: Voltage | None = None
    fundamental_above: Voltage | None = None
    thd_above: Fraction | None = None
    input_impedance: Resistance | None = None


Instrument = Annotated[Multimeter | Recorder | Indicator, Field(discriminator="kind")]
INSTRUMENTS: dict[str, type[Frozen]] = by_kind(Instrument)
"""Kind of an instrument -> its class; the one list of kinds."""
