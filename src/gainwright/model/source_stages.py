"""The source of a chain, with its outputs and what it does by itself."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from gainwright.errors import QuantityError
from gainwright.model.field_types import NEEDED
from gainwright.model.fields import (
    AboveZeroOhms,
    AboveZeroVolts,
    EqualiserField,
    FilterField,
    FilterRangeField,
    Frequency,
    Frozen,
    Ratio,
    Resistance,
    Voltage,
    YesNo,
)
from gainwright.model.stage_keys import Sides, Stage, Volume, YesNoUnknown
from gainwright.texts import say


class SourceOutput(Frozen):
    """One output of a head unit, at line level, for speakers, or digital."""

    sides: Sides = ("left", "right")
    low_pass: FilterField | None = None
    high_pass: FilterField | None = None
    low_pass_range: FilterRangeField | None = None
    high_pass_range: FilterRangeField | None = None
    level: Ratio | None = None
    digital: Literal["optical", "coaxial", "usb", "wireless"] | None = Field(
        default=None, description="the link of a digital output: it carries full scale, and no volts"
    )
    fixed_level: YesNo = Field(default=False, description="whether the volume leaves this output alone")


class Factory(Frozen):
    """What a factory source does by itself; only what is known or suspected is given."""

    loudness: YesNoUnknown | None = Field(
        default=None,
        description="whether its equaliser moves with the volume: more bass at low volume, less near the top",
    )
    bass_at_bottom: Ratio | None = Field(default=None, description="what it adds to the bass at the lowest step")
    bass_at_top: Ratio | None = Field(default=None, description="what it adds to the bass at the highest step")
    bass_corner: Frequency | None = Field(default=None, description="corner of the low shelf that moves")
    limiter: YesNoUnknown | None = Field(
        default=None, description="whether it turns itself down before it clips, so that no distortion shows"
    )
    limiter_threshold: Ratio | None = Field(
        default=None, description="level above which it turns itself down, relative to its largest clean output"
    )
    load_detection: YesNoUnknown | None = Field(
        default=None, description="whether it mutes an output at which it finds no speaker"
    )
    needs_load: Resistance | None = Field(default=None, description="the highest load that it takes for a speaker")
    noise_cancelling: YesNoUnknown | None = Field(
        default=None, description="whether it plays against engine noise while the engine runs"
    )
    cancelling_level: Voltage | None = Field(
        default=None, description="rms of that at its outputs with the engine idling"
    )


class HeadUnit(Stage):
    """The source: it plays the tone from digital full scale downwards. A phone, a streamer or a computer is one, too."""

    kind: Literal["head_unit"]
    rated_output: Annotated[AboveZeroVolts | None, NEEDED] = None
    output_limit: AboveZeroVolts | None = Field(default=None, description="rms of its largest clean sine, if measured")
    balanced: YesNo = Field(
        default=False, description="whether its line outputs are balanced: their voltage is that between the two legs"
    )
    speaker_level: YesNo = Field(default=False, description="its outputs are meant for speakers")
    minimum_load: AboveZeroOhms | None = Field(
        default=None, description="the lowest load that its outputs for speakers may drive"
    )
    volume: Volume = Volume()
    tone: EqualiserField | None = None
    levelling: Literal["off", "on", "unknown"] | None = Field(
        default=None, description="whether it levels its tracks, and plays loud ones softer by itself"
    )
    factory: Factory = Factory()
    outputs: dict[str, SourceOutput] = Field(default_factory=lambda: {"out": SourceOutput()}, min_length=1)

    @property
    def all_digital(self) -> bool:
        """Whether none of its outputs has volts."""
        return all(output.digital is not None for output in self.outputs.values())

    @model_validator(mode="after")
    def _rated(self) -> Self:
        if self.rated_output is None and not self.all_digital:
            raise QuantityError(
                say("the key {path} is missing", path="'rated_output'"),
                code="missing_key",
                rule=say("only a source whose outputs are all digital has none"),
                remedy=say("add {path}: ...", path="rated_output"),
            )
        return self
