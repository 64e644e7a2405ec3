"""Where the power comes from and how it gets to the amplifiers: battery, alternator, cables and their fuses."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from gainwright.model.field_types import FieldType
from gainwright.model.fields import AboveZeroAmps, Charge, Current, Frozen, Length, Resistance, WireField, YesNo

BATTERY = "battery"
"""What a cable without `from` comes from."""
CableEnd = Annotated[str, StringConstraints(pattern=r"^\w+$", max_length=40)]


class Battery(Frozen):
    """The battery that the sound system draws from."""

    kind: Literal["starting", "deep_cycle", "lithium"] = Field(
        default="starting", description="a starting battery, one made to be discharged, or lithium iron phosphate"
    )
    capacity: Charge | None = Field(default=None, description="rated capacity at 20 hours")
    resistance: Resistance | None = Field(default=None, description="internal resistance, as a battery tester shows it")


class Alternator(Frozen):
    """What charges it with the engine running."""

    current: AboveZeroAmps | None = Field(default=None, description="rated current, hot and at speed")
    at_idle: Current | None = Field(default=None, description="what it gives with the engine at idle")
    other_loads: Current | None = Field(
        default=None, description="what the vehicle itself takes: engine, lights, blower, heated window"
    )


class SupplyCable(Frozen):
    """One cable of the supply, from the battery or another cable's end to what it feeds."""

    source: CableEnd = Field(
        default=BATTERY, alias="from", description="battery, or the cable at whose end it begins: a distribution block"
    )
    feeds: Annotated[tuple[CableEnd, ...], FieldType("names", example="amp_sub")] = Field(
        default=(), max_length=40, description="the stages, or the chassis, at its end"
    )
    length: Length | None = Field(default=None, description="one way")
    wire: WireField | None = None
    material: Literal["copper", "copper_clad_aluminium", "aluminium"] = Field(
        default="copper", description="metal of the wire"
    )
    back: Literal["chassis", "wire"] = Field(
        default="chassis", description="how the current comes back: by the body, or a wire of the same size and length"
    )
    fuse: AboveZeroAmps | None = Field(default=None, description="the fuse at its beginning")
    fuse_distance: Length | None = Field(default=None, description="how far its fuse is from where it begins")
    insulation: Annotated[
        Literal["60", "75", "80", "90", "105"], BeforeValidator(str, json_schema_input_type=str | int)
    ] = Field(default="75", description="temperature that its insulation is rated for, degrees C")
    engine_space: YesNo = Field(default=False, description="whether it passes the engine space")
    bundled: int = Field(default=1, ge=1, le=100, description="supply cables that lie together in one bundle with it")
