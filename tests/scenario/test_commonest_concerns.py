"""The commonest concerns of the trade, each met as a support desk meets it: a call, a few readings, the cause.

The chain is the rig, a second method that shares no formula with the diagnosis. The caller can do what a caller can:
look, listen, and use the meter where it says; what is behind the dash stays there.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest

from gainwright.diagnose import Diagnoser, Diagnosis, tell
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.simulated import Fault, Rig, answer

if TYPE_CHECKING:
    from gainwright.model import Job

SUB = {"heard": "sub", "tone": "40 Hz", "level": "-10 dBFS"}
WOOFER = {"heard": "woofer", "tone": "1 kHz", "level": "-10 dBFS"}
TWEETER = {"heard": "tweeter", "tone": "6 kHz", "level": "-10 dBFS"}


@dataclass(frozen=True)
class Concern:
    """A call: the chain, what is wrong with it, what the caller tells, and in how many tests it should be found."""

    cause: str
    where: str
    call: tuple[dict[str, Any], ...]
    most: int = 8
    job: str = "two_way_and_sub"
    sets: dict[str, str] = field(default_factory=dict)
    amount: float | None = None
    side: str = "both"
    unreachable: tuple[str, ...] = ("head",)
    told: str = ""
    """What is told instead of the fault that was put in, when nothing is wrong with the chain."""


TWO_WAY = {"amp_front.gain": "30 %", "amp_high.gain": "30 %"}
CONCERNS = {
    "a lead is broken": Concern("lead_open", "lead:desk.sub-knob", (SUB, WOOFER)),
    "a lead is corroded": Concern("lead_resistive", "lead:knob-amp_sub", (SUB, WOOFER), amount=60_000.0),
    "a lead is shorted on one side": Concern(
        "lead_shorted", "lead:desk.woofer.left-amp_front.left", (SUB, WOOFER | {"side": "left"}, WOOFER | {"side": "right"})
    ),
    "the level control is down": Concern("level_control_down", "knob", (SUB, WOOFER), most=6, amount=36.0),
    "the gain is at its muting end": Concern("gain_muted", "amp_sub", (SUB, WOOFER), most=6),
    "a crossover in the amplifier is in the way": Concern(
        "low_pass_in_the_way", "amp_front", (SUB, WOOFER, TWEETER), amount=40.0
    ),
    "a crossover in the head unit is in the way": Concern(
        "high_pass_in_the_way", "head.sub", (SUB, WOOFER), unreachable=(), amount=4000.0
    ),
    "an unset stage passes nothing on": Concern("output_muted", "desk.sub", (SUB, WOOFER), most=6),
    "a boost is on": Concern(
        "boost_on",
        "amp",
        ({"at": "amp.out.mono", "with": "meter", "tone": "50 Hz", "level": "-10 dBFS"},),
        job="one_amplifier",
        amount=14.0,
        unreachable=(),
        most=6,
    ),
    "the tone file is levelled by its player": Concern(
        "tone_level_wrong", "head", (SUB, WOOFER, TWEETER, {"at": "desk.sub.mono", "with": "meter", "tone": "40 Hz", "level": "-10 dBFS"}), amount=28.0, unreachable=()
    ),
    "the amplifier is not turned on": Concern("amplifier_no_turn_on", "amp_sub", (SUB, WOOFER), most=4),
    "the amplifier's fuse is blown": Concern("amplifier_no_supply", "amp_high", (TWEETER, WOOFER), most=4),
    "the amplifier protects itself": Concern("amplifier_protecting", "amp_front", (WOOFER, TWEETER), most=5),
    "one speaker is open": Concern(
        "speaker_open", "woofer", (SUB, WOOFER | {"side": "left"}, WOOFER | {"side": "right"}), side="left", most=9
    ),
    "one channel of the amplifier is dead": Concern(
        "side_dead", "amp_front.out.right", (SUB, WOOFER | {"side": "left"}, WOOFER | {"side": "right"}), most=9
    ),
    "the balance is over": Concern(
        "balance_over", "head.front", (WOOFER | {"side": "left"}, WOOFER | {"side": "right"}, TWEETER | {"side": "right"}), unreachable=()
    ),
    "the measuring lead is broken": Concern(
        "measuring_lead_open", "meter", (SUB, {"at": "amp_sub.out.mono", "with": "meter", "tone": "40 Hz", "level": "-10 dBFS"}), most=8
    ),
    "hum comes in at a lead": Concern("ground_loop", "lead:head.sub-amp", ({"heard": "sub", "tone": "off"},), job="one_amplifier", amount=0.08),
    "a speaker lead is the wrong way round": Concern(
        "polarity_reversed", "lead:amp_sub-sub", (SUB, {"check": "sub.cone"}, {"check": "sub.resistance"}), most=0
    ),
    "a full-range tone at a subwoofer amplifier": Concern(
        "nothing_wrong",
        "",
        ({"at": "amp_sub.out.mono", "with": "meter", "tone": "1 kHz", "level": "0 dBFS"}, SUB),
        told="wrong_tone_for_path at desk",
        most=12,
        unreachable=(),
    ),
    "the source gives less than the indicator needs": Concern(
        "nothing_wrong",
        "",
        ({"at": "player.line.left", "with": "tester", "tone": "1 kHz", "level": "-20 dBFS"},),
        job="active_three_way",
        told="indicator_below_threshold at tester",
        most=12,
        unreachable=(),
    ),
}  # fmt: skip


def met(concern: Concern, *, seed: int = 3) -> tuple[Diagnosis, list[str]]:
    """Carry a call through; return the last diagnosis and the tests that were asked for."""
    job: Job = read_job_text(example_text(concern.job)).job
    sets = TWO_WAY if concern.job == "two_way_and_sub" else {}
    if concern.job == "active_three_way":
        sets = {f"{name}.gain": "30 %" for name in ("amp_high", "amp_mid", "amp_bass")}
    job = with_settings(job, sets | concern.sets)
    fault = Fault(concern.cause, concern.where, concern.amount, concern.side)
    rig = Rig(job, seed=seed, faults=() if concern.cause == "nothing_wrong" else (fault,))
    diagnoser = Diagnoser(job)
    entries = [read_entry(answer(rig, read_entry(said, job, answered=False)), job) for said in concern.call]
    asked: list[str] = []
    while True:
        found = tell(diagnoser, entries, frozenset(concern.unreachable))
        if found.done or not found.next or len(asked) == concern.most:
            return found, asked
        entry = read_entry(found.next[0].entry, job, answered=False)
        asked.append(f"{found.next[0].test} {found.next[0].where}")
        entries.append(read_entry(answer(rig, entry), job))


@pytest.mark.parametrize("name", CONCERNS)
def test_concern_is_found_with_what_a_caller_has(name: str) -> None:
    """The cause (or the group that nothing reachable parts it from) is named first, in words, with its repair."""
    concern = CONCERNS[name]
    found, asked = met(concern)
    told = concern.told or f"{concern.cause} at {concern.where}"
    first = found.causes[0]
    leading = {f"{first.cause} at {first.where}"}
    for group in found.groups:
        if group.probability > first.probability:
            leading = {f"{found.causes[i].cause} at {found.causes[i].where}" for i in group.causes}
    assert told in leading, (asked, [(c.cause, c.where, round(c.probability, 2)) for c in found.causes[:4]])
    if not concern.told and concern.most:
        assert found.done, (asked, first)
        assert found.repair is not None
        assert len(found.repair.do) > 20
