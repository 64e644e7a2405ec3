"""The places where a stage can be inserted: in a lead, after an output, before an input."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.jobfile.editing.references import called, chain_error, outputs_of, references, short_reference
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.jobfile.editing.draft import Draft
    from gainwright.jobfile.editing.references import Reference

PlaceKind = Literal["lead", "output", "input"]


@dataclass(frozen=True, slots=True)
class ChainPlace:
    """A place in a chain.

    Attributes
    ----------
    id : `lead:desk.sub-knob`, `output:desk.sub` or `input:desk.front`.
    words : its description.
    """

    id: str
    kind: PlaceKind
    words: str


def places(draft: Draft) -> list[ChainPlace]:
    """Return every place of a chain: leads, then outputs, then inputs, each in signal order.

    Nothing can stand between a strapped pair and its speaker.
    """
    found: dict[str, ChainPlace] = {}
    stages = draft.plain["stages"]
    strapped = {
        end for name, stage in stages.items() if stage.get("strapped_to") for end in (name, stage["strapped_to"])
    }
    for r in references(draft):
        if r.stage in strapped:
            continue
        source = short_reference(draft, r.stage, r.output)
        key = f"lead:{source}-{r.consumer}"
        found[key] = ChainPlace(
            key, "lead", say("between {a} and {b}", a=called(draft, r.stage, r.output), b=called(draft, r.consumer))
        )
    for stage in (name for name in stages if name not in strapped):
        for output in outputs_of(draft, stage):
            key = f"output:{stage}.{output}"
            found[key] = ChainPlace(
                key, "output", say("after {output}, before everything it feeds", output=called(draft, stage, output))
            )
    for r in references(draft):
        key = "input:" + ".".join(map(str, (r.consumer, *r.source_path[3:])))
        stage = called(draft, r.consumer)
        words = say("into {stage}", stage=stage)
        if len(r.source_path) > 3:
            words = say("into {stage}, input {input}", stage=stage, input=r.source_path[3])
        found.setdefault(key, ChainPlace(key, "input", words))
    return list(found.values())


def at_place(draft: Draft, place: str) -> tuple[str, str, list[Reference]]:
    """Return the stage and output that a lead or output comes from, and the references that a new stage takes over.

    Raises
    ------
    JobError : no such place.
    """
    kind, _, rest = place.partition(":")
    everything = references(draft)
    if kind == "lead":
        for r in everything:
            if rest == f"{short_reference(draft, r.stage, r.output)}-{r.consumer}":
                mine = [x for x in everything if (x.stage, x.output, x.consumer) == (r.stage, r.output, r.consumer)]
                return r.stage, r.output, mine
    if kind == "output":
        stage, _, output = rest.partition(".")
        if stage in draft.plain["stages"] and output in outputs_of(draft, stage):
            return stage, output, [x for x in everything if (x.stage, x.output) == (stage, output)]
    raise chain_error(
        say("{place} is not a place in this chain", place=repr(place[:80])),
        where="stages",
        remedy=say("choose a lead or an output"),
    )
