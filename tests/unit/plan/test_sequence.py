"""The order of the steps by power, the words for places, and the cautions at each step."""

from __future__ import annotations

import pytest

from gainwright.jobfile import example_text, read_job_text
from gainwright.model import DC_VOLTS, OUTDOORS, Job, place_words
from gainwright.plan import Plan, make_plan
from gainwright.plan.cautions import CHARGED, CHARGER, HEAD_BRIDGED, HEARING, TWEETER_BACK, TWEETER_OPEN

TWO_CASES = """format: 1
instruments: {meter: {kind: multimeter, bandwidth: 1 kHz}}
stages:
  head: {kind: head_unit, rated_output: 4 V, outputs: {front: {}, rear: {}, sub: {sides: [mono]}}}
  amp_front: {kind: amplifier, from: head.front, power: 100 W @ 4 ohm, chassis: four}
  amp_rear: {kind: amplifier, from: head.rear, power: 100 W @ 4 ohm, chassis: four}
  amp_sub: {kind: amplifier, from: head.sub, power: 300 W @ 4 ohm}
  front: {kind: speaker, from: amp_front}
  rear: {kind: speaker, from: amp_rear}
  sub: {kind: speaker, from: amp_sub}
"""


@pytest.fixture(scope="module")
def plan() -> Plan:
    """The plan of the two-way chain."""
    return make_plan(job())


def job(name: str = "two_way_and_sub") -> Job:
    """Return an example."""
    return read_job_text(example_text(name)).job


def test_the_power_goes_up_down_and_up_once(plan: Plan) -> None:
    """Off for plugs, on for screens, running for readings, off for the speakers, running to listen and read, off at the end."""
    changes = [s for s in plan.steps if s.id.startswith("power.")]
    assert [s.id.removeprefix("power.") for s in changes] == ["on", "running", "off", "again", "end"]
    assert [s.system for s in changes] == ["on", "running", "off", "running", "off"]
    assert OUTDOORS in changes[1].cautions
    assert CHARGER in changes[0].cautions
    assert CHARGED in changes[2].cautions
    for step in plan.steps:
        assert ("battery" in step.do) is False
        assert (step.system == "off") == (step.volume == "")


def test_a_car_without_an_amplifier_is_not_told_of_its_capacitors() -> None:
    """The head unit drives the speakers: its outputs are bridged, and nothing at hand holds a charge."""
    head = "head: {kind: head_unit, rated_output: 9 V, speaker_level: yes, outputs: {front: {}}}"
    made = make_plan(read_job_text(f"format: 1\nstages:\n  {head}\n  front: {{kind: speaker, from: head}}\n").job)
    told = {caution for step in made.steps for caution in step.cautions}
    assert HEAD_BRIDGED in told
    assert CHARGED not in told


def test_the_first_thing_after_switching_on_is_the_volume(plan: Plan) -> None:
    """Nothing is played or opened before the volume is down; the supply is read before anything is set with it."""
    ids = [s.id for s in plan.steps]
    assert ids[ids.index("power.on") + 1] == "control.head.volume"
    assert ids[ids.index("power.running") + 1] == "prepare.supply"
    assert ids.index("prepare.speakers") == 0
    assert ids.index("verify.speakers") == ids.index("power.off") + 1


def test_the_supply_is_read_under_load_at_the_hungriest_case() -> None:
    """Two amplifiers of 2 x 100 W in one case draw more than one of 300 W: the case is read, DC and not for long."""
    made = make_plan(read_job_text(TWO_CASES).job)
    step = next(s for s in made.steps if s.id == "verify.supply")
    assert step.measure_at == "four.supply_voltage"
    assert step.seconds_at_most == 5
    assert {HEARING, DC_VOLTS} <= set(step.cautions)
    assert step.file == next(s.file for s in made.steps if s.id == "amplifier.amp_front")
    assert step.speakers_off == ()


def test_cautions_of_tweeters_stand_where_a_tweeter_is_behind(plan: Plan) -> None:
    """The tweeter's high-pass has its caution when opened and restored, a low-pass of the subwoofer has none."""
    told = {s.id for s in plan.steps if TWEETER_OPEN in s.cautions}
    assert told == {"control.desk.tweeter.high_pass", "restore.desk.tweeter.high_pass"}
    assert TWEETER_BACK in next(s for s in plan.steps if s.id == "verify.speakers").cautions


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("amp_sub.out.mono", "output of the sub amplifier"),
        ("amp_front.out.left", "left output of the front amplifier"),
        ("desk.woofer.left", "left woofer output of the desk"),
        ("amp_a.out.mono-amp_b.out.mono", "between the output of amplifier a and the output of amplifier b"),
        ("lead:desk.sub-knob", "lead from the sub output of the desk to the knob"),
        ("amp_sub.supply_voltage", "supply terminals of the sub amplifier"),
        ("head.volume", "volume of the head unit"),
        ("sub.resistance", "lead of the sub"),
        ("", ""),
    ],
)
def test_places_in_words(place: str, words: str) -> None:
    """Names as people write them, the side before the output."""
    known = job("bridged_pair" if "amp_a" in place else "two_way_and_sub")
    assert place_words(known, place) == words


def test_a_line_level_plug_that_is_measured_at_is_tapped_while_all_is_off() -> None:
    """Where only the source's own output shows its limit, a T-piece is inserted before anything is switched on."""
    hot = example_text("full_range").replace("sensitivity: 0.2 .. 6 V", "sensitivity: 0.02 .. 0.1 V")
    made = make_plan(read_job_text(hot).job)
    places = {s.measure_at for s in made.steps if s.tone_hz is not None and s.measure_at.startswith("head.")}
    assert places
    assert {s.id for s in made.steps if s.id.startswith("tap.")} == {f"tap.{place}" for place in places}
    assert all(s.system == "off" for s in made.steps if s.id.startswith("tap."))
