"""The steps before any tone: preparation, leads, controls to their starting settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import Amplifier, LevelControl, Speaker, supply_path, unit_of, volume_of
from gainwright.plan import cautions
from gainwright.plan.amplifier_controls import switches
from gainwright.plan.controls import equaliser_gain_db, equalisers_of
from gainwright.plan.result import Expect, Step
from gainwright.plan.volumes import digital_link, volume
from gainwright.solve import MEASURING_LEAD_OHM, METER_OHM, good_lead_ohm
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import LeadRun
    from gainwright.plan.context import PlanContext
    from gainwright.plan.controls import FilterControl


def prepare(context: PlanContext) -> Iterator[Step]:
    """Yield the steps that make the work safe and repeatable."""
    meter = context.meter()
    supplies: dict[str, str] = {}
    for name, stage in context.job.stages.items():
        if isinstance(stage, Amplifier):
            supplies.setdefault(supply_path(context.job, name, "running"), name)
    for i, (path, name) in enumerate((supplies or {"vehicle.running": ""}).items()):
        yield _supply(context, path, name, meter[0] if meter else "", first=i == 0)
    speakers = tuple(sorted(context.speakers))
    yield Step(
        "prepare.speakers",
        "prepare",
        "",
        say("Disconnect {and_} at the amplifiers and cover the bare ends.", and_=_and(speakers)),
        say("Channels are set at full power with a steady tone, which harms speakers and ears."),
        cautions=(cautions.HEARING, cautions.HOT_OUTPUT),
        speakers_off=speakers,
    )


def _supply(context: PlanContext, path: str, amplifier: str, meter: str, *, first: bool) -> Step:
    """Return the reading of a supply at the first amplifier that it feeds."""
    quantity = context.chain.facts[path].quantity
    unit = unit_of(context.job, amplifier) if amplifier else ""
    return Step(
        "prepare.supply" if first else f"prepare.supply.{unit}",
        "prepare",
        amplifier,
        say("Let the engine idle or connect a charger, then read the DC supply at the amplifier's terminals.")
        if first
        else say("Read the DC supply at the terminals of {unit} as well: it has another supply.", unit=unit),
        say("An amplifier's ceiling follows its supply: set it at the voltage it will play at."),
        measure_at=f"{unit}.supply_voltage" if unit else "",
        instrument=meter,
        expect=Expect("supply_v", quantity.nominal, *quantity.interval),
        outside=say("Lower: charging system, a thin supply or ground cable, a loose terminal. Repair that first."),
        cautions=(cautions.STANDING_VEHICLE, cautions.BATTERY, cautions.AIRBAG, cautions.MAKER_FIRST)
        if first
        else (cautions.BATTERY,),
    )


def leads(context: PlanContext) -> Iterator[Step]:
    """Yield the checks of leads, the measuring lead first, then of the speakers' resistance."""
    meter = context.meter()
    name = meter[0] if meter else ""
    most = MEASURING_LEAD_OHM + METER_OHM
    bound = Expect("ohm", MEASURING_LEAD_OHM, 0.0, most)
    yield Step(
        "lead.measuring",
        "leads",
        name,
        say("Check the measuring lead: resistance end to end on each conductor, and open between the two."),
        say("With a bad measuring lead no later reading can be trusted."),
        measure_at=name,
        instrument=name,
        expect=bound,
        outside=say(
            "Over {most} ohm or not open between conductors: use another lead.",
            most=f"{most:.2g}",
        ),
        cautions=(cautions.OHMS_DEAD,),
    )
    for run in context.chain.wiring.leads:
        if context.chain.wiring.is_digital(run):
            yield digital_link(context, run)
        elif not isinstance(context.job.stages[run.target], Speaker):
            yield _lead(context, run, name)
    for speaker in sorted(context.speakers):
        yield _speaker(context, speaker, name)


def _lead(context: PlanContext, run: LeadRun, meter: str) -> Step:
    fact = context.chain.facts[f"{run}.resistance"]
    each = fact.quantity.nominal / 2
    most = good_lead_ohm(context.chain, context.chain.wiring.leads[run])
    return Step(
        f"lead.{str(run).removeprefix('lead:')}",
        "leads",
        run.target,
        say(
            "Check the lead from {source_stage}.{source_output} to {target}: end to end on each conductor, and open between conductors.",
            source_stage=run.source_stage,
            source_output=run.source_output,
            target=run.target,
        ),
        say("A bad lead is a common cause of a silent chain."),
        measure_at=str(run),
        instrument=meter,
        expect=Expect("ohm", each, 0.0, most),
        outside=say(
            "Over {most} ohm: broken or corroded. Anything but open between conductors: shorted.",
            most=f"{most:.2g}",
        ),
        cautions=(cautions.OHMS_DEAD,),
    )


def _speaker(context: PlanContext, speaker: str, meter: str) -> Step:
    nominal = context.chain.facts[f"{speaker}.impedance"].quantity.nominal
    return Step(
        f"speaker.{speaker}",
        "leads",
        speaker,
        say("Read the resistance of {speaker} at the end of its lead, amplifier disconnected.", speaker=speaker),
        say("It shows an open or shorted coil, and whether the load is as in the job."),
        measure_at=f"{speaker}.resistance",
        instrument=meter,
        # A coil's DC resistance is somewhat below its nominal impedance (common practice, no published source).
        expect=Expect("ohm", 0.8 * nominal, 0.6 * nominal, 1.1 * nominal),
        outside=say("Open: coil, terminal or lead. Far lower: coils wired differently, or a short."),
        cautions=(cautions.OHMS_DEAD,),
    )


def controls(context: PlanContext) -> Iterator[Step]:
    """Yield a step for each control that has a starting setting."""
    for name, stage in context.job.stages.items():
        if volume_of(stage) is not None:
            yield volume(context, name)
        elif isinstance(stage, LevelControl):
            yield _level_control(context, name, stage)
        elif isinstance(stage, Amplifier):
            yield from switches(context, name, stage)
            if not stage.gain.fixed:
                yield _gain(context, name, stage)
    for control, (f, text) in context.moved_filters.items():
        yield _filter(context, f, control, text)
    yield from _equalisers(context)


def _filter(context: PlanContext, f: FilterControl, control: str, text: str) -> Step:
    """Return the step that opens a filter: how far, by what it takes from the tone and its third harmonic."""
    tones = [end.tone_hz for end in context.ends if f.node in end.all_nodes]
    blocked = [hz for hz in tones if f.in_the_way(hz, harmonics=context.looks_for_harmonics(hz))]
    harmonics = context.looks_for_harmonics(blocked[0])
    needed = f.corner_needed_hz(blocked[0], harmonics=harmonics)
    opening = say("switch it off") if text == "off" else say("open it as far as it goes ({text})", text=text)
    enough = (
        say(", or open it to at least {needed} Hz", needed=f"{needed:.0f}")
        if f.kind == "low"
        else say(", or open it to at most {needed} Hz", needed=f"{needed:.0f}")
    )
    taken = say("{loss} dB from the tone of {tone} Hz", loss=f"{f.loss_db(blocked[0]):.1f}", tone=f"{blocked[0]:g}")
    if harmonics and f.kind == "low":
        taken += say(" and {loss} dB from its third harmonic", loss=f"{f.loss_db(3 * blocked[0]):.1f}")
    return Step(
        f"control.{control}",
        "controls",
        f.node.stage,
        say(
            "{control}: {opening} for the set-up{enough}.",
            control=control,
            opening=opening,
            enough=enough if f.opens_to(needed) else "",
        ),
        say("As set, it takes {taken}.", taken=taken),
        cautions=(cautions.TWEETER_OPEN,) if f.kind == "high" else (),
        sets={control: text},
    )


def _level_control(context: PlanContext, name: str, stage: LevelControl) -> Step:
    text = context.starting_settings[f"{name}.level"]
    reserve = stage.reserve.nominal if stage.reserve is not None and stage.reserve.known else 0.0
    if reserve:
        do = say("Turn {name} fully up, then back by {abs} dB.", name=name, abs=f"{abs(reserve):g}")
        why = say(
            "It only attenuates. The reserve leaves {abs} dB to turn up later and costs as much drive now.",
            abs=f"{abs(reserve):g}",
        )
    else:
        do = say("Turn {name} fully up.", name=name)
        why = say("It only attenuates. If it were set lower, every gain after it would be set too high.")
    return Step(f"control.{name}.level", "controls", name, do, why, sets={f"{name}.level": text})


def _gain(context: PlanContext, name: str, stage: Amplifier) -> Step:
    text = context.starting_settings[f"{name}.gain"]
    if stage.gain.mutes_at_minimum == "no":
        do, why = (
            say("Turn the gain of {name} fully down.", name=name),
            say("The amplifier must not be the first to clip."),
        )
    else:
        do = say(
            "Turn the gain of {name} to just above its lowest end (about {text} of its travel).", name=name, text=text
        )
        why = say("The amplifier must not be the first to clip; some gain controls mute at the very end.")
    return Step(f"control.{name}.gain", "controls", name, do, why, sets={f"{name}.gain": text})


def _equalisers(context: PlanContext) -> Iterator[Step]:
    frequency_hz = np.geomspace(20, 20_000, 800)
    nodes = [node for end in context.ends for node in end.all_nodes]
    for control, (stage, equaliser) in equalisers_of(context.job, nodes).items():
        most = float(np.max(equaliser_gain_db(equaliser, frequency_hz)))
        yield Step(
            f"control.{control}",
            "controls",
            stage,
            say("Leave {control} as it will be used.", control=control),
            say(
                "Boost costs headroom: up to {most} dB here. If it is changed later, all stages after it must be set again.",
                most=f"{most:.1f}",
            ),
        )


def _and(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
