"""Practice: the call in a caller's voice, mistakes of a caller, and the review after the end."""

from __future__ import annotations

import io
from typing import Any

import pytest
from indicators import with_lamp

from gainwright.app.practice.caller import caller_words
from gainwright.app.practice.class_exercises import Replay
from gainwright.app.practice.practice import practise, with_gains_set
from gainwright.app.practice.review import PracticeReview, explain_results, repaired_levels
from gainwright.app.practice.stored_practices import review_practice
from gainwright.cli.practice import run_exercise
from gainwright.diagnose import Diagnoser
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.model.class_exercise import PracticeLimits
from gainwright.report.practice_review import repaired_charts, result_words
from gainwright.results import from_json, to_json
from gainwright.simulated import SimulatedHiddenRigs
from gainwright.solve import Chain, levels

JOB = with_gains_set(read_job_text(example_text("one_amplifier")).job)
TWO_WAY = with_gains_set(read_job_text(example_text("full_range")).job)
KNOB = with_gains_set(read_job_text(example_text("two_way_and_sub")).job)
RIGS = SimulatedHiddenRigs()
SILENT = {"cause": "lead_open", "where": "lead:head.sub-amp"}


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    """Return the diagnoser of the smallest chain."""
    return Diagnoser(JOB)


def said(*words: tuple[str, str, str]) -> str:
    """Return what a caller says of speaker, side and word."""
    entries = [{"heard": s, "is": w} | ({} if side == "both" else {"side": side}) for s, side, w in words]
    return " ".join(caller_words([read_entry(e, TWO_WAY) for e in entries], TWO_WAY))


def test_the_call_is_told_in_plain_words() -> None:
    """What is ill first; one side by name; the same words for the same hearing; no name of the job, tone or figure."""
    one = said(("front", "both", "normal"), ("rear", "left", "silent"), ("rear", "right", "normal"))
    assert one == (
        "Not a sound comes from the rear speaker on the left. "
        "From the front speaker and the rear speaker on the right it sounds as it always did."
    )
    assert said(("front", "both", "faint"), ("rear", "both", "faint")).startswith("Everything has become so quiet")
    assert said(("front", "both", "whine"), ("rear", "both", "hum")) == (
        "There is a low hum from the rear speaker all the time. "
        "There is a whistle from the front speaker that goes up and down with the engine."
    )
    assert said(("front", "both", "normal"), ("rear", "both", "normal")).endswith("Is something wrong with it?")
    for word in ("silent", "faint", "distorted", "hum", "whine"):
        assert said(("front", "both", word), ("rear", "both", "normal")) != said(
            ("front", "both", word), ("rear", "both", word)
        )


@pytest.mark.parametrize(("cause", "where", "words"), [
    ("lead_loose", "lead:head.sub-amp", "With the sub it comes and goes: sometimes it plays as it always did, sometimes it is silent."),
    ("amplifier_hot", "amp", "With the sub it comes and goes: sometimes it plays as it always did, sometimes it is silent."),
    ("control_bypassed", "knob", "When I turn the knob, nothing changes."),
])  # fmt: skip
def test_what_comes_and_goes_or_does_nothing_is_told_so(cause: str, where: str, words: str) -> None:
    """Heard once, such a speaker sounds as always half of the time, and nobody would know why the caller calls."""
    practice = practise(JOB if where != "knob" else KNOB, rigs=RIGS, seed=4, cause=cause, where=where)
    assert words in practice.call
    assert practice.call == caller_words(practice.entries, practice.job)


def test_healthy_chains_are_practised_on(diagnoser: Diagnoser) -> None:
    """Some seeds hide nothing, most hide a fault; nothing wrong is a right answer, and half right as to another reason."""
    drawn = [RIGS.hidden(JOB, seed=seed).cause for seed in range(60)]
    assert 2 <= drawn.count("nothing_wrong") <= 20
    practice = practise(JOB, rigs=RIGS, seed=1, cause="nothing_wrong", diagnoser=diagnoser)
    assert practice.guess("nothing_wrong", "")
    assert practice.nearly("wrong_tone_for_path")
    assert not practice.nearly("lead_open")


def test_a_wrong_tone_is_what_the_caller_did() -> None:
    """The call tells it, the evidence has the reading, the diagnosis names it, and the same seed makes it again."""
    job = with_gains_set(read_job_text(example_text("two_way_and_sub")).job)
    made = [practise(job, rigs=RIGS, seed=7, cause="wrong_tone_for_path", where="desk") for _ in range(2)]
    assert made[0].call == made[1].call
    assert (made[0].cause, made[0].where) == ("wrong_tone_for_path", "desk")
    assert "But I played a tone of" in made[0].call[-1]
    assert made[0].guess("wrong_tone_for_path", "desk")


def test_an_indicator_that_needs_more_is_what_the_caller_did() -> None:
    """A tone too low for its mark, at a chain whose speakers all play."""
    text = with_lamp(example_text("one_amplifier"))
    job = with_gains_set(read_job_text(text).job)
    practice = practise(job, rigs=RIGS, seed=2, cause="indicator_below_threshold", where="lamp")
    assert (practice.cause, practice.where) == ("indicator_below_threshold", "lamp")
    assert "nothing lit up" in practice.call[-1]


def test_the_review_says_what_each_result_told(diagnoser: Diagnoser) -> None:
    """What became of the true cause's probability is what the diagnosis believes; a stored review is the same again."""
    practice = practise(JOB, rigs=RIGS, seed=4, diagnoser=diagnoser, **SILENT)
    for test in ("look amp.power_lamp", "measure amp.out.mono meter", "check lead:head.sub-amp"):
        practice.ask(next(name for name in practice.tests() if name.startswith(test)))
    review = review_practice(practice, 3)
    assert from_json(PracticeReview, to_json(review)) == review
    assert len(review.told) == 3
    causes, probability, _ = diagnoser.weigh(practice.entries).of_causes()
    hidden = [
        float(p)
        for c, p in zip(causes, probability, strict=True)
        if (c.id, c.where) == (practice.cause, practice.where)
    ]
    assert review.told[-1].truth_after == pytest.approx(hidden[0])
    assert review.told[-1].leading == ("lead_open", "lead:head.sub-amp")
    assert review.told[0].truth_after == review.told[1].truth_before
    assert any(cause == "amplifier_no_supply" for cause, _ in review.told[0].ruled_out)


def test_a_result_that_tells_nothing_is_called_so(diagnoser: Diagnoser) -> None:
    """The same entry once more moves little; the words say so, and else name what was ruled out and what leads."""
    entries = [read_entry({"heard": "sub", "is": "silent"}, JOB)]
    again = explain_results(
        diagnoser,
        entries,
        [read_entry({"heard": "sub", "is": "silent", "note": "again"}, JOB)],
        ("lead_open", "lead:head.sub-amp"),
    )
    words: dict[str, Any] = {
        "ruled_out": [("gain_low", "amp")] * 5,
        "leading": ("lead_open", "lead:head.sub-amp"),
        "share": 0.5,
    }
    told = result_words(JOB, **words, truth=(0.2, 0.4), moved=0.4)
    assert "and 2 more" in told
    assert "What was hidden went from 20 % to 40 %" in told
    assert result_words(JOB, **words, truth=(0.2, 0.2), moved=0.01).startswith("It showed nothing new")
    assert again[0].moved < 0.5


def test_levels_before_and_after_the_repair_are_those_of_the_rig(diagnoser: Diagnoser) -> None:
    """Silent behind the open lead, untouched before it; repaired within the 95 % interval of the solver, a second method."""
    practice = practise(JOB, rigs=RIGS, seed=4, diagnoser=diagnoser, **SILENT)
    found = repaired_levels(JOB, practice.rig)
    assert found is not None
    assert found.volts["amp.out.mono"][0] < 1e-3 < found.volts["amp.out.mono"][1]
    assert found.volts["head.sub.mono"][0] == pytest.approx(found.volts["head.sub.mono"][1], rel=0.05)
    solved = levels(Chain(JOB), tone_hz=found.tone_hz, level_dbfs=found.level_dbfs).paths[0]
    for node in solved.nodes:
        assert 0.8 * node.v_rms_low <= found.volts[node.node][1] <= 1.25 * node.v_rms_high
    before, after = repaired_charts(
        JOB, path=found.path, tone_hz=found.tone_hz, level_dbfs=found.level_dbfs, volts=found.volts
    )
    assert before.marks[-1].margin in ("silent", "below its noise")
    assert "to spare" in after.marks[-1].margin or "clips" in after.marks[-1].margin
    healthy = practise(JOB, rigs=RIGS, seed=4, cause="nothing_wrong", diagnoser=diagnoser)
    assert repaired_levels(JOB, healthy.rig) is None


def test_the_terminal_tells_call_and_why(diagnoser: Diagnoser) -> None:
    """From the call to the levels."""
    practice = practise(JOB, rigs=RIGS, seed=4, diagnoser=diagnoser, **SILENT)
    lines: list[str] = []
    typed = "measure amp.out.mono meter\nit is nothing_wrong\nit is lead_open lead:head.sub-amp\n"
    outcome = run_exercise(io.StringIO(typed), lines.append, Replay(practice, PracticeLimits()), rigs=RIGS, seed=4)
    text = "\n".join(lines)
    assert (outcome.solved, outcome.guesses, outcome.tests) == (True, 2, 1)
    assert "Nothing plays at all, not a sound." in text
    assert "It points to: " in text
    assert "repaired" in text
