"""Digital links: which outputs are digital, and what they can feed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import JobError
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stages import Processor
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from gainwright.model.job import Job
    from gainwright.model.nodes import Node, Port


def digital_nodes(job: Job, nodes: Iterable[Node]) -> frozenset[Node]:
    """Return the nodes that carry full scale and no volts."""
    return frozenset(node for node in nodes if link_of(job, node))


def link_of(job: Job, node: Node) -> str:
    """Return the link of an output (`optical`, `usb`, ...), empty for one with volts."""
    stage = job.stages[node.stage]
    return (stage.outputs[node.output].digital or "") if isinstance(stage, HeadUnit) else ""


def check_digital_links(job: Job, digital: frozenset[Node], arriving: Mapping[Port, tuple[Node, ...]]) -> None:
    """Refuse what a digital output can't feed.

    Parameters
    ----------
    arriving : port -> the nodes that feed it.

    Raises
    ------
    JobError : a digital output joined with another, or before anything but a digital processor.
    """
    for port, nodes in arriving.items():
        found = next((node for node in nodes if node in digital), None)
        if found is None:
            continue
        stage = job.stages[port.stage]
        where = (
            f"stages.{port.stage}.inputs.{port.input}" if isinstance(stage, Processor) else f"stages.{port.stage}.from"
        )
        if not (isinstance(stage, Processor) and stage.digital):
            raise JobError(
                say(
                    "{stage}.{output} is digital and can't feed {stage2}",
                    stage=found.stage,
                    output=found.output,
                    stage2=port.stage,
                ),
                code="bad_wiring",
                where=where,
                rule=say("a digital output has no volts: only a digital processor takes it"),
                remedy=say("feed it from an analogue output, or put a processor in between"),
            )
        if len(nodes) > 1:
            raise JobError(
                say(
                    "{stage}.{output} is digital and is joined with another output",
                    stage=found.stage,
                    output=found.output,
                ),
                code="bad_wiring",
                where=where,
                rule=say("a digital link goes from one output to one input"),
                remedy=say("give each an input of its own"),
            )
