"""A likely cause that rests on one look, or isn't told from another yet: what is asked before it is declared."""

from __future__ import annotations

from typing import Any

import pytest

from gainwright.diagnose import Diagnoser, Diagnosis, make_diagnosis
from gainwright.jobfile import example_text, read_entry, read_job_text

CALL = [
    {"heard": "sub", "is": "silent"},
    {"check": "amp.power_lamp", "is": "on"},
    {"check": "amp.protection_lamp", "is": "off"},
    {"check": "head.mute", "is": "right"},
]
IN_ORDER = [
    {"check": "sub.resistance", "reads": "3.5 ohm"},
    {"check": "lead:head.sub-amp", "resistance": "0.2 ohm", "between_conductors": "open"},
]
MUTED = {"check": "amp.gain", "is": "wrong"}
OPEN = {"check": "lead:amp-sub", "resistance": "open"}


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    """Return a diagnoser of one amplifier and a sub."""
    return Diagnoser(read_job_text(example_text("one_amplifier")).job, draws=32)


def diagnosed(of: Diagnoser, *said: dict[str, Any], declined: tuple[dict[str, Any], ...] = ()) -> Diagnosis:
    """Return the diagnosis after the call and some more entries."""
    told = [read_entry(e, of.job) for e in (*CALL, *said)]
    return make_diagnosis(of, told, declined=[read_entry(e, of.job, answered=False) for e in declined])


def test_a_cause_that_rests_on_one_look_is_looked_at_once_more(diagnoser: Diagnoser) -> None:
    """One person in sixty-odd misreads a look: without it the cause wouldn't be likely, so it isn't declared yet."""
    once = diagnosed(diagnoser, *IN_ORDER, MUTED)
    assert (once.causes[0].cause, once.done, once.declared) == ("gain_muted", True, False)
    assert 0.9 < once.causes[0].probability < 0.99
    assert (once.next[0].where, once.next[0].entry) == ("amp.gain", {"check": "amp.gain"})
    assert once.next[0].ask.startswith("Once more")
    assert once.conclusion.startswith("Likely, but it rests on entry 7 alone")


def test_a_second_look_that_agrees_declares_it(diagnoser: Diagnoser) -> None:
    """It counts with its own rate of mistakes: the odds are multiplied by the same ratio again."""
    once, twice = diagnosed(diagnoser, *IN_ORDER, MUTED), diagnosed(diagnoser, *IN_ORDER, MUTED, MUTED)
    assert twice.declared
    assert twice.conclusion.startswith("Found")

    def odds(found: Diagnosis) -> float:
        of = {(c.cause, c.where): c.probability for c in found.causes}
        return of["gain_muted", "amp"] / of["side_dead", "amp.out.mono"]

    assert odds(twice) / odds(once) == pytest.approx(0.985 / 0.015, rel=1e-3)


def test_a_second_look_that_disagrees_goes_on_without_a_third(diagnoser: Diagnoser) -> None:
    """Both looks cancel; the search goes on elsewhere and doesn't ask for the same look again."""
    found = diagnosed(diagnoser, *IN_ORDER, MUTED, {**MUTED, "is": "right"})
    assert not found.declared
    assert found.causes[0].probability < 0.5
    assert found.next
    assert "amp.gain" not in [n.where for n in found.next]


def test_a_look_that_can_not_be_made_again_is_not_asked_for_again(diagnoser: Diagnoser) -> None:
    """Who doesn't know, or can't reach it any more, isn't asked in circles."""
    found = diagnosed(diagnoser, *IN_ORDER, MUTED, declined=({"check": "amp.gain"},))
    assert "amp.gain" not in [n.where for n in found.next]
    assert "rests on" not in found.conclusion


def test_a_loose_lead_is_told_from_an_open_one_before_either_is_declared(diagnoser: Diagnoser) -> None:
    """An open lead that was measured twice may still be a loose one: it is moved while music plays."""
    found = diagnosed(diagnoser, OPEN, OPEN)
    assert (found.causes[0].cause, found.done, found.declared) == ("lead_open", True, False)
    assert found.next[0].where == "lead:amp-sub.moved"
    assert found.conclusion.startswith("Likely, but not certain yet")
    assert diagnosed(diagnoser, OPEN, OPEN, {"check": "lead:amp-sub.moved", "is": "steady"}).declared


def test_causes_that_no_test_left_tells_apart_are_declared_together(diagnoser: Diagnoser) -> None:
    """Where the lead can't be moved, an open and a loose one are one group: the same lead is mended."""
    found = diagnosed(diagnoser, OPEN, OPEN, declined=({"check": "lead:amp-sub.moved"},))
    assert found.declared
    together = [(found.causes[i].cause, found.causes[i].where) for i in found.groups[0].causes]
    assert together == [("lead_open", "lead:amp-sub"), ("lead_loose", "lead:amp-sub")]


def test_a_likely_cause_that_nothing_makes_more_certain_is_not_declared(diagnoser: Diagnoser) -> None:
    """Its repair is proposed as the most likely, and it is said why; of what is declared 97 in 100 are to be right."""
    declined: list[dict[str, Any]] = []
    found = diagnosed(diagnoser, IN_ORDER[0], MUTED)
    while found.next:
        assert found.next[0].entry not in declined
        declined.append(dict(found.next[0].entry))
        found = diagnosed(diagnoser, IN_ORDER[0], MUTED, declined=tuple(declined))
    assert 0.9 < found.causes[0].probability < 0.97
    assert (found.done, found.declared, found.next) == (True, False, ())
    assert found.repair is not None
    assert found.conclusion.startswith("Most likely")
