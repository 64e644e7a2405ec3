"""The steps without a target: speakers off and on again, leads, controls to their starting settings, the supply."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.jobfile import DC_SHARES
from gainwright.model import (
    Amplifier,
    HeadUnit,
    LevelControl,
    Speaker,
    lead_words,
    stage_title,
    supply_path,
    volume_of,
)
from gainwright.plan.amplifier_controls import switches
from gainwright.plan.controls import equaliser_gain_db, equalisers_of
from gainwright.plan.inner_gains import inner_amplifiers
from gainwright.plan.largest_draw import largest_consumer, rated_w
from gainwright.plan.on_load import heard_level, tone_on_load
from gainwright.plan.outside import by_side
from gainwright.plan.result import Expect, Finding, Step
from gainwright.plan.strapping import strapped_ends
from gainwright.plan.supply_expected import supply_on_load, supply_running
from gainwright.plan.volumes import digital_link, volume
from gainwright.solve import MEASURING_LEAD_OHM, METER_OHM, good_lead_ohm, sound_lead_ohm
from gainwright.texts import joined, say

WIDER = 1.96 / 1.645
"""A normal distribution's 97.5 % quantile over its 95 % quantile."""

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gainwright.model import LeadRun
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.controls import FilterControl
    from gainwright.plan.on_load import ToneOnLoad
    from gainwright.plan.result import Target
    from gainwright.plan.settled import Settled


def prepare(context: PlanContext) -> Iterator[Step]:
    """Yield the step that takes the speakers off before anything is switched on."""
    at_head = [s for end in context.ends for s in end.speakers if isinstance(context.job.stages[end.stage], HeadUnit)]
    at_amplifiers = [s for s in sorted(context.speakers) if s not in at_head]
    places = [say("{and_} at the amplifiers", and_=_and(at_amplifiers))] if at_amplifiers else []
    places += [say("{and_} at the head unit's plug", and_=_and(sorted(at_head)))] if at_head else []
    yield Step(
        "prepare.speakers",
        "prepare",
        "",
        say(
            "Everything off: system, engine, charger. Disconnect {places}, note which wire is plus, and cover the bare ends.",
            places=joined(places, by="{a} and {b}"),
        ),
        say("Channels are set at full power with a steady tone, which harms speakers and ears."),
    )


def supply(context: PlanContext) -> Iterator[Step]:
    """Yield the reading of each supply, at the case on it that draws most, before anything is set at it."""
    meter = context.meter()
    paths = dict.fromkeys(supply_path(context.job, name, "running") for name in rated_w(context))
    for i, path in enumerate(paths):
        unit, name = largest_consumer(context, path)
        yield Step(
            "prepare.supply" if i == 0 else f"prepare.supply.{unit}",
            "source",
            name,
            say("Read the DC supply at the terminals of {amplifier}.", amplifier=unit)
            if i == 0
            else say("Read the DC supply at the terminals of {unit} as well: it has another supply.", unit=unit),
            say("An amplifier's ceiling follows its supply: set it at the voltage it will play at."),
            measure_at=f"{unit}.supply_voltage",
            instrument=meter[0] if meter else "",
            expect=supply_running(context, path),
            **by_side(
                low=say(
                    "charging system, charger too small, a thin supply or ground cable, a loose terminal. Have that repaired first."
                ),
                high=say(
                    "a charger or alternator that gives too much. Read with another meter, and have that repaired first."
                ),
            ),
        )


def reconnect(context: PlanContext) -> Iterator[Step]:
    """Yield the step that brings the speakers back."""
    yield Step(
        "verify.speakers",
        "verify",
        "",
        joined(
            [
                say(
                    "Connect {and_} again, plus to plus, and tighten the terminals.",
                    and_=_and(sorted(context.speakers)),
                ),
                *strapped_ends(context),
            ],
            by="{a} {b}",
        ),
        say("A strand across two terminals shorts an output: with everything off it can be seen and removed."),
    )


def supply_under_load(
    context: PlanContext, targets: Mapping[str, Target], settled: Sequence[Settled]
) -> Iterator[Step | Finding]:
    """Yield the reading of the supply at the case that draws most, while its largest amplifier delivers."""
    unit, amplifier = largest_consumer(context)
    end = next((e for e in context.ends if e.stage == amplifier), None)
    if end is None or amplifier not in targets:
        return
    borne = tone_on_load(context, end, targets[amplifier].v_rms, settled)
    if borne is None:
        yield Finding(
            "note",
            "no_tone_on_load",
            amplifier,
            say(
                "no tone at the target of {amplifier} is borne by its speakers for long enough to read its supply",
                amplifier=amplifier,
            ),
            say("read its supply while music plays"),
        )
        return
    meter = context.meter()
    yield Step(
        "verify.supply",
        "verify",
        amplifier,
        say(
            "Start {tone_hz} Hz at {level} dBFS, raise the volume to {how_far}, read the DC supply at the terminals of {amplifier} while it plays, and turn the volume down again.",
            tone_hz=f"{borne.tone_hz:g}",
            level=f"{-end.allowance_db:g}",
            how_far=say("its clean limit")
            if not borne.lower_db
            else say("{db} dB below its clean limit, as its cones and coils bear no more", db=f"{borne.lower_db:g}"),
            amplifier=unit,
        ),
        _why_on_load(end, borne),
        measure_at=f"{unit}.supply_voltage",
        instrument=meter[0] if meter else "",
        expect=supply_on_load(
            context,
            unit,
            replace(end, tone_hz=borne.tone_hz),
            targets[amplifier].v_rms * 10 ** (-borne.lower_db / 20),
            supply_running(context, supply_path(context.job, amplifier, "running")),
        ),
        seconds_at_most=borne.seconds,
        pause_seconds=borne.pause_seconds or None,
        load_tone_hz=None if borne.tone_hz == end.tone_hz else borne.tone_hz,
        load_tone_dbfs=None if borne.tone_hz == end.tone_hz else -end.allowance_db,
        ear=heard_level(context, settled, tone_hz=borne.tone_hz, level_dbfs=-end.allowance_db - borne.lower_db),
        **by_side(
            low=say(
                "a thin cable, a bad ground, a weak battery or alternator. Have it repaired, or write the voltage read as running in the job and plan again."
            ),
            high=say(
                "a charger or alternator that gives too much. Read with another meter, and have that repaired first."
            ),
        ),
    )


def _why_on_load(end: End, borne: ToneOnLoad) -> str:
    """Return why the supply is read under load, and why with another tone than that of the set-up."""
    why = say("It draws more current than any other here: what its supply loses under load, its ceiling loses.")
    if borne.tone_hz == end.tone_hz:
        return why
    return say(
        "{why} At {own} Hz, the tone of the set-up, its cones and coils would bear less level than at {other} Hz.",
        why=why,
        own=f"{end.tone_hz:g}",
        other=f"{borne.tone_hz:g}",
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
            "Over {most} ohm or not open between its conductors: use another measuring lead.",
            most=f"{most:.2g}",
        ),
        note=say("measuring lead"),
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
    wires = context.chain.wiring.leads[run]
    good = sound_lead_ohm(context.chain, wires)
    return Step(
        f"lead.{str(run).removeprefix('lead:')}",
        "leads",
        run.target,
        say(
            "Check {lead}: end to end on each conductor, and open between its conductors.",
            lead=str(run),
        ),
        say("It must pass the signal at both conductors and keep them apart, or nothing after it can be right."),
        measure_at=str(run),
        instrument=meter,
        expect=Expect("ohm", each, 0.0, good, costs_level_over=good_lead_ohm(context.chain, wires)),
        outside=say(
            "Over the limit of a good lead: a poor contact that may come and go; clean or replace it. Over the other limit it takes level away as well. Not open between its conductors: shorted."
        ),
        if_high=say(
            "a poor contact that may come and go; clean or replace it. Over {limit} ohm it takes level away as well.",
            limit=f"{good_lead_ohm(context.chain, wires):.2g}",
        ),
        note=lead_words(context.job, str(run)),
    )


def _speaker(context: PlanContext, speaker: str, meter: str) -> Step:
    ohm, low, high = coil_ohm(context, speaker)
    return Step(
        f"speaker.{speaker}",
        "leads",
        speaker,
        say("Read the resistance of {speaker} at the free end of its lead.", speaker=speaker),
        say("It shows an open or shorted coil, and whether the load is as in the job."),
        measure_at=f"{speaker}.resistance",
        note=stage_title(context.job, speaker),
        instrument=meter,
        expect=Expect("ohm", ohm, low, high, interval_95=True),
        outside=say(
            "Open: coil, terminal or lead. Far lower: a short, or wired in parallel instead of in series. Far higher: in series instead of in parallel, or one of several open."
        ),
        if_low=say("a short, or wired in parallel instead of in series."),
        if_high=say(
            "in series instead of in parallel, one of several open, or a poor contact; open: coil, terminal or lead."
        ),
    )


def coil_ohm(context: PlanContext, speaker: str) -> tuple[float, float, float]:
    """Return what a meter reads of a speaker at the end of its lead, ohm: the middle and a 95 % interval.

    Its `re` where the job gives it, to 5 % (a coil's temperature and tolerance; common practice, no published source); else
    the share of its impedance that measured drivers have. The lead and the meter's own leads and doubt come on top.
    """
    facts = context.chain.facts
    if f"{speaker}.re" in facts:
        quantity = facts[f"{speaker}.re"].quantity
        low, middle, high = (
            ohm * share
            for ohm, share in zip(
                (quantity.interval[0], quantity.nominal, quantity.interval[1]), (0.95, 1.0, 1.05), strict=True
            )
        )
    else:
        nominal = facts[f"{speaker}.impedance"].quantity.nominal
        below, share, above = DC_SHARES
        # from 5 and 95 % to 2.5 and 97.5 % as a normal distribution has them
        low, middle, high = (nominal * (share + (end - share) * WIDER) for end in (below, share, above))
    leads = [facts[f"{run}.resistance"].quantity for run in context.chain.wiring.leads if run.target == speaker]
    lead = max(quantity.nominal for quantity in leads)
    return middle + lead, low + min(q.interval[0] for q in leads), high + max(q.interval[1] for q in leads) + METER_OHM


def controls(context: PlanContext) -> Iterator[Step]:
    """Yield a step for each control that has a starting setting."""
    stages = context.job.stages
    for name, stage in stages.items():
        if volume_of(stage) is not None:
            yield volume(context, name)
        elif isinstance(stage, LevelControl):
            yield _level_control(context, name, stage)
        elif isinstance(stage, Amplifier):
            yield from switches(context, name, stage)
    for name, stage in stages.items():
        if isinstance(stage, Amplifier) and not stage.gain.fixed:
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
        say(", or open it to {needed} Hz or more", needed=f"{needed:.0f}")
        if f.kind == "low"
        else say(", or open it to {needed} Hz or less", needed=f"{needed:.0f}")
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
        sets={control: text},
        note=say("{setting}{enough}", setting=text, enough=enough if f.opens_to(needed) else ""),
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
    note = say("fully up, then back by {abs} dB", abs=f"{abs(reserve):g}") if reserve else say("fully up")
    return Step(f"control.{name}.level", "controls", name, do, why, sets={f"{name}.level": text}, note=note)


def _gain(context: PlanContext, name: str, stage: Amplifier) -> Step:
    text = context.starting_settings[f"{name}.gain"]
    if name in inner_amplifiers(context.job, context.ends):
        do = say("Turn the gain of {name} to about {text} of its travel.", name=name, text=text)
        why = say("It feeds another stage: there the source is expected to clip first; it is set with a reading later.")
        note = say("about {text}", text=text)
    elif stage.gain.mutes_at_minimum == "no":
        do, why = (
            say("Turn the gain of {name} fully down.", name=name),
            say("The amplifier must not be the first to clip."),
        )
        note = say("fully down")
    else:
        do = say(
            "Turn the gain of {name} to just above its lowest end (about {text} of its travel).", name=name, text=text
        )
        why = say("The amplifier must not be the first to clip; some gain controls mute at the very end.")
        note = say("just above its lowest end (about {text})", text=text)
    return Step(f"control.{name}.gain", "controls", name, do, why, sets={f"{name}.gain": text}, note=note)


def _equalisers(context: PlanContext) -> Iterator[Step]:
    frequency_hz = np.geomspace(20, 20_000, 800)
    nodes = [node for end in context.ends for node in end.all_nodes]
    for control, (stage, equaliser) in equalisers_of(context.job, nodes).items():
        most = float(np.max(equaliser_gain_db(equaliser, frequency_hz)))
        yield Step(
            f"control.{control}",
            "controls",
            stage,
            say("{control}: set now to what the customer will use, then left alone.", control=control),
            say(
                "It boosts by up to {most} dB, which costs headroom where the filters let it through. If it is changed later, all stages after it must be set again.",
                most=f"{most:.1f}",
            ),
        )


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else say("{a} and {b}", a=joined(names[:-1]), b=names[-1])
