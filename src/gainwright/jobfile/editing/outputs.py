"""Outputs and inputs of sources and processors, and instruments: added and taken out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.mentions import drop_unknown
from gainwright.jobfile.editing.references import consumers, output_sources, outputs_of, refused
from gainwright.jobfile.editing.renaming import check_name, check_stage
from gainwright.jobfile.editing.stages import finished, new_output
from gainwright.jobfile.editing.values import put, take_out
from gainwright.model import INSTRUMENTS, WITH_NAMED_OUTPUTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.jobfile.editing.scalars import Value


def add_output(
    text: str, stage: str, output: str, feeding: Sequence[str], *, takes: str = "", name: str = "job"
) -> str:
    """Return a job file's text with another output of a source or processor.

    Parameters
    ----------
    feeding : stages that take from this stage now and shall take from the new output.
    takes : the input of the processor that it takes from.

    Raises
    ------
    JobError : the name is taken, a stage isn't fed from here, or an output is left that feeds nothing.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    if not feeding:
        raise refused(
            f"{output} would feed nothing",
            where=f"stages.{stage}.outputs",
            rule="every output leads to a speaker in the end",
            remedy="choose what it feeds, or add it with an amplifier and a speaker",
        )
    new_output(draft, stage, output, takes)
    _feed(draft, stage, output, feeding)
    return finished(draft, f"with {output} feeding {', '.join(feeding)}", stage)


def _feed(draft: Draft, stage: str, output: str, feeding: Sequence[str]) -> None:
    taken = consumers(draft, stage)
    for consumer in feeding:
        mine = [r for r in taken if r.consumer == consumer]
        if not mine:
            raise refused(
                f"{consumer} takes nothing from {stage}", where=f"stages.{consumer}", remedy="wire it there instead"
            )
        for r in mine:
            draft.set(r.path, f"{stage}.{output}" + (f".{r.side}" if r.side else ""))


def remove_output(text: str, stage: str, output: str, *, to: str = "", name: str = "job") -> str:
    """Return a job file's text without an output; what it fed takes from another output of the stage.

    Raises
    ------
    JobError : it is the only one, what it feeds would have no source, or the result is no job.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    outputs = outputs_of(draft, stage)
    if output not in outputs or draft.plain["stages"][stage]["kind"] not in WITH_NAMED_OUTPUTS:
        raise refused(f"{stage} has no output {output} of its own", where=f"stages.{stage}")
    if len(outputs) == 1:
        raise refused(
            f"{output} is the only output of {stage}", where=f"stages.{stage}.outputs", remedy="take the stage out"
        )
    fed = sorted({r.consumer for r in consumers(draft, stage, output)})
    if fed and (to not in outputs or to == output):
        raise refused(
            f"{' and '.join(fed)} would have no source",
            where=f"stages.{stage}.outputs.{output}",
            rule=f"other outputs are {', '.join(o for o in outputs if o != output)}",
            remedy="say which of them shall feed it",
        )
    for r in consumers(draft, stage, output):
        draft.set(r.path, f"{stage}.{to}" + (f".{r.side}" if r.side else ""))
    take_out(draft, ("stages", stage, "outputs", output))
    drop_unknown(draft)
    return finished(draft, f"without the output {output}", stage)


def add_input(text: str, stage: str, entry: str, source: Value, *, name: str = "job") -> str:
    """Return a job file's text with another input of a processor, which no output takes yet. JobError: it can't be."""
    draft = Draft(text, name)
    says = _processor(draft, stage)
    check_name(draft, entry, "stages", others=says["inputs"])
    for output in outputs_of(draft, stage):
        path = ("stages", stage, "outputs", output)
        if "from" not in (draft.at(path) or {}):
            draft.set((*path, "from"), output_sources(draft, stage, output)[0])
    put(draft, ("stages", stage, "inputs", entry), source)
    return finished(draft, f"with the input {entry}", stage)


def remove_input(text: str, stage: str, entry: str, *, name: str = "job") -> str:
    """Return a job file's text without an input of a processor. JobError: it is the only one of an output."""
    draft = Draft(text, name)
    says = _processor(draft, stage)
    if entry not in says["inputs"] or len(says["inputs"]) == 1:
        raise refused(f"{stage} has no other input than {entry}", where=f"stages.{stage}.inputs")
    for output in outputs_of(draft, stage):
        sources = output_sources(draft, stage, output)
        left = [s for s in sources if s.partition(".")[0] != entry]
        path = ("stages", stage, "outputs", output)
        if not left:
            raise refused(
                f"the output {output} takes only from {entry}",
                where=".".join(path),
                remedy="let it take from another input first, or take it out",
            )
        if left != sources:
            draft.set((*path, "from"), left if len(left) > 1 else left[0])
    take_out(draft, ("stages", stage, "inputs", entry))
    return finished(draft, f"without the input {entry}", stage)


def _processor(draft: Draft, stage: str) -> Any:
    check_stage(draft, stage)
    says = draft.plain["stages"][stage]
    if says["kind"] != "processor":
        raise refused(f"{stage} has no inputs with names", where=f"stages.{stage}", rule="processors have")
    return says


def add_instrument(
    text: str, kind: str, instrument: str, *, values: Mapping[str, Value] | None = None, name: str = "job"
) -> str:
    """Return a job file's text with an instrument added. JobError: the kind or name can't be, or something is missing."""
    draft = Draft(text, name)
    if kind not in INSTRUMENTS:
        raise refused(f"{kind[:40]!r} is no kind", where="instruments", rule=f"kinds are {', '.join(INSTRUMENTS)}")
    check_name(draft, instrument, "instruments")
    put(draft, ("instruments", instrument), {"kind": kind, **(values or {})})
    return draft.finished()


def remove_instrument(text: str, instrument: str, *, name: str = "job") -> str:
    """Return a job file's text without an instrument. JobError: there is none of that name."""
    draft = Draft(text, name)
    if instrument not in (draft.plain.get("instruments") or {}):
        raise refused(f"there is no instrument {instrument[:60]}", where="instruments")
    take_out(draft, ("instruments", instrument))
    return draft.finished()
