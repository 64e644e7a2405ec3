"""The errors of a wiring, with what would be right."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from gainwright.errors import JobError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence, Set


def bad_wiring(where: str, what: str, rule: str, remedy: str) -> JobError:
    """Return the error of a connection that can't be made."""
    return JobError(what, code="bad_wiring", where=where, rule=rule, remedy=remedy)


def unknown_reference(where: str, name: str, known: Iterable[str], kind: str, of: str = "") -> JobError:
    """Return the error of a reference that leads nowhere, with what there is: a stage, or an output, input or side of something."""
    known = list(known)
    near = difflib.get_close_matches(name, known, n=1)
    remedy = say("did you mean {near}?", near=near[0]) if near else ""
    rule = say("there is {listed}", listed=", ".join(known[:12])) if known else say("there is none")
    what = {
        "stage": say("{name} is not a stage", name=name),
        "cable": say("{name} is not a cable of the supply", name=name),
        "powered": say("{name} takes no supply", name=name),
        "input": say("{name} is not an input of {of}", name=name, of=of),
        "output": say("{name} is not an output of {of}", name=name, of=of),
        "side": say("{name} is not a side of {of}", name=name, of=of) if of else say("{name} is not a side", name=name),
    }[kind]
    return JobError(what, code="dangling_reference", where=where, rule=rule, remedy=remedy)


def several_outputs(where: str, stage: str, outputs: Sequence[str]) -> JobError:
    """Return the error of a reference to a stage with several outputs that names none of them."""
    return bad_wiring(
        where,
        say("{stage} has several outputs", stage=stage),
        say("they are {listed}", listed=", ".join(outputs)),
        say("write {name}", name=f"{stage}.{outputs[0]}"),
    )


def several_sides(where: str, reference: str, output: str, sides: Sequence[str]) -> JobError:
    """Return the error of a reference to an output with several sides that names none of them."""
    return bad_wiring(
        where,
        say("{reference} has several sides", reference=reference),
        say("they are {listed}", listed=", ".join(sides)),
        say("write {name}", name=f"{output}.{sides[0]}"),
    )


def mono_joined(where: str, present: Set[str]) -> JobError:
    """Return the error of a mono source that is joined with one that has sides."""
    return bad_wiring(
        where,
        say("mono and {listed} are joined", listed=" and ".join(sorted(present - {"mono"}))),
        say("sources that are joined must have the same sides"),
        say("name the side of each: {left: ..., right: ...}"),
    )


def circle_of(name: str, through: Iterable[str]) -> JobError:
    """Return the error of a wiring that leads back to a stage."""
    circle = " -> ".join(through)
    return bad_wiring(
        f"stages.{name}",
        say("the wiring goes in a circle: {circle}", circle=circle),
        "",
        say("remove one `from` in it"),
    )
