"""What a later step expects after the run has read at the same place: that reading, carried to the step's settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from typed_run import Bay, bay

from gainwright.app.set_up.expectations import followed
from gainwright.app.set_up.run import expected_place
from gainwright.solve import Chain

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.app.set_up.run import Run, StepState
    from gainwright.plan import Expect


@pytest.fixture(name="here")
def here_fixture(tmp_path: Path) -> Bay:
    """The example with a two-way front and a subwoofer."""
    return bay(tmp_path)


@pytest.fixture(name="chain")
def chain_fixture(here: Bay) -> Chain:
    """Its chain."""
    return Chain(here.job)


def expect_now(run: Run, state: StepState, chain: Chain) -> Expect | None:
    """Return what to expect at a step: what follows from earlier readings, else the plan's."""
    found = followed(run, state, chain)
    return found.expect if found is not None else state.step.expect


def judged(here: Bay, chain: Chain, step: str, text: str) -> str:
    """Enter a reading as a page does, judged by what follows; return the verdict."""
    expect = expect_now(here.run, here.run.of(step), chain)
    return str(here.enter(step, text, expect=expect).value["verdict"])


def test_reading_after_the_gain_is_expected_where_the_gain_was_left(here: Bay, chain: Chain) -> None:
    """A gain left 6 % under its target is told once; after it the same reading fits, and the target itself is high."""
    here.enter("source.head.front.315hz.amp_front", "36")
    assert judged(here, chain, "amplifier.amp_front", "15.7") == "low"
    left = here.run.of("verify.amp_front.out.left")
    found = followed(here.run, left, chain)
    assert found is not None
    assert (found.earlier.step.id, found.volts) == ("amplifier.amp_front", 15.7)
    assert found.expect.value == pytest.approx(15.7)
    assert (left.step.expect.high - left.step.expect.low) / left.step.expect.value == pytest.approx(  # type: ignore[union-attr]
        (found.expect.high - found.expect.low) / found.expect.value
    )
    assert judged(here, chain, left.step.id, "16.7") == "high"
    assert judged(here, chain, left.step.id, "15.7") == "fits"
    right = followed(here.run, here.run.of("verify.amp_front.out.right"), chain)
    assert right is not None
    assert right.earlier.step.id == left.step.id


def test_proof_of_a_filter_follows_what_the_gain_reached(here: Bay, chain: Chain) -> None:
    """The voltage in the stop band is as far below the reading as the plan has it below the target."""
    here.enter("amplifier.amp_sub", "25.0")
    state = here.run.of("verify.desk.sub.low_pass")
    found, plan = expect_now(here.run, state, chain), state.step.expect
    assert found is not None
    assert plan is not None
    assert found.value == pytest.approx(plan.value * 25.0 / 28.284, rel=1e-4)
    assert found.low / plan.low > 25.0 / 28.284 - 0.03


def test_same_place_and_settings_expect_the_same_reading(here: Bay, chain: Chain) -> None:
    """At the same step of the volume a processor's check expects what the source's search read, to the recorder's doubt."""
    step = "source.head.sub.40hz.amp_sub"
    for text in ("35 11.0", "36 12.1", "36"):
        here.enter(step, text)
    found = expect_now(here.run, here.run.of("processor.desk.sub.amp_sub"), chain)
    assert found is not None
    assert found.value == pytest.approx(12.1)
    assert 11.0 < found.low < found.high < 13.0


def test_volume_between_two_readings_counts_in_steps(here: Bay, chain: Chain) -> None:
    """With a later search ending three steps lower, the check expects the reading less three steps of 0.8 to 2 dB."""
    for text in ("36 12.1", "36"):
        here.enter("source.head.sub.40hz.amp_sub", text)
    here.enter("source.head.front.315hz.amp_front", "33")
    found = expect_now(here.run, here.run.of("processor.desk.sub.amp_sub"), chain)
    assert found is not None
    doubt = 1.06
    assert (
        12.1 * 10 ** (-3 * 2.0 / 20) / doubt
        < found.low
        < found.value
        < found.high
        < 12.1 * 10 ** (-3 * 0.8 / 20) * doubt
    )


def test_reading_at_another_gain_says_nothing(here: Bay, chain: Chain) -> None:
    """Without the reading at the gain, the level after it is the plan's: how far a gain brings a level is the least known."""
    for text in ("36 12.1", "36"):
        here.enter("source.head.sub.40hz.amp_sub", text)
    here.enter("amplifier.amp_sub", "no time", kind="skipped")
    state = here.run.of("verify.amp_front.out.left")
    assert expect_now(here.run, state, chain) == state.step.expect


def test_volume_to_note_is_the_lowest_found(here: Bay) -> None:
    """The highest clean volume is expected as it was found, lower only where an amplifier was above its target."""
    here.enter("source.head.sub.40hz.amp_sub", "36")
    here.enter("source.head.front.315hz.amp_front", "34")
    state = here.run.of("verify.head.volume")
    found = expected_place(here.run, state)
    assert found is not None
    assert (found.low, found.value, found.high) == (34, 34, 34)
    here.enter("amplifier.amp_sub", "31")
    lower = expected_place(here.run, state)
    assert lower is not None
    assert (lower.low, lower.high) == (1, 34)
