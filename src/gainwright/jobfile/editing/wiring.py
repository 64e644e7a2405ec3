"""Insert a stage into the wiring or remove one, and reconnect the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.jobfile.editing.places import at_place
from gainwright.jobfile.editing.references import (
    Reference,
    chain_error,
    consumers,
    output_sources,
    short_reference,
    source_paths_of,
    split_reference,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.jobfile.editing.draft import Draft, Path


def insert_into_wiring(draft: Draft, stage: str, place: str) -> str:
    """Insert a stage at a place; return the reference that feeds it. It then feeds what came after the place."""
    source, output, taken = at_place(draft, place)
    if not taken:
        raise chain_error(
            say("{source}.{output} feeds nothing", source=source, output=output), where=f"stages.{source}"
        )
    sides = {r.side for r in taken}
    one_side = len(sides) == 1 and sides != {""}
    texts = {str(draft.at(r.path)) for r in taken}
    for r in taken:
        draft.set(r.path, stage if one_side or not r.side else f"{stage}.{r.side}")
    if len(texts) == 1:
        return texts.pop()
    return short_reference(draft, source, output)


def remove_from_wiring(draft: Draft, stage: str) -> None:
    """Feed everything that a stage feeds from what feeds the stage. JobError: it isn't possible for all sides."""
    kind = draft.plain["stages"][stage]["kind"]
    for r in reversed(consumers(draft, stage)):
        if kind == "head_unit":
            _without(draft, r, stage)
        else:
            _rejoin(draft, r, _behind(draft, stage, r))


def _behind(draft: Draft, stage: str, taken: Reference) -> Any:
    """Return what feeds the referenced output of a stage, as a source."""
    says = draft.plain["stages"][stage]
    if says["kind"] != "processor":
        return says["from"]
    inputs = output_sources(draft, stage, taken.output)
    if len(inputs) == 1:
        name, _, side = inputs[0].partition(".")
        source = says["inputs"][name]
        return _of_side(draft, source, side, stage) if side else source
    found: list[str] = []
    for name in inputs:
        source = says["inputs"].get(name)
        if isinstance(source, dict) or source is None:
            raise _unlike(stage, taken.consumer)
        found += [source] if isinstance(source, str) else source
    return found


def _rejoin(draft: Draft, r: Reference, source: Any) -> None:
    if r.side:
        source = _of_side(draft, source, r.side, r.consumer)
    if r.path == r.source_path or isinstance(source, str):
        draft.set(r.path, source)
        return
    held = draft.at(r.path[:-1])
    if isinstance(source, list) and isinstance(held, list):
        i = int(r.path[-1])
        draft.set(r.path[:-1], [*held[:i], *source, *held[i + 1 :]])
        return
    raise _unlike(r.stage, r.consumer)


def _of_side(draft: Draft, source: Any, side: str, stage: str) -> Any:
    """Return one side of a source."""
    if isinstance(source, dict):
        if side not in source:
            raise chain_error(
                say("{stage} takes the side {side}, which would have no source", stage=stage, side=side),
                where=f"stages.{stage}",
            )
        return source[side]
    if isinstance(source, list):
        return [_of_side(draft, item, side, stage) for item in source]
    feeding, output, own = split_reference(draft, source)
    return source if own else short_reference(draft, feeding, output, side)


def _without(draft: Draft, r: Reference, stage: str) -> None:
    """Remove one source from a list of several."""
    held = draft.at(r.path[:-1])
    if r.path == r.source_path or not isinstance(held, list) or len(held) < 2:
        raise chain_error(
            say("{consumer} takes its signal from {stage} and would have none", consumer=r.consumer, stage=stage),
            where=".".join(map(str, r.source_path)),
            remedy=say("wire {consumer} to another source first, or remove it with its branch", consumer=r.consumer),
        )
    draft.unset(r.path)


def _unlike(stage: str, consumer: str) -> Exception:
    return chain_error(
        say(
            "{consumer} can't simply take what feeds {stage}: it has several sources, one for each side",
            consumer=consumer,
            stage=stage,
        ),
        where=f"stages.{stage}",
        remedy=say("wire {consumer} to its new source first", consumer=consumer),
    )


def wire(draft: Draft, stage: str, source: Any, *, entry: str = "") -> None:
    """Connect a stage, or one input of a processor, to a source as written in the file."""
    source_path = source_path_of(draft, stage, entry)
    leaves = [source] if isinstance(source, str) else list(source.values() if isinstance(source, dict) else source)
    for reference in leaves:
        if split_reference(draft, str(reference))[0] == stage:
            raise chain_error(say("{stage} can't feed itself", stage=stage), where=".".join(map(str, source_path)))
    draft.set(source_path, source)


def source_path_of(draft: Draft, stage: str, entry: str = "") -> Path:
    """Return the path of the source of a stage, or of one of its inputs."""
    if draft.plain["stages"][stage]["kind"] == "head_unit":
        raise chain_error(say("{stage} is a source: nothing feeds it", stage=stage), where=f"stages.{stage}")
    found = source_paths_of(draft, stage)
    if draft.plain["stages"][stage]["kind"] != "processor":
        return found[0]
    mine = [path for path in found if path[-1] == entry] if entry else found
    if len(mine) != 1:
        raise chain_error(
            say("{stage} has no input {entry}", stage=stage, entry=entry)
            if entry
            else say("{stage} has several inputs", stage=stage),
            where=f"stages.{stage}.inputs",
            rule=say("they are {listed}", listed=", ".join(str(path[-1]) for path in found)),
            remedy=say("name one"),
        )
    return mine[0]
