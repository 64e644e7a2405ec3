"""Where the power comes from and how it gets to the amplifiers: battery, alternator, cables and their fuses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from gainwright.errors import JobError
from gainwright.model.chassis import chassis, unit_of
from gainwright.model.field_types import FieldType
from gainwright.model.fields import AboveZeroAmps, Charge, Current, Frozen, Length, Resistance, WireField, YesNo
from gainwright.model.stages import Powered
from gainwright.model.wiring_errors import unknown_reference
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.job import Job

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
    feeds: Annotated[tuple[CableEnd, ...], FieldType("sides", example="amp_sub")] = Field(
        default=(), max_length=40, description="the stages, or the chassis, at its end"
    )
    length: Length | None = Field(default=None, description="one way")
    wire: WireField | None = None
    material: Literal["copper", "copper_clad_aluminium", "aluminium"] = "copper"
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


def check_supply(job: Job) -> None:
    """Refuse a supply that can't be one.

    Raises
    ------
    JobError : a cable from nowhere, in a circle, or with a name taken; something fed that isn't there, twice, or takes
        no supply; `where` is the key's path.
    """
    units = {unit_of(job, name) for name, stage in job.stages.items() if isinstance(stage, Powered)}
    fed: dict[str, str] = {}
    for name, cable in job.supply.items():
        where = f"supply.{name}"
        if name == BATTERY or name in units or name in job.stages:
            raise JobError(
                say("{name} is already the name of something else", name=name),
                code="name_twice",
                where=where,
                remedy=say("give the cable a name of its own"),
            )
        if cable.source != BATTERY and cable.source not in job.supply:
            raise unknown_reference(f"{where}.from", cable.source, [BATTERY, *job.supply], "cable")
        for target in cable.feeds:
            unit = target if target in chassis(job) else unit_of(job, target)
            if unit not in units:
                raise unknown_reference(f"{where}.feeds", target, sorted(units), "powered")
            if unit in fed:
                raise JobError(
                    say("{target} is fed by {one} and by {other}", target=target, one=fed[unit], other=name),
                    code="fed_twice",
                    where=f"{where}.feeds",
                    rule=say("each device is at the end of one cable"),
                    remedy=say("for two cables side by side give one with the area of both"),
                )
            fed[unit] = name
    for name in job.supply:
        _refuse_circle(job, name)


def _refuse_circle(job: Job, name: str) -> None:
    seen = [name]
    while (before := job.supply[seen[-1]].source) != BATTERY:
        if before in seen:
            raise JobError(
                say("the cable {name} comes from itself", name=before),
                code="cycle",
                where=f"supply.{name}.from",
                rule=say("each cable begins at the battery or at the end of a cable that does"),
                remedy=say("let the first one come from battery"),
            )
        seen.append(before)
