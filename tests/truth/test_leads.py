"""What a lead may read, against the divider error that it causes (Ohm's law) and against the voltages of the whole chain."""

from __future__ import annotations

import math

import pytest

from gainwright import physics
from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import make_plan
from gainwright.report.sheet import expected
from gainwright.solve import METER_OHM, Chain, Conditions, good_lead_ohm, load_loss_ohm

TEXT = example_text("one_amplifier")
LEAD_ERROR_DB = 0.01


@pytest.mark.parametrize(("source", "load"), [(0.0, 10e3), (220.0, 10e3), (600.0, 47e3), (0.02, 4.0)])
@pytest.mark.parametrize("loss_db", [0.01, 0.5, 6.0206])
def test_series_resistance_makes_the_divider_error(source: float, load: float, loss_db: float) -> None:
    """The share that a divider leaves, R_load/(R_source + R + R_load), over that without R; 6.02 dB doubles the loop."""
    series = float(physics.series_for_loss(loss_db=loss_db, source_ohm=source, load_ohm=load))
    without, with_it = load / (source + load), load / (source + series + load)
    assert 20 * math.log10(without / with_it) == pytest.approx(loss_db, rel=1e-9)
    if loss_db > 6:
        assert series == pytest.approx(source + load, rel=1e-4)


def test_limit_of_a_line_lead_depends_on_its_load() -> None:
    """Into 10 kohm 11.5 ohm and half an ohm of the meter; into 40 kohm four times that; the head unit's own ohms count."""
    limits = {}
    for kohm in (10, 40):
        text = TEXT.replace("    minimum_load: 2 ohm", f"    input_impedance: {kohm} kohm\n    minimum_load: 2 ohm")
        text = text.replace("    rated_output: 2 V", "    rated_output: 2 V\n    output_impedance: 100 ohm")
        chain = Chain(read_job_text(text).job)
        run = next(run for run in chain.wiring.leads if run.target == "amp")
        limits[kohm] = good_lead_ohm(chain, chain.wiring.leads[run]) - METER_OHM
        by_hand = (kohm * 1e3 + 100) * (10 ** (LEAD_ERROR_DB / 20) - 1)
        assert limits[kohm] == pytest.approx(by_hand, rel=1e-9)
    assert limits[40] / limits[10] == pytest.approx(40.1 / 10.1, rel=1e-9)


def test_limit_in_the_lead_costs_the_chain_that_error() -> None:
    """The solved chain has 0.01 dB less with that resistance added in its lead."""
    volts = []
    wanted = (10e3 + 200) * (10 ** (LEAD_ERROR_DB / 20) - 1)
    for extra in (0.0, wanted):
        text = TEXT.replace(
            "lead: {length: 5 m}", f"lead: {{resistance: {extra:.6f} ohm}}\n    input_impedance: 10 kohm"
        )
        text = text.replace("    rated_output: 2 V", "    rated_output: 2 V\n    output_impedance: 200 ohm")
        chain = Chain(read_job_text(text).job)
        solved = chain.solve(Conditions(50.0, -20.0))
        volts.append(float(solved.rms_v[0, next(i for i, n in enumerate(chain.nodes) if n.stage == "amp")]))
    assert 20 * math.log10(volts[0] / volts[1]) == pytest.approx(LEAD_ERROR_DB, rel=1e-4)


def test_limit_of_a_long_lead_is_above_its_own_resistance() -> None:
    """A speaker lead of 30 m of 0.5 mm² has 1.03 ohm each way (17.24 nohm m of copper at 20 °C, IEC 60028): length alone doesn't make it bad."""
    text = TEXT.replace("lead: {length: 2 m, area: 2.5 mm²}", "lead: {length: 30 m, area: 0.5 mm²}")
    chain = Chain(read_job_text(text).job)
    run = next(run for run in chain.wiring.leads if run.target == "sub")
    assert good_lead_ohm(chain, chain.wiring.leads[run]) >= 17.24e-9 * 30 / 0.5e-6 + METER_OHM


def test_the_plan_names_both_limits_of_a_lead() -> None:
    """Up to what a sound lead reads with the meter's doubt it is good; over what takes 0.01 dB it costs level; both are said."""
    job = read_job_text(TEXT).job
    chain = Chain(job)
    step = next(s for s in make_plan(job).steps if s.id == "lead.head.sub-amp")
    run = next(run for run in chain.wiring.leads if run.target == "amp")
    limit = good_lead_ohm(chain, chain.wiring.leads[run])
    assert step.expect is not None
    assert step.expect.costs_level_over == limit
    upper = chain.facts[f"{run}.resistance"].quantity.interval[1]
    assert step.expect.high == upper / 2 + METER_OHM
    assert step.expect.high < limit / 10
    said = expected(step.expect)
    assert said == f"up to {step.expect.high:.2g} ohm is a good lead; over {limit:.2g} ohm it costs level"
    assert "may come and go" in step.outside
    assert load_loss_ohm(source_ohm=0.0, load_ohm=10e6) > 1000
