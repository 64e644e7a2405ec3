"""Remove a stage with everything that only it feeds, and everything that then leads nowhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile.editing.references import (
    Reference,
    chain_error,
    consumers,
    output_sources,
    outputs_of,
    references,
    references_of,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.jobfile.editing.draft import Draft


def remove_dead_ends(draft: Draft, stage: str) -> None:
    """Remove a stage from a draft with everything that depends on it alone, forwards and backwards."""
    _forwards(draft, stage)
    while _one_dead_end(draft):
        pass
    if not any(s["kind"] == "speaker" for s in draft.plain["stages"].values()):
        raise _nothing_left(stage)


def _forwards(draft: Draft, stage: str) -> None:
    """Remove a stage, and whatever has no other source."""
    for r in reversed(consumers(draft, stage)):
        if r.consumer not in draft.plain["stages"] or draft.at(r.path) is None:
            continue
        _cut(draft, r)
    if stage in draft.plain["stages"]:
        _drop(draft, stage)


def _cut(draft: Draft, r: Reference) -> None:
    """Remove one reference; a consumer without another source is removed too."""
    if r.path != r.source_path and len(draft.at(r.source_path)) > 1:
        draft.unset(r.path)
        return
    if r.source_path[2] == "inputs" and len(draft.at(r.source_path[:-1])) > 1:
        _remove_input(draft, r.consumer, str(r.source_path[3]))
    else:
        _forwards(draft, r.consumer)


def _remove_input(draft: Draft, stage: str, name: str) -> None:
    """Remove an input of a processor, and the outputs that have no other input."""
    for output in outputs_of(draft, stage):
        sources = output_sources(draft, stage, output)
        left = [s for s in sources if s.partition(".")[0] != name]
        path = ("stages", stage, "outputs", output)
        if left == sources:
            if "from" not in (draft.at(path) or {}):
                draft.set((*path, "from"), left[0])
        elif left:
            draft.set((*path, "from"), left)
        else:
            for r in reversed(consumers(draft, stage, output)):
                if draft.at(r.path) is not None:
                    _cut(draft, r)
            if len(outputs_of(draft, stage)) == 1:
                _drop(draft, stage)
                return
            draft.unset(path)
    if stage in draft.plain["stages"]:
        draft.unset(("stages", stage, "inputs", name))


def _one_dead_end(draft: Draft) -> bool:
    """Remove one thing that leads to no speaker; return whether there was one."""
    taken = {(r.stage, r.output) for r in references(draft)}
    for stage, says in list(draft.plain["stages"].items()):
        outputs = outputs_of(draft, stage)
        dead = [output for output in outputs if (stage, output) not in taken]
        if says["kind"] == "speaker" or (not dead and says["kind"] != "processor"):
            continue
        if len(dead) == len(outputs):
            _drop(draft, stage)
            return True
        if dead:
            draft.unset(("stages", stage, "outputs", dead[0]))
            return True
        used = {s.partition(".")[0] for output in outputs for s in output_sources(draft, stage, output)}
        for name in says["inputs"]:
            if name not in used and not all(
                len(consumers(draft, r.stage, r.output)) > 1
                for r in references_of(draft, stage)
                if r.source_path[3] == name
            ):
                _remove_input(draft, stage, name)
                return True
    return False


def _drop(draft: Draft, stage: str) -> None:
    if len(draft.plain["stages"]) == 1:
        raise _nothing_left(stage)
    draft.unset(("stages", stage))


def _nothing_left(stage: str) -> Exception:
    return chain_error(
        say("without {stage} and its branch no speaker is left", stage=stage),
        where=f"stages.{stage}",
        rule=say("a chain must end at speakers"),
        remedy=say("add another branch first, or delete the job"),
    )
