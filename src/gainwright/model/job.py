"""The work on one vehicle: its chain, instruments and set-up choices."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from gainwright.model.field_types import FieldType
from gainwright.model.fields import AboveZeroFraction, AboveZeroVolts, Frequency, Frozen, Ratio, Time
from gainwright.model.instruments import Instrument
from gainwright.model.stages import AnyStage
from gainwright.model.supply_cables import Alternator, Battery, SupplyCable

Name = Annotated[str, StringConstraints(pattern=r"^\w+$", min_length=1, max_length=40)]


def _for_all(value: Any) -> Any:
    return value if isinstance(value, dict) else {"all": value}


class Vehicle(Frozen):
    """The vehicle and its supply."""

    description: str = Field(default="", max_length=500)
    running: AboveZeroVolts | None = None
    resting: AboveZeroVolts | None = None
    battery: Battery = Battery()
    alternator: Alternator = Alternator()


class Job(Frozen):
    """A job as in its file."""

    format: Literal[1]
    title: str = Field(default="", max_length=300)
    customer: str = Field(default="", max_length=300)
    note: Annotated[str, FieldType("long_text")] = Field(default="", max_length=5000)
    vehicle: Vehicle = Vehicle()
    allowance: Annotated[
        dict[str, Ratio], BeforeValidator(_for_all, json_schema_input_type=Ratio | dict[str, Ratio])
    ] = Field(default_factory=dict, description="how far below full scale the set-up tone sits, by output, or all")
    tones: Annotated[
        dict[str, Frequency], BeforeValidator(_for_all, json_schema_input_type=Frequency | dict[str, Frequency])
    ] = Field(default_factory=dict, description="the set-up tone to use, by output, or all")
    access: dict[str, Time] = Field(
        default_factory=dict, description="time to get access to a stage, before anything is done there"
    )
    thd_limit: AboveZeroFraction | None = None
    supply: dict[Name, SupplyCable] = Field(
        default_factory=dict, max_length=100, description="the cables that feed the stages, each with its fuse"
    )
    instruments: dict[Name, Instrument] = Field(default_factory=dict)
    stages: dict[Name, AnyStage] = Field(min_length=1, max_length=200)
