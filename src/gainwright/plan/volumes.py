"""The steps that put volumes to where they start, and those of digital links, where there is nothing to read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile import volume_steps
from gainwright.model import HeadUnit, link_of, volume_of
from gainwright.plan.result import Step
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.model import LeadRun
    from gainwright.plan.context import PlanContext


def digital_link(context: PlanContext, run: LeadRun) -> Step:
    """Return the step that looks after a digital link: it works or not, there is no level and no resistance to read."""
    link = link_of(context.job, context.chain.wiring.leads[run][0][0])
    words = {
        "source": run.source_stage if run.source_output == "out" else f"{run.source_stage}.{run.source_output}",
        "target": run.target,
    }
    do = (
        say("Check that {target} is paired with {source} and shows its input as present.", **words)
        if link == "wireless"
        else say(
            "Check the {link} lead from {source} to {target}: plugged in until it clicks or seats at both ends, not kinked. Later, with the system on, {target} shows its input as present.",
            link=say("USB") if link == "usb" else say(link),
            **words,
        )
    )
    return Step(
        f"lead.{str(run).removeprefix('lead:')}",
        "controls" if link == "wireless" else "leads",
        run.target,
        do,
        say("A digital link passes everything or nothing: there are no volts and no resistance to read."),
    )


def volume(context: PlanContext, name: str) -> Step:
    """Return the step that puts a volume to where it starts."""
    stage = context.job.stages[name]
    levelled = isinstance(stage, HeadUnit) and stage.levelling in ("on", "unknown")
    level_off = {f"{name}.levelling": "off"} if levelled else {}
    if name in context.level_setters:
        sets = {f"{name}.volume": "1", **level_off}
        do = (
            say(
                "Turn the volume of {name} to its lowest step; balance and fader to the middle, loudness and automatic level off.",
                name=name,
            )
            if isinstance(stage, HeadUnit)
            else say("Turn the master volume of {name} to its lowest step.", name=name)
        )
        why = say("So that nothing starts loud, and nothing changes the tone's level by itself.")
        note = (
            say("lowest step; balance and fader in the middle, loudness and automatic level off")
            if isinstance(stage, HeadUnit)
            else say("lowest step")
        )
        return Step(f"control.{name}.volume", "controls", name, do, why, sets=sets, note=note)
    at = f"{context.opened.settings[f'{name}.volume']:g}"
    top = at == f"{volume_steps(volume_of(stage))}"
    do = say(
        "Set the volume of {name} to step {at}{top} and leave it there; its volume levelling, equaliser and every automatic level off.",
        name=name,
        at=at,
        top=say(", its highest,") if top else "",
    )
    why = say("The level is set by the master volume of {setters} after it.", setters=_setters_after(context, name))
    note = say("step {at}; volume levelling, equaliser and every automatic level off", at=at)
    return Step(
        f"control.{name}.volume", "controls", name, do, why, sets={f"{name}.volume": at, **level_off}, note=note
    )


def _setters_after(context: PlanContext, name: str) -> str:
    upstream = context.chain.wiring.upstream
    found = [s for s in sorted(context.level_setters) if any(node.stage == name for node in upstream(s))]
    return joined(found, by="{a} and {b}")
