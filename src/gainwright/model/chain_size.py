"""The largest chain that a job may describe: several times that of any car, so that plan and diagnosis end in seconds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import JobError
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stages import Processor
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model.job import Job
    from gainwright.model.nodes import Node

MOST_TERMINALS, MOST_IN_A_ROW = 160, 20
"""Inputs and outputs, each side counted, and stages one after another; an active three-way car with a rear and a subwoofer has 36 and 4."""


def check_declared(job: Job) -> None:
    """Refuse a job that names too many inputs and outputs, before any of them is looked for.

    Raises
    ------
    JobError : `chain_too_large`.
    """
    named = sum(
        len(stage.outputs) + (len(stage.inputs) if isinstance(stage, Processor) else 0)
        for stage in job.stages.values()
        if isinstance(stage, HeadUnit | Processor)
    )
    _check(named)


def check_size(before: Mapping[Node, Sequence[Node]], inputs: int) -> None:
    """Refuse a chain with too many inputs and outputs, or too many stages one after another.

    Parameters
    ----------
    before : each output, in signal order, and those that feed its own stage for it.
    inputs : number of inputs, each side counted.

    Raises
    ------
    JobError : `chain_too_large`.
    """
    _check(len(before) + inputs)
    row: dict[Node, int] = {}
    for node, feeding in before.items():
        row[node] = 1 + max((row[one] for one in feeding), default=0)
    longest = max(row.values(), default=0)
    if longest > MOST_IN_A_ROW:
        raise _too_large(say("{number} stages are one after another", number=longest), most=MOST_IN_A_ROW)


def _check(terminals: int) -> None:
    if terminals > MOST_TERMINALS:
        counted = say("the chain has {number} inputs and outputs, each side counted", number=terminals)
        raise _too_large(counted, most=MOST_TERMINALS)


def _too_large(what: str, *, most: int) -> JobError:
    return JobError(
        what,
        code="chain_too_large",
        where="stages",
        rule=say("at most {most} are possible", most=most),
        remedy=say("check that the file describes one vehicle"),
    )
