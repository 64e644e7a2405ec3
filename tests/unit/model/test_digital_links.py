"""Digital outputs: what they can feed, and their steps in planning and fault finding."""

from __future__ import annotations

from typing import Any

import pytest

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.causes import causes
from gainwright.errors import JobError
from gainwright.jobfile import example_text, instruments, read_entry, read_job_text
from gainwright.model import leads_by_name
from gainwright.plan import make_plan
from gainwright.simulated.faults import possible_faults
from gainwright.solve import Chain

TEXT = example_text("digital_player")
LEAD = "lead:player-desk"
LINK = "player.out.link"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("from: desk.front", "from: player", "is digital and can't feed amp_front"),
        ("kind: processor", "kind: processor\n    digital: no", "is digital and can't feed desk"),
        ("{digital: optical}", "{}", "the key 'rated_output' is missing"),
        ("{main: player}", "{main: [player, other]}", "is joined with another output"),
        ("at: 36", "at: 53", "the volume is set to 53 of 52 steps"),
    ],
)
def test_limits_of_a_digital_output(old: str, new: str, told: str) -> None:
    """It feeds a digital processor, alone; a source without one needs a rated output."""
    other = "  other: {kind: head_unit, rated_output: 2 V}\n" if "other" in new else ""
    assert old in TEXT
    text = TEXT.replace(old, new, 1).replace("  desk:\n", f"{other}  desk:\n", 1)
    with pytest.raises(JobError, match=r"job:[0-9]+") as caught:
        read_job_text(text)
    assert told in f"{caught.value.what}"


def test_a_digital_lead_is_open_or_not() -> None:
    """It is one lead without sides, has one cause, and rig and model agree on that."""
    job = read_job_text(TEXT).job
    chain = Chain(job)
    assert [name for name in leads_by_name(chain.wiring) if "player" in name] == [LEAD]
    found = causes(job, chain.wiring, instruments(job))
    assert [c.id for c in found if c.where == LEAD] == ["lead_open"]
    assert ("leads_swapped", "desk") not in [(c.id, c.where) for c in found]
    assert {(c.id, c.where) for c in found if c.where in (LEAD, "desk", "player")} == {
        (cause, where) for cause, where in possible_faults(job) if where in (LEAD, "desk", "player")
    }


def test_nothing_is_read_on_a_digital_link() -> None:
    """No step of the plan and no test of fault finding reads there; the link is inspected."""
    job = read_job_text(TEXT).job
    link = next(step for step in make_plan(job).steps if step.id == "lead.player-desk")
    assert link.expect is None
    assert not link.instrument
    assert not any(step.measure_at.startswith("player.") for step in make_plan(job).steps)
    tests = Catalogue(job, Chain(job), instruments(job), ()).all()
    assert [t.test for t in tests if t.where == LINK] == ["look_at_link"]
    assert not [t for t in tests if t.where.startswith("player.out") and not t.test.startswith("look_at")]


def test_a_reading_on_a_digital_link_is_refused() -> None:
    """There are no volts; ohms of the link are no answer either."""
    job = read_job_text(TEXT).job
    with pytest.raises(JobError, match=r"player\.out\.left is digital"):
        read_entry({"at": "player.out.left", "tone": "100 Hz", "reads": "1 V"}, job)
    with pytest.raises(JobError, match="there is no place to check"):
        read_entry({"check": LEAD, "resistance": "1 ohm"}, job)


def test_the_master_volume_sets_the_level() -> None:
    """The player's own volume is set to its highest step and stays there; the clean limit is found with the master volume."""
    steps = make_plan(read_job_text(TEXT.replace("at: 15}", "at: 4}")).job).steps
    assert next(step.sets for step in steps if step.id == "control.player.volume") == {"player.volume": "15"}
    turned = {step.adjust.control for step in steps if step.adjust is not None and step.adjust.until == "last_clean"}
    assert turned == {"desk.volume"}
    assert "verify.desk.volume" in {step.id for step in steps}


def test_unplugged_link_and_levelling_player_are_distinguished() -> None:
    """No signal after the link and the inspected link wrong; far too little with the link right: the player's own level."""
    diagnoser = Diagnoser(read_job_text(TEXT).job, draws=256)
    silent = {"heard": "front", "is": "silent", "tone": "630 Hz", "level": "-8 dBFS"}
    assert _first(diagnoser, silent, {"check": LINK, "is": "wrong"}) == ("lead_open", LEAD)
    low = {"at": "desk.front.left", "with": "meter", "tone": "630 Hz", "level": "-5 dBFS", "reads": "65 mV"}
    sound = [{"check": "desk.volume", "is": "36"}, {"check": LINK, "is": "right"}]
    assert _first(diagnoser, low, {**low, "at": "desk.front.right"}, *sound) == ("tone_level_wrong", "player")


def _first(diagnoser: Diagnoser, *said: dict[str, Any]) -> tuple[str, str]:
    found = make_diagnosis(diagnoser, [read_entry(s, diagnoser.job) for s in said]).causes[0]
    return found.cause, found.where


ANALOGUE = """
format: 1
stages:
  head: {kind: head_unit, rated_output: 8 V, output_limit: 8 V, volume: {steps: 30, at: 30, step: 1 dB, top: 0 dB}}
  desk: {kind: processor, inputs: {in: head}, input_limit: 4 V, volume: {steps: 40}, outputs: {out: {}}}
  amp: {kind: amplifier, from: desk, power: 60 W @ 4 ohm}
  front: {kind: speaker, from: amp, impedance: 4 ohm}
"""


def test_an_analogue_source_too_loud_for_the_processor_before_its_master_volume() -> None:
    """8 V into 4 V is 6 dB too much whatever the master volume; six steps lower the finding is gone."""
    job = read_job_text(ANALOGUE).job
    found = next(f for f in make_plan(job).findings if f.code == "source_too_loud")
    assert "6.0 dB over" in found.message or "5.9 dB over" in found.message
    assert "step 24" in found.remedy
    mended = read_job_text(ANALOGUE.replace("at: 30", "at: 24")).job
    assert "source_too_loud" not in {f.code for f in make_plan(mended).findings}
    step = next(step for step in make_plan(mended).steps if step.id == "control.head.volume")
    assert step.sets == {"head.volume": "24"}


def test_a_line_driver_turned_down_is_found() -> None:
    """Low level after it and its gain not as in the job: it is turned down, as on the rig."""
    diagnoser = Diagnoser(read_job_text(example_text("active_three_way")).job, draws=256)
    low = {"at": "driver.out.left", "with": "meter", "tone": "1 kHz", "level": "-6 dBFS", "reads": "150 mV"}
    looked = {"check": "driver.gain", "is": "wrong"}
    assert _first(diagnoser, low, {**low, "at": "driver.out.right"}, looked) == ("level_control_down", "driver")
    assert ("level_control_down", "driver") in possible_faults(diagnoser.job)
