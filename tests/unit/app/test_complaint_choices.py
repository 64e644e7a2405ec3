"""What is wrong, as choices: the same entries, and so the same probabilities, as the sentence that says it."""

from __future__ import annotations

from typing import Any

import pytest
from typical_chains import typical_text

from gainwright.app.cases.complaint_choices import Chosen, ComplaintKind, chosen_entries, complaint_kinds
from gainwright.app.cases.complaints import complaint_entries
from gainwright.app.cases.dialogue import Dialogue
from gainwright.cli.complaint import ask_complaint
from gainwright.errors import GainwrightError
from gainwright.jobfile import example_text, examples, read_entry, read_job_text
from gainwright.jobfile.starting.typical import CHAINS
from gainwright.simulated import Fault, Rig, answer

TEXT = typical_text("factory_doors_and_sub", "knob")
JOB = read_job_text(TEXT).job
SAID = [
    ("nothing at all", "nothing", {}),
    ("the left side is dead, everything else plays", "side", {"side": "left", "rest": "plays"}),
    ("rechts kratzt es", "side", {"side": "right", "sounds": "distorted"}),
    ("no bass, the doors play", "speaker", {"which": "subwoofer", "rest": "plays"}),
    ("front right crackles but everything else is fine", "speaker",
     {"which": "front_speakers.right", "sounds": "distorted", "rest": "plays"}),
    ("alles zu leise", "quiet", {}),
    ("the sub is very quiet", "quiet", {"which": "subwoofer"}),
    ("the front distorts from volume 24 on", "distorts", {"which": "front_speakers", "volume": "24", "softly": "clean"}),
    ("vorne verzerrt es ab Lautstärke 24", "distorts", {"which": "front_speakers", "volume": "24"}),
    ("the sub crackles when it is loud", "distorts", {"which": "subwoofer", "softly": "clean"}),
    ("it distorts at any volume", "distorts", {"softly": "same"}),
    ("it whines with the engine", "noise", {"noise": "whine", "engine": "running"}),
    ("es brummt auch bei stehendem Motor", "noise", {"noise": "hum", "engine": "always"}),
    ("the sub cuts out over bumps", "comes_and_goes", {"which": "subwoofer", "provoked": "bumps"}),
    ("der Subwoofer setzt manchmal aus, wenn es heiß ist", "comes_and_goes", {"which": "subwoofer", "provoked": "heat"}),
    ("the front crackles sometimes", "comes_and_goes", {"which": "front_speakers", "sounds": "distorted"}),
    ("the bass knob does nothing", "knob", {"knob": "sub_amplifier.travel"}),
    ("der Bassregler tut nichts", "knob", {}),
]  # fmt: skip


@pytest.mark.parametrize(("sentence", "kind", "answers"), SAID)
def test_choices_make_the_entries_of_the_sentence(sentence: str, kind: str, answers: dict[str, str]) -> None:
    """One for one, and each is an entry of the job."""
    entries = chosen_entries(Chosen(kind, answers), JOB)
    assert entries
    assert complaint_entries(sentence, JOB) == entries
    for entry in entries:
        read_entry(entry, JOB)


def test_both_ways_give_the_same_probabilities() -> None:
    """A dialogue that begins with a sentence and one that begins with choices believe the same, to the last digit."""
    said = Dialogue(TEXT)
    said.complain("the sub cuts out over bumps")
    chosen = Dialogue(TEXT, _diagnoser=said.diagnoser)
    chosen.complain("", Chosen("comes_and_goes", {"which": "subwoofer", "provoked": "bumps"}))
    assert said.diagnosis().causes == chosen.diagnosis().causes
    leading = said.diagnosis().causes[0]
    assert leading.cause == "lead_loose"
    hot = Dialogue(TEXT, _diagnoser=said.diagnoser)
    hot.complain("", Chosen("comes_and_goes", {"which": "subwoofer", "provoked": "heat"}))
    assert hot.diagnosis().causes[0].cause == "amplifier_hot"


def test_every_kind_is_said_in_the_table() -> None:
    """So that none of them has no sentence."""
    assert {kind for _, kind, _ in SAID} == {kind.kind for kind in complaint_kinds(JOB)}


def _first_answers(kind: ComplaintKind, pick: int) -> dict[str, str]:
    return {q.key: q.choices[pick % len(q.choices)][0] for q in kind.questions if q.choices}


@pytest.mark.parametrize("name", [*examples(), *(chain.id for chain in CHAINS)])
def test_every_choice_is_evidence_in_every_chain(name: str) -> None:
    """Whatever is tapped can be read; a side is offered where there are sides, a knob where there is one."""
    job = read_job_text(example_text(name) if name in examples() else typical_text(name)).job
    for kind in complaint_kinds(job):
        for pick in range(max((len(q.choices) for q in kind.questions), default=1)):
            entries = chosen_entries(Chosen(kind.kind, _first_answers(kind, pick)), job)
            assert entries
            for entry in entries:
                read_entry(entry, job)


@pytest.mark.parametrize(
    ("kind", "answers", "said"),
    [
        ("", {}, "wasn't chosen"),
        ("speaker", {}, "Which"),
        ("speaker", {"which": "horn"}, "'horn' isn't one"),
        ("noise", {}, "What noise"),
        ("distorts", {"volume": "loud"}, "loud"),
    ],
)
def test_a_choice_that_is_missing_or_unknown_is_refused(kind: str, answers: dict[str, Any], said: str) -> None:
    """In a sentence that says which."""
    with pytest.raises(GainwrightError, match=said):
        chosen_entries(Chosen(kind, answers), JOB)


def test_a_chain_without_knobs_has_no_complaint_about_one() -> None:
    """In choices; a sentence about one is refused."""
    plain = read_job_text(typical_text("factory_doors_and_sub")).job
    assert "knob" not in {kind.kind for kind in complaint_kinds(plain)}
    with pytest.raises(GainwrightError, match="no knob"):
        complaint_entries("the bass knob does nothing", plain)


def test_the_terminal_asks_the_same_questions() -> None:
    """By number, by word, or Enter for what is likely; a number that isn't offered is asked again; other lines are left."""
    said: list[str] = []
    dialogue = Dialogue(TEXT)
    lines = iter(["6", "", "99", "whine", "only while the engine runs", "quit"])
    rest = ask_complaint(lines, said.append, dialogue, commands=("quit",))
    assert list(rest) == ["quit"]
    assert dialogue.entries == chosen_entries(Chosen("noise", {"noise": "whine", "engine": "running"}), JOB)
    assert said.count("Type one of the numbers.") == 1
    for line in ("quit", "0.35 V", "24"):
        assert list(ask_complaint(iter([line]), said.append, Dialogue(TEXT), commands=("quit",))) == [line]


def test_a_simulated_chain_says_what_brings_its_fault() -> None:
    """A loose lead with bumps, a hot amplifier with heat, anything else by itself."""
    job = read_job_text(example_text("one_amplifier")).job
    entry = read_entry({"check": "sub.provoked"}, job, answered=False)
    for fault, brings in (
        (Fault("lead_loose", "lead:amp-sub"), "bumps"),
        (Fault("amplifier_hot", "amp"), "heat"),
        (Fault("gain_low", "amp"), "by_itself"),
    ):
        assert answer(Rig(job, seed=4, faults=(fault,)), entry)["is"] == brings
