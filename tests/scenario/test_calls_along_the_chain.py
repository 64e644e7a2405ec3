"""Calls to a support desk, arranged along the chain from the source to the speaker: a few readings, then the cause.

The chain is the rig, a second method that shares no formula with the diagnosis. The caller can look, listen, and use the
meter where the test says; unreachable places stay unreachable.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest
from diagnosers import kept_diagnoser
from indicators import with_lamp

from gainwright.diagnose import Diagnosis, make_diagnosis
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.model import Amplifier
from gainwright.simulated import Fault, Rig, answer

if TYPE_CHECKING:
    from gainwright.model import Job

SUB = {"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS"}
WOOFER = {"heard": "woofer", "tone": "500 Hz", "level": "-8 dBFS"}
TWEETER = {"heard": "tweeter", "tone": "6.3 kHz", "level": "-8 dBFS"}
LEFT, RIGHT = WOOFER | {"side": "left"}, WOOFER | {"side": "right"}


@dataclass(frozen=True)
class Call:
    """A call: the chain, its fault, what the caller reports, and in how many tests it should be found."""

    cause: str
    where: str
    reported: tuple[dict[str, Any], ...]
    most: int = 8
    job: str = "two_way_and_sub"
    amount: float | None = None
    side: str = "both"
    unreachable: tuple[str, ...] = ("head",)
    named: str = ""
    """The expected cause where nothing is wrong with the chain."""
    marks: str = ""
    """Marks of a lamp that the caller has."""
    sets: dict[str, str] = field(default_factory=dict)


CALLS = {
    # the source and what is played
    "the source is muted": Call("source_muted", "head", (SUB, WOOFER, TWEETER), unreachable=(), most=6),
    "the source gives little": Call("source_low", "head", (SUB, {"at": "head.sub.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}), unreachable=(), most=8),
    "the player turns the tone down": Call(
        "tone_level_wrong", "head", (SUB, WOOFER, TWEETER, {"at": "desk.sub.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}), amount=28.0, unreachable=()
    ),
    "one side of the front is turned away": Call("balance_over", "head.front", (LEFT, RIGHT, TWEETER | {"side": "right"}), unreachable=()),
    "the source's high-pass stops the bass": Call("high_pass_in_the_way", "head.sub", (SUB, WOOFER), unreachable=(), amount=4000.0),
    # leads
    "a lead is broken": Call("lead_open", "lead:desk.sub-knob", (SUB, WOOFER)),
    "a lead is corroded": Call("lead_resistive", "lead:knob-amp_sub", (SUB, WOOFER), amount=60_000.0),
    "a lead is shorted on one side": Call("lead_shorted", "lead:desk.woofer.left-amp_front.left", (SUB, LEFT, RIGHT)),
    # processor and level control
    "an output of the processor is muted": Call("output_muted", "desk.sub", (SUB, WOOFER), most=6),
    "an output of the processor is fed from the wrong input": Call("output_misrouted", "desk.sub", (SUB, WOOFER, TWEETER), most=14, unreachable=()),
    "the level control is down": Call("level_control_down", "knob", (SUB, WOOFER), most=6, amount=36.0),
    # amplifiers
    "the gain is where the amplifier mutes": Call("gain_muted", "amp_sub", (SUB, WOOFER), most=6),
    "the amplifier's low-pass is in the way": Call("low_pass_in_the_way", "amp_front", (SUB, WOOFER, TWEETER), amount=40.0),
    "a boost is on": Call(
        "boost_on", "amp", ({"at": "amp.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"},), job="one_amplifier", amount=14.0, unreachable=(), most=6
    ),
    "the amplifier is not turned on": Call("amplifier_no_turn_on", "amp_sub", (SUB, WOOFER), most=4),
    "the amplifier's fuse is blown": Call("amplifier_no_supply", "amp_high", (TWEETER, WOOFER), most=4),
    "the amplifier protects itself": Call("amplifier_protecting", "amp_front", (WOOFER, TWEETER), most=5),
    "one side of the amplifier is dead": Call("side_dead", "amp_front.out.right", (SUB, LEFT, RIGHT), most=9),
    "the supply sags": Call(  # a thin lead loses volts only while the amplifier draws power
        "supply_sagging", "amp", (SUB | {"level": "0 dBFS"}, {"check": "amp.supply_voltage"}),
        job="one_amplifier", sets={"amp.gain": "100 %"}, unreachable=(), most=8,
    ),
    # speakers
    "one speaker is open": Call("speaker_open", "woofer", (SUB, LEFT, RIGHT), side="left", most=9),
    "a speaker is shorted": Call("speaker_shorted", "sub", (SUB, {"check": "sub.resistance"}), most=6),
    "a speaker lead is the wrong way round": Call("polarity_reversed", "lead:amp_sub-sub", (SUB, {"check": "sub.cone"}, {"check": "sub.resistance"}), most=0),
    # noise
    "hum comes in at a lead": Call("ground_loop", "lead:head.sub-amp", ({"heard": "sub", "tone": "off"},), job="one_amplifier", amount=0.08),
    "the alternator whines": Call("alternator_whine", "lead:head.front-amp_front", ({"heard": "front", "tone": "off"},), job="full_range", most=9),
    "the ground of the source is bad": Call(
        "source_ground_bad", "head", ({"heard": "front", "tone": "off"}, {"heard": "rear", "tone": "off"}),
        job="five_channel", amount=0.06, unreachable=(),
    ),
    # the measuring itself
    "the measuring lead is broken": Call(
        "measuring_lead_open", "meter", (SUB, {"at": "amp_sub.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}), most=8
    ),
    "the meter stands on another function": Call(
        "meter_wrong_function", "meter", (SUB, {"at": "amp_sub.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}), most=8
    ),
    "a tone that the crossover stops": Call(
        "nothing_wrong", "", ({"at": "amp_sub.out.mono", "with": "meter", "tone": "1.6 kHz", "level": "0 dBFS"}, SUB),
        named="wrong_tone_for_path at desk", most=12, unreachable=(),
    ),
    "the source gives less than the lamp needs": Call(
        "nothing_wrong", "", ({"at": "head.sub.mono", "with": "lamp", "tone": "50 Hz", "level": "-24 dBFS"},),
        job="one_amplifier", marks="signal: level over 0.5 V", named="indicator_below_threshold at lamp", most=12, unreachable=(),
    ),
}  # fmt: skip


def met(call: Call, *, seed: int = 3) -> tuple[Diagnosis, list[str]]:
    """Carry a call through; return the last diagnosis and the tests that were asked for."""
    text = example_text(call.job)
    job: Job = read_job_text(with_lamp(text, call.marks) if call.marks else text).job
    amplifiers = [n for n, s in job.stages.items() if isinstance(s, Amplifier) and s.gain.at is None]
    job = with_settings(job, {f"{name}.gain": "30 %" for name in amplifiers} | call.sets)
    fault = Fault(call.cause, call.where, call.amount, call.side)
    rig = Rig(job, seed=seed, faults=() if call.cause == "nothing_wrong" else (fault,))
    diagnoser = kept_diagnoser(job)
    entries = [read_entry(answer(rig, read_entry(said, job, answered=False)), job) for said in call.reported]
    asked: list[str] = []
    while True:
        found = make_diagnosis(diagnoser, entries, frozenset(call.unreachable))
        if found.done or not found.next or len(asked) == call.most:
            return found, asked
        entry = read_entry(found.next[0].entry, job, answered=False)
        asked.append(f"{found.next[0].test} {found.next[0].where}")
        entries.append(read_entry(answer(rig, entry), job))


@pytest.mark.parametrize("name", CALLS)
def test_cause_is_found_from_what_a_caller_can_do(name: str) -> None:
    """The cause (or the group that no reachable test separates) is ranked first, described in words, with its repair."""
    call = CALLS[name]
    found, asked = met(call)
    expected = call.named or f"{call.cause} at {call.where}"
    first = found.causes[0]
    leading = {f"{first.cause} at {first.where}"}
    for group in found.groups:
        if group.probability > first.probability:
            leading = {f"{found.causes[i].cause} at {found.causes[i].where}" for i in group.causes}
    assert expected in leading, (asked, [(c.cause, c.where, round(c.probability, 2)) for c in found.causes[:4]])
    if not call.named and call.most:
        assert found.done, (asked, first)
        assert found.repair is not None
        assert len(found.repair.do) > 20
