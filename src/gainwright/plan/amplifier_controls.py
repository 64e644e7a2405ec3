"""The steps of what some amplifiers have: an input range switch, a remote level control, a gain that is fixed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile import input_range
from gainwright.model import Amplifier, Powered
from gainwright.plan.capability import instrument_words
from gainwright.plan.expected_readings import expect_volts, volts_instrument
from gainwright.plan.outside import by_side
from gainwright.plan.result import Finding, Step
from gainwright.solve import Conditions, input_ohm
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target
    from gainwright.plan.source import CleanLimit


def switches(context: PlanContext, name: str, stage: Amplifier) -> Iterator[Step]:
    """Yield the steps that set an amplifier's input range and remote level control before anything is played."""
    if len(stage.input_ranges) > 1:
        position = input_range(stage)
        yield Step(
            f"control.{name}.input_range",
            "controls",
            name,
            say("Set the input range switch of {name} to {position}.", name=name, position=position),
            say(
                "Its sensitivity is {ends} there; in another position every gain found later would be wrong.",
                ends=stage.input_ranges[position].text,
            ),
            sets={f"{name}.input_range": position},
        )
    remote = stage.remote_level
    if remote is None:
        return
    text = context.starting_settings[f"{name}.remote_level"]
    if remote.boosts is not None:
        do = say("Turn the remote level control of {name} to 0 dB (no boost).", name=name)
        why = say("It boosts the bass: what it adds later is headroom that the music loses.")
    else:
        do = say("Plug in the remote level control of {name} and turn it up to {text}.", name=name, text=text)
        why = say(
            "It scales the gain of {name}. If it were lower now, the gain would be set too high for it.", name=name
        )
    yield Step(f"control.{name}.remote_level", "controls", name, do, why, sets={f"{name}.remote_level": text})


def has_fixed_gain(context: PlanContext, end: End) -> bool:
    """Return whether an end is an amplifier without a gain control: it is read, not set to its target."""
    stage = context.job.stages[end.stage]
    return isinstance(stage, Amplifier) and stage.gain.fixed


def woken_by_signal(context: PlanContext) -> Iterator[Finding]:
    """Yield a note for each stage that a signal turns on: without enough of it, it is off, and nothing is wrong."""
    for name, stage in context.job.stages.items():
        if isinstance(stage, Powered) and stage.turn_on == "signal":
            low, high = context.chain.facts[f"{name}.turn_on_level"].quantity.interval
            yield Finding(
                "note",
                "turned_on_by_signal",
                name,
                say(
                    "a signal of {low} to {high} at its input turns it on; with less it is off, its lamp dark, and nothing is wrong",
                    low=volts_text(low),
                    high=volts_text(high),
                ),
                say(
                    "play the tone and raise the volume until it is on, then read; it stays on for a while after the signal"
                ),
            )


def volts_text(volts: float) -> str:
    """Return a voltage with three digits, in mV below 1 V."""
    return f"{1000 * volts:.3g} mV" if volts < 1 else f"{volts:.3g} V"


def fixed_gain_step(context: PlanContext, end: End, limit: CleanLimit, target: Target) -> Step:
    """Return the step that reads an amplifier without a gain control at the clean volume."""
    node = end.nodes[0]
    most = min(volts for what, volts in target.candidates_v_rms.items() if what != "source")
    name, instrument = volts_instrument(context, tone_hz=end.tone_hz, volts=target.v_rms, node=node)

    def solve(draws: bool) -> tuple[object, int]:
        asked = Conditions(
            end.tone_hz,
            -end.allowance_db,
            values=context.drawn_for(context.opened) if draws else None,
            settings={f"{limit.head}.volume": limit.volume if draws else limit.middle},
            unloaded=context.speakers,
            probes={node: input_ohm(instrument)},
        )
        solved = context.opened.solve(asked, targets=(node,))
        return solved, solved.index(node)

    (middle, column), (spread, _) = solve(draws=False), solve(draws=True)
    expect = expect_volts(instrument, middle, spread, column, tone_hz=end.tone_hz)  # type: ignore[arg-type]
    return Step(
        f"amplifier.{end.stage}",
        "amplifier",
        end.stage,
        say(
            "Play {tone_hz} Hz at {part} dBFS with the volume at its clean limit and read {node} with {name}. {stage} has no gain control: over {v_rms} V, lower the level before it until it shows {v_rms} V.",
            tone_hz=f"{end.tone_hz:g}",
            part=f"{-end.allowance_db:g}",
            node=node,
            name=instrument_words(context, name, node),
            stage=end.stage,
            v_rms=f"{most:.3g}",
        ),
        say(
            "Its gain is fixed: the level before it alone sets how far it is driven; {v_rms} V is the most that it and its speaker take.",
            v_rms=f"{most:.3g}",
        ),
        end.tone_hz,
        -end.allowance_db,
        str(node),
        name,
        expect,
        **by_side(
            low=say("the level before it, a lead, a filter left in."),
            high=say("the level before it is up, or a boost is on."),
        ),
        speakers_off=tuple(sorted(context.speakers)),
    )
