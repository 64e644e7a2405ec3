"""Strapped pairs: what may not be, what the pair does to its load, and the reading between its outputs that proves it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.plan.capability import METER, instrument_words
from gainwright.plan.expected_readings import expect_target, volts_instrument
from gainwright.plan.result import Finding, Step
from gainwright.solve import Conditions
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gainwright.model import Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target

QUIET_DB = 60.0
"""Level under the set-up tone at which nothing clips."""
IN_PHASE = 0.5
"""Voltage across the load over the sum of the two outputs, below which they work against each other rather than together."""
UNEQUAL_DB = 0.5
"""Halves that differ by more are set wrong (common practice, no published source)."""


def pairs(context: PlanContext) -> dict[str, tuple[Node, Node]]:
    """Return speaker -> the outputs at its plus and its minus end, for each strapped pair."""
    wiring = context.chain.wiring
    return {port.stage: pair for port in wiring.feeds if (pair := wiring.pair(port)) is not None}


def halves(context: PlanContext, speaker: str) -> int:
    """Return between how many amplifiers a speaker's load is shared out: two of a strapped pair, else one."""
    return 2 if speaker in pairs(context) else 1


def check_pairs(context: PlanContext) -> Iterator[Finding]:
    """Yield what is wrong with a strapped pair, and what it does to its load."""
    for speaker, (plus, minus) in pairs(context).items():
        bridged = [n.stage for n in (plus, minus) if getattr(context.job.stages[n.stage], "bridged", False)]
        if bridged:
            yield Finding(
                "blocker",
                "strapped_bridged",
                bridged[0],
                say(
                    "it is bridged and strapped: both of its terminals are live, so it has no end that can be tied to the other amplifier"
                ),
                say("strap amplifiers that aren't bridged, or give each bridged one its own speaker"),
                {f"stages.{name}.bridged": "no" for name in bridged},
            )
        if _share_across(context, plus, minus) < IN_PHASE:
            yield Finding(
                "blocker",
                "strapped_in_phase",
                speaker,
                say(
                    "{plus} and {minus} have the same polarity: the two ends of the load move together, and no voltage is left across it",
                    plus=plus.stage,
                    minus=minus.stage,
                ),
                say(
                    "invert one of them: polarity: reversed at {minus}, or at the processor's output before it",
                    minus=minus.stage,
                ),
                {f"{minus.stage}.polarity": "reversed" if _polarity(context, minus) == "normal" else "normal"},
            )
        if context.meter() is None:
            yield Finding(
                "caution",
                "strapped_unproved",
                speaker,
                say("none of these instruments reads between its two outputs: a grounded one shorts an amplifier"),
                say("read with a handheld meter between the two plus terminals before the speaker is connected"),
                {"instruments.meter": METER},
            )
        ohm = context.chain.nominal()[f"{speaker}.impedance"]
        yield Finding(
            "note",
            "strapped_pair",
            speaker,
            say(
                "{plus} and {minus} push its two ends: their voltages add across {ohm} ohm, and each of them sees {half} ohm",
                plus=plus.stage,
                minus=minus.stage,
                ohm=f"{ohm:.3g}",
                half=f"{ohm / 2:.3g}",
            ),
            say("rate each amplifier at {half} ohm; neither terminal of the load is ground", half=f"{ohm / 2:.3g}"),
        )


def strapped_ends(context: PlanContext) -> list[str]:
    """Return for each strapped pair where the ends of its speaker go: to no minus terminal."""
    return [
        say(
            "Strapped: plus of {speaker} to the plus terminal of {plus}, its minus to the plus terminal of {minus}, nothing at their minus terminals.",
            speaker=speaker,
            plus=plus.stage,
            minus=minus.stage,
        )
        for speaker, (plus, minus) in pairs(context).items()
    ]


def _polarity(context: PlanContext, node: Node) -> str:
    return str(getattr(context.job.stages[node.stage], "polarity", "normal"))


def _share_across(context: PlanContext, plus: Node, minus: Node) -> float:
    """Return the voltage across the load over the sum of the two outputs, 0 to 1, at the pair's set-up tone."""
    end = next(end for end in context.ends if end.stage == plus.stage)
    solved = context.opened.solve(Conditions(end.tone_hz, -end.allowance_db - QUIET_DB), targets=(plus, minus))
    above, below = (solved.fundamental_v[0, solved.index(node)] for node in (plus, minus))
    both = abs(above) + abs(below)
    return float(abs(above - below) / both) if both > 0 else 1.0


def prove_pairs(context: PlanContext, targets: Mapping[str, Target]) -> Iterator[Step]:
    """Yield the reading between the outputs of each strapped pair, before a speaker is connected to it.

    Only a handheld meter reads it: anything grounded would short one of the two.
    """
    if context.meter() is None:
        return
    for speaker, (plus, minus) in pairs(context).items():
        end = next(end for end in context.ends if end.stage == plus.stage)
        volts = [targets[n.stage].v_rms if n.stage in targets else math.nan for n in (plus, minus)]
        if np.isnan(volts).any():
            continue
        yield _between(context, speaker, end, plus, minus, sum(volts))


def _between(context: PlanContext, speaker: str, end: End, plus: Node, minus: Node, volts: float) -> Step:
    name, instrument = context.meter() or volts_instrument(context, tone_hz=end.tone_hz, volts=volts)
    expect = expect_target(instrument, volts, tone_hz=end.tone_hz)
    unequal = 10 ** (UNEQUAL_DB / 20)
    return Step(
        f"amplifier.{speaker}.between",
        "amplifier",
        plus.stage,
        say(
            "Play {tone_hz} Hz at {part} dBFS with the volume at its clean limit. With {name}, read between the plus terminals of {plus} and {minus}.",
            tone_hz=f"{end.tone_hz:g}",
            part=f"{-end.allowance_db:g}",
            name=instrument_words(context, name, plus),
            plus=plus.stage,
            minus=minus.stage,
        ),
        say(
            "They are strapped: one is inverted, so their voltages add to {volts} V across {speaker}.",
            volts=f"{volts:.3g}",
            speaker=speaker,
        ),
        end.tone_hz,
        -end.allowance_db,
        f"{plus}-{minus}",
        name,
        type(expect)(expect.quantity, expect.value, expect.low / unequal, expect.high * unequal),
        say(
            "Close to nothing: both have the same polarity; connect nothing until one is inverted. Far from twice each one: their gains differ."
        ),
        if_low=say(
            "close to nothing, both have the same polarity: connect nothing until one is inverted. Else their gains differ."
        ),
        if_high=say("their gains differ: set both to the same voltage again."),
        speakers_off=tuple(sorted(context.speakers)),
    )
