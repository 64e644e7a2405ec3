"""Stages in one chassis: one supply, fuse, ground and turn-on for all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import JobError
from gainwright.model.stages import Powered
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.job import Job


def chassis(job: Job) -> dict[str, tuple[str, ...]]:
    """Return chassis -> the stages in it, in the order of the job."""
    found: dict[str, tuple[str, ...]] = {}
    for name, stage in job.stages.items():
        if isinstance(stage, Powered) and stage.chassis is not None:
            found[stage.chassis] = (*found.get(stage.chassis, ()), name)
    return found


def unit_of(job: Job, name: str) -> str:
    """Return the chassis of a stage, or the stage itself when it has one of its own."""
    stage = job.stages.get(name)
    return stage.chassis if isinstance(stage, Powered) and stage.chassis is not None else name


def stages_of(job: Job, unit: str) -> tuple[str, ...]:
    """Return the stages in a chassis; a stage alone for its own name."""
    return chassis(job).get(unit, (unit,))


def supply_of(job: Job, name: str) -> str:
    """Return the stage whose `supply` feeds a stage: its own, or one given in its chassis; `vehicle` without any."""
    for member in stages_of(job, unit_of(job, name)):
        stage = job.stages.get(member)
        if isinstance(stage, Powered) and stage.supply.is_own:
            return member
    return "vehicle"


def supply_path(job: Job, name: str, state: str) -> str:
    """Return the path of the fact of a stage's supply; `state` is running or resting."""
    owner = supply_of(job, name)
    return f"vehicle.{state}" if owner == "vehicle" else f"{owner}.supply.{state}"


def check_chassis(job: Job) -> None:
    """Refuse a chassis that can't be one.

    Raises
    ------
    JobError : it has the name of a stage or an instrument, or two different supplies; `where` is the key's path.
    """
    for unit, members in chassis(job).items():
        where = f"stages.{members[0]}.chassis"
        if unit in job.stages or unit in job.instruments:
            raise JobError(
                say("{unit} is both a chassis and the name of a stage", unit=unit)
                if unit in job.stages
                else say("{unit} is both a chassis and the name of an instrument", unit=unit),
                code="name_twice",
                where=where,
                remedy=say("give the chassis a name of its own"),
            )
        supplies = {(str(s.supply.running), str(s.supply.resting)) for s in _given(job, members)}
        turn_ons = {s.turn_on for s in (job.stages[m] for m in members) if isinstance(s, Powered)}
        for found, key in ((supplies, "supply"), (turn_ons, "turn_on")):
            if len(found) > 1:
                raise JobError(
                    say("the stages in {unit} have different values of {key}", unit=unit, key=key),
                    code="chassis_differs",
                    where=f"stages.{members[0]}.{key}",
                    rule=say("what stands in one chassis has one supply, fuse, ground and turn-on"),
                    remedy=say("give {key} once, or the same for each", key=key),
                )


def _given(job: Job, members: tuple[str, ...]) -> list[Powered]:
    stages = [job.stages[member] for member in members]
    return [s for s in stages if isinstance(s, Powered) and s.supply.is_own]
