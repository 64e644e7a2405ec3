"""When the page of a step names a fault: only where the readings speak for one."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import example_text, read_job_text
from gainwright.web.set_up.evaluation import Evaluation


@pytest.mark.parametrize(
    ("first", "leading", "healthy", "before", "named"),
    [
        ("level_control_down", 0.3, 0.24, 0.12, False),  # likelier than none, but only since a complaint was assumed
        ("level_control_down", 0.3, 0.05, 0.12, True),
        ("level_control_down", 0.7, 0.13, 0.12, True),  # 21 times what it was against a healthy car
        ("nothing_wrong", 0.48, 0.48, 0.12, False),
        ("nothing_wrong", 0.10, 0.10, 0.12, False),
    ],
)
def test_fault_is_named_where_readings_speak_for_one(
    first: str, leading: float, healthy: float, before: float, *, named: bool
) -> None:
    """A healthy car that became more probable isn't called faulty, whatever stands first."""
    shown: Any = SimpleNamespace(cause=first, probability=leading)
    plan: Any = None
    assert Evaluation((shown,), healthy, before, 0.0, "", plan, 0, 3, "", 0.03).suspicious is named


def test_faults_that_are_not_told_apart_count_together() -> None:
    """A short in a lead or in its speaker: neither alone, but together five times a healthy car, thirty times what they were."""
    shorts: Any = tuple(
        SimpleNamespace(cause=c, probability=p) for c, p in (("lead_shorted", 0.34), ("speaker_shorted", 0.27))
    )
    plan: Any = None
    assert Evaluation(shorts, 0.124, 0.12, 0.0, "", plan, 0, 3, "", 0.02).suspicious
    assert not Evaluation(shorts[:1], 0.124, 0.12, 0.0, "", plan, 0, 3, "", 0.01).suspicious


@pytest.mark.parametrize(
    ("probable", "undecided"), [((0.4, 0.3, 0.1), True), ((0.7, 0.25), True), ((0.7, 0.2), False), ((0.9,), False)]
)
def test_silent_car_is_undecided(probable: tuple[float, ...], *, undecided: bool) -> None:
    """Two faults are told apart from substantial evidence on: a ratio of the square root of ten; a healthy car isn't one of them."""
    causes: Any = (
        SimpleNamespace(cause="nothing_wrong", probability=0.05),
        *(SimpleNamespace(cause="gain_muted", probability=p) for p in probable),
    )
    plan: Any = None
    assert Evaluation(causes, 0.05, 0.12, 0.0, "", plan, 0, 3, "").undecided is undecided


def test_prior_of_a_healthy_car_is_its_probability_without_evidence() -> None:
    """What a healthy car is compared with is what the diagnosis says of it before the first entry, apart from two faults at once."""
    diagnoser = Diagnoser(read_job_text(example_text("one_amplifier")).job)
    before = sum(c.probability for c in make_diagnosis(diagnoser, []).causes if c.cause == "nothing_wrong")
    assert diagnoser.prior_of("nothing_wrong") == pytest.approx(before, rel=0.15)
    assert diagnoser.prior_of("no such cause") == 0
