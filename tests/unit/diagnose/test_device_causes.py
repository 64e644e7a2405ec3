"""Dead boxes, shared fuses, crossed leads, damaged speakers, what comes and goes: found on the rig by what an expert asks first."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.causes import causes
from gainwright.diagnose.device_changes import SUB_FILTERED
from gainwright.diagnose.ensemble import Ensemble, Stimulus
from gainwright.diagnose.intermittent import there
from gainwright.diagnose.observations import observe
from gainwright.diagnose.tried_places import tried_places
from gainwright.errors import JobError
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.jobfile.starting.typical import chain_text
from gainwright.model import NO_INSTRUMENT, WORD_TEXTS, WORDED, Amplifier, HeardSpeaker, Job, Speaker, resolve
from gainwright.simulated import Fault, Rig, answer

SUB = {"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS"}
WOOFER = {"heard": "woofer", "tone": "500 Hz", "level": "-8 dBFS"}
TWEETER = {"heard": "tweeter", "tone": "6.3 kHz", "level": "-8 dBFS"}
BASS = {"heard": "woofer", "tone": "80 Hz", "level": "-8 dBFS"}


@functools.cache
def diagnoser(name: str) -> Diagnoser:
    """Return the diagnoser of an example with its gains set."""
    job = read_job_text(example_text(name)).job
    amplifiers = [n for n, s in job.stages.items() if isinstance(s, Amplifier) and not s.gain.fixed]
    return Diagnoser(with_settings(job, {f"{n}.gain": "30 %" for n in amplifiers}))


def told(name: str, fault: Fault, asked: list[dict[str, Any]], *, seed: int = 3) -> list[tuple[str, float]]:
    """Return the causes, likeliest first, after the rig's answers to some questions."""
    of = diagnoser(name)
    rig = Rig(of.job, seed=seed, faults=(fault,))
    entries = [read_entry(answer(rig, read_entry(e, of.job, answered=False)), of.job) for e in asked]
    causes, probability, _ = of.weigh(entries).of_causes()
    order = np.argsort(-probability)
    return [(str(causes[i]), float(probability[i])) for i in order]


def at(check: str) -> dict[str, Any]:
    """Return a check without its result."""
    return {"check": check}


FOUND = {
    "a dead processor": (Fault("box_no_power", "desk"), [SUB, WOOFER, at("desk.power_lamp")]),
    "the fuse of all": (Fault("shared_no_supply", ""), [SUB, WOOFER, at("vehicle.main_fuse"), at("amp_front.supply_voltage")]),
    "the turn-on of all": (
        Fault("shared_no_turn_on", ""),
        [SUB, WOOFER, at("amp_sub.supply_voltage"), at("amp_sub.turn_on_voltage"), at("amp_front.power_lamp")],
    ),
    "an output that is off": (Fault("output_switched_off", "head.sub"), [SUB, WOOFER, at("head.sub.switch")]),
    "crossed leads": (Fault("outputs_crossed", "desk.sub"), [SUB, WOOFER, TWEETER, SUB | {"tone": "500 Hz"}, at("desk.sub.leads")]),
    "a damaged speaker": (
        Fault("speaker_damaged", "sub"),
        [SUB, WOOFER, SUB | {"level": "-28 dBFS"}, at("sub.resistance"), at("sub.substitute")],
    ),
    "one coil open": (Fault("coil_open", "sub"), [SUB, at("sub.resistance"), at("sub.substitute")]),
    "the input mode": (Fault("input_mode_wrong", "amp_sub"), [SUB, at("amp_sub.input_mode")]),
    "the player's equaliser": (Fault("player_equaliser_on", "head", 14.0), [SUB, at("head.player"), at("head.other_source")]),
    "a knob that does nothing": (Fault("control_bypassed", "knob"), [SUB, at("knob.travel")]),
    "a loose lead": (Fault("lead_loose", "lead:desk.woofer-amp_front"), [WOOFER, at("lead:desk.woofer-amp_front.moved")]),
    "a hot amplifier": (Fault("amplifier_hot", "amp_front"), [WOOFER, at("amp_front.heat"), at("amp_front.protection_lamp")]),
    "a reversed side": (
        Fault("polarity_reversed", "lead:amp_front.left-woofer.left"),
        [WOOFER, BASS, at("woofer.one_side_reversed"), at("lead:amp_front-woofer")],
    ),
}  # fmt: skip
NAMES_OF_REVERSED = ("polarity_reversed",)


@pytest.mark.parametrize("name", FOUND)
def test_cause_is_among_the_first_after_what_an_expert_asks(name: str) -> None:
    """With a meter only where the question needs one, the cause stands among the first three; most stand first."""
    fault, asked = FOUND[name]
    causes = told("two_way_and_sub", fault, asked)
    first = [cause for cause, _ in causes[:3]]
    if fault.cause in NAMES_OF_REVERSED:  # which of the leads of that way is reversed needs eyes or a cell
        assert any(cause.startswith(NAMES_OF_REVERSED) for cause in first), causes[:4]
    else:
        assert str(Cause(fault.cause, fault.where)) in first, causes[:4]


def test_a_dead_converter_is_seen_by_its_fuse() -> None:
    """A box of its own that nothing showed by itself: no lamp, and its leads and the source before it are as likely."""
    asked = [{"heard": name} for name, s in diagnoser("factory_converter").job.stages.items() if isinstance(s, Speaker)]
    (first, before), *_ = told("factory_converter", Fault("box_no_power", "converter"), asked)
    (found, probability), *_ = told(
        "factory_converter", Fault("box_no_power", "converter"), [*asked, at("converter.fuse")]
    )
    assert found == "box_no_power at converter"
    assert probability > 0.9
    assert before < 0.5, first


def test_a_fader_is_told_from_a_balance() -> None:
    """Both sides of the rear faint, the front normal, and balance and fader not in the middle."""
    asked = [{"heard": "rear", "side": side} for side in ("left", "right")] + [
        {"heard": "front"},
        at("head.rear.balance"),
    ]
    causes = told("five_channel", Fault("fader_over", "head.rear", 40.0), asked)
    assert causes[0][0] == "fader_over at head.rear", causes[:3]


def test_one_of_two_parallel_coils_doubles_the_ohms() -> None:
    """2 x 4 ohm parallel are 2 ohm, with one open 4 ohm (Kirchhoff), and half of the force moves the cone (F = B l i)."""
    of = diagnoser("two_way_and_sub")
    ensemble = Ensemble(of.chain, [(Cause("coil_open", "sub"),)], draws=8, seed=1)
    change = ensemble.changes[0]
    assert [float(np.max(v)) for v in change.load.values()] == [2.0]
    assert change.coil == {"sub": 0.5}
    rig = Rig(of.job, seed=1, faults=(Fault("coil_open", "sub"),))
    sound = Rig(of.job, seed=1)
    lead = sum(rig._chain().lead_ohm(*wire) for wire in rig._wires(rig._chain(), "sub", "both"))
    assert rig.speaker_resistance("sub") - lead == pytest.approx(2 * (sound.speaker_resistance("sub") - lead))


def test_crossed_leads_bring_the_other_outputs_voltage() -> None:
    """Each input gets what the other output gives there, less the input's own load: the same within 3 %."""
    of = diagnoser("two_way_and_sub")
    hypotheses = [(Cause("nothing_wrong", ""),), (Cause("outputs_crossed", "desk.sub"),)]
    ensemble = Ensemble(of.chain, hypotheses, draws=4, seed=1)
    nodes = {str(n): n for n in of.chain.nodes}
    solved = ensemble.solve(Stimulus(50.0, -20.0), frozenset((nodes["amp_sub.out.mono"],)))
    column = solved.solution.index(nodes["amp_sub.out.mono"])
    volts = solved.of(solved.solution.rms_v[:, column])
    other = of.chain.wiring.routes  # the next output of the desk is high-passed: at 50 Hz far less comes
    assert other
    assert np.all(volts[1] < 0.5 * volts[0])


@pytest.mark.parametrize("asked", [SUB | {"is": "silent"}, {"check": "knob.travel", "is": "works"}])
def test_what_comes_and_goes_is_there_at_times(asked: dict[str, str]) -> None:
    """Under a loose lead an answer has the mean of its chances with that lead open and in a sound chain, exactly.

    So has what a control does; only what provokes the fault or is felt of it hasn't.
    """
    of = diagnoser("two_way_and_sub").rough
    lead = "lead:knob-amp_sub"
    index = {h: i for i, h in enumerate(of.ensemble.hypotheses)}
    loose, cut, sound = (
        index[(Cause(i, w),)] for i, w in (("lead_loose", lead), ("lead_open", lead), ("nothing_wrong", ""))
    )
    entry = read_entry(asked, of.chain.job)
    (found,) = observe(0, entry, of)
    assert found.chance is not None
    share = there(of.ensemble, entry)
    assert share.min() < 0.15
    assert share.max() > 0.85
    np.testing.assert_allclose(found.chance[loose], share * found.chance[cut] + (1 - share) * found.chance[sound])


def test_twice_the_same_and_different_points_to_what_comes_and_goes() -> None:
    """Silent, then normal on another day's question: a steady fault can't be both, a loose lead can."""
    of = diagnoser("two_way_and_sub")
    entries = [
        read_entry(SUB | {"is": "silent"}, of.job),
        read_entry({"heard": "sub", "is": "normal"}, of.job),
        read_entry({"check": "amp_sub.power_lamp", "is": "on"}, of.job),
        read_entry({"heard": "sub", "tone": "63 Hz", "level": "-8 dBFS", "is": "silent"}, of.job),
    ]
    causes, probability, _ = of.weigh(entries).of_causes()
    before = of.priors
    gone = [i for i, c in enumerate(of.causes) if c.id in ("lead_loose", "amplifier_hot") and "sub" in c.where]
    by = {str(c): float(p) for c, p in zip(causes, probability, strict=True)}
    assert sum(by[str(of.causes[i])] for i in gone) > 5 * sum(float(before[i]) for i in gone)


def test_words_of_tests_are_checked() -> None:
    """Each test has its words, each word its text; another word is refused with those that are possible."""
    job: Job = diagnoser("two_way_and_sub").job
    assert {word for words in WORDED.values() for word in words} == set(WORD_TEXTS)
    with pytest.raises(JobError) as caught:
        read_entry({"check": "sub.substitute", "is": "worse"}, job)
    assert "same or better" in caught.value.remedy


PARTS = {
    "a low-pass before the doors": ("five_channel", Fault("low_pass_in_the_way", "amp_front", 60.0), "front", "dull"),
    "a high-pass before the doors": (
        "five_channel",
        Fault("high_pass_in_the_way", "amp_front", 2000.0),
        "front",
        "thin",
    ),
    "a gain that is low": ("five_channel", Fault("gain_low", "amp_front"), "front", "usual"),
    "the woofer on the subwoofer's output": (
        "two_way_and_sub",
        Fault("outputs_crossed", "desk.woofer"),
        "woofer",
        "dull",
    ),
    "the subwoofer on another output": ("two_way_and_sub", Fault("outputs_crossed", "desk.sub"), "sub", "voices"),
}


@pytest.mark.parametrize("name", PARTS)
def test_part_of_the_music_that_a_speaker_plays_tells_filters_and_crossed_leads(name: str) -> None:
    """The rig plays tones of its own choice; what it hears under a fault is hardly ever heard of a sound chain.

    It is likely under the fault: a filter's corner may also lie where less is missed, and a subwoofer's amplifier may have
    a low-pass that keeps voices out.
    """
    job, fault, speaker, word = PARTS[name]
    of = diagnoser(job)
    entry = read_entry(at(f"{speaker}.sounds"), of.job, answered=False)
    assert answer(Rig(of.job, seed=3, faults=(fault,)), entry)["is"] == word
    assert answer(Rig(of.job, seed=3), entry)["is"] == "usual"
    found = of.rough.check(f"{speaker}.sounds")
    chance = found.chance[found.labels.index(word)].mean(axis=1)
    assert chance[of.rough.ensemble.hypotheses.index((Cause(fault.cause, fault.where),))] > 0.2
    if word != "usual":
        assert chance[of.rough.ensemble.hypotheses.index((Cause("nothing_wrong", ""),))] < 0.03


def test_part_of_the_music_is_asked_of_faint_speakers_by_whom_has_ears_alone() -> None:
    """Of faint ones and, once there is one, of a subwoofer that plays; with a meter at hand tones are played instead."""
    of = Diagnoser(read_job_text(chain_text("radio_doors_and_sub", ("meter",))).job)

    def asked(at_hand: str, *entries: dict[str, Any]) -> set[str]:
        read = [read_entry(e, of.job) for e in entries]
        unreachable = frozenset({NO_INSTRUMENT} if at_hand == "ears" else ())
        tests = Catalogue(of.job, of.chain, of.instruments, read, unreachable).all()
        return {test.where for test in tests if test.test == "hear_which_part"}

    faint, plays = {"heard": "front_speakers", "is": "faint"}, {"heard": "subwoofer", "is": "normal"}
    assert asked("ears", plays) == set()
    assert asked("ears", faint) == {"front_speakers.sounds"}
    assert asked("ears", faint, plays) == {"front_speakers.sounds", "subwoofer.sounds"}
    assert asked("a meter", faint, plays) == set()


def test_whine_on_two_branches_is_the_ground_of_the_source_and_on_one_a_lead() -> None:
    """No single lead whines on both; the ground is looked at where there is noise, and only where a source feeds two by volts."""
    of = diagnoser("five_channel")
    both = [{"heard": s, "tone": "off", "is": "whine"} for s in ("front", "rear")]
    one = [both[0], {"heard": "rear", "tone": "off", "is": "silent"}]

    def first(said: list[dict[str, str]]) -> Cause:
        found, probability, _ = of.weigh([read_entry(e, of.job) for e in said]).of_causes()
        return found[int(np.argmax(probability))]

    assert first(both) == Cause("source_ground_bad", "head")
    assert first(one).id == "alternator_whine"
    for name, two in (("five_channel", True), ("one_amplifier", False), ("factory_converter", False)):
        job = read_job_text(example_text(name)).job
        speaker = next(n for n, s in job.stages.items() if isinstance(s, Speaker))
        noise = [read_entry({"heard": speaker, "tone": "off", "is": "whine"}, job)]
        grounds = [[t.place for t in tried_places(job, resolve(job), e, frozenset())] for e in (noise, [])]
        assert ["head.ground" in places for places in grounds] == [two, False]
        assert any(c.id == "source_ground_bad" for c in causes(job, resolve(job), {})) == two


def test_softer_noise_and_protection_are_asked_for_where_they_tell() -> None:
    """A lower level after distortion, unplugged leads after noise, speakers off after protection; none of them before."""
    of = diagnoser("two_way_and_sub")

    def catalogue(*entries: dict[str, Any]) -> Catalogue:
        return Catalogue(of.job, of.chain, of.instruments, [read_entry(e, of.job) for e in entries])

    def tests(*entries: dict[str, Any]) -> set[tuple[str, str]]:
        return {(c.test, c.where) for c in catalogue(*entries).all()}

    def lower(*entries: dict[str, Any]) -> list[float]:
        found = [c.entry for c in catalogue(*entries).all() if c.test == "listen" and c.where == "sub"]
        return [e.level_dbfs for e in found if isinstance(e, HeardSpeaker) and e.tone_hz and e.level_dbfs < -20]

    plain = tests()
    assert not {test for test, _ in plain} & {"unplug_signal", "unload"}
    assert {"look_at_fuse", "other_source", "other_speaker", "move_control", "move_lead", "reverse_side"} <= {
        t for t, _ in plain
    }
    assert ("unplug_signal", "amp_sub.unplugged") in tests(SUB | {"is": "hum"})
    now, then = SUB | {"is": "silent"}, SUB | {"is": "normal", "note": "an hour later"}
    asked = ("ask_what_brings_it", "sub.provoked")
    assert asked not in plain | tests(now)
    assert asked in tests(now, then)
    assert asked not in tests(now, then, {"check": "sub.provoked", "is": "bumps"})
    assert ("unload", "amp_sub.unloaded") in tests({"check": "amp_sub.protection_lamp", "is": "on"})
    rough, soft = SUB | {"is": "distorted"}, SUB | {"level": "-28 dBFS", "is": "distorted"}
    assert lower() == []
    assert lower(rough) == [-28.0]
    assert lower(rough, soft) == []  # made once, and what is played from then on is as loud as before
    assert {path.level_dbfs for path in catalogue(rough, soft).paths} == {-8.0}


def test_front_doors_on_an_output_for_a_subwoofer_are_faint_if_its_low_pass_is_on() -> None:
    """Four in five radios of which nobody knows the figures have one; a job that gives the radio's figures, or one, has what it says.

    At 500 Hz a low-pass of 50 to 150 Hz takes 20 dB or more off; twice as quiet is 10 dB.
    """
    text = chain_text("radio_doors_and_sub")
    crossed = (Cause("outputs_crossed", "head_unit.sub"),)

    def heard(text: str) -> float:
        of = Diagnoser(read_job_text(text).job).rough
        words = of.heard("front_speakers", Stimulus(500.0, -9.0), familiar=True)
        there = words.chance[:, of.ensemble.hypotheses.index(crossed)].mean(axis=1)
        return float(there[words.labels.index("normal")])

    assert heard(text) == pytest.approx(1 - SUB_FILTERED, abs=0.05)
    assert heard(text.replace("rated_output: unknown", "rated_output: 4 V", 1)) > 0.95


def test_lost_supply_of_all_may_take_their_turn_on_with_it() -> None:
    """A processor without supply gives no turn-on either: 0 V there doesn't hide the fuse of all, which the rig's answers show."""
    asked = [
        SUB,
        WOOFER,
        TWEETER,
        at("amp_sub.power_lamp"),
        at("amp_sub.turn_on_voltage"),
        at("amp_sub.supply_voltage"),
    ]
    found = dict(told("two_way_and_sub", Fault("shared_no_supply", ""), asked))
    supply, turn_on = (
        next(p for c, p in found.items() if c.startswith(name)) for name in ("shared_no_supply", "shared_no_turn_on")
    )
    assert supply > 0.8
    assert supply > 10 * turn_on
