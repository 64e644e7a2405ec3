"""What fault finding asks for is safe: plugs with everything off, no cell on a tweeter, a recorder through its divider."""

from __future__ import annotations

import pytest

from gainwright.diagnose.candidates import Candidate, Catalogue
from gainwright.diagnose.causes import Cause
from gainwright.diagnose.cautions import OFF_FIRST, repair_cautions
from gainwright.diagnose.wording import describe_test
from gainwright.jobfile import example_text, instruments, read_job_text
from gainwright.model import DC_VOLTS, RECORDER_VOLTS, SUPPLY_REPAIR, Job
from gainwright.solve import Chain


def candidates(text: str) -> list[Candidate]:
    """Return every test of a job."""
    job: Job = read_job_text(text).job
    return Catalogue(job, Chain(job), instruments(job), ()).all()


@pytest.fixture(scope="module")
def found() -> list[Candidate]:
    """Every test of the two-way chain, which has a tweeter, a meter and a recorder with a divider."""
    return candidates(example_text("two_way_and_sub"))


def test_plugs_are_moved_with_everything_off(found: list[Candidate]) -> None:
    """Swaps and feeds are switched off before and after, leads and coils are read with everything off."""
    kinds = {c.test for c in found}
    assert {"swap_sides", "swap_leads", "feed", "check_lead", "measure_speaker", "move_cone"} <= kinds
    for c in found:
        asked = describe_test(c, read_job_text(example_text("two_way_and_sub")).job)
        if c.test in ("swap_sides", "swap_leads", "feed"):
            assert OFF_FIRST in c.cautions
            assert asked.lower().count("switch everything off") == 1
            assert "witch off" in asked.rsplit(". ", 1)[1]
        if c.test in ("check_lead", "measure_speaker", "move_cone"):
            assert asked.startswith("Everything off")


def test_no_cell_on_a_tweeter(found: list[Candidate]) -> None:
    """A cell may move the woofer's cone, not the tweeter's: recognised by its protection limit or by its name."""
    assert {c.where.split(".")[0] for c in found if c.test == "move_cone"} == {"sub", "woofer"}
    bare = example_text("two_way_and_sub").replace(", protect_below: 2.5 kHz", "")
    assert "tweeter" not in {c.where.split(".")[0] for c in candidates(bare) if c.test == "move_cone"}


def test_a_recorder_at_an_amplifier_only_through_its_divider(found: list[Candidate]) -> None:
    """With its divider it may be used, and the test says so; without one it isn't used there, however high its input range."""
    assert all(RECORDER_VOLTS in c.cautions for c in found if c.test == "record")
    bare = example_text("two_way_and_sub").replace("full_scale: 2 V, attenuator: 30 dB", "full_scale: 90 V")
    assert "record" in {c.test for c in found}
    assert "record" not in {c.test for c in candidates(bare)}


def test_supplies_and_their_repairs_have_their_cautions(found: list[Candidate]) -> None:
    """DC volts and the amps socket at the reading, the battery and the licensed technician at the repair."""
    assert all({DC_VOLTS, SUPPLY_REPAIR} <= set(c.cautions) for c in found if c.test == "measure_supply")
    assert SUPPLY_REPAIR in repair_cautions(Cause("amplifier_no_supply", "amp_sub"))
    assert OFF_FIRST in repair_cautions(Cause("lead_open", "lead:desk.sub-knob"))
    assert repair_cautions(Cause("gain_low", "amp_sub")) == ()
