"""The work on one vehicle: its chain, instruments and set-up choices."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from gainwright.errors import QuantityError
from gainwright.model.field_types import FieldType
from gainwright.model.fields import AboveZeroFraction, AboveZeroVolts, Frequency, Frozen, Ratio, Time
from gainwright.model.instruments import Instrument
from gainwright.model.stages import AnyStage
from gainwright.model.supply_cables import Alternator, Battery, SupplyCable
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.quantities import Quantity

Name = Annotated[str, StringConstraints(pattern=r"^\w+$", min_length=1, max_length=40)]


LARGEST_THD = 0.4
"""A clipped sine has less distortion than a square wave, sqrt(pi^2/8 - 1) = 48 %."""
TONES_HZ = (1.0, 0.45 * 44_100)
"""What `gainwright.signals.Tone` allows in a file of 44.1 kHz: it leaves room for the player's filter."""


def _of_a_clipped_sine(found: Quantity) -> Quantity:
    if found.known and found.nominal > LARGEST_THD:
        raise QuantityError(
            say("no clipped sine has {text} of distortion", text=found.text),
            code="out_of_bounds",
            rule=say("a square wave has 48 %; the limit is {most} % or less", most=f"{100 * LARGEST_THD:g}"),
            remedy=say("write, for example, 1 %"),
        )
    return found


def _playable(found: Quantity) -> Quantity:
    if found.known and not TONES_HZ[0] <= found.nominal <= TONES_HZ[1]:
        raise QuantityError(
            say("{text} can't be a set-up tone", text=found.text),
            code="out_of_bounds",
            rule=say("a tone is {low} to {high} Hz", low=f"{TONES_HZ[0]:g}", high=f"{TONES_HZ[1]:g}"),
            remedy=say("write, for example, {example}", example="80 Hz"),
        )
    return found


ThdLimit = Annotated[AboveZeroFraction, AfterValidator(_of_a_clipped_sine)]
SetUpTone = Annotated[Frequency, AfterValidator(_playable)]


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
        dict[str, SetUpTone], BeforeValidator(_for_all, json_schema_input_type=SetUpTone | dict[str, SetUpTone])
    ] = Field(default_factory=dict, description="the set-up tone to use, by output, or all")
    access: dict[str, Time] = Field(
        default_factory=dict, description="time to get access to a stage, before anything is done there"
    )
    thd_limit: ThdLimit | None = None
    supply: dict[Name, SupplyCable] = Field(
        default_factory=dict, max_length=100, description="the cables that feed the stages, each with its fuse"
    )
    instruments: dict[Name, Instrument] = Field(default_factory=dict, max_length=20)
    stages: dict[Name, AnyStage] = Field(min_length=1, max_length=200)
