"""The keys that stages share: sides, references to sources, leads, volumes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from gainwright.model.field_types import FieldType
from gainwright.model.fields import (
    AboveZeroOhms,
    AboveZeroRatio,
    Area,
    Fraction,
    Frozen,
    Length,
    LongText,
    Ratio,
    Resistance,
    Voltage,
    YesNo,
)

Side = Literal["left", "right", "mono"]
Sides = Annotated[
    tuple[Side, ...], Field(min_length=1, max_length=3), FieldType("sides", choices=("left", "right", "mono"))
]
YesNoUnknown = Literal["yes", "no", "unknown"]
Reference = Annotated[str, StringConstraints(pattern=r"^\w+(\.\w+){0,2}$", max_length=120)]
"""`stage`, `stage.output` or `stage.output.side`; inside a processor `input` or `input.side`."""
SOURCE_TYPE = FieldType("source", example="desk.sub")
Source = Annotated[Reference | list[Reference] | dict[str, Reference], SOURCE_TYPE]
"""One source, several that join, or one for each side (or coil)."""


MOST_LETTERS = 60
"""Letters of the name of a stage."""
StageName = Annotated[
    str, StringConstraints(max_length=MOST_LETTERS, strip_whitespace=True, pattern=r"^[^\x00-\x1f\x7f]*$")
]
"""Any words on one line."""


class Lead(Frozen):
    """The lead into a stage; `resistance` is that of both conductors together."""

    length: Length | None = None
    area: Area | None = None
    resistance: Resistance | None = None


class Stage(Frozen):
    """The keys of every stage."""

    name: StageName = Field(default="", description="what it is called, as people say it: Amp under the seat")
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
    at: float | None = Field(default=None, ge=0, le=1000)
    step: AboveZeroRatio | None = Field(default=None, description="dB per step")
    top: Ratio | None = Field(
        default=None, description="level of a full-scale tone at the highest step relative to the source's ceiling"
    )
