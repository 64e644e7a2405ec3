"""Levels of whole chains against closed forms: loading, rated power, supply, sums of sides, drawn intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_chain import chain, solved

from gainwright.jobfile import example_text, read_job_text
from gainwright.simulated import Rig
from gainwright.solve import Chain, Conditions, levels


def test_loading_reduces_the_level_of_a_source() -> None:
    """600 ohm into 10 kohm: -0.5061 dB (divider, 20 lg(10000/10600)); 2 V rms at full scale, -10 dBFS."""
    volts = solved(chain())["head.out.mono"][0]
    assert 20 * math.log10(volts / (2 * 10 ** (-10 / 20))) == pytest.approx(-0.5061, abs=5e-5)


def test_sensitivity_gives_rated_power() -> None:
    """1 V at the input, gain fully up, gives sqrt(P R) = 20 V into 4 ohm: 26.02 dB (definition of sensitivity)."""
    found = solved(chain())
    assert found["amp.out.mono"][0] / found["head.out.mono"][0] == pytest.approx(math.sqrt(100 * 4) / 1.0, rel=1e-9)


def test_the_ceiling_of_a_rating_at_1_per_cent() -> None:
    """A sine clipped to 1 % THD has 0.2016 dB more rms than one that just reaches the ceiling (closed form at 0.251261 dB deep)."""
    of = chain()
    found = of.solve(Conditions(1000.0, 0.0))
    ceiling = float(found.ceiling_v[0, of.nodes.index(of.wiring.outputs("amp")[0])])
    assert 20 * math.log10(20 / ceiling) == pytest.approx(0.2016, abs=1e-4)


def test_rails_follow_the_supply() -> None:
    """From 14.4 V to 12.6 V an unregulated amplifier loses 20 lg(12.6/14.4) = -1.1598 dB; a regulated one nothing."""
    ceilings = []
    for change in (
        [],
        [("running: 14.4 V", "running: 12.6 V")],
        [("running: 14.4 V", "running: 12.6 V"), ("headroom: 0 dB", "headroom: 0 dB\n    regulated: yes")],
    ):
        of = chain(*change)
        ceilings.append(float(of.solve(Conditions(1000.0, 0.0)).ceiling_v[0, 1]))
    assert 20 * math.log10(ceilings[1] / ceilings[0]) == pytest.approx(-1.1598, abs=1e-4)
    assert ceilings[2] == pytest.approx(ceilings[0])


def test_a_lead_of_20_kohm_loses_9_54_db_into_10_kohm() -> None:
    """20 kohm in series with 10 kohm leaves a third: -9.542 dB (divider)."""
    bad = chain(
        ("lead: {resistance: 0 ohm}\n  sub", "lead: {resistance: 20 kohm}\n  sub"),
        ("output_impedance: 600 ohm", "output_impedance: 0 ohm"),
    )
    ideal = chain(("output_impedance: 600 ohm", "output_impedance: 0 ohm"))
    ratio = solved(bad)["amp.out.mono"][0] / solved(ideal)["amp.out.mono"][0]
    assert 20 * math.log10(ratio) == pytest.approx(-9.542, abs=1e-3)


def test_a_volume_step_is_its_decibels() -> None:
    """Ten steps of 1 dB are 10 dB."""
    high, low = (solved(chain(), head_volume=v)["head.out.mono"][0] for v in (18.0, 8.0))
    assert 20 * math.log10(high / low) == pytest.approx(10.0, abs=1e-9)


def test_a_mono_sum_is_half_of_each_side() -> None:
    """A tone in both sides is unattenuated; sides of opposite polarity cancel (sum of phasors)."""
    text = """
format: 1
stages:
  head: {kind: head_unit, rated_output: 2 V, outputs: {front: {sides: [left, right]}}}
  desk:
    kind: processor
    inputs: {in: head.front}
    outputs:
      sub: {from: in, sides: [mono]}
      a: {from: in.left, sides: [mono]}
      b: {from: in.right, sides: [mono], polarity: reversed}
  amp: {kind: amplifier, from: desk.sub, power: 100 W @ 4 ohm}
  amp_2: {kind: amplifier, from: [desk.a, desk.b], power: 100 W @ 4 ohm}
  sub: {kind: speaker, from: amp, impedance: 4 ohm}
  sub_2: {kind: speaker, from: amp_2, impedance: 4 ohm}
"""
    of = Chain(read_job_text(text).job)
    found = solved(of, tone_hz=50.0, amp_gain=0.5, **{"amp_2.gain": 0.5})
    assert found["desk.sub.mono"][0] == pytest.approx(found["desk.a.mono"][0], rel=1e-3)
    assert found["amp_2.out.mono"][0] < 1e-6 * found["amp.out.mono"][0]


def test_the_interval_of_a_level_is_that_of_its_factors() -> None:
    """Volts proportional to one normal factor: 95 % interval of ±10 % (JCGM 101:2008, linear model)."""
    of = chain(("rated_output: 2 V", "rated_output: 2 V ± 10 %"))
    found = levels(of, tone_hz=1000.0, level_dbfs=-20.0, draws=4096)
    node = found.paths[0].nodes[0]
    assert node.v_rms_low / node.v_rms == pytest.approx(0.9, abs=0.003)
    assert node.v_rms_high / node.v_rms == pytest.approx(1.1, abs=0.003)


def test_the_interval_of_a_product() -> None:
    """Spreads in dB of a product add as squares: 1 dB and 2 dB give 2.236 dB (JCGM 100:2008, 5.1.2)."""
    of = chain(
        ("step: 1 dB, top: 0 dB}", "step: 1 dB, top: 0 dB ± 1 dB}\n    output_limit: 2 V"),
        ("headroom: 0 dB", "headroom: 0 dB\n    boost: peak 3 dB ± 2 dB at 1 kHz q 1"),
    )
    found = levels(of, tone_hz=1000.0, level_dbfs=-40.0, draws=8192)
    node = found.paths[0].nodes[-1]
    half = 10 * math.log10((node.v_rms_high / node.v_rms_low) ** 2) / 2
    assert half == pytest.approx(math.hypot(1, 2), abs=0.03)


@pytest.mark.parametrize("name", ["two_way_and_sub", "one_amplifier"])
def test_an_amplifiers_gain_is_the_same_with_and_without_its_load(name: str) -> None:
    """Ohm's law: taking the load off raises the voltage by 1 + R_out G and no more, in solver and rig, however it is rated.

    With load resistors; speakers are in test_speaker_loads.
    """
    job = read_job_text(example_text(name)).job
    chain = Chain(job)
    chain.curves.clear()
    node = next(n for n in chain.nodes if n.stage in ("amp_sub", "amp"))
    values = chain.nominal()
    wires = [(n, p) for pairs in chain.wiring.leads.values() for n, p in pairs if n == node]
    run = next(str(run) for run, pairs in chain.wiring.leads.items() if wires[0] in pairs)
    siemens = 1 / (values["sub.impedance"] + values[f"{run}.resistance"])
    expected = 1 + values[f"{node.stage}.output_impedance"] * siemens
    off, on = (chain.solve(Conditions(40.0, -60.0, unloaded=frozenset(away)), targets=[node]) for away in (["sub"], []))
    assert off.rms_v[0, off.index(node)] / on.rms_v[0, on.index(node)] == pytest.approx(expected, rel=1e-9)
    rig = Rig(job, seed=1, truth=values)
    rig.play(40.0, -60.0)
    loaded = float(np.std(rig.period(str(node))[0]))
    rig.disconnect(("sub",))
    assert float(np.std(rig.period(str(node))[0])) / loaded == pytest.approx(expected, rel=1e-9)
