"""The stages of a chain, one class for each kind, with their keys in a job file.

For a missing key the catalogue assumes a value, with its reason and spread.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from gainwright.errors import QuantityError
from gainwright.model.field_types import NEEDED, FieldType
from gainwright.model.fields import (
    AboveZeroOhms,
    AboveZeroRatio,
    AboveZeroVolts,
    Area,
    CoilsField,
    EqualiserField,
    FilterField,
    FilterRangeField,
    Fraction,
    Frequency,
    Frozen,
    Length,
    LongText,
    Number,
    Power,
    Ratings,
    Ratio,
    RatioEnds,
    Resistance,
    SensitivityField,
    Time,
    Voltage,
    VoltageEnds,
    YesNo,
    by_kind,
)

Side = Literal["left", "right", "mono"]
Sides = Annotated[
    tuple[Side, ...], Field(min_length=1, max_length=3), FieldType("sides", choices=("left", "right", "mono"))
]
Reference = Annotated[str, StringConstraints(pattern=r"^\w+(\.\w+){0,2}$", max_length=120)]
"""`stage`, `stage.output` or `stage.output.side`; inside a processor `input` or `input.side`."""
SOURCE_TYPE = FieldType("source", example="desk.sub")
Source = Annotated[Reference | list[Reference] | dict[str, Reference], SOURCE_TYPE]
"""One source, several that join, or one for each side (or coil)."""


class Lead(Frozen):
    """The lead into a stage; `resistance` is that of both conductors together."""

    length: Length | None = None
    area: Area | None = None
    resistance: Resistance | None = None


class Stage(Frozen):
    """The keys of every stage."""

    sides: Sides | None = None
    lead: Lead | None = None
    output_impedance: Resistance | None = None
    output_noise: Voltage | None = None
    distortion: Fraction | None = Field(default=None, description="its own THD, well below its ceiling")
    reachable: YesNo = Field(default=True, description="whether its outputs can be reached with a measuring lead")
    note: LongText = ""


class FedStage(Stage):
    """A stage with one input."""

    source: Source = Field(alias="from")
    input_impedance: AboveZeroOhms | None = None


class Volume(Frozen):
    """The volume control of a source, or a processor's master volume."""

    steps: int | None = Field(default=None, ge=1, le=1000)
    at: float | None = Field(default=None, ge=0)
    step: AboveZeroRatio | None = Field(default=None, description="dB per step")
    top: Ratio | None = Field(
        default=None, description="level of a full-scale tone at the highest step relative to the source's ceiling"
    )


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


class HeadUnit(Stage):
    """The source: it plays the tone from digital full scale downwards. A phone, a streamer or a computer is one, too."""

    kind: Literal["head_unit"]
    rated_output: Annotated[AboveZeroVolts | None, NEEDED] = None
    output_limit: AboveZeroVolts | None = Field(default=None, description="rms of its largest clean sine, if measured")
    speaker_level: YesNo = Field(default=False, description="its outputs are meant for speakers")
    volume: Volume = Volume()
    tone: EqualiserField | None = None
    outputs: dict[str, SourceOutput] = Field(default_factory=lambda: {"out": SourceOutput()}, min_length=1)

    @property
    def all_digital(self) -> bool:
        """Whether none of its outputs has volts."""
        return all(output.digital is not None for output in self.outputs.values())

    @model_validator(mode="after")
    def _rated(self) -> Self:
        if self.rated_output is None and not self.all_digital:
            raise QuantityError(
                "the key 'rated_output' is missing",
                code="missing_key",
                rule="only a source whose outputs are all digital has none",
                remedy="add rated_output: ...",
            )
        return self


class ProcessorOutput(Frozen):
    """One output of a processor."""

    source: Annotated[Reference | list[Reference] | None, SOURCE_TYPE] = Field(default=None, alias="from")
    sides: Sides | None = None
    high_pass: FilterField | None = None
    low_pass: FilterField | None = None
    high_pass_range: FilterRangeField | None = None
    low_pass_range: FilterRangeField | None = None
    equaliser: EqualiserField | None = None
    level: Ratio | None = None
    delay: Time | None = None
    polarity: Literal["normal", "reversed"] = "normal"
    mute: YesNo = False


class Processor(Stage):
    """Inputs, routing, filters, equaliser, delay, polarity, level; digital unless `digital: no`."""

    kind: Literal["processor"]
    inputs: dict[str, Source] = Field(min_length=1)
    outputs: dict[str, ProcessorOutput] = Field(min_length=1)
    digital: YesNo = True
    volume: Volume | None = Field(default=None, description="its master volume, which sets the level of every output")
    input_limit: AboveZeroVolts | None = None
    output_limit: AboveZeroVolts | None = None
    gain: Ratio | None = None
    digital_gain: Ratio | None = Field(
        default=None,
        description="what full scale at a digital input gives, relative to its largest clean output, levels at 0 dB",
    )
    input_impedance: AboveZeroOhms | None = None


class LineDriver(FedStage):
    """Raises a line-level signal."""

    kind: Literal["line_driver"]
    gain: Ratio
    output_limit: AboveZeroVolts | None = None
    input_limit: AboveZeroVolts | None = None


class LevelControl(FedStage):
    """A control at the driver's hand; it attenuates only."""

    kind: Literal["level_control"]
    range: RatioEnds | None = None
    at: Ratio | None = None
    reserve: Ratio | None = Field(default=None, description="how far below its top it is during set-up")


class Converter(FedStage):
    """From speaker level to line level."""

    kind: Literal["converter"]
    ratio: Ratio | None = None
    input_limit: AboveZeroVolts | None = None
    output_limit: AboveZeroVolts | None = None


class Gain(Frozen):
    """The gain control of an amplifier: 0 % fully down, 100 % fully up."""

    at: Fraction | None = None
    mutes_at_minimum: Literal["yes", "no", "unknown"] | None = None


class Amplifier(FedStage):
    """One or more sides, bridged or not; a bridged rating is that of the bridged pair."""

    kind: Literal["amplifier"]
    power: Ratings
    sensitivity: VoltageEnds | None = None
    gain: Gain = Gain()
    high_pass: FilterField | None = None
    low_pass: FilterField | None = None
    high_pass_range: FilterRangeField | None = None
    low_pass_range: FilterRangeField | None = None
    boost: EqualiserField | None = None
    bridged: YesNo = False
    minimum_load: AboveZeroOhms | None = None
    regulated: YesNo = False
    rated_at: AboveZeroVolts | None = None
    headroom: Ratio | None = Field(default=None, description="how far its real output exceeds its rating")
    input_limit: AboveZeroVolts | None = None


class Speaker(FedStage):
    """One speaker, or `count` equal ones in parallel, on each side that feeds it."""

    kind: Literal["speaker"]
    impedance: AboveZeroOhms | None = None
    coils: CoilsField | None = None
    count: int = Field(default=1, ge=1, le=16)
    power: Power | None = None
    sensitivity: SensitivityField | None = None
    protect_below: Frequency | None = None
    resonance: Frequency | None = None
    qts: Number | None = None


def volume_of(stage: Stage) -> Volume | None:
    """Return the volume control of a stage: a head unit has one, a processor may have a master volume."""
    return stage.volume if isinstance(stage, HeadUnit | Processor) else None


AnyStage = Annotated[
    HeadUnit | Processor | LineDriver | LevelControl | Converter | Amplifier | Speaker, Field(discriminator="kind")
]
STAGES: dict[str, type[Stage]] = by_kind(AnyStage)
"""Kind of a stage -> its class; the one list of kinds."""
WITH_NAMED_OUTPUTS = tuple(kind for kind, cls in STAGES.items() if "outputs" in cls.model_fields)
"""Kinds whose outputs have names; the others have the one output `out`, a speaker none."""
