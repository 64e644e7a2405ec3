"""An amplifier that a signal turns on: without enough signal it is off, in diagnosis and on the rig."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser
from gainwright.jobfile import example_text, read_evidence_text, read_job_text
from gainwright.plan import make_plan
from gainwright.simulated import Fault, Rig, answer
from gainwright.simulated.faults import possible_faults
from gainwright.solve import Chain

JOB = read_job_text(example_text("strapped_pair")).job
LAMP = read_evidence_text("evidence: [{check: amp_front.power_lamp, is: on}]", JOB)[0]
TRUTH = Chain(JOB).nominal() | {"amp_front.turn_on_level": 0.1}


@pytest.mark.parametrize(("level_dbfs", "awake"), [(-10.0, True), (-50.0, False)])
def test_the_rig_sleeps_under_its_threshold(level_dbfs: float, awake: bool) -> None:
    """100 mV at its input turns it on: at -10 dBFS it plays, at -50 dBFS (some 14 mV) it gives nothing at all."""
    rig = Rig(JOB, seed=1, truth=TRUTH)
    rig.play(200.0, level_dbfs)
    at_input = float(np.std(rig.period("radio.front.left")[0]))
    assert (at_input > 0.1) == awake
    assert bool(np.any(rig.period("amp_front.out.left")[0])) == awake
    assert rig.lamps("amp_front") == (awake, False)


def test_no_signal_no_lamp() -> None:
    """With the lead to it open on both sides its lamp stays dark; it has no turn-on lead that could be missing."""
    dark = Rig(JOB, seed=1, truth=TRUTH, faults=(Fault("lead_open", "lead:radio.front-amp_front"),))
    assert answer(dark, LAMP)["is"] == "off"
    assert answer(Rig(JOB, seed=1, truth=TRUTH), LAMP)["is"] == "on"
    assert ("amplifier_no_turn_on", "amp_front") not in possible_faults(JOB)
    assert ("amplifier_no_turn_on", "pair") in possible_faults(JOB)


def test_fault_finding_knows_why_the_lamp_is_dark() -> None:
    """With an open lead or a muted source the lamp is off, otherwise on; the conductors of its lead are not tested for DC."""
    diagnoser = Diagnoser(JOB, draws=64)
    model = diagnoser.rough
    lamp = model.check("amp_front.power_lamp")
    on = lamp.chance[lamp.labels.index("on")].mean(axis=-1)
    rows = {h[0]: on[i] for i, h in enumerate(model.ensemble.hypotheses)}
    assert rows[Cause("nothing_wrong", "")] > 0.9
    assert rows[Cause("source_muted", "radio")] < 0.1
    assert rows[Cause("lead_open", "lead:radio.front-amp_front")] < 0.1
    tests = {c.where for c in diagnoser.tests(diagnoser.weigh(())).catalogue.all()}
    assert "amp_front.turn_on_voltage" not in tests
    assert {"amp_front.supply_voltage", "pair.turn_on_voltage"} <= tests


def test_the_plan_says_from_which_signal_it_is_on() -> None:
    """A dark lamp at a low volume is no fault: the plan says so once, with the volts."""
    note = next(f for f in make_plan(JOB).findings if f.code == "turned_on_by_signal")
    low, high = Chain(JOB).facts["amp_front.turn_on_level"].quantity.interval
    assert note.where == "amp_front"
    assert f"{1000 * low:.3g} mV" in note.message
    assert math.isfinite(high)
