"""Measuring instruments: a meter, a recorder, and yes/no indicators."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, field_validator, model_validator

from gainwright.errors import QuantityError
from gainwright.model.field_types import FieldType
from gainwright.model.fields import (
    AboveZeroOhms,
    AboveZeroVolts,
    AccuracyField,
    Frequency,
    Frozen,
    MarkField,
    Ratio,
    SoundLevel,
    YesNo,
    by_kind,
)
from gainwright.model.marks import Mark
from gainwright.texts import say


class Multimeter(Frozen):
    """A handheld meter on its AC volts range."""

    kind: Literal["multimeter"]
    true_rms: YesNo | None = Field(default=None, description="whether it shows the true rms of any waveform")
    accuracy: AccuracyField | None = None
    counts: int | None = Field(default=None, ge=200, le=1_000_000, description="the largest number it shows, 6000")
    bandwidth: Frequency | None = None
    input_impedance: AboveZeroOhms | None = None


class Recorder(Frozen):
    """An audio interface with the attenuator before it."""

    kind: Literal["recorder"]
    full_scale: AboveZeroVolts
    balanced: YesNo = Field(
        default=False, description="whether its input is balanced; else its ground is the vehicle's or the mains'"
    )
    attenuator: Ratio | None = None
    full_scale_sound: SoundLevel | None = Field(
        default=None,
        description="level at its measuring microphone at which it is full, as its sound calibrator gives it",
    )
    rate: Frequency | None = None
    input_impedance: AboveZeroOhms | None = None


MarkName = Annotated[str, StringConstraints(pattern=r"^\w[\w .+/\-]{0,39}$", strip_whitespace=True)]
NO_MARK = "none"
"""The word that means that no mark is lit."""
MOST_MARKS = 8
MARK_OF_INDICATOR = "clip: thd over 3 %"
_FORMER = ("level_above", "fundamental_above", "thd_above")
"""Keys of job files of 0.1.0, which had three thresholds in a fixed order."""


class Indicator(Frozen):
    """A yes/no instrument: its marks, each lit while its condition holds."""

    kind: Literal["indicator"]
    marks: Annotated[dict[MarkName, MarkField], FieldType("marks", example=MARK_OF_INDICATOR)] = Field(
        min_length=1,
        max_length=MOST_MARKS,
        examples=[MARK_OF_INDICATOR],
        description="its marks in your own words, each with the condition under which it lights",
    )
    input_impedance: AboveZeroOhms | None = None

    @model_validator(mode="before")
    @classmethod
    def _refuse_no_marks(cls, value: Any) -> Any:
        marks = value.get("marks") if isinstance(value, dict) else True
        if not marks or isinstance(marks, list | str):
            raise QuantityError(
                say("an indicator has no marks"),
                code="bad_value",
                rule=say("it shows something only by its marks, each with the condition under which it lights"),
                remedy=say("write, for example, marks: {{{mark_of_indicator}}}", mark_of_indicator=MARK_OF_INDICATOR),
            )
        return value

    @model_validator(mode="before")
    @classmethod
    def _refuse_former_keys(cls, value: Any) -> Any:
        found = [key for key in _FORMER if key in value] if isinstance(value, dict) else []
        if found:
            raise QuantityError(
                say("an indicator no longer has {listed}", listed=", ".join(found)),
                code="former_key",
                rule=say("it has marks, each with a name of your own and the condition under which it lights"),
                remedy=say(
                    "write, for example, marks: {clip: thd over 3 %}; conditions are level over V, fundamental over V, thd over %"
                ),
            )
        return value

    @property
    def signal_marks(self) -> dict[str, Mark]:
        """Its marks for the presence of a signal: those of a level and of the tone."""
        return {name: mark for name, mark in self.marks.items() if mark.of != "thd"}

    @property
    def distortion_marks(self) -> dict[str, Mark]:
        """Its marks for distortion."""
        return {name: mark for name, mark in self.marks.items() if mark.of == "thd"}

    @field_validator("marks")
    @classmethod
    def _check_names(cls, marks: dict[str, Mark]) -> dict[str, Mark]:
        plain = [name.casefold() for name in marks]
        if NO_MARK in plain or len(set(plain)) != len(plain):
            what = say("a mark is named none") if NO_MARK in plain else say("two marks have the same name")
            raise QuantityError(
                what,
                code="bad_value",
                rule=say("names of marks must be unique, and none means that no mark is lit"),
                remedy=say("choose another name"),
            )
        return marks


Instrument = Annotated[Multimeter | Recorder | Indicator, Field(discriminator="kind")]
INSTRUMENTS: dict[str, type[Frozen]] = by_kind(Instrument)
"""Kind of an instrument -> its class; the one list of kinds."""
