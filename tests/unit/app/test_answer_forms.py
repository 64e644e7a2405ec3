"""How tests are answered on a page: every test of every example, as its rig answers it, entered as a user would."""

from __future__ import annotations

from typing import Any

import pytest
from indicators import with_lamp

from gainwright.app.cases.answer_forms import AnswerForm, answer_form, entry_from_form
from gainwright.app.cases.answers import indicator_marks
from gainwright.app.cases.answers import with_result as answer_of
from gainwright.app.practice.practice import with_gains_set
from gainwright.diagnose import Diagnoser
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.wording import describe_test
from gainwright.errors import CallError
from gainwright.jobfile import example_text, examples, read_entry, read_job_text
from gainwright.model import RESULTS, as_mapping, kind_of, resolve
from gainwright.simulated import SimulatedHiddenRigs


def typed(result: dict[str, Any], there: AnswerForm) -> tuple[str, str]:
    """Return what a person presses or types for a result: no unit, a comma."""
    if "shows" in result:
        shown = result["shows"] if isinstance(result["shows"], str) else ", ".join(result["shows"])
        assert shown in dict(there.choices) or there.text is not None
        return shown, ""
    values = [str(v) for v in result.values()]
    bare = [v.removesuffix(" V").removesuffix(" ohm").removesuffix(" %").replace(".", ",") for v in values]
    pressed = bare[0].replace("_", " ")
    if len(bare) == 1 and pressed in dict(there.choices):
        return pressed, ""
    assert there.text is not None, result
    assert len(bare) == 1 or there.second is not None, result
    return bare[0], bare[1] if len(bare) > 1 else ""


LAMPS = (
    "clip: thd over 1 %",
    "clip: thd over 1 %, on: level over 0.3 V",
    "a: level over 1 V, b: level over 3 V, c: thd over 1 %",
)


@pytest.mark.parametrize("name", list(examples()))
@pytest.mark.parametrize("marks", LAMPS)
def test_lit_marks_can_be_pressed_or_typed(name: str, marks: str) -> None:
    """With one mark or more the page accepts every combination of lit marks, and refuses a mark that doesn't exist."""
    text = example_text(name)
    job = with_gains_set(read_job_text(text if "lamp:" in text else with_lamp(text, marks)).job)
    rig = SimulatedHiddenRigs().hidden(job, seed=2)
    wiring = resolve(job)
    for node in [node for node in wiring.nodes if node not in wiring.digital]:  # a digital link has no volts to read
        asked = {"at": str(node), "with": "lamp", "tone": "315 Hz", "level": "0 dBFS"}
        answered = rig.answer(read_entry(asked, job, answered=False))
        text, second = typed({"shows": answered["shows"]}, answer_form(asked, job))
        known = indicator_marks(asked, job)
        assert read_entry(answer_of(asked, text, second, marks=known), job) == read_entry(answered, job)
    with pytest.raises(CallError, match="names no mark"):
        answer_of(asked, "purple", marks=known)


@pytest.mark.parametrize("name", list(examples()))
def test_every_test_can_be_answered_as_its_rig_does(name: str) -> None:
    """What a rig shows at each possible test, typed or pressed on the page, becomes the entry that the rig gives."""
    job = with_gains_set(read_job_text(example_text(name)).job)
    diagnoser = Diagnoser(job)
    rig = SimulatedHiddenRigs().hidden(job, seed=2)
    candidates = Catalogue(job, diagnoser.chain, diagnoser.instruments, ()).all()
    assert len(candidates) > 15
    for candidate in candidates:
        asked = as_mapping(candidate.entry)
        answered = rig.answer(candidate.entry)
        result = {key: answered[key] for key in RESULTS[kind_of(candidate.entry)] if key in answered}
        text, second = typed(result, answer_form(asked, job))
        assert read_entry(answer_of(asked, text, second, marks=indicator_marks(asked, job)), job) == read_entry(
            answered, job
        ), asked


def test_unknown_gain_is_asked_for_as_a_position() -> None:
    """Whether it is right is asked only if the job gives its position; then both answers are possible."""
    said = with_gains_set(read_job_text(example_text("one_amplifier")).job)
    silent = read_job_text(example_text("one_amplifier").replace("{at: 30 %, ", "{")).job
    asked = {"check": "amp.gain"}
    assert answer_form(asked, said).choices
    unsaid = answer_form(asked, silent)
    assert unsaid.choices == ()
    assert unsaid.text is not None
    read = read_entry(answer_of(asked, "30"), silent)
    assert read == read_entry({"check": "amp.gain", "is": "30 %"}, silent)
    diagnoser = Diagnoser(silent)
    tests = {
        c.where: describe_test(c, silent)
        for c in Catalogue(silent, diagnoser.chain, diagnoser.instruments, ()).all()
        if c.test == "read_off_gain"
    }
    assert "the job doesn't give it" in tests["amp.gain"]
    known = Catalogue(said, Diagnoser(said).chain, diagnoser.instruments, ()).all()
    assert all(c.test != "read_off_gain" for c in known)


def test_own_entry_adds_the_usual_units() -> None:
    """Hertz, full-scale decibels, volts and per cent need no unit; an empty field adds nothing."""
    fields = {"kind": "at", "place": "amp.out.mono", "with": "meter", "tone": "50", "level": "-8", "text": "0,35"}
    meant = {"at": "amp.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS", "reads": "0.35 V"}
    job = read_job_text(with_lamp(example_text("one_amplifier"))).job
    assert entry_from_form(fields, job) == meant
    assert entry_from_form(fields | {"second": "2,5"}, job) == meant | {"thd": "2.5 %"}
    assert entry_from_form({"kind": "heard", "place": "sub", "text": "Silent"}, job) == {"heard": "sub", "is": "silent"}
    lead = {"kind": "check", "place": "lead:head.sub-amp", "with": "meter", "tone": "50"}
    assert entry_from_form(lead | {"second": "0,1"}, job) == {
        "check": "lead:head.sub-amp",
        "between_conductors": "0.1 ohm",
    }
    assert entry_from_form(lead | {"text": "open"}, job) == {"check": "lead:head.sub-amp", "resistance": "open"}
    lamp = fields | {"with": "lamp", "text": "Signal"}
    assert entry_from_form(lamp, job)["shows"] == ["signal"]


@pytest.mark.parametrize("fields", [{}, {"kind": "smelt", "text": "x"}, {"kind": "heard", "place": "sub"}])
def test_own_entry_without_kind_or_result_is_refused(fields: dict[str, str]) -> None:
    """An entry needs its kind and its result."""
    with pytest.raises(CallError):
        entry_from_form(fields, read_job_text(example_text("one_amplifier")).job)
