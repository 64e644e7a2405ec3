"""What a supply of cables must be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import JobError
from gainwright.model.chassis import unit_of
from gainwright.model.stages import Powered
from gainwright.model.supply_cables import BATTERY
from gainwright.model.wiring_errors import unknown_reference
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.job import Job


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
            unit = unit_of(job, target)
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
