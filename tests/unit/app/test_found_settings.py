"""What a run finds and sets: evidence with the settings of each reading, and the same settings in the job."""

from __future__ import annotations

from pathlib import Path

from typed_run import Hand, bay, drive

from gainwright.app.set_up.evidence import evidence_of
from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import read_entry
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
