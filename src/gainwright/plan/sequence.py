"""The order of the steps by power: what is switched on at each, who is connected, where the volume stands.

Steps say what they need; here they are put in an order in which plugs move with everything off, and every change of the
power becomes a step of its own. A blocked plan ends before the first step that needs power.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.model import HeadUnit, Processor, control_words, gives_power, place_words
from gainwright.plan.capability import watching
from gainwright.plan.cautions import step_cautions
from gainwright.plan.result import Step
from gainwright.plan.tone_files import tone_files
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from gainwright.model import Instrument
    from gainwright.plan.context import PlanContext
    from gainwright.plan.result import System, Volume

OFF_LOAD_S = 60.0
"""How long a full-level tone may play with the speakers off, and into a speaker (common practice, no published source)."""
_VOLUME: dict[str, Volume] = {
    "controls": "lowest",
    "source": "rising",
    "processor": "clean_limit",
    "amplifier": "clean_limit",
    "restore": "clean_limit",
    "verify": "clean_limit",
}


def in_order(context: PlanContext, steps: Sequence[Step], *, blocked: bool) -> tuple[Step, ...]:
    """Return the steps in a safe order with the changes of power between them, each complete with its state and cautions.

    Parameters
    ----------
    blocked : whether the plan ends before the first step that needs power.
    """
    wanted = [replace(s, system=_needed(context, s)) for s in (*_taps(context, steps), *steps)]
    order = {phase: i for i, phase in enumerate(("prepare", "leads", *_VOLUME))}
    wanted.sort(key=lambda s: (order[s.phase], s.phase == "controls" and ("off", "on", "running").index(s.system)))
    found = list(_with_changes(context, wanted))
    if blocked:
        found = found[: next((i for i, s in enumerate(found) if s.system != "off"), len(found))]
    files = tone_files(found)
    complete = [_complete(context, s, files) for s in _connected(context, found)]
    return tuple(_on_load(s, complete, files) if s.id == "verify.supply" else s for s in complete)


def _needed(context: PlanContext, step: Step) -> System:
    """Return the power that a step needs: hands at plugs want it off, screens want it on, readings want it running."""
    if step.expect is not None and step.expect.quantity == "supply_v":
        return "running"
    if step.phase in ("prepare", "leads") or step.id == "verify.speakers":
        return "off"
    if step.phase == "controls":
        return (
            "on"
            if step.id.startswith("lead.") or isinstance(context.job.stages.get(step.stage), HeadUnit | Processor)
            else "off"
        )
    return "running"


def _taps(context: PlanContext, steps: Iterable[Step]) -> Iterator[Step]:
    """Yield a step for each line-level plug that is measured at later: it is tapped while everything is off."""
    places = dict.fromkeys(s.measure_at for s in steps if s.tone_hz is not None and s.measure_at)
    for place in places:
        stage = place.split(".")[0]
        if stage in context.job.stages and not gives_power(context.job.stages[stage]):
            yield Step(
                f"tap.{place}",
                "leads",
                stage,
                say(
                    "Put a T-piece into the lead at the {place}: later it is measured there with the lead connected.",
                    place=place_words(context.job, place),
                ),
                say("So no plug has to be moved while the system is on."),
                measure_at=place,
            )


def _with_changes(context: PlanContext, steps: Iterable[Step]) -> Iterator[Step]:
    """Yield the steps, and before each that needs another state of the power the steps that change it."""
    stands: System = "off"
    been_on = False
    for step in steps:
        if step.system != stands:
            for change in _changes(context, stands, step.system, been_on=been_on):
                yield replace(change, phase=step.phase)
        stands, been_on = step.system, been_on or step.system != "off"
        yield step
    if stands != "off":
        yield _end()


def _changes(context: PlanContext, before: System, after: System, *, been_on: bool) -> list[Step]:
    heads = joined(sorted(context.level_setters), by="{a} and {b}")
    if after == "off":
        return [_off(heads)]
    if been_on and before == "off":
        return [_again(heads)]
    return [_on()] if after == "on" else [_running(context)] if before == "on" else [_on(), _running(context)]


def _off(heads: str) -> Step:
    do = say(
        "Stop the tone, turn the volume of {heads} to its lowest step, and switch everything off: system, engine, charger.",
        heads=heads,
    )
    return Step("power.off", "verify", "", do, say("Plugs and bare wires are moved with everything off."), system="off")


def _on() -> Step:
    do = say(
        "Look once more: every lead plugged in again, supply wiring complete, the right fuse in, bare ends covered. If a charger is used, put its clamps on now. Then switch the system on, engine off."
    )
    why = say("The next steps need the screens; the first of them turns the volume down.")
    return Step("power.on", "controls", "", do, why, system="on")


def _running(context: PlanContext) -> Step:
    do = say("Start the engine and let it idle, or switch the charger on.")
    loud = [n for n, s in context.job.stages.items() if isinstance(s, HeadUnit) and s.factory.noise_cancelling == "yes"]
    if loud:
        do = say(
            "Switch the charger on; without one start the engine and let it idle, and count on what {head} plays against its noise.",
            head=joined(loud, by="{a} and {b}"),
        )
    why = say("A ceiling follows its supply: set it at the voltage at which it will play.")
    return Step("power.running", "controls", "", do, why, system="running")


def _again(heads: str) -> Step:
    do = say(
        "Start the engine or switch the charger on, then the system; no tone, and the volume of {heads} at its lowest step.",
        heads=heads,
    )
    return Step("power.again", "verify", "", do, say("So it is heard and read as it will be used."), system="running")


def _end() -> Step:
    do = say(
        "Switch everything off, and take off what was put on for the work: charger, T-pieces, covers of bare ends."
    )
    why = say("A charger's clamps come off with everything off.")
    return Step("power.end", "verify", "", do, why, system="off")


def _connected(context: PlanContext, steps: Iterable[Step]) -> Iterator[Step]:
    """Yield the steps with the speakers that are disconnected: all, from the step that takes them off to the one that brings them back."""
    off: tuple[str, ...] = ()
    for step in steps:
        if step.id == "prepare.speakers":
            off = tuple(sorted(context.speakers))
        elif step.id == "verify.speakers":
            off = ()
        yield replace(step, speakers_off=off)


def _complete(context: PlanContext, step: Step, files: dict[tuple[float, float], str]) -> Step:
    """Return a step with its volume, its file, its longest time, its place in words and its cautions."""
    played = step.tone_hz is not None and step.level_dbfs is not None
    volume: Volume = "" if step.system == "off" else _VOLUME.get(step.phase, "")
    if step.id in ("verify.sound", "verify.polarity", "prepare.supply", "power.running", "power.again"):
        volume = "lowest"
    stage = context.job.stages.get(step.measure_at.split(".")[0])
    loud = played and stage is not None and gives_power(stage)
    return replace(
        step,
        volume=volume,
        file=files.get((step.tone_hz, step.level_dbfs), "") if played else "",  # type: ignore[arg-type]
        seconds_at_most=OFF_LOAD_S if loud else step.seconds_at_most,
        where_text=place_words(context.job, step.measure_at) or _controls(context, step),
        cautions=step_cautions(context.job, step, _instruments(context, step), protecting=context.protecting),
    )


def _instruments(context: PlanContext, step: Step) -> list[Instrument]:
    """Return the instruments that are connected at a step: the one that reads, and the one that watches a gain being raised."""
    names = [step.instrument]
    if step.adjust is not None and step.adjust.until == "v_rms" and step.tone_hz is not None:
        names.append(watching(context, step.stage, step.tone_hz))
    return [context.instruments[name] for name in dict.fromkeys(names) if name]


def _controls(context: PlanContext, step: Step) -> str:
    """Return the controls that a step sets, or that it leaves alone, in words."""
    left = step.id.removeprefix("control.") if step.phase == "controls" and step.id.startswith("control.") else ""
    return joined([control_words(context.job, c) for c in step.sets or ([left] if left else [])], by="{a} and {b}")


def _on_load(step: Step, steps: Iterable[Step], files: dict[tuple[float, float], str]) -> Step:
    """Return the reading of the supply under load with the file of its tone, by default its amplifier's own."""
    if step.load_tone_hz is not None and step.load_tone_dbfs is not None:
        return replace(step, file=files[step.load_tone_hz, step.load_tone_dbfs])
    file = next((s.file for s in steps if s.phase == "amplifier" and s.stage == step.stage), "")
    return replace(step, file=file)
