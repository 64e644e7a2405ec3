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
from gainwright.plan.bands import guarding_corners_hz
from gainwright.plan.blocker_remedies import first_high_pass, put_between, speakers_of_their_own
from gainwright.plan.result import Finding
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Node, ProcessorOutput
    from gainwright.plan.context import PlanContext


def blockers(context: PlanContext) -> Iterator[Finding]:
    """Yield the connections and settings of a job with which nothing may be switched on."""
    yield from _tied_outputs(context)
    yield from _speaker_feeds(context)
    yield from _line_inputs(context)
    yield from _bare_tweeters(context)
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


def _sensitivity(name: str, stage: Amplifier) -> Iterator[Finding]:
    ends = stage.sensitivity
    if ends is not None and ends.first.known and ends.first.nominal > ends.second.nominal:
        yield Finding(
            "blocker",
            "sensitivity_reversed",
            name,
            say(
                "its sensitivity is given as {text}: the first end, with the gain fully up, is the lower voltage",
                text=ends.text,
            ),
            say("write sensitivity: {low} .. {high} V", low=f"{ends.low:g}", high=f"{ends.high:g}"),
            {f"stages.{name}.sensitivity": f"{ends.low:g} .. {ends.high:g} V"},
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
            if setting is None or setting.corner is None or span is None or span.fixed:
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
