"""The same job, evidence and counted cases give the same probabilities, whatever was asked before and in whatever order."""

from __future__ import annotations

from functools import cache
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.model import Entry
from gainwright.simulated import Fault, Rig, answer

ALIKE = 1e-9
"""Sums in another order differ by rounding, 1e-16 of what is summed; a probability that anybody reads has two figures."""
TONE = {"tone": "50 Hz", "level": "-8 dBFS"}
JOB = with_settings(read_job_text(example_text("two_way_and_sub")).job, {"amp_sub.gain": "30 %"})
ASKED = (
    {"heard": "sub"},
    {"heard": "woofer"},
    {"at": "desk.sub.mono", "with": "meter", **TONE},
    {"at": "knob.out.mono", "with": "meter", **TONE},
    {"at": "amp_sub.out.mono", "with": "meter", **TONE},
    {"heard": "tweeter"},
    {"check": "lead:desk.sub-knob"},
    {"check": "amp_high.power_lamp"},
    {"check": "amp_high.supply_voltage"},
)
FALSE = (
    {"heard": "sub", **TONE, "is": "normal"},
    {"at": "amp_sub.out.mono", "with": "meter", **TONE, "reads": "55 V"},
    {"check": "amp_sub.supply_voltage", "reads": "0 V"},
)
"""Entries that contradict most others, so that two causes at once are weighed too."""
Probabilities = dict[tuple[str, str], float]


@cache
def pool() -> tuple[Entry, ...]:
    """Return what a chain with a low gain answers, and some that it doesn't."""
    rig = Rig(JOB, seed=1, faults=(Fault("gain_low", "amp_sub", 0.05),))
    true = [read_entry(answer(rig, read_entry(dict(s), JOB, answered=False)), JOB) for s in ASKED]
    return (*true, *(read_entry(dict(s), JOB) for s in FALSE))


def believed(diagnoser: Diagnoser, picked: list[int]) -> Probabilities:
    """Return the probabilities after some of the pool."""
    found = make_diagnosis(diagnoser, [pool()[i] for i in picked])
    return {(c.cause, c.where): c.probability for c in found.causes}


@cache
def alone(picked: tuple[int, ...]) -> Probabilities:
    """Return the probabilities after some of the pool, of a diagnosis that was asked nothing else."""
    return believed(Diagnoser(JOB), list(picked))


def test_evidence_step_by_step_gives_the_same_as_all_at_once() -> None:
    """After each entry, and after one was undone and given again, as if nothing had been asked before."""
    going = Diagnoser(JOB)
    steps = [list(range(n)) for n in (1, 2, 3, 4, 5, 6, 7, 8, 9, 8, 5, 6, 2, 1)]
    found = [believed(going, step) for step in steps]
    for step, one in zip(steps, found, strict=True):
        assert one == pytest.approx(alone(tuple(step)), abs=ALIKE)


@settings(max_examples=6, deadline=None)
@given(
    st.lists(st.lists(st.integers(0, 11), min_size=1, max_size=5, unique=True), min_size=1, max_size=4),
    st.lists(st.integers(0, 11), min_size=1, max_size=6, unique=True),
    st.randoms(use_true_random=False),
)
def test_diagnosis_is_a_function_of_the_evidence(before: list[list[int]], picked: list[int], luck: Random) -> None:
    """After other questions, in another order, or twice: the same."""
    going = Diagnoser(JOB)
    for other in before:
        going.weigh([pool()[i] for i in other])
    other_order = list(picked)
    luck.shuffle(other_order)
    by_itself = alone(tuple(picked))
    assert believed(going, picked) == pytest.approx(by_itself, abs=ALIKE)
    assert believed(going, other_order) == pytest.approx(by_itself, abs=ALIKE)
    assert believed(going, picked) == pytest.approx(by_itself, abs=ALIKE)


def test_diagnoser_in_long_use_does_not_grow() -> None:
    """Solutions for more and more tones and settings are dropped; the answer stays the same."""
    from gainwright.diagnose import diagnoser

    going = Diagnoser(JOB)
    first = believed(going, [0, 4])
    for hz in range(30, 30 + 2 * diagnoser.MOST_SOLVED):
        said = {"at": "knob.out.mono", "with": "meter", "tone": f"{hz} Hz", "level": "-8 dBFS", "reads": "0.4 V"}
        going.weigh([read_entry(said, JOB)])
    assert going.rough.ensemble.solutions <= diagnoser.MOST_SOLVED + 1
    assert believed(going, [0, 4]) == pytest.approx(first, abs=ALIKE)
