"""What a run finds and sets: evidence with the settings of each reading, and the same settings in the job."""

from __future__ import annotations

from pathlib import Path

import pytest
from example_plans import job, steps
from typed_run import Hand, bay, drive

from gainwright.app.set_up.evidence import evidence_of
from gainwright.app.set_up.found_settings import found_settings
from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import read_entry, with_settings
from gainwright.plan import make_plan
from gainwright.solve import Chain


def test_gain_typed_near_where_it_is_expected_is_no_fault(tmp_path: Path) -> None:
    """A gain read off its scale 4 % beside where the voltage is reached: nothing is wrong, and the reading stands with it."""
    here = bay(tmp_path)
    hand = Hand(here.job, seed=2, scale_off=-0.04)
    drive(here, hand)
    entries = evidence_of(here.run, here.job, Chain(here.job))
    sub = [e for e in entries if e.get("at") == "amp_sub.out.mono" and e.get("level") == "-8 dBFS"]
    assert [e.get("proves", "") for e in sub] == ["", "desk.sub.low_pass", ""]
    for entry in sub:
        assert {c.split(".")[0] for c in entry["set"]} <= {"head", "desk", "knob", "amp_sub"}
        assert entry["set"]["amp_sub.gain"] == f"{100 * (hand.gains['amp_sub.gain'] - 0.04):.0f} % ± 8 %"
    told = make_diagnosis(Diagnoser(here.job), [read_entry(e, here.job) for e in entries])
    assert told.causes[0].cause == "nothing_wrong", [(c.cause, c.where, c.probability) for c in told.causes[:4]]
    assert told.causes[0].probability > 4 * told.causes[1].probability


@pytest.mark.parametrize(("text", "place"), [("5.6", ".. 100 %"), ("41", "0 .. "), ("28.2", "±")])
def test_gain_whose_voltage_was_not_reached_is_not_known(tmp_path: Path, text: str, place: str) -> None:
    """Far below its target a gain stands anywhere up to fully up, far above it anywhere down to its end: it isn't taken over."""
    here = bay(tmp_path)
    here.enter("source.head.sub.40hz.amp_sub", "34")
    here.enter("amplifier.amp_sub", text)
    chain = Chain(here.job)
    entry = next(e for e in evidence_of(here.run, here.job, chain) if e.get("reads"))
    assert place in entry["set"]["amp_sub.gain"]
    read_entry(entry, here.job)
    found = {f.control for f in found_settings(here.run, chain)}
    assert found == ({"head.volume", "amp_sub.gain"} if place == "±" else {"head.volume"})


def test_plan_of_the_job_as_set_has_the_same_steps() -> None:
    """Volume, gains, levels and switches as a run leaves them change no step of the plan: the run's entries keep their place."""
    before = job("five_channel")
    plan = make_plan(before)
    sets = {
        c: text
        for s in steps(plan, "controls")
        for c, text in s.sets.items()
        if c.endswith(("input_range", "remote_level"))
    }
    for adjust in (s.adjust for s in plan.steps if s.adjust is not None):
        sets[adjust.control] = "17" if adjust.until == "last_clean" else "77 %"
    assert {c.rpartition(".")[2] for c in sets} == {"volume", "gain", "input_range", "remote_level"}
    after = make_plan(with_settings(before, sets))
    # in words: a step without a target holds NaN, and since Python 3.13 dataclasses with it equal nothing
    assert repr(after.steps) == repr(plan.steps)
    assert after.targets == plan.targets
