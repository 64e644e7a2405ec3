"""What a run finds and sets: evidence with the settings of each reading, and the same settings in the job."""

from __future__ import annotations

from pathlib import Path

from example_plans import job, steps
from typed_run import Hand, bay, drive

from gainwright.app.set_up.evidence import evidence_of
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
    assert len(sub) == 2
    for entry in sub:
        assert entry["set"]["amp_sub.gain"] == f"{100 * (hand.gains['amp_sub.gain'] - 0.04):.0f} % ± 8 %"
    told = make_diagnosis(Diagnoser(here.job), [read_entry(e, here.job) for e in entries])
    assert told.causes[0].cause == "nothing_wrong", [(c.cause, c.where, c.probability) for c in told.causes[:4]]
    assert told.causes[0].probability > 4 * told.causes[1].probability


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
    assert after.steps == plan.steps
    assert after.targets == plan.targets
