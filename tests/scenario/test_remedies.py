"""Each finding's remedy carried out on the job: the finding disappears, and no blocker appears."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest
from cars import CARS
from random_jobs import random_job

import gainwright.plan as plan_package
from gainwright.jobfile import example_text, examples, read_job_text, with_changes
from gainwright.model import Job
from gainwright.plan import Finding, Plan, make_plan

PLANNED = ("harmonics_filtered", "below_threshold", "other_stage_first", "tone_filtered", "recorder_overloads")
"""What the plan itself goes round: its own step is the remedy, seen when it is visible."""
MINE = (
    "load_below_minimum",
    "source_cannot_drive",
    "too_much_drive",
    "speaker_under_rating",
    "gain_may_mute",
    "input_overdriven",
    "boost_costs_headroom",
    "unprotected_speaker",
    "filters_clash",
    "filters_twice",
    "tone_out_of_band",
    *PLANNED,
)

NOTHING_HELPS = ("nothing at hand shows it", "no level before it helps")

CHANGES = {
    "load": ("boost: flat", "minimum_load: 4 ohm"),
    "load without coils": ("coils: 2 x 4 ohm parallel", "impedance: 1 ohm"),
    "unprotected": ("protect_below: 2.5 kHz", "protect_below: 5 kHz"),
    "input": ("input_limit: 5 V", "input_limit: 1 V"),
    "input of an amplifier": ("sensitivity: 0.3 .. 6 V", "sensitivity: 0.1 .. 0.4 V"),
    "clash": (
        "high_pass: linkwitz-riley 24 at 80 Hz, low_pass: linkwitz-riley 24 at 3.2 kHz",
        "high_pass: linkwitz-riley 24 at 400 Hz, low_pass: linkwitz-riley 24 at 200 Hz",
    ),
    "twice": ("low_pass: butterworth 24 at 250 Hz", "low_pass: butterworth 24 at 90 Hz"),
    "twice in a range": (
        "low_pass: butterworth 24 at 250 Hz",
        "low_pass: butterworth 24 at 90 Hz\n    low_pass_range: 50 .. 400 Hz",
    ),
    "weak source": ("sensitivity: 0.2 .. 5 V", "sensitivity: 4 .. 8 V"),
    "weaker source": ("rated_output: 4 V ", "rated_output: 0.2 V "),
    "hot source": ("sensitivity: 0.2 .. 5 V", "sensitivity: 0.02 .. 0.1 V"),
    "boost at the tone": ("boost: flat", "boost: peak +6 dB at 45 Hz q 0.7"),
    "boost away from it": ("boost: flat", "boost: peak +13 dB at 60 Hz q 4"),
    "boost in the source": ("tone: [flat]", "tone: [high-shelf +6 dB at 8 kHz q 0.7]"),
    "narrow meter": ("bandwidth: 1 kHz", "bandwidth: 400 Hz"),
    "no recorder": ("  interface:  {kind: recorder, full_scale: 2 V, attenuator: 30 dB, rate: 48 kHz}\n", ""),
    "weak lamp": (
        "  meter:      {kind: multimeter, true_rms: yes, accuracy: 1.2 % + 3 counts, counts: 6000, bandwidth: 1 kHz}\n",
        "  lamp: {kind: indicator, marks: {there: level over 90 V, clip: thd over 30 %}}\n",
    ),
}


def changed(name: str) -> str:
    """Return the two-way example with a text changed."""
    old, new = CHANGES[name]
    text = example_text("two_way_and_sub")
    assert old in text
    return text.replace(old, new)


JOBS = {n: example_text(n) for n in examples()} | CARS | {n: changed(n) for n in CHANGES}


def _unseen(plan: Plan) -> set[str]:
    return {step.id for step in plan.steps if step.phase == "source" and not step.visible}


def left(job: Job, plan: Plan, finding: Finding) -> str:
    """Carry a finding's remedy out; return what is left of it."""
    after = make_plan(with_changes(job, finding.remedy_sets))
    same = [f for f in after.findings if (f.code, f.where) == (finding.code, finding.where)]
    if finding.code in PLANNED:  # with another instrument the plan goes round it, and says so
        same = [f for f in same if f.severity != "note"]
    new = {f.code for f in after.findings if f.severity == "blocker"}
    new -= {f.code for f in plan.findings if f.severity == "blocker"}
    if finding.code in PLANNED and finding.remedy.startswith("planned"):
        unseen = _unseen(after) - _unseen(plan)
        return f"the planned step isn't seen: {unseen}" if unseen else ""
    return f"{finding.code} at {finding.where} stays with {finding.remedy_sets}" if same else ", ".join(new)


@pytest.mark.parametrize("name", list(JOBS))
def test_a_remedy_that_is_carried_out_ends_its_finding(name: str) -> None:
    """Examples, other cars, and the two-way chain with one thing wrong: every remedy says what to set, and it works."""
    job = read_job_text(JOBS[name]).job
    plan = make_plan(job)
    mine = [f for f in plan.findings if f.code in MINE]
    for finding in mine:
        if finding.remedy_sets:
            assert left(job, plan, finding) == ""
        else:
            assert finding.remedy.startswith(("planned: ", *NOTHING_HELPS)) or not finding.remedy, finding
    assert name not in CHANGES or mine


@pytest.mark.parametrize("seed", range(3))
def test_remedies_of_random_jobs(seed: int) -> None:
    """Random chains: the same."""
    job = random_job(100 + seed)
    plan = make_plan(job)
    assert [w for f in plan.findings if f.code in MINE and f.remedy_sets and (w := left(job, plan, f))] == []


def test_more_allowance_makes_a_boost_worse_and_the_remedy_in_words_helps() -> None:
    """A boost away from the tone: 13 dB more allowance raises what full scale drives it to; a tone at the boost ends that.

    By the solver's own levels: at minus the allowance the boosted frequency lies above the target by what the finding says.
    """
    job = read_job_text(JOBS["boost away from it"]).job
    plan = make_plan(job)
    finding = next(f for f in plan.findings if f.code == "boost_costs_headroom")
    assert "More allowance would raise the gain" in finding.remedy
    over = {name: _over_db(with_changes(job, sets)) for name, sets in _WAYS.items()}
    assert over["more"] > over["as it is"] + 10
    assert over["tone"] < over["as it is"] - 8
    assert over["flat"] == pytest.approx(over["tone"], abs=1.5)


_WAYS = {
    "as it is": {},
    "more": {"allowance.amp_sub": "21 dB"},
    "tone": {"tones.amp_sub": "60 Hz"},
    "flat": {"amp_sub.boost": "flat"},
}


def _over_db(job: Job) -> float:
    return float(np.max([f.over_db for f in make_plan(job).full_scale if f.stage == "amp_sub"]))


ONLY_THE_PERSON_KNOWS = (
    "corner_out_of_range",
    "improbable_value",
    "load_detection_unknown",
    "balanced_input_unknown",
    "factory_source_unknown",
)
"""Questions: which of two figures, or what a device does, no change of the job can tell."""
HOW_TO_WORK = ("source_limits", "strapped_pair", "turned_on_by_signal", "no_tone_on_load")
"""What holds whatever is set, and what to do with it while working."""
HEAD = "head: {kind: head_unit, rated_output: 4 V, volume: {steps: 40}, outputs: {front: {}}}"
POWERED = "head: {kind: head_unit, rated_output: 9 V, speaker_level: yes, outputs: {front: {}}}"
AMP = "{kind: amplifier, from: head.front, power: 75 W @ 4 ohm, sensitivity: 0.2 .. 5 V}"
LOUD = "x: {kind: speaker, from: a, impedance: 4 ohm}"
PAIR = (
    "a: {kind: amplifier, from: head.front, power: 300 W @ 2 ohm, sensitivity: 0.2 .. 5 V}",
    "b: {kind: amplifier, from: head.front, power: 300 W @ 2 ohm, sensitivity: 0.2 .. 5 V, polarity: reversed, strapped_to: a}",
    "x: {kind: speaker, from: [a, b], impedance: 4 ohm}",
)
ONLY_A_RECORDER = "instruments:\n  interface: {kind: recorder, full_scale: 2 V, attenuator: 30 dB, rate: 48 kHz}\n"

SMALL = {
    "outputs_tied": ("", HEAD, (f"a: {AMP}", f"b: {AMP}", "x: {kind: speaker, from: [a, b], impedance: 4 ohm}")),
    "both channels tied": (
        "",
        HEAD,
        (f"a: {AMP}", "x: {kind: speaker, from: [a.left, a.right], coils: 2 x 4 ohm series}"),
    ),
    "line_output_on_speaker": ("", HEAD, ("x: {kind: speaker, from: head.front, impedance: 4 ohm}",)),
    "speaker_level_into_line_input": ("", POWERED, (f"a: {AMP}", LOUD)),
    "speaker level into a processor": (
        "",
        POWERED,
        (
            "desk: {kind: processor, inputs: {in: head.front}, outputs: {out: {from: in}}}",
            f"a: {AMP.replace('head.front', 'desk.out')}",
            LOUD,
        ),
    ),
    "unprotected_speaker": ("", HEAD, (f"a: {AMP}", "tweeter: {kind: speaker, from: a, impedance: 4 ohm}")),
    "tweeter by resonance": ("", HEAD, (f"a: {AMP}", "x: {kind: speaker, from: a, resonance: 900 Hz}")),
    "sensitivity_reversed": ("", HEAD, (f"a: {AMP.replace('0.2 .. 5 V', '5 .. 0.2 V')}", LOUD)),
    "supply_far_from_rating": ("vehicle: {running: 24 V, resting: 23 V}\n", HEAD, (f"a: {AMP}", LOUD)),
    "supply_reversed": ("vehicle: {running: 12.4 V, resting: 13 V}\n", HEAD, (f"a: {AMP}", LOUD)),
    "strapped_unproved": (ONLY_A_RECORDER, HEAD.replace("front: {}", "front: {sides: [mono]}"), PAIR),
    "no_instrument": (ONLY_A_RECORDER, HEAD, (f"a: {AMP}", LOUD)),
    "strapped_bridged": (
        "",
        HEAD.replace("front: {}", "front: {sides: [mono]}"),
        (PAIR[0], PAIR[1][:-1] + ", bridged: yes}", PAIR[2]),
    ),
    "strapped_in_phase": (
        "",
        HEAD.replace("front: {}", "front: {sides: [mono]}"),
        (PAIR[0], PAIR[1].replace("polarity: reversed, ", ""), PAIR[2]),
    ),
    "source_too_loud": (
        "",
        "head: {kind: head_unit, rated_output: 8 V, output_limit: 8 V, volume: {steps: 30, at: 30, step: 1 dB, top: 0 dB}}",
        (
            "desk: {kind: processor, inputs: {in: head}, input_limit: 4 V, volume: {steps: 40}, outputs: {out: {}}}",
            AMP.replace("head.front", "desk.out").join(("a: ", "")),
            LOUD,
        ),
    ),
    "load_below_minimum": (
        "",
        POWERED.replace("front: {}", "front: {}, rear: {}"),
        (
            "x: {kind: speaker, from: head.front, impedance: 4 ohm}",
            "y: {kind: speaker, from: head.rear, impedance: 2 ohm}",
        ),
    ),
    "grounded_on_balanced": (
        ONLY_A_RECORDER,
        HEAD.replace("rated_output", "balanced: yes, rated_output"),
        (f"a: {AMP}", LOUD),
    ),
}


@pytest.mark.parametrize("name", list(SMALL))
def test_every_remedy_of_a_small_job_is_carried_out(name: str) -> None:
    """Chains with one thing wrong: each finding with a remedy says what to set and is gone then, but for what nobody can set."""
    head, source, stages = SMALL[name]
    job = read_job_text(head + "format: 1\nstages:\n" + "".join(f"  {s}\n" for s in (source, *stages))).job
    plan = make_plan(job)
    assert " " in name or name in {f.code for f in plan.findings}
    blocking = [f for f in plan.findings if f.severity == "blocker"]
    for finding in blocking or plan.findings:  # with a wrong connection, figures of the rest mean nothing yet
        if finding.code in (*ONLY_THE_PERSON_KNOWS, *HOW_TO_WORK) or finding.remedy.startswith(NOTHING_HELPS):
            assert not finding.remedy_sets
        elif finding.remedy and not finding.remedy.startswith("planned: "):
            assert finding.remedy_sets, finding
            after = make_plan(with_changes(job, finding.remedy_sets)).findings
            assert (finding.code, finding.message) not in {(f.code, f.message) for f in after}
            assert left(job, plan, finding) == ""


SOURCES = (
    *("source_levels_tracks", "equaliser_follows_volume", "no_load_found", "noise_cancelling"),
    "balanced_into_unbalanced",
)
"""Carried out in tests/truth/test_factory_sources.py, on chains of their own."""
NO_REMEDY = ("filter_not_proved",)
"""Nothing in the job ends it."""


def test_every_finding_code_has_its_remedy_carried_out_somewhere() -> None:
    """By the source text: a finding that is added without a test of its remedy fails here."""
    carried_out = {*MINE, *SMALL, *SOURCES, *NO_REMEDY, *ONLY_THE_PERSON_KNOWS, *HOW_TO_WORK}
    sources = [ast.parse(path.read_text("utf-8")) for path in Path(plan_package.__file__).parent.glob("*.py")]
    calls = [node for tree in sources for node in ast.walk(tree) if isinstance(node, ast.Call)]
    codes = {
        call.args[1].value
        for call in calls
        if isinstance(call.func, ast.Name)
        and call.func.id == "Finding"
        and len(call.args) > 1
        and isinstance(call.args[1], ast.Constant)
    }
    assert "outputs_tied" in codes
    assert codes <= carried_out, codes - carried_out


def test_a_smaller_allowance_is_offered_only_where_it_is_enough() -> None:
    """The source is further short than the allowance is large: only a driver helps, and only that is said."""
    head, source, stages = "allowance: {all: 2 dB}\n", HEAD.replace("4 V", "0.1 V"), (f"a: {AMP}", LOUD)
    texts = {}
    for allowance in ("2 dB", "20 dB"):
        text = head.replace("2 dB", allowance) + "format: 1\nstages:\n" + "".join(f"  {s}\n" for s in (source, *stages))
        found = [f for f in make_plan(read_job_text(text).job).findings if f.code == "source_cannot_drive"]
        texts[allowance] = found[0].remedy if found else ""
    assert "driver" in texts["2 dB"]
    assert "smaller" not in texts["2 dB"]


def test_no_note_names_a_tone_that_the_job_has_nothing_to_do_with() -> None:
    """What one tone for all would do is said of a tone of the job itself: of another of its paths."""
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    tones = {f"{step.tone_hz:g} Hz" for step in plan.steps if step.phase == "amplifier" and step.tone_hz}
    notes = [f.message for f in plan.findings if f.code == "tone_filtered"]
    assert notes
    assert all(any(f" {tone}" in note for tone in tones) for note in notes)
