"""Rename a stage, an output, an input or an instrument, with everything that refers to it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.mentions import paths_through, rename_fed, update_mentions
from gainwright.jobfile.editing.references import chain_error, output_sources, outputs_of, references
from gainwright.model import WITH_NAMED_OUTPUTS
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Collection

    from gainwright.jobfile.editing.draft import Path

_NAME = re.compile(r"\w{1,40}")


def check_name(draft: Draft, name: str, section: str, *, others: Collection[str] = ()) -> None:
    """Refuse a name that is invalid or already taken."""
    where = f"{section}.{name}"
    if not _NAME.fullmatch(name):
        raise chain_error(
            say("{name} is not a valid name", name=repr(name[:60])),
            where=section,
            rule=say("a name has letters, digits and _, at most 40"),
            remedy=say("write amp_sub"),
        )
    if name in (others or draft.plain.get(section) or {}):
        raise chain_error(say("{name} is already taken", name=name), where=where, remedy=say("choose another name"))


def rename_stage(text: str, old: str, new: str, *, name: str = "job") -> str:
    """Return a job file's text with a stage renamed everywhere. JobError: impossible."""
    draft = Draft(text, name)
    check_stage(draft, old)
    check_name(draft, new, "stages")
    wiring = draft.before.wiring
    renamed = [(r.path, new + str(draft.at(r.path))[len(old) :]) for r in references(draft) if r.stage == old]
    for path, reference in renamed:
        draft.set(path, reference)
    for partner, says in draft.plain["stages"].items():
        if says.get("strapped_to") == old:
            draft.set(("stages", partner, "strapped_to"), new)
    prefixes = [(f"{old}.{output}", f"{new}.{output}") for output in outputs_of(draft, old)]
    draft.rename(("stages", old), new)
    rename_fed(draft, old, new)
    update_mentions(draft, old, new, prefixes=prefixes, paths=paths_through(wiring, old))
    if old in (draft.plain.get("access") or {}):
        draft.rename(("access", old), new)
    return draft.finished()


def rename_output(text: str, stage: str, old: str, new: str, *, name: str = "job") -> str:
    """Return a job file's text with an output renamed everywhere. JobError: impossible."""
    draft = Draft(text, name)
    check_stage(draft, stage)
    path: Path = ("stages", stage, "outputs")
    if old not in outputs_of(draft, stage):
        raise chain_error(say("{stage} has no output {old}", stage=stage, old=old), where=f"stages.{stage}")
    if draft.plain["stages"][stage]["kind"] not in WITH_NAMED_OUTPUTS:
        raise chain_error(say("the one output of {stage} has no name of its own", stage=stage), where=f"stages.{stage}")
    check_name(draft, new, "stages", others=outputs_of(draft, stage))
    wiring = draft.before.wiring
    if draft.at(path) is None:
        draft.set(path, {"out": {}})
    says = draft.plain["stages"][stage]
    if says["kind"] == "processor" and "from" not in (says["outputs"][old] or {}) and len(says["inputs"]) > 1:
        draft.set((*path, old, "from"), output_sources(draft, stage, old)[0])
    renamed = [
        (r.path, f"{stage}.{new}" + (f".{r.side}" if r.side else ""))
        for r in references(draft)
        if (r.stage, r.output) == (stage, old) and str(draft.at(r.path)).startswith(f"{stage}.{old}")
    ]
    draft.rename((*path, old), new)
    for leaf, reference in renamed:
        draft.set(leaf, reference)
    update_mentions(
        draft, old, new, prefixes=[(f"{stage}.{old}", f"{stage}.{new}")], paths=paths_through(wiring, stage, old)
    )
    return draft.finished()


def rename_input(text: str, stage: str, old: str, new: str, *, name: str = "job") -> str:
    """Return a job file's text with an input of a processor renamed. JobError: impossible."""
    draft = Draft(text, name)
    check_stage(draft, stage)
    says = draft.plain["stages"][stage]
    if old not in says.get("inputs", {}):
        raise chain_error(say("{stage} has no input {old}", stage=stage, old=old), where=f"stages.{stage}")
    check_name(draft, new, "stages", others=says["inputs"])
    for output in list(says["outputs"]):
        sources = output_sources(draft, stage, output)
        changed = [new + s[len(old) :] if s.partition(".")[0] == old else s for s in sources]
        written = (says["outputs"][output] or {}).get("from")
        if changed != sources and (written is not None or len(says["inputs"]) > 1):
            draft.set(
                ("stages", stage, "outputs", output, "from"), changed if isinstance(written, list) else changed[0]
            )
    draft.rename(("stages", stage, "inputs", old), new)
    return draft.finished()


def rename_instrument(text: str, old: str, new: str, *, name: str = "job") -> str:
    """Return a job file's text with an instrument renamed. JobError: impossible."""
    draft = Draft(text, name)
    if old not in (draft.plain.get("instruments") or {}):
        raise chain_error(say("there is no instrument {old}", old=old), where="instruments")
    check_name(draft, new, "instruments")
    draft.rename(("instruments", old), new)
    return draft.finished()


def check_stage(draft: Draft, stage: str) -> None:
    """Refuse a stage that doesn't exist."""
    if stage not in draft.plain["stages"]:
        raise chain_error(
            say("there is no stage {stage}", stage=stage), where="stages", remedy=say("name a stage of this job")
        )
