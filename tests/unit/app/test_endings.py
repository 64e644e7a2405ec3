"""The ways in which a case ends: as typed, stored, read from files of before, and counted."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from pydantic import ValidationError

from gainwright.app.cases.dialogue import Dialogue
from gainwright.app.cases.endings import Ending, closure_of, typed_ending
from gainwright.app.cases.tally import count_cases
from gainwright.app.store import StoredCase
from gainwright.errors import CallError
from gainwright.jobfile import example_text, read_job_text
from gainwright.jobfile.casefile import case_text, read_case_text
from gainwright.model.case import BelievedCause, Case, Closure, DialogueStep
from gainwright.report.cases import cases_text
from gainwright.report.closing import closure_words

TEXT = example_text("one_amplifier")
JOB = read_job_text(TEXT).job


@pytest.fixture(scope="module")
def talk() -> Dialogue:
    """Return a dialogue about the smallest chain."""
    return Dialogue(TEXT, "Red hatchback", "2026-11-26")


@pytest.mark.parametrize(
    ("typed", "faults", "outcome", "words"),
    [
        ("gain_muted amp", (("gain_muted", "amp"),), "found", "A gain"),
        ("two gain_muted amp and lead_open lead:head.sub-amp", (("gain_muted", "amp"), ("lead_open", "lead:head.sub-amp")), "two_faults", "and"),
        ("Something else the player's  equaliser", (), "something_else", "the player's equaliser"),
        ("no fault", (("nothing_wrong", ""),), "no_fault", "othing"),
        ("nothing_wrong", (("nothing_wrong", ""),), "no_fault", "othing"),
        ("UNSOLVED", (), "unsolved", "not solved"),
    ],
)  # fmt: skip
def test_a_case_ends_in_five_ways(talk: Dialogue, typed: str, faults: Any, outcome: str, words: str) -> None:
    """Each as typed in the terminal is stored, survives a file, and is said in words."""
    case = talk.closed_as(typed_ending(typed), on="2026-11-27")
    again = read_case_text(case_text(case))
    assert again == case
    assert again.closed is not None
    assert (again.closed.faults, again.closed.outcome) == (faults, outcome)
    assert words.lower() in closure_words(again.closed, JOB).name.lower() or outcome == "found"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "the cause is missing"),
        ("two gain_muted amp", "the second fault is missing"),
        ("two gain_muted amp and gain_muted amp", "both faults are the same"),
        ("something else", "what it was is missing"),
        ("gain_muted moon", "can't be at 'moon'"),
        ("two gain_muted amp and gain_low moon", "can't be at 'moon'"),
    ],
)
def test_an_incomplete_ending_is_refused(talk: Dialogue, typed: str, said: str) -> None:
    """What belongs to the ending is missing, or the chain can't have the cause."""
    with pytest.raises(CallError, match=said):
        talk.closed_as(typed_ending(typed))


def test_a_closure_of_before_is_read_as_it_was() -> None:
    """It has a cause alone; nothing wrong is no fault."""
    old = f"format: 1\njob: |\n  {'  '.join(TEXT.splitlines(keepends=True))}\nclosed: {{cause: CAUSE, where: WHERE}}\n"
    found = read_case_text(old.replace("CAUSE", "lead_open").replace("WHERE", "lead:head.sub-amp")).closed
    healthy = read_case_text(old.replace("CAUSE", "nothing_wrong").replace("WHERE", '""')).closed
    assert (found, healthy) == (
        Closure(cause="lead_open", where="lead:head.sub-amp"),
        Closure(cause="nothing_wrong", outcome="no_fault"),
    )


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"cause": "lead_open", "named": "both"},
        {"outcome": "unsolved", "cause": "lead_open"},
        {"outcome": "two_faults", "cause": "lead_open"},
        {"outcome": "no_fault", "cause": "lead_open"},
        {"outcome": "something_else", "named": " "},
    ],
)
def test_a_stored_closure_is_complete(given: dict[str, str]) -> None:
    """An outcome without what belongs to it, or with more, isn't valid."""
    with pytest.raises(ValidationError):
        Closure.model_validate(given)


def test_endings_are_counted() -> None:
    """Each of two faults counts; what isn't a cause is listed; an unsolved case isn't misjudged."""
    believed = DialogueStep(test="look", believed=BelievedCause(cause="gain_low", where="amp", probability=0.9))
    endings = [
        Ending("lead_open", "a"),
        Ending("lead_open", "a", "two_faults", "gain_low", "amp"),
        Ending(outcome="something_else", named="wrong disc"),
        Ending(outcome="no_fault"),
        Ending(outcome="unsolved"),
    ]
    cases = [Case(job="1", dialogue=(believed,), closed=closure_of(ending)) for ending in endings]
    at = datetime(2026, 11, 27, tzinfo=UTC)
    counts = count_cases([StoredCase(str(i), case, 1, at) for i, case in enumerate([*cases, Case(job="1")])])
    assert (counts.cases, counts.closed) == (6, 5)
    assert {c.cause: (c.cases, c.missed) for c in counts.causes} == {
        "lead_open": (2, 1),
        "gain_low": (1, 0),
        "nothing_wrong": (1, 1),
    }
    assert {o.outcome: o.cases for o in counts.outcomes} == dict.fromkeys((e.outcome for e in endings), 1)
    assert [(o.words, o.cases) for o in counts.others] == [("wrong disc", 1)]
    assert [wrong.case for wrong in counts.wrong] == ["0", "2", "3"]
    assert "two faults at once: 1; no fault: 1; not solved: 1" in cases_text(counts)
