"""Amplifiers in one chassis: what they share is a single cause, checked in one place."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import example_text, read_evidence_text, read_job_text, with_settings
from gainwright.simulated import Fault, Rig, answer
from gainwright.simulated.faults import possible_faults

SHARED = ("amplifier_no_turn_on", "amplifier_no_supply", "amplifier_protecting", "supply_sagging")
SILENT = """\
evidence:
  - {heard: sub, tone: 50 Hz, level: -8 dBFS, is: silent}
  - {heard: front, tone: 1 kHz, level: -8 dBFS, is: silent}
  - {heard: rear, tone: 1 kHz, level: -8 dBFS, is: silent}
  - {at: head.front.left, with: meter, tone: 1 kHz, level: -8 dBFS, reads: 0.4 V}
"""

SHORTS = ("lead_shorted", "speaker_shorted", "load_too_low")


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    """Return a diagnoser of the five-channel example with its gains set."""
    job = read_job_text(example_text("five_channel")).job
    sets = {f"amp_{name}.gain": "30 %" for name in ("front", "rear", "sub")}
    return Diagnoser(with_settings(job, sets), draws=96)


def test_what_they_share_is_one_cause(diagnoser: Diagnoser) -> None:
    """Supply, turn-on and protection occur once, at the chassis; gains occur at each amplifier."""
    for cause in SHARED:
        assert [c.where for c in diagnoser.causes if c.id == cause] == ["five"]
        assert [where for found, where in possible_faults(diagnoser.job) if found == cause] == ["five"]
    assert {c.where for c in diagnoser.causes if c.id == "gain_low"} == {"amp_front", "amp_rear", "amp_sub"}


def test_all_silent_points_to_the_chassis(diagnoser: Diagnoser) -> None:
    """Three silent channels with a signal at their inputs: what the chassis shares, or a short behind it that makes it protect."""
    found = make_diagnosis(diagnoser, read_evidence_text(SILENT, diagnoser.job))
    at_chassis = sum(c.probability for c in found.causes if c.where == "five")
    protecting = sum(c.probability for c in found.causes if c.cause in SHORTS and c.where != "five")
    assert at_chassis > 0.6
    assert at_chassis + protecting > 0.9
    assert any(test.where.startswith("five.") for test in found.next)


def test_supply_of_one_stage_is_that_of_its_chassis(diagnoser: Diagnoser) -> None:
    """The supply read at one channel's name counts for all of them, and isn't asked for again."""
    entry = read_evidence_text("evidence: [{check: amp_sub.supply_voltage, reads: 0.02 V}]", diagnoser.job)
    found = make_diagnosis(diagnoser, (*read_evidence_text(SILENT, diagnoser.job), *entry))
    assert (found.causes[0].cause, found.causes[0].where) == ("amplifier_no_supply", "five")
    assert not any(t.where.endswith("supply_voltage") for t in found.next)


@pytest.mark.parametrize("cause", SHARED[:3])
def test_the_rig_silences_all_of_them(cause: str, diagnoser: Diagnoser) -> None:
    """One fault of the chassis silences every channel in it; its lamp is read once."""
    rig = Rig(diagnoser.job, seed=2, faults=(Fault(cause, "five"),))
    rig.play(100.0, -10.0)
    assert all(not np.any(wave) for name, wave in rig.periods().items() if name.startswith("amp"))
    lamp = read_evidence_text("evidence: [{check: amp_rear.power_lamp, is: on}]", diagnoser.job)[0]
    assert answer(rig, lamp)["is"] == ("on" if cause == "amplifier_protecting" else "off")
