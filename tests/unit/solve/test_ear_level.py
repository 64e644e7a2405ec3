"""How loud a tone is at the ear: by hand, as a bound, and not at all where no speaker gets it."""

from __future__ import annotations

import math

import pytest

from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import make_plan
from gainwright.report.hearing import loudest_db
from gainwright.report.sheet import ear_text, tone_text
from gainwright.solve import Chain, EarLevel, ear_level

JOB = """
format: 1
stages:
  head: {kind: head_unit, rated_output: 4 V}
  amp: {kind: amplifier, from: head, sides: [mono], power: 100 W @ 4 ohm, sensitivity: 0.2 .. 5 V}
  horn: {kind: speaker, from: amp, impedance: 4 ohm, SPEAKER}
"""


def heard(speaker: str, *, tone_hz: float = 1000.0, volts: float = 2.83) -> EarLevel:
    """Return the level of a tone from one speaker."""
    chain = Chain(read_job_text(JOB.replace("SPEAKER", speaker)).job)
    found = ear_level(chain, tone_hz=tone_hz, volts={"amp": volts})
    assert found is not None
    return found


def test_by_hand() -> None:
    """90 dB at 2.83 V and 1 m, 1 kHz (weighting 0): 80 if it lies 10 dB under its sensitivity, at most 3 dB over it, doubled at a wall.

    The third harmonic of 10 % is 1 % of the power, at 3 kHz 1.2 dB more (IEC 61672-1 table 3 at 3150 Hz); of the closed
    cabin of 2 m3 there is 343.2^2 2 pi/((2000 pi)^2 2) left.
    """
    found = heard("sensitivity: 90 dB, distance: 1 m")
    assert found.level_dba_low == pytest.approx(80.0, abs=1e-6)
    pressed = 343.2**2 * 2 * math.pi / ((2000 * math.pi) ** 2 * 2)
    by_hand = 93 + 20 * math.log10(2 + pressed) + 10 * math.log10(1 + 0.01 * 10**0.12)
    assert found.level_dba_high == pytest.approx(by_hand, abs=0.01)
    assert found.unknown == ()


def test_twice_the_volts_and_half_the_way_are_6_db_each() -> None:
    """Both ends move alike; an unknown distance is 0.5 to 2 m (the cabin's share is the same at any); a sensitivity's spread and that for 1 W are taken."""
    near, far = heard("sensitivity: 90 dB, distance: 1 m"), heard("sensitivity: 90 dB, distance: 2 m", volts=5.66)
    assert near.level_dba_low == pytest.approx(far.level_dba_low)
    unknown = heard("sensitivity: 90 dB")
    assert near.level_dba_low is not None
    assert unknown.level_dba_low == pytest.approx(near.level_dba_low - 20 * math.log10(2))
    assert unknown.level_dba_high == pytest.approx(near.level_dba_high + 20 * math.log10(2), abs=0.03)
    spread = heard("sensitivity: 88 .. 92 dB, distance: 1 m")
    assert spread.level_dba_low == pytest.approx(near.level_dba_low - 1.9, abs=0.11)
    per_watt = heard("sensitivity: 87 dB @ 1 W, distance: 1 m", volts=math.sqrt(8))
    assert per_watt.level_dba_low == pytest.approx(near.level_dba_low, abs=0.02)


def test_an_unknown_sensitivity_is_bounded_by_energy() -> None:
    """No speaker of at most 105 dB for 1 W, and none on the market has more, is louder than one that turns all power into sound."""
    bound = heard("power: 50 W")
    assert bound.level_dba_low is None
    assert bound.unknown == ("horn",)
    for level in (80, 95, 105):
        assert heard(f"sensitivity: {level} dB @ 1 W").level_dba_high < bound.level_dba_high
    assert "at most" in ear_text(bound)


def test_nothing_at_line_level() -> None:
    """Without volts at an output that feeds speakers there is nothing to hear, and no tone with the speakers off has a level."""
    chain = Chain(read_job_text(JOB.replace("SPEAKER", "sensitivity: 90 dB")).job)
    assert ear_level(chain, tone_hz=50, volts={"head": 4.0}) is None
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    assert [s.id for s in plan.steps if s.ear is not None] == ["verify.supply"]
    assert not [s for s in plan.steps if s.ear is not None and s.speakers_off]


def test_the_step_says_its_level_once() -> None:
    """The tone into connected speakers is told with its level at the ear; the sub of this car (86 dB) can't be silent there, nor over the bound."""
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    step = next(s for s in plan.steps if s.id == "verify.supply")
    assert step.ear is not None
    assert tone_text(step).count("dB(A)") == 1
    assert ear_text(step.ear) in tone_text(step)


def test_a_strapped_pair_drives_its_speaker_with_both_targets() -> None:
    """Between two amplifiers the voltages add: 6 dB more than either target alone gives; the handover's level says so."""
    job = read_job_text(example_text("strapped_pair")).job
    plan, chain = make_plan(job), Chain(job)
    port, ends = next((port, ends) for port in chain.wiring.feeds if (ends := chain.wiring.pair(port)) is not None)
    both = loudest_db(chain, plan.targets)[port.stage]
    first = [t for t in plan.targets if t.stage == ends[0].stage]
    assert both == pytest.approx(loudest_db(chain, first)[port.stage] + 20 * math.log10(2), abs=0.01)
