"""What cables take from an amplifier's ceiling, a speaker from its rating, and a head unit from the supply: closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from supply_cases import JOB, codes, evaluated

from gainwright.jobfile import read_job_text, with_changes
from gainwright.plan import make_plan
from gainwright.power import evaluate_power
from gainwright.solve import Chain, Conditions, amplifier_ceiling_v

PLAIN = JOB[: JOB.index("supply:")].replace("alternator: {current: 90 A, other_loads: 30 A}", "alternator: {}")
CABLE = "supply:\n  main: {feeds: [amp], length: 5 m, wire: 8 AWG, fuse: 60 A}\n"
EXACT = (
    "sensitivity: 0.2 .. 5 V",
    "sensitivity: 0.2 .. 5 V, headroom: 0 dB, rated_at: 13.8 V, output_impedance: 0.001 ohm",
)


def chain(cable: str = CABLE, *, regulated: str = "no") -> Chain:
    """Return the chain of a job with or without a cable."""
    text = PLAIN.replace(*EXACT).replace("class: AB", f"class: AB, regulated: {regulated}")
    found = Chain(read_job_text(text + cable).job)
    found.curves.clear()
    return found


def by_hand() -> float:
    """Return the share of its supply that an amplifier at its ceiling keeps behind 5 m of 8 AWG there and through the body back.

    What it takes follows its supply like a resistance, so it is a divider. 500 W into 2 ohm at 1 % THD, the clean sine 0.2016 dB
    below (docs/model.md); rail sqrt(2 P R), E|v| = 2 sqrt(2)/pi V, converter 85 %. 8.366 mm2 of copper at 50 degrees C, 3 milliohm.
    """
    volts = math.sqrt(500 * 2) * 10 ** (-0.2016 / 20)
    watts = math.sqrt(2 * 500 * 2) * 2 * math.sqrt(2) / math.pi * volts / 2 / 0.85
    ohm = 5 / 58 / 8.366 * (1 + 0.00393 * 30) + 0.003
    own_ohm = 13.8**2 / watts
    return own_ohm / (own_ohm + ohm)


def test_an_unregulated_amplifiers_ceiling_loses_what_its_cable_loses() -> None:
    """By the divider, in the chain, in the corridor and in the plan's target; with the speaker off it draws nothing."""
    plain, cabled = chain(""), chain()
    share = by_hand()
    assert share < 0.95
    ceilings = [float(np.squeeze(amplifier_ceiling_v(c, "amp", c.nominal(), unloaded=False))) for c in (plain, cabled)]
    assert ceilings[1] / ceilings[0] == pytest.approx(share, abs=0.002)
    solved = [float(c.solve(Conditions(50.0, -40.0)).ceiling_v[0, -1]) for c in (plain, cabled)]
    assert solved[1] / solved[0] == pytest.approx(share, abs=0.002)
    off = Conditions(50.0, -40.0, unloaded=frozenset({"sub"}))
    assert float(cabled.solve(off).ceiling_v[0, -1]) == pytest.approx(float(plain.solve(off).ceiling_v[0, -1]))
    clips = [make_plan(c.job).targets[0].candidates_v_rms["clip"] for c in (plain, cabled)]
    assert clips[1] / clips[0] == pytest.approx(share, abs=0.002)


def test_a_regulated_amplifier_loses_nothing() -> None:
    """Its rails stay while its supply falls, so its ceiling does."""
    ceilings = [
        float(np.squeeze(amplifier_ceiling_v(c, "amp", c.nominal(), unloaded=False)))
        for c in (chain("", regulated="yes"), chain(regulated="yes"))
    ]
    assert ceilings[0] == ceilings[1]


def test_a_speaker_below_80_per_cent_of_its_impedance() -> None:
    """IEC 60268-5: the modulus doesn't fall below 80 % of the rated impedance. Declared as what it is, it isn't found any more."""
    text = JOB.replace(
        "coils: 2 x 4 ohm parallel, power: 500 W, re: 3.2 ohm", "impedance: 4 ohm, power: 500 W, re: RE ohm"
    )
    sound = evaluate_power(read_job_text(text.replace("RE", "3.3")).job)
    assert "impedance_low" not in {f.code for f in sound.findings}
    least = sound.speakers[0].lowest_ohm
    assert least is not None
    assert 3.3 < least < 1.2 * 3.3  # above resonance the coil is left, with a little motion and inductance
    job = read_job_text(text.replace("RE", "2.6")).job
    finding = next(f for f in evaluate_power(job).findings if f.code == "impedance_low")
    assert finding.remedy_sets
    assert "impedance_low" not in {f.code for f in evaluate_power(with_changes(job, finding.remedy_sets)).findings}


def test_capacitors_are_named_at_a_fuse_that_may_blow() -> None:
    """Up to the current of a short at the end of the cable (Ohm's law), beside the finding of the small fuse alone."""
    assert "capacitors_at_start" not in codes(evaluated())
    found = evaluated(supply__main__fuse="15 A")
    most = found.cable("main").short_a
    assert most is not None
    assert f"{most:.0f} A" in codes(found)["capacitors_at_start"].message


def test_a_head_units_own_power_stages_count() -> None:
    """Two sides of 8 V rms into a speaker of 4 ohm from 13.8 V: a bridged class B stage takes supply x mean |v| / load.

    The load is the speaker over its band (`test_taken_loads`); a sine is at the frequency that takes most.
    """
    text = JOB.replace(
        "head: {kind: head_unit, rated_output: 4 V}",
        "head: {kind: head_unit, rated_output: 4 V, outputs: {line: {sides: [mono]}}}\n"
        "  radio: {kind: head_unit, speaker_level: yes, rated_output: 8 V, outputs: {rear: {sides: [left, right]}}}",
    ).replace("supply:\n", "  rear: {kind: speaker, from: radio.rear, impedance: 4 ohm}\nsupply:\n")
    found = evaluated(text)
    states, load = found.states, found.amplifiers["radio.rear"]
    # a coil may have little more than half of the nominal ohms
    assert 0.5 * 4 < load.sine_ohm < load.music_ohm < 4
    volts = 2 * 8
    sine, music = 2 * math.sqrt(2) / math.pi, math.sqrt(2 / math.pi) * math.sqrt(1 / 8)
    assert states.watts["radio"]["full_sine"] == pytest.approx(13.8 * sine * volts / load.sine_ohm)
    assert states.watts["radio"]["music"] == pytest.approx(13.8 * music * volts / load.music_ohm)
    assert states.watts["radio"]["idle"] == 0
    without = evaluated().states
    for state in ("music", "worst_second"):
        more = states.drawn_a[state] - without.drawn_a[state]
        assert more == pytest.approx(states.watts["radio"][state] / 13.8, rel=0.05)
    assert "no_cable_given" not in codes(evaluated(text))
