"""What must be changed before anything is switched on: connections and settings that destroy something.

A blocker ends the plan before the first step that needs power. All are common practice, no published source, unless the
constant's own docstring names one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import (
    Amplifier,
    Converter,
    HeadUnit,
    Powered,
    Processor,
    SourceOutput,
    Speaker,
    gives_power,
    is_tweeter,
)
from gainwright.model.speaker_outputs import TWEETER_ABOVE_HZ
from gainwright.plan.bands import guarding_corners_hz, series_filters
from gainwright.plan.blocker_remedies import first_high_pass, put_between, speakers_of_their_own
from gainwright.plan.result import Finding
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Node, Path, ProcessorOutput
    from gainwright.model.compounds import FilterRange
    from gainwright.plan.context import PlanContext

MILLI = 1e-3
MIXED_UP_V = 20.0
"""The lower end of a sensitivity from here on is one in millivolts whose unit was left out."""


def blockers(context: PlanContext) -> Iterator[Finding]:
    """Yield the connections and settings of a job with which nothing may be switched on."""
    yield from _tied_outputs(context)
    yield from _speaker_feeds(context)
    yield from _line_inputs(context)
    yield from _bare_tweeters(context)
    yield from _bare_top_band(context)
    for name, stage in context.job.stages.items():
        if isinstance(stage, Amplifier):
            yield from _sensitivity(name, stage)
        yield from _corners(name, stage)


def _tied_outputs(context: PlanContext) -> Iterator[Finding]:
    for port, feeds in context.chain.wiring.feeds.items():
        nodes = tuple(dict.fromkeys(feed.node for feed in feeds))
        if len(nodes) < 2 or not isinstance(context.job.stages[port.stage], Speaker) or context.chain.wiring.pair(port):
            continue
        one = len({n.stage for n in nodes}) == 1
        yield Finding(
            "blocker",
            "outputs_tied",
            port.stage,
            say(
                "{outputs} both drive it: two outputs on one voice coil drive current into each other, and one or both of them burn out",
                outputs=joined([str(n) for n in nodes], by="{a} and {b}"),
            ),
            say(
                "give each output its own speaker, or its own coil (coils: 2 x 4 ohm separate); if the amplifier is made for it, bridge it and write bridged: yes"
            )
            if one and isinstance(context.job.stages[nodes[0].stage], Amplifier)
            else say("give each output its own speaker, or its own coil (coils: 2 x 4 ohm separate), or leave one out")
            if one
            else say(
                "give each output its own speaker, or its own coil (coils: 2 x 4 ohm separate), or leave one out; two amplifiers made to push the two ends of one load are declared by strapped_to"
            ),
            speakers_of_their_own(context, port.stage),
        )


def _speaker_feeds(context: PlanContext) -> Iterator[Finding]:
    found: dict[tuple[str, str], Node] = {}
    for port, feeds in context.chain.wiring.feeds.items():
        if isinstance(context.job.stages[port.stage], Speaker):
            for feed in feeds:
                if not gives_power(context.job.stages[feed.node.stage]):
                    found.setdefault((port.stage, feed.node.stage), feed.node)
    for (speaker, source), node in found.items():
        head = isinstance(context.job.stages[source], HeadUnit)
        yield Finding(
            "blocker",
            "line_output_on_speaker",
            speaker,
            say("{node} is a line output: a speaker on it overloads it, and hardly plays", node=node),
            say("put an amplifier between them; if they are outputs for speakers, write speaker_level: yes")
            if head
            else say("put an amplifier between {source} and {speaker}", source=source, speaker=speaker),
            put_between(context, speaker, "amplifier, power: unknown", fed_by=source),
        )


def _line_inputs(context: PlanContext) -> Iterator[Finding]:
    found: dict[tuple[str, str], Node] = {}
    for port, feeds in context.chain.wiring.feeds.items():
        taker = context.job.stages[port.stage]
        if isinstance(taker, Speaker | Converter) or (isinstance(taker, Powered) and taker.high_level):
            continue
        for feed in feeds:
            if gives_power(context.job.stages[feed.node.stage]):
                found.setdefault((port.stage, feed.node.stage), feed.node)
    for (target, source), node in found.items():
        yield Finding(
            "blocker",
            "speaker_level_into_line_input",
            target,
            say(
                "{node} is an output for speakers and goes into a line input: its volts overload the input, and where it is bridged the input's ground shorts it",
                node=node,
            ),
            say(
                "put a converter for speaker level between them; if the input is made for speaker level, write high_level: yes"
            )
            if isinstance(context.job.stages[target], Powered)
            else say(
                "put a converter for speaker level between them (an attenuator made for it is one, too: its ratio is what it takes away)"
            ),
            put_between(context, target, "converter", fed_by=source),
        )


def _bare_tweeters(context: PlanContext) -> Iterator[Finding]:
    seen: set[str] = set()
    for path in context.chain.wiring.paths:
        stage = context.job.stages[path.speaker]
        protected = getattr(stage, "protect_below", None)
        if path.speaker in seen or not is_tweeter(context.job, path.speaker, path.nodes):
            continue
        if protected is not None and protected.known:
            continue  # compared with the corners before it, as for every speaker that says so
        if not guarding_corners_hz(context.job, context.chain.wiring, path):
            seen.add(path.speaker)
            yield Finding(
                "blocker",
                "unprotected_speaker",
                path.speaker,
                say("it is a tweeter, and there is no high-pass before it: the first low tone burns it out"),
                say(
                    "set a high-pass at or above the maker's lowest frequency and write that as protect_below; a set with its own passive crossover is described as one speaker, woofer and tweeter together"
                ),
                first_high_pass(context, path.speaker),
            )


def _bare_top_band(context: PlanContext) -> Iterator[Finding]:
    """Yield each speaker without a high-pass that alone plays what lies above the woofer beside it: it must be a tweeter."""
    job, wiring = context.job, context.chain.wiring
    bands = {path: _band_of(context, path) for path in wiring.paths}
    seen: set[str] = set()
    for path, (high_pass, low_pass) in bands.items():
        stage = job.stages[path.speaker]
        known = isinstance(stage, Speaker) and any(
            q is not None and q.known for q in (stage.resonance, stage.protect_below)
        )
        if known or high_pass or low_pass or path.speaker in seen or is_tweeter(job, path.speaker, path.nodes):
            continue
        beside = [bands[p] for p in bands if p.speaker != path.speaker and p.nodes[0] == path.nodes[0]]
        woofers = [low for _, low in beside if low >= TWEETER_ABOVE_HZ]
        if not woofers or any(high >= TWEETER_ABOVE_HZ for high, _ in beside):
            continue
        seen.add(path.speaker)
        yield Finding(
            "blocker",
            "unprotected_speaker",
            path.speaker,
            say(
                "it alone plays what is above {hz} Hz, where the speaker beside it ends, and there is no high-pass before it: a tweeter burns out at the first low tone",
                hz=f"{min(woofers):g}",
            ),
            say(
                "if it is a tweeter, set a high-pass at or above the maker's lowest frequency and write that as protect_below; if it isn't, write its resonance, for example 80 Hz"
            ),
            first_high_pass(context, path.speaker),
        )


def _band_of(context: PlanContext, path: Path) -> tuple[float, float]:
    """Return the corners of the high-pass and the low-pass before a speaker that bound its band, Hz; 0 for none."""
    filters = series_filters(context.job, context.chain.wiring, path.nodes[-1])
    found: dict[str, list[float]] = {"high": [], "low": []}
    for f in filters:
        if f.setting.corner is not None:
            found[f.kind].append(f.setting.corner.nominal)
    return max(found["high"], default=0.0), min(found["low"], default=0.0)


def _sensitivity(name: str, stage: Amplifier) -> Iterator[Finding]:
    given = {f"input_ranges.{position}": ends for position, ends in stage.input_ranges.items()}
    for key, ends in (given | {"sensitivity": stage.sensitivity}).items():
        if ends is None or not ends.first.known or ends.first.nominal <= ends.second.nominal:
            continue
        first, second = ends.first.nominal, ends.second.nominal
        meant = f"{ends.low:g} .. {ends.high:g} V"
        if first >= MIXED_UP_V and MILLI * first < second:
            meant = f"{first:g} mV .. {second:g} V"
        yield Finding(
            "blocker",
            "sensitivity_reversed",
            name,
            say(
                "its sensitivity is given as {text}: the first end, with the gain fully up, is the lower voltage",
                text=ends.text,
            ),
            say("write {key}: {meant}", key=key.rpartition(".")[2], meant=meant),
            {f"stages.{name}.{key}": meant},
        )


def _corners(name: str, stage: object) -> Iterator[Finding]:
    holders: dict[str, Amplifier | SourceOutput | ProcessorOutput] = {}
    if isinstance(stage, Amplifier):
        holders[name] = stage
    elif isinstance(stage, HeadUnit | Processor):
        holders |= {f"{name}.{key}": out for key, out in stage.outputs.items()}
    for place, holder in holders.items():
        for key in ("low_pass", "high_pass"):
            setting, span = getattr(holder, key), getattr(holder, f"{key}_range")
            if span is None or span.fixed:
                continue
            if setting is None or setting.corner is None:
                yield from _never_off(f"{place}.{key}", span) if not span.can_be_off else ()
                continue
            hz = setting.corner.nominal
            if not span.low_hz * 0.999 <= hz <= span.high_hz * 1.001:
                yield Finding(
                    "blocker",
                    "corner_out_of_range",
                    f"{place}.{key}",
                    say(
                        "it is set to {hz} Hz; its own range is {low} to {high} Hz",
                        hz=f"{hz:g}",
                        low=f"{span.low_hz:g}",
                        high=f"{span.high_hz:g}",
                    ),
                    say("look at the device which of the two is right, and correct the job"),
                )


def _never_off(control: str, span: FilterRange) -> Iterator[Finding]:
    """Yield the question what a filter is set to that the job has off, and that can't be switched off."""
    yield Finding(
        "caution",
        "corner_out_of_range",
        control,
        say(
            "the job has it off; its own range, {low} to {high} Hz, has no off",
            low=f"{span.low_hz:g}",
            high=f"{span.high_hz:g}",
        ),
        say("look at the device: write where it stands, or that it can be off ({text} or off)", text=span.text),
    )
