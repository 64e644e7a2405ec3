"""Strapped pairs: two amplifiers that push the two ends of one load, one of them inverted.

The voltage across the load is the difference of the two outputs, so with one inverted their voltages add, and by symmetry
each amplifier sees half of the load.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import JobError
from gainwright.model.stages import Amplifier, Speaker
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model.job import Job
    from gainwright.model.nodes import Node


def strapped_signs(job: Job, nodes: Sequence[Node]) -> tuple[float, ...]:
    """Return the sign of each of two outputs in the voltage across their load; an empty tuple if they aren't strapped.

    The amplifier that says `strapped_to` feeds the minus end.
    """
    names = [node.stage for node in nodes]
    if len(set(names)) != 2 or len(names) != 2:
        return ()
    partners = [_partner(job, name) for name in names]
    if partners[1] == names[0]:
        return (1.0, -1.0)
    return (-1.0, 1.0) if partners[0] == names[1] else ()


def check_strapping(job: Job) -> None:
    """Refuse a pair that can't be one.

    Raises
    ------
    JobError : `strapped_to` names no other amplifier, or no speaker that both feed; `where` is the key's path.
    """
    for name in job.stages:
        partner = _partner(job, name)
        if partner is None:
            continue
        where = f"stages.{name}.strapped_to"
        other = job.stages.get(partner)
        amplifiers = [n for n, s in job.stages.items() if isinstance(s, Amplifier) and n != name]
        if not isinstance(other, Amplifier) or partner == name:
            raise JobError(
                say("{partner} is not another amplifier", partner=partner),
                code="dangling_reference",
                where=where,
                rule=say("there is {listed}", listed=", ".join(amplifiers)) if amplifiers else say("there is no other"),
                remedy=say("name the other amplifier of the pair"),
            )
        if other.strapped_to is not None:
            raise JobError(
                say("{partner} is strapped to {strapped_to} as well", partner=partner, strapped_to=other.strapped_to),
                code="bad_value",
                where=where,
                rule=say("a pair is two amplifiers; the one at the minus end names the other"),
                remedy=say("keep strapped_to at one of the two"),
            )
        if not any(_joins(s, name, partner) for s in job.stages.values()):
            raise JobError(
                say("{name} and {partner} feed no speaker together", name=name, partner=partner),
                code="bad_value",
                where=where,
                rule=say("the load of a strapped pair lies between its two outputs"),
                remedy=say("give the speaker from: [{partner}, {name}]", partner=partner, name=name),
            )


def _partner(job: Job, name: str) -> str | None:
    stage = job.stages.get(name)
    return stage.strapped_to if isinstance(stage, Amplifier) else None


def _joins(stage: object, name: str, partner: str) -> bool:
    if not isinstance(stage, Speaker) or not isinstance(stage.source, list):
        return False
    return {reference.split(".")[0] for reference in stage.source} == {name, partner}
