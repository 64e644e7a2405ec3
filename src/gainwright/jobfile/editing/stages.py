"""Add, remove, move and rewire stages of a chain."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.errors import JobError
from gainwright.jobfile.editing.branches import remove_dead_ends
from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.mentions import drop_unknown
from gainwright.jobfile.editing.places import at_place
from gainwright.jobfile.editing.references import (
    chain_error,
    consumers,
    outputs_of,
    place_after_source,
    references_of,
    short_reference,
    split_reference,
)
from gainwright.jobfile.editing.renaming import check_name, check_stage
from gainwright.jobfile.editing.values import put_key
from gainwright.jobfile.editing.wiring import insert_into_wiring, remove_from_wiring, source_path_of, wire
from gainwright.model import INSTRUMENTS, STAGES, WITH_NAMED_OUTPUTS, is_needed
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic import BaseModel

    from gainwright.jobfile.editing.scalars import Value

_FROM_PLACE = ("kind", "from", "inputs", "outputs")
"""Keys that the kind and place of a new stage determine."""


def _required(model: type[BaseModel]) -> tuple[str, ...]:
    keys = {info.alias or name: info for name, info in model.model_fields.items()}
    return tuple(key for key, info in keys.items() if is_needed(info) and key not in _FROM_PLACE)


REQUIRED = {kind: _required(model) for kind, model in (STAGES | INSTRUMENTS).items()}
"""Keys that a new stage or instrument must have, by kind; everything else is assumed until it is given."""


def add_stage(
    text: str, kind: str, new: str, place: str, *, values: Mapping[str, Value] | None = None, name: str = "job"
) -> str:
    """Return a job file's text with a stage added and wired.

    Parameters
    ----------
    place : `lead:A-B` inserts it between two stages, `output:A.x` before everything the output feeds (a speaker: in
        parallel), `input:B` or `input:B.x` joins a head unit to what comes in there.
    values : its known keys, at least those in `REQUIRED`.

    Raises
    ------
    JobError : an invalid kind, name or place, something required is missing, or the result is not a job.
    """
    draft = Draft(text, name)
    add(draft, kind, new, place, values or {})
    return draft.finished()


def add(draft: Draft, kind: str, new: str, place: str, values: Mapping[str, Value]) -> None:
    """Add a stage to a draft."""
    if kind not in STAGES:
        raise chain_error(
            say("{kind} is not a kind of stage", kind=repr(kind[:40])),
            where="stages",
            rule=say("kinds are {listed}", listed=", ".join(STAGES)),
        )
    check_name(draft, new, "stages")
    for key in REQUIRED.get(kind, ()):
        if values.get(key) in (None, "", []):
            raise chain_error(
                say("its {key} is missing", key=key.replace("_", " ")),
                where=f"stages.{new}.{key}",
                rule=say("it is on the device or in its manual"),
                remedy=say("write it, with a spread if it is uncertain: 4 V ± 10 %"),
            )
    if wired := [key for key in values if key in _FROM_PLACE]:
        raise chain_error(
            say("{wired} is determined by the kind and the place", wired=wired[0]), where=f"stages.{new}.{wired[0]}"
        )
    says: dict[str, Any] = {"kind": kind}
    if kind == "head_unit":
        feeding = _join(draft, new, place)
        says |= values
        draft.set(("stages", new), says | _sides_like(draft, feeding))
        order = [new, *[s for s in draft.plain["stages"] if s != new]]
        draft.reorder(("stages",), order)
        return
    if kind == "speaker":
        source, output, taken = at_place(draft, place)
        sides = {r.side for r in taken}
        reference = short_reference(
            draft, source, output, sides.pop() if place.startswith("lead:") and len(sides) == 1 else ""
        )
    else:
        source = at_place(draft, place)[0]
        reference = insert_into_wiring(draft, new, place)
    says |= {"inputs": {"in": reference}, "outputs": {"out": {}}} if kind == "processor" else {"from": reference}
    draft.set(("stages", new), says | dict(values), after=source)


def _join(draft: Draft, new: str, place: str) -> str:
    """Join a new source to what comes into a place; return a reference that was there before."""
    target, _, entry = place.removeprefix("input:").partition(".")
    if not place.startswith("input:") or target not in draft.plain["stages"]:
        raise chain_error(
            say("{place} is not an input", place=repr(place[:80])),
            where="stages",
            remedy=say("choose the input that the source will join"),
        )
    source_path = source_path_of(draft, target, entry)
    held = draft.at(source_path)
    if isinstance(held, dict):
        raise chain_error(
            say("{target} takes each side from a separate source", target=target),
            where=".".join(map(str, source_path)),
            remedy=say("wire the new source in the text of the file"),
        )
    before = [held] if isinstance(held, str) else list(held)
    draft.set(source_path, [*before, new])
    return str(before[0])


def _sides_like(draft: Draft, reference: str) -> dict[str, Any]:
    """Return the outputs of a new source, with the sides of those that it joins."""
    stage, output, side = split_reference(draft, reference)
    nodes = draft.before.wiring.outputs(stage)
    sides = ["mono"] if side else [node.side for node in nodes if node.output == output]
    return {} if sides == ["left", "right"] else {"outputs": {"out": {"sides": sides}}}


def remove_stage(text: str, stage: str, *, name: str = "job") -> str:
    """Return a job file's text without a stage; what it fed is fed by what fed it.

    Raises
    ------
    JobError : something would have no source or no speaker; says what.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    remove_from_wiring(draft, stage)
    draft.unset(("stages", stage))
    drop_unknown(draft)
    return finished(draft, f"without {stage}", stage)


def remove_branch(text: str, stage: str, *, name: str = "job") -> str:
    """Return a job file's text without a stage, everything that only it feeds, and everything that fed nothing else. JobError: nothing is left."""
    draft = Draft(text, name)
    check_stage(draft, stage)
    remove_dead_ends(draft, stage)
    drop_unknown(draft)
    return finished(draft, f"without {stage} and its branch", stage)


def move_stage(text: str, stage: str, place: str, *, name: str = "job") -> str:
    """Return a job file's text with a stage moved to another place; its own keys are kept.

    Raises
    ------
    JobError : it is already there, it has several inputs or outputs, or the gap can't be closed.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    kind = draft.plain["stages"][stage]["kind"]
    source, output, taken = at_place(draft, place)
    if source == stage or {r.consumer for r in taken} == {stage}:
        raise chain_error(
            say("{stage} is already there", stage=stage), where=f"stages.{stage}", remedy=say("choose another place")
        )
    if kind == "speaker":
        source_path = source_path_of(draft, stage)
        draft.set(source_path, short_reference(draft, source, output))
    else:
        source_path = _only_way(draft, stage, kind)
        remove_from_wiring(draft, stage)
        draft.set(source_path, insert_into_wiring(draft, stage, _place_again(draft, place, source, output, stage)))
    place_after_source(draft, source, stage)
    return finished(draft, f"with {stage} there", stage)


def _only_way(draft: Draft, stage: str, kind: str) -> tuple[Any, ...]:
    if kind == "head_unit":
        raise chain_error(say("{stage} is a source: nothing comes before it", stage=stage), where=f"stages.{stage}")
    if len(references_of(draft, stage)) != 1 or len(outputs_of(draft, stage)) != 1:
        raise chain_error(
            say("{stage} has several inputs or outputs and is part of several paths", stage=stage),
            where=f"stages.{stage}",
            remedy=say("rewire it and what it feeds one by one"),
        )
    return source_path_of(draft, stage)


def _place_again(draft: Draft, place: str, source: str, output: str, stage: str) -> str:
    """Return the name of a place after a stage is removed; a lead that became part of another keeps its ends."""
    if place.startswith("output:"):
        return place
    target = place.rpartition("-")[2]
    if not any(r.consumer == target for r in consumers(draft, source, output)):
        raise chain_error(
            say("{place} doesn't exist without {stage}", place=place, stage=stage),
            where=f"stages.{stage}",
            remedy=say("choose another place"),
        )
    return f"lead:{short_reference(draft, source, output)}-{target}"


def previous_place(text: str | Draft, stage: str) -> str | None:
    """Return the place one stage earlier in the signal, None when there is no unambiguous one."""
    draft = Draft(text) if isinstance(text, str) else text
    found = references_of(draft, stage)
    if len(found) != 1 or draft.plain["stages"][found[0].stage]["kind"] in WITH_NAMED_OUTPUTS:
        return None
    before = references_of(draft, found[0].stage)
    if len(before) != 1 or len(consumers(draft, found[0].stage)) != 1:
        return None
    return f"lead:{short_reference(draft, before[0].stage, before[0].output)}-{found[0].stage}"


def next_place(text: str | Draft, stage: str) -> str | None:
    """Return the place one stage later in the signal, None when there is no unambiguous one."""
    draft = Draft(text) if isinstance(text, str) else text
    found = consumers(draft, stage)
    if len(found) != 1 or draft.plain["stages"][found[0].consumer]["kind"] in ("processor", "speaker"):
        return None
    if len(references_of(draft, found[0].consumer)) != 1:
        return None
    return f"output:{found[0].consumer}.out"


def rewire(text: str, stage: str, source: Value, *, entry: str = "", name: str = "job") -> str:
    """Return a job file's text with a stage, or one input of a processor, fed from elsewhere.

    `source` is one reference, a list that is joined, or a mapping of sides or coils to references.

    Raises
    ------
    JobError : a source that doesn't exist, a circle, or an output that then reaches no speaker.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    wire(draft, stage, source, entry=entry)
    return finished(draft, f"with {stage} fed from there", stage)


def add_branch(
    text: str,
    source: str,
    amplifier: str,
    speaker: str,
    *,
    power: Value,
    output: str = "",
    takes: str = "",
    name: str = "job",
) -> str:
    """Return a job file's text with an amplifier and its speaker at an output, or at a new output of a source or processor.

    Parameters
    ----------
    source : `stage` or `stage.output`.
    output : a new output of that stage; empty for none.
    takes : the input of the processor that the new output takes from.

    Raises
    ------
    JobError : a name that is taken, no such source, or the result is not a job.
    """
    draft = Draft(text, name)
    stage = source.partition(".")[0]
    check_stage(draft, stage)
    check_name(draft, amplifier, "stages")
    check_name(draft, speaker, "stages", others={*draft.plain["stages"], amplifier})
    if output:
        new_output(draft, stage, output, takes)
        reference = f"{stage}.{output}"
    else:
        reference = short_reference(draft, *split_reference(draft, source))
    draft.set(("stages", amplifier), {"kind": "amplifier", "from": reference, "power": power})
    draft.set(("stages", speaker), {"kind": "speaker", "from": amplifier})
    return draft.finished()


def new_output(draft: Draft, stage: str, output: str, takes: str = "") -> None:
    """Add an output to a source or processor of a draft."""
    says = draft.plain["stages"][stage]
    if says["kind"] not in WITH_NAMED_OUTPUTS:
        raise chain_error(
            say("{stage} has only one output", stage=stage),
            where=f"stages.{stage}",
            rule=say("sources and processors have several"),
        )
    check_name(draft, output, "stages", others=outputs_of(draft, stage))
    path = ("stages", stage, "outputs")
    if draft.at(path) is None:
        draft.set(path, {"out": {}})
    if says["kind"] == "processor" and not takes and len(says["inputs"]) > 1 and output not in says["inputs"]:
        raise chain_error(
            say("the input of {output} is missing", output=output),
            where=f"stages.{stage}.outputs",
            remedy=say("choose one"),
        )
    for r in consumers(draft, stage):
        draft.set(r.path, f"{r.source}.{r.side}" if r.side else r.source)
    put_key(draft, (*path, output), {"from": takes} if takes else {})


def finished(draft: Draft, how: str, stage: str) -> str:
    """Return the text of a draft; an invalid chain is refused in terms of the change."""
    try:
        return draft.finished()
    except JobError as error:
        if error.code not in ("bad_wiring", "dangling_reference"):
            raise
        remedy = error.remedy
        if "reaches no speaker" in error.what and how.endswith("branch"):
            remedy = "reduce the output before it to the sides that lead on, then remove it"
        elif "reaches no speaker" in error.what:
            remedy = "remove it with its branch, or connect a stage to it first"
        raise chain_error(f"{how}, {error.what}", where=f"stages.{stage}", rule=error.rule, remedy=remedy) from None
