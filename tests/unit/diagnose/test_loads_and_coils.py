"""What a low load and a burnt coil do to a cone: a load that is low still plays, a coil burnt together doesn't move."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser, make_diagnosis
from gainwright.diagnose.answers import AnswerModel
from gainwright.diagnose.ensemble import Stimulus
from gainwright.diagnose.observations import observe
from gainwright.jobfile import read_entry, read_job_text
from gainwright.simulated import Fault, Rig, answer

JOB = """
format: 1
title: One amplifier
instruments: {meter: {kind: multimeter, true_rms: yes, counts: 60000, accuracy: 1 % + 3 counts}}
stages:
  head: {kind: head_unit, rated_output: 2 V, volume: {steps: 30, at: 26}, outputs: {main: {}}}
  amp: {kind: amplifier, from: head.main, power: 80 W @ 4 ohm, sensitivity: 0.2 .. 5 V, gain: {at: 60 %}}
  doors: {kind: speaker, from: amp, impedance: 4 ohm}
"""
POWERED = """
format: 1
title: Speakers on a head unit
instruments: {meter: {kind: multimeter, true_rms: yes, counts: 60000, accuracy: 1 % + 3 counts}}
stages:
  head: {kind: head_unit, rated_output: 8 V, speaker_level: yes, volume: {steps: 30, at: 26}, outputs: {front: {}, rear: {}}}
  doors: {kind: speaker, from: head.front, impedance: 4 ohm}
  rear: {kind: speaker, from: head.rear, impedance: 4 ohm}
"""


@pytest.fixture(scope="module")
def model() -> AnswerModel:
    """Return the answers of a small chain."""
    return Diagnoser(read_job_text(JOB).job).rough


def of(model: AnswerModel, cause: str, where: str) -> int:
    """Return the number of a hypothesis."""
    return model.ensemble.hypotheses.index((Cause(cause, where),))


def test_the_cone_of_a_shorted_coil_stays_still(model: AnswerModel) -> None:
    """As it does behind a shorted lead: a cell doesn't tell one from the other, neither here nor on the rig."""
    still = model.check("doors.cone")
    chance = still.chance[still.labels.index("still")]
    assert chance[of(model, "speaker_shorted", "doors")].mean() > 0.9
    assert chance[of(model, "lead_shorted", "lead:amp-doors")].mean() > 0.9
    job = read_job_text(JOB).job
    rig = Rig(job, seed=1, faults=(Fault("speaker_shorted", "doors"),))
    assert answer(rig, read_entry({"check": "doors.cone"}, job, answered=False))["is"] == "still"


def test_a_low_load_plays(model: AnswerModel) -> None:
    """Of a quarter of its impedance, four speakers instead of one, unless the amplifier protects itself."""
    heard = model.heard("doors", Stimulus(400.0, -12.0))
    row = of(model, "load_too_low", "amp")
    change = model.changes[row]
    silent = heard.chance[heard.labels.index("silent"), row]
    plays = ~change.protecting.get("amp", 0 * silent).astype(bool)
    assert plays.any()
    assert silent[plays].max() < 0.1


def test_millivolts_above_what_is_picked_up_are_a_level(model: AnswerModel) -> None:
    """4.7 mV at a line output are twice what 0.8 ohm leave and half of what 4 ohm leave, not nothing."""
    job = read_job_text(JOB).job
    entry = read_entry({"at": "head.main.left", "tone": "400 Hz", "level": "-10 dBFS", "reads": "4.7 mV"}, job)
    (found,) = observe(0, entry, model)
    assert found.volts is not None
    assert found.volts.reads_db == pytest.approx(20 * math.log10(4.7e-3))


def test_stray_millivolts_of_a_dead_amplifier_are_no_mistake() -> None:
    """Whatever is read of what is picked up, 0.3 or 8 mV, nothing contradicts an amplifier without supply."""
    job = read_job_text(JOB).job
    diagnoser = Diagnoser(job)
    told = [{"heard": "doors", "is": "silent"}, {"check": "amp.power_lamp", "is": "off"}]
    told += [{"check": "amp.supply_voltage", "reads": "0.02 V"}]
    for reads in ("0.3 mV", "1.6 mV", "8 mV"):
        tone = {"tone": "400 Hz", "level": "-10 dBFS", "reads": reads}
        entries = [read_entry(e, job) for e in (*told, {"at": "amp.out.left", **tone})]
        found = make_diagnosis(diagnoser, entries)
        assert found.causes[0].cause == "amplifier_no_supply"
        assert found.evidence[3].doubt < 0.3, reads


def test_ohms_through_a_bad_contact_are_not_an_open_coil(model: AnswerModel) -> None:
    """A meter that shows 180 ohm at a speaker's lead shows a bad contact: a lead or coil that is open shows none."""
    entry = read_entry({"check": "doors.resistance", "reads": "180 ohm"}, model.chain.job)
    (found,) = observe(0, entry, model)
    assert found.chance is not None
    bad, opened, coil = (
        found.chance[of(model, cause, where)].mean()
        for cause, where in (
            ("lead_resistive", "lead:amp-doors"),
            ("lead_open", "lead:amp-doors"),
            ("speaker_open", "doors"),
        )
    )
    assert bad > 0.5
    assert max(opened, coil) < 0.05


def test_a_head_unit_with_a_shorted_speaker_may_play_on() -> None:
    """Of a head unit's own amplifiers some mute all outputs, some the shorted one alone, some give what their limit leaves."""
    job = read_job_text(POWERED).job
    model = Diagnoser(job).rough
    change = model.changes[of(model, "speaker_shorted", "rear")]
    gains = {str(node): np.broadcast_to(gain, (model.ensemble.draws,)) for node, gain in change.gains().items()}
    other, own = gains["head.front.left"], np.minimum(gains["head.rear.left"], gains["head.rear.right"])
    assert 0.2 < np.mean(other == 0) < 0.7
    assert np.mean(own == 0) > np.mean(other == 0) + 0.1
    assert np.mean(own == 1) > 0.1
