"""The sources of all stages as written in the file: every `from` and every input."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import JobError
from gainwright.model import WITH_NAMED_OUTPUTS
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.jobfile.editing.draft import Draft, Path


@dataclass(frozen=True, slots=True)
class Reference:
    """One source as written.

    Attributes
    ----------
    consumer : the stage that it feeds.
    path : of the reference; `source_path` is the path of its `from` or input.
    stage, output, side : what it names; the side is empty for all sides.
    """

    consumer: str
    path: Path
    source_path: Path
    stage: str
    output: str
    side: str

    @property
    def source(self) -> str:
        """The output that it names, as written."""
        return f"{self.stage}.{self.output}"


def chain_error(what: str, *, where: str = "", rule: str = "", remedy: str = "") -> JobError:
    """Return the error of an impossible change to the chain."""
    return JobError(what, code="edit_refused", where=where, rule=rule, remedy=remedy)


def outputs_of(draft: Draft, stage: str) -> list[str]:
    """Return the names of a stage's outputs; none for a speaker."""
    says = draft.plain["stages"][stage]
    if says.get("kind") == "speaker":
        return []
    if says.get("kind") in WITH_NAMED_OUTPUTS:
        return list(says.get("outputs") or {"out": {}})
    return ["out"]


def short_reference(draft: Draft, stage: str, output: str, side: str = "") -> str:
    """Return a reference as usually written: without the output where the stage has only one."""
    parts = [stage] if outputs_of(draft, stage) == [output] else [stage, output]
    return ".".join([*parts, side] if side else parts)


def called(draft: Draft, stage: str, output: str = "", side: str = "") -> str:
    """Return a stage, or an output of it, as people call it: by its name if it has one, else as it is written."""
    name = str(draft.plain["stages"][stage].get("name") or "")
    if not name:
        return short_reference(draft, stage, output, side) if output else stage
    several = output and outputs_of(draft, stage) != [output]
    return ", ".join(
        part.replace("_", " ") if part != name else part for part in (name, output if several else "", side) if part
    )


def split_reference(draft: Draft, text: str) -> tuple[str, str, str]:
    """Return stage, output and side of a reference; the side is empty for all sides."""
    stage, _, rest = text.partition(".")
    if stage not in draft.plain["stages"]:
        raise chain_error(
            say("{stage} is not a stage", stage=stage), where="stages", remedy=say("name a stage of this job")
        )
    outputs = outputs_of(draft, stage)
    first, _, second = rest.partition(".")
    if not outputs:
        raise chain_error(
            say("{stage} is a speaker and feeds nothing", stage=stage),
            where=f"stages.{stage}",
            remedy=say("name the stage before it"),
        )
    if not first:
        if len(outputs) > 1:
            raise chain_error(
                say("{stage} has several outputs", stage=stage),
                where=f"stages.{stage}",
                rule=say("they are {listed}", listed=", ".join(outputs)),
                remedy=say("name one"),
            )
        return stage, outputs[0], ""
    if first in outputs:
        return stage, first, second
    if len(outputs) == 1 and not second and first in ("left", "right", "mono"):
        return stage, outputs[0], first
    raise chain_error(
        say("{stage} has no output {first}", stage=stage, first=first),
        where=f"stages.{stage}",
        rule=say("it has {listed}", listed=", ".join(outputs)),
    )


def references(draft: Draft) -> list[Reference]:
    """Return every source of every stage, in the order of the file."""
    return [reference for stage in draft.plain["stages"] for reference in references_of(draft, stage)]


def references_of(draft: Draft, stage: str) -> list[Reference]:
    """Return every source of a stage."""
    found = []
    for source_path in source_paths_of(draft, stage):
        for path, text in _leaves(source_path, draft.at(source_path)):
            found.append(Reference(stage, path, source_path, *split_reference(draft, text)))
    return found


def source_paths_of(draft: Draft, stage: str) -> list[Path]:
    """Return the paths of the sources of a stage."""
    says = draft.plain["stages"][stage]
    if says.get("kind") == "processor":
        return [("stages", stage, "inputs", name) for name in says.get("inputs", {})]
    return [("stages", stage, "from")] if "from" in says else []


def _leaves(path: Path, source: Any) -> Iterator[tuple[Path, str]]:
    if isinstance(source, str):
        yield path, source
    elif isinstance(source, list):
        for i, item in enumerate(source):
            yield (*path, i), str(item)
    elif isinstance(source, dict):
        for key, item in source.items():
            yield (*path, str(key)), str(item)


def consumers(draft: Draft, stage: str, output: str = "") -> list[Reference]:
    """Return what a stage, or one of its outputs, feeds."""
    return [r for r in references(draft) if r.stage == stage and output in ("", r.output)]


def output_sources(draft: Draft, stage: str, output: str) -> list[str]:
    """Return the inputs of a processor that one of its outputs takes, as written or implied."""
    says = draft.plain["stages"][stage]
    source = (says["outputs"][output] or {}).get("from")
    if source is None:
        return [output] if output in says["inputs"] else [next(iter(says["inputs"]))]
    return [source] if isinstance(source, str) else [str(item) for item in source]


def place_after_source(draft: Draft, source: str, stage: str) -> None:
    """Move a stage's entry right after the stage that feeds it, unless what it feeds comes before."""
    order = list(draft.plain["stages"])
    order.remove(stage)
    order.insert(order.index(source) + 1, stage)
    if order != list(draft.plain["stages"]):
        draft.reorder(("stages",), order)
