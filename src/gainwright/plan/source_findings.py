"""Findings on what sources do by themselves: levelling, moving equalisers, limiters, load detection, noise cancelling."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.model import HeadUnit, Recorder
from gainwright.plan.result import Finding
from gainwright.solve import Chain, Conditions
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Node
    from gainwright.plan.context import PlanContext

LOAD_MARGIN = 1.1
"""A load resistor is smaller than the bound by its own tolerance (common practice, no published source)."""
TOO_LOUD_DB = 0.1
ASKED = ("loudness", "limiter", "load_detection", "noise_cancelling")


def source_findings(context: PlanContext) -> Iterator[Finding]:
    """Yield what a source does by itself, how far that moves levels, and what to ask where the job says nothing."""
    for name, stage in context.job.stages.items():
        yield from _balanced(context, name)
        if isinstance(stage, HeadUnit):
            yield from _levelling(context, name, stage)
            yield from _moving_bass(context, name, stage)
            yield from _limiter(context, name, stage)
            yield from _load_detection(context, name, stage) if not stage.all_digital else ()
            yield from _noise_cancelling(context, name, stage)
            yield from _before_master(context, name, stage)
            yield from _not_said(name, stage)


def _levelling(context: PlanContext, name: str, stage: HeadUnit) -> Iterator[Finding]:
    if stage.levelling in ("on", "unknown"):
        low = context.chain.facts[f"{name}.levelling"].quantity.interval[0]
        yield Finding(
            "caution",
            "source_levels_tracks",
            f"{name}.levelling",
            say("it takes up to {db} dB off a loud tone, and not the same off music", db=f"{-low:.0f}"),
            say(
                "switch it off for the set-up and leave it off: with it on, everything plays softer than it was set up for"
            ),
            {f"{name}.levelling": "off"},
        )


def _moving_bass(context: PlanContext, name: str, stage: HeadUnit) -> Iterator[Finding]:
    if stage.factory.loudness not in ("yes", "unknown"):
        return
    facts = context.chain.facts
    low, high = (facts[f"{name}.factory.bass_at_{end}"].quantity.nominal for end in ("bottom", "top"))
    corner_hz = facts[f"{name}.factory.bass_corner"].quantity.nominal
    yield Finding(
        "caution",
        "equaliser_follows_volume",
        name,
        say(
            "below about {corner} Hz it adds {low} dB at the lowest step and {high} dB at the highest{doubt}: what is set at one volume doesn't hold at another",
            corner=f"{corner_hz:.0f}",
            low=f"{low:+.0f}",
            high=f"{high:+.0f}",
            doubt="" if stage.factory.loudness == "yes" else say(" (if it does at all)"),
        ),
        say(
            "switch loudness off if there is a setting for it; else set up at the volume at which it will be loudest, and take the bass from an output that doesn't follow the volume if there is one"
        ),
        {f"stages.{name}.factory.loudness": "no"},
    )


def _limiter(context: PlanContext, name: str, stage: HeadUnit) -> Iterator[Finding]:
    if stage.factory.limiter not in ("yes", "unknown"):
        return
    low, high = context.chain.facts[f"{name}.factory.limiter_threshold"].quantity.interval
    yield Finding(
        "note",
        "source_limits",
        name,
        say(
            "it {may} itself down {low} to {high} dB about its largest clean output: no distortion shows there, its level stops rising",
            may=say("turns") if stage.factory.limiter == "yes" else say("may turn"),
            low=f"{low:+.0f}",
            high=f"{high:+.0f}",
        ),
        say(
            "find its highest clean volume with a meter, step by step: it is the last step that still adds its usual rise"
        ),
    )


def _load_detection(context: PlanContext, name: str, stage: HeadUnit) -> Iterator[Finding]:
    if stage.factory.load_detection not in ("yes", "unknown"):
        return
    if stage.factory.load_detection == "unknown":
        yield Finding(
            "note",
            "load_detection_unknown",
            name,
            say("it may mute an output at which it finds no speaker, or report a fault"),
            say(
                "if it plays nothing into the converter, connect a load resistor or the factory speaker, and write load_detection: yes"
            ),
        )
        return
    most_ohm = context.chain.facts[f"{name}.factory.needs_load"].quantity.interval[0]
    ohm = physics.preferred_values(series=12, low=most_ohm / 12, high=most_ohm / LOAD_MARGIN)[-1]
    silent = [node for node in context.chain.wiring.outputs(name) if not _plays(context, node)]
    if silent:
        watts = context.chain.facts[f"{name}.output_limit"].quantity.interval[1] ** 2 / ohm
        solved = all(_plays(context, node, ohm) for node in silent)
        yield Finding(
            "blocker",
            "no_load_found",
            name,
            say("it finds no speaker at {nodes} and mutes there", nodes=joined([str(node) for node in silent])),
            say(
                "connect a resistor of {ohm} ohm that takes {watts} W at each (it gets hot: away from cloth and plastic), or keep the factory speaker connected; enter it in the converter's input impedance{solved}",
                ohm=f"{ohm:g}",
                watts=f"{watts:.2g}",
                solved=say(" (solved: it plays)") if solved else "",
            ),
            {f"stages.{taker}.input_impedance": f"{ohm:g} ohm" for taker in _loads(context, silent)},
        )


def _loads(context: PlanContext, nodes: list[Node]) -> list[str]:
    """Return the stages without a speaker that some nodes feed."""
    takers = {port.stage for node in nodes for port in context.chain.wiring.ports_fed_by(node)}
    return sorted(takers - context.speakers)


def _plays(context: PlanContext, node: Node, ohm: float | None = None) -> bool:
    asked = Conditions(1000.0, -20.0, unloaded=context.speakers, probes={} if ohm is None else {node: ohm})
    solved = Chain(context.job).solve(asked, targets=(node,), margins=False)
    return bool(solved.rms_v[0, solved.index(node)] > 0)


def _noise_cancelling(context: PlanContext, name: str, stage: HeadUnit) -> Iterator[Finding]:
    if stage.factory.noise_cancelling not in ("yes", "unknown"):
        return
    high = context.chain.facts.get(f"{name}.factory.cancelling_level")
    volts = "" if high is None else say(", up to {volts} V at its outputs", volts=f"{high.quantity.interval[1]:.2g}")
    yield Finding(
        "caution",
        "noise_cancelling",
        name,
        say(
            "it {may} against engine noise while the engine idles{volts}: low readings then hold more than the tone, and amplified it booms",
            may=say("plays") if stage.factory.noise_cancelling == "yes" else say("may play"),
            volts=volts,
        ),
        say(
            "read with a charger instead of the engine; have the maker's workshop switch it off, or its microphones unplugged by someone who may, before the amplifiers play"
        ),
        {f"stages.{name}.factory.noise_cancelling": "no"},
    )


def _balanced(context: PlanContext, name: str) -> Iterator[Finding]:
    """Yield what takes half of a balanced output, surely or perhaps."""
    facts = context.chain.facts
    if f"{name}.balanced" not in facts:
        return
    wiring = context.chain.wiring
    takers = dict.fromkeys(port.stage for node in wiring.outputs(name) for port in wiring.ports_fed_by(node))
    for taker in takers:
        low, high = facts[f"{taker}.balanced_input"].quantity.interval
        if high <= 0.5:
            yield Finding(
                "caution",
                "balanced_into_unbalanced",
                taker,
                say("it takes one leg of the balanced output of {name}: half of its voltage, 6 dB less", name=name),
                say(
                    "use a balanced input with a lead of two conductors and shield, or count on half; an adapter that ties the second leg to ground only where the maker of {name} allows it",
                    name=name,
                ),
                {f"stages.{taker}.balanced_input": "yes"},
            )
        elif low <= 0.5:
            yield Finding(
                "note",
                "balanced_input_unknown",
                taker,
                say(
                    "whether it takes both legs of the balanced output of {name} isn't said: 6 dB lie between",
                    name=name,
                ),
                say(
                    "look in its manual, or compare the volts with and without its plug; write balanced_input: yes or no"
                ),
            )
    grounded = [key for key, i in context.instruments.items() if isinstance(i, Recorder) and not i.balanced]
    if grounded:
        yield Finding(
            "note",
            "grounded_on_balanced",
            name,
            say("a grounded recorder at its outputs ties one leg to ground and reads half"),
            say("read there with a meter between the two legs, or with a balanced input"),
            {f"instruments.{key}.balanced": "yes" for key in grounded},
        )


def _before_master(context: PlanContext, name: str, stage: HeadUnit) -> Iterator[Finding]:
    """Yield where a source that stands before a master volume is too loud for what follows it, as its volume stands."""
    if name in context.level_setters or stage.all_digital:
        return
    chain, control = context.opened, f"{name}.volume"
    takers = {p.stage for node in chain.wiring.outputs(name) for p in chain.wiring.ports_fed_by(node)}
    nodes = [node for node in chain.nodes if node.stage in takers]

    def room_db(volume: float) -> float:
        solved = chain.solve(Conditions(1000.0, 0.0, settings={control: volume}), targets=nodes)
        return float(np.min(solved.margins_db[0, :, 0]))

    stands = chain.settings[control]
    over = -room_db(stands)
    if over <= TOO_LOUD_DB:
        return
    lower = next((step for step in np.arange(stands - 1, 0, -1.0) if room_db(step) >= 0), 1.0)
    yield Finding(
        "caution",
        "source_too_loud",
        name,
        say(
            "at step {at} full scale is {over} dB over what {takers} takes",
            at=f"{stands:g}",
            over=f"{over:.1f}",
            takers=joined(sorted(takers)),
        ),
        say(
            "set its volume to step {lower} and leave it there (solved: clean); the master volume sets the level",
            lower=f"{lower:g}",
        ),
        {control: f"{lower:g}"},
    )


def _not_said(name: str, stage: HeadUnit) -> Iterator[Finding]:
    """Ask about what factory sources with speaker outputs mostly do, where the job says nothing."""
    open_ = [key for key in ASKED if getattr(stage.factory, key) is None]
    if stage.speaker_level and open_:
        words = [say(key.replace("_", " ")) for key in open_]
        yield Finding(
            "note",
            "factory_source_unknown",
            name,
            say("the job doesn't say whether it has {words}", words=joined(words, by="{a} or {b}")),
            say(
                "find out from its manual or the maker, and write factory: {{{key}: yes}}, no or unknown", key=open_[0]
            ),
        )
