"""Add and remove outputs and inputs of sources and processors, and instruments."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.mentions import drop_unknown
from gainwright.jobfile.editing.references import chain_error, consumers, output_sources, outputs_of
from gainwright.jobfile.editing.renaming import check_name, check_stage
from gainwright.jobfile.editing.stages import finished, new_output
from gainwright.jobfile.editing.values import put_key, remove_key
from gainwright.model import INSTRUMENTS, WITH_NAMED_OUTPUTS
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.jobfile.editing.scalars import Value


def add_output(
    text: str, stage: str, output: str, feeding: Sequence[str], *, takes: str = "", name: str = "job"
) -> str:
    """Return a job file's text with another output of a source or processor.

    Parameters
    ----------
    feeding : stages fed by this stage that the new output will feed.
    takes : the input of the processor that it takes from.

    Raises
    ------
    JobError : the name is taken, a stage isn't fed from here, or an output is left that feeds nothing.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    if not feeding:
        raise chain_error(
            say("{output} would feed nothing", output=output),
            where=f"stages.{stage}.outputs",
            rule=say("every output must lead to a speaker"),
            remedy=say("choose what it feeds, or add it with an amplifier and a speaker"),
        )
    new_output(draft, stage, output, takes)
    _feed(draft, stage, output, feeding)
    return finished(draft, f"with {output} feeding {', '.join(feeding)}", stage)


def _feed(draft: Draft, stage: str, output: str, feeding: Sequence[str]) -> None:
    taken = consumers(draft, stage)
    for consumer in feeding:
        mine = [r for r in taken if r.consumer == consumer]
        if not mine:
            raise chain_error(
                say("{consumer} is not fed by {stage}", consumer=consumer, stage=stage),
                where=f"stages.{consumer}",
                remedy=say("wire it there instead"),
            )
        for r in mine:
            draft.set(r.path, f"{stage}.{output}" + (f".{r.side}" if r.side else ""))


def remove_output(text: str, stage: str, output: str, *, to: str = "", name: str = "job") -> str:
    """Return a job file's text without an output; what it fed is fed by another output of the stage.

    Raises
    ------
    JobError : it is the only one, what it feeds would have no source, or the result is no job.
    """
    draft = Draft(text, name)
    check_stage(draft, stage)
    outputs = outputs_of(draft, stage)
    if output not in outputs or draft.plain["stages"][stage]["kind"] not in WITH_NAMED_OUTPUTS:
        raise chain_error(
            say("{stage} has no output {output} of its own", stage=stage, output=output), where=f"stages.{stage}"
        )
    if len(outputs) == 1:
        raise chain_error(
            say("{output} is the only output of {stage}", output=output, stage=stage),
            where=f"stages.{stage}.outputs",
            remedy=say("remove the stage"),
        )
    fed = sorted({r.consumer for r in consumers(draft, stage, output)})
    if fed and (to not in outputs or to == output):
        raise chain_error(
            say("{listed} would have no source", listed=" and ".join(fed)),
            where=f"stages.{stage}.outputs.{output}",
            rule=say("other outputs are {listed}", listed=", ".join(o for o in outputs if o != output)),
            remedy=say("choose which of them will feed it"),
        )
    for r in consumers(draft, stage, output):
        draft.set(r.path, f"{stage}.{to}" + (f".{r.side}" if r.side else ""))
    remove_key(draft, ("stages", stage, "outputs", output))
    drop_unknown(draft)
    return finished(draft, f"without the output {output}", stage)


def add_input(text: str, stage: str, entry: str, source: Value, *, name: str = "job") -> str:
    """Return a job file's text with another input of a processor, not yet used by any output. JobError: impossible."""
    draft = Draft(text, name)
    says = _processor(draft, stage)
    check_name(draft, entry, "stages", others=says["inputs"])
    for output in outputs_of(draft, stage):
        path = ("stages", stage, "outputs", output)
        if "from" not in (draft.at(path) or {}):
            draft.set((*path, "from"), output_sources(draft, stage, output)[0])
    put_key(draft, ("stages", stage, "inputs", entry), source)
    return finished(draft, f"with the input {entry}", stage)


def remove_input(text: str, stage: str, entry: str, *, name: str = "job") -> str:
    """Return a job file's text without an input of a processor. JobError: it is the only one of an output."""
    draft = Draft(text, name)
    says = _processor(draft, stage)
    if entry not in says["inputs"] or len(says["inputs"]) == 1:
        raise chain_error(
            say("{stage} has no input but {entry}", stage=stage, entry=entry), where=f"stages.{stage}.inputs"
        )
    for output in outputs_of(draft, stage):
        sources = output_sources(draft, stage, output)
        left = [s for s in sources if s.partition(".")[0] != entry]
        path = ("stages", stage, "outputs", output)
        if not left:
            raise chain_error(
                say("the output {output} takes only from {entry}", output=output, entry=entry),
                where=".".join(path),
                remedy=say("give it another input first, or remove it"),
            )
        if left != sources:
            draft.set((*path, "from"), left if len(left) > 1 else left[0])
    remove_key(draft, ("stages", stage, "inputs", entry))
    return finished(draft, f"without the input {entry}", stage)


def _processor(draft: Draft, stage: str) -> Any:
    check_stage(draft, stage)
    says = draft.plain["stages"][stage]
    if says["kind"] != "processor":
        raise chain_error(
            say("{stage} has no named inputs", stage=stage),
            where=f"stages.{stage}",
            rule=say("only processors have them"),
        )
    return says


def add_instrument(
    text: str, kind: str, instrument: str, *, values: Mapping[str, Value] | None = None, name: str = "job"
) -> str:
    """Return a job file's text with an instrument added. JobError: an invalid kind or name, or something is missing."""
    draft = Draft(text, name)
    if kind not in INSTRUMENTS:
        raise chain_error(
            say("{kind} is not a kind of instrument", kind=repr(kind[:40])),
            where="instruments",
            rule=say("kinds are {listed}", listed=", ".join(INSTRUMENTS)),
        )
    check_name(draft, instrument, "instruments")
    put_key(draft, ("instruments", instrument), {"kind": kind, **(values or {})})
    return draft.finished()


def remove_instrument(text: str, instrument: str, *, name: str = "job") -> str:
    """Return a job file's text without an instrument. JobError: there is none of that name."""
    draft = Draft(text, name)
    if instrument not in (draft.plain.get("instruments") or {}):
        raise chain_error(say("there is no instrument {instrument}", instrument=instrument[:60]), where="instruments")
    remove_key(draft, ("instruments", instrument))
    return draft.finished()
