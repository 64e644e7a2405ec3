"""Balanced outputs and an adjustable line driver, against the nodal equations of the two legs."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.errors import JobError
from gainwright.jobfile import read_job_text, with_settings
from gainwright.model import Node
from gainwright.plan import make_plan
from gainwright.simulated import Rig
from gainwright.solve import Chain, Conditions

CHAIN = """
format: 1
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 0.1 % + 1 counts, counts: 60000, bandwidth: 20 kHz}
  card: {kind: recorder, full_scale: 20 V}
stages:
  head:
    kind: head_unit
    rated_output: 4 V
    output_limit: 4 V
    balanced: yes
    output_impedance: 200 ohm
    distortion: 0 %
    volume: {steps: 20, at: 20, step: 1 dB, top: 0 dB}
  driver:
    kind: line_driver
    from: head
    gain: 6 dB
    range: 0 .. 12 dB
    balanced_input: no
    input_impedance: 1 kohm
    output_limit: 20 V
    distortion: 0 %
    lead: {resistance: 2 ohm}
  amp: {kind: amplifier, from: driver, power: 60 W @ 4 ohm}
  front: {kind: speaker, from: amp, impedance: 4 ohm}
"""
HEAD, DRIVER = Node("head", "out", "left"), Node("driver", "out", "left")


def chain(*changes: tuple[str, str]) -> Chain:
    """Return the chain with texts changed."""
    text = CHAIN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return Chain(read_job_text(text).job)


def legs_v(*, tied: bool, extra_siemens: float = 0.0) -> tuple[float, float]:
    """Return the voltage between the legs and at the input by nodal analysis: 2 V behind 100 ohm on each, 1 kohm, 2 ohm.

    Unknowns are the potentials of hot and cold leg and of the input's far side of the lead; Kirchhoff's law at each.
    """
    g_leg, g_lead, g_in = 1 / 100, 1 / 2, 1 / 1000
    potentials = np.array(
        [
            [g_leg + g_lead + extra_siemens, -extra_siemens, -g_lead],
            [-extra_siemens, g_leg + g_in + extra_siemens + (1e9 if tied else 0.0), -g_in],
            [-g_lead, -g_in, g_lead + g_in],
        ]
    )
    hot, cold, far = np.linalg.solve(potentials, np.array([2.0 * g_leg, -2.0 * g_leg, 0.0]))
    return float(hot - cold), float(far - cold)


@pytest.mark.parametrize(("says", "tied"), [("yes", False), ("no", True)])
def test_both_legs_or_one(says: str, tied: bool) -> None:
    """A balanced input gets all of 4 V, an unbalanced one that of one leg; both are loaded by the impedances of the legs."""
    of = chain(("balanced_input: no", f"balanced_input: {says}"))
    solved = of.solve(Conditions(1000.0, 0.0))
    between, at_input = legs_v(tied=tied)
    assert solved.rms_v[0, solved.index(HEAD)] == pytest.approx(between, rel=1e-6)
    rig = Rig(of.job, seed=1, truth=of.nominal())
    rig.play(1000.0, 0.0)
    assert float(np.std(rig.period(str(HEAD))[0])) == pytest.approx(between, rel=1e-6)
    driven = at_input * 10 ** (6 / 20) * 15_000 / (15_000 + of.nominal()["driver.output_impedance"] + 0.6)
    assert solved.rms_v[0, solved.index(DRIVER)] == pytest.approx(driven, rel=1e-3)


def test_balanced_and_unbalanced_differ_by_six_decibels() -> None:
    """Without loading it is a factor of two, 6.02 dB; an input of unknown kind is either in half of the draws."""
    light = (("1 kohm", "100 Mohm"), ("balanced_input: no", "balanced_input: unknown"))
    of = chain(*light)
    solved = of.solve(Conditions(1000.0, -20.0, values=of.draws(draws=64, seed=1)))
    found = 20 * np.log10(solved.rms_v[:, solved.index(HEAD)])
    assert np.ptp(found) == pytest.approx(20 * np.log10(2), abs=0.01)
    assert 20 <= np.sum(found > np.mean(found)) <= 44


def test_a_grounded_recorder_halves_what_a_meter_reads() -> None:
    """On the rig and in the solver alike; a recorder with a balanced input reads all of it."""
    of = chain(("balanced_input: no", "balanced_input: yes"))
    rig = Rig(of.job, seed=1, truth=of.nominal())
    rig.play(1000.0, 0.0)
    full = rig.read_v(str(HEAD), "meter")
    half = rig.read_v(str(HEAD), "card")
    between, _ = legs_v(tied=True, extra_siemens=1 / 10e3)
    assert full == pytest.approx(legs_v(tied=False)[0], rel=2e-3)
    assert half == pytest.approx(between, rel=1e-3)
    asked = Conditions(1000.0, 0.0, probes={HEAD: 10e3}, grounded=frozenset({HEAD}))
    solved = of.solve(asked)
    assert solved.rms_v[0, solved.index(HEAD)] == pytest.approx(half, rel=1e-6)
    balanced = chain(
        ("balanced_input: no", "balanced_input: yes"), ("full_scale: 20 V", "full_scale: 20 V, balanced: yes")
    )
    rig = Rig(balanced.job, seed=1, truth=balanced.nominal())
    rig.play(1000.0, 0.0)
    assert rig.read_v(str(HEAD), "card") == pytest.approx(full, rel=0.02)


def test_plan_reports_balanced_outputs() -> None:
    """An unbalanced input and a grounded recorder are reported, an unknown input is asked for, a balanced one is neither."""
    codes = {
        says: {f.code for f in make_plan(chain(("balanced_input: no", f"balanced_input: {says}")).job).findings}
        for says in ("yes", "no", "unknown")
    }
    assert "balanced_into_unbalanced" in codes["no"]
    assert "balanced_input_unknown" in codes["unknown"]
    assert not {"balanced_into_unbalanced", "balanced_input_unknown"} & codes["yes"]
    assert all("grounded_on_balanced" in found for found in codes.values())


def test_adjustable_line_driver() -> None:
    """Turned 4 dB down its output has 4 dB less, by a setting, by the job and on the rig; out of its range it is refused."""
    of = chain()
    i = of.nodes.index(DRIVER)

    def volts(chain: Chain, **settings: float) -> float:
        named = {name.replace("_", "."): value for name, value in settings.items()}
        return float(chain.solve(Conditions(1000.0, -20.0, settings=named)).rms_v[0, i])

    down = 10 ** (-4 / 20)
    assert of.settings["driver.gain"] == 6.0
    assert volts(of, driver_gain=2.0) == pytest.approx(down * volts(of), rel=1e-9)
    assert volts(Chain(with_settings(of.job, {"driver.gain": "2 dB"}))) == pytest.approx(down * volts(of), rel=1e-9)
    rig = Rig(of.job, seed=1, truth=of.nominal())
    rig.play(1000.0, -20.0)
    before = float(np.std(rig.period(str(DRIVER))[0]))
    rig.turn("driver.gain", 2.0)
    assert float(np.std(rig.period(str(DRIVER))[0])) == pytest.approx(down * before, rel=1e-6)
    with pytest.raises(JobError, match="the gain of the line driver is set to 13 dB"):
        chain(("gain: 6 dB", "gain: 13 dB"))
