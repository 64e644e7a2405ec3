"""A set-up run on a store: the judgement of each entry, the next step, conflicts, and its evidence about the chain."""

from __future__ import annotations

from pathlib import Path

import pytest
from tapered_columns import tapered
from typed_run import Bay, Hand, bay, drive

from gainwright.app.set_up.evidence import column_knee, evidence_of
from gainwright.app.set_up.run import entry_value, verdict_of
from gainwright.app.set_up.step_settings import settings_during
from gainwright.app.store import ConflictError
from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.errors import CallError, DoubtfulReadingError
from gainwright.jobfile import examples, instruments, read_entry
from gainwright.metering import LOWER_DB
from gainwright.plan import Expect
from gainwright.solve import Chain


@pytest.fixture(name="here")
def here_fixture(tmp_path: Path) -> Bay:
    """The example with a two-way front and a subwoofer."""
    return bay(tmp_path)


def test_reading_is_judged_and_the_next_step_shown(here: Bay) -> None:
    """A reading within the interval fits; outside it is low or high."""
    assert here.run.next is here.run.steps[0] or here.run.next == here.run.steps[0]
    entry = here.enter("prepare.supply", "13,8 V")
    assert entry.value["verdict"] == "fits"
    assert entry.value["value"] == pytest.approx(13.8)
    assert here.run.next is not None
    assert here.run.next.step.id == "prepare.speakers"
    assert here.enter("prepare.supply", "12,1").value["verdict"] == "low"
    assert here.enter("prepare.supply", "15.2").value["verdict"] == "high"
    assert here.enter("prepare.supply", "-13.8").value["verdict"] == "off"
    assert not [e for e in evidence_of(here.run, here.job, Chain(here.job)) if e.get("reads", "").startswith("-")]
    here.enter("prepare.supply", "15.2")
    state = here.run.of("prepare.supply")
    assert [e.text for e in state.history] == ["13,8 V", "12,1", "15.2", "-13.8", "15.2"]
    assert (state.state, state.verdict) == ("done", "high")


def test_steps_are_done_skipped_with_a_reason_and_taken_back(here: Bay) -> None:
    """A step without a reading is marked done; any may be skipped, but not without a reason; undone it is open again."""
    here.enter("prepare.speakers", kind="done")
    assert here.run.of("prepare.speakers").state == "done"
    with pytest.raises(CallError, match="no reason"):
        here.enter("prepare.supply", "  ", kind="skipped")
    with pytest.raises(CallError, match="needs a reading"):
        here.enter("prepare.supply", kind="done")
    with pytest.raises(CallError, match="takes no reading"):
        here.enter("prepare.speakers", "3 V")
    here.enter("prepare.supply", "no meter here", kind="skipped")
    assert here.run.of("prepare.supply").state == "skipped"
    here.enter("prepare.supply", kind="taken_back")
    assert here.run.of("prepare.supply").state == "open"
    assert here.run.count("done", "skipped") == 1


def test_same_entry_sent_again_is_one_entry_another_is_a_conflict(here: Bay) -> None:
    """What a broken connection sends twice is stored once; an entry made meanwhile by someone else is not overwritten."""
    first = here.enter("prepare.supply", "13.8", seen=0)
    assert here.enter("prepare.supply", "13.8", seen=0).number == first.number
    with pytest.raises(ConflictError):
        here.enter("prepare.supply", "13.8", seen=0, by="the other phone")
    with pytest.raises(ConflictError):
        here.enter("prepare.supply", "13.9", seen=0)
    assert len(here.store.runs.entries(here.id)) == 1


def test_lost_decimal_point_is_asked_about_before_it_counts(here: Bay) -> None:
    """Nothing is stored until the answer; either answer is then stored as it is."""
    for text, meant in (("1390", "13.90"), ("1,39 V", "13.9 V")):
        with pytest.raises(DoubtfulReadingError) as caught:
            here.enter("prepare.supply", text)
        assert caught.value.candidate == meant
        assert "13.5 V to 14.1 V" in caught.value.what
    assert here.store.runs.entries(here.id) == []
    kept = here.enter("prepare.supply", "1390", sure=True, key="k")
    assert (kept.value["value"], kept.value["verdict"]) == (1390.0, "high")
    again = here.enter("prepare.supply", "1390", seen=0, key="k")
    assert again == kept, "the same entry with its key needs no second answer"
    assert here.enter("prepare.supply", "13.90").value["verdict"] == "fits"


def test_row_with_a_lost_point_is_asked_about(tmp_path: Path) -> None:
    """A row is held against the nearest one; one that is merely low is taken."""
    here = bay(tmp_path, "full_range")
    step = next(s.step.id for s in here.run.steps if s.asked == "column")
    here.enter(step, "36 7.9")
    with pytest.raises(DoubtfulReadingError) as caught:
        here.enter(step, "37 86")
    assert caught.value.candidate == "37 8.6"
    here.enter(step, "37 8.6")
    here.enter(step, "35 2.1")
    assert [volts for _, volts in here.run.of(step).rows] == [2.1, 7.9, 8.6]


def test_lead_is_judged_by_both_values(here: Bay) -> None:
    """Under 10 ohm end to end and open between is right; a short between conductors is off, an open conductor high."""
    step = "lead.head.front-desk"
    for text, verdict in [("0,3 open", "fits"), ("0.3", "fits"), ("0.3 2 ohm", "off"), ("open open", "high")]:
        assert here.enter(step, text).value["verdict"] == verdict, text


def test_expected_marks_fit(tmp_path: Path) -> None:
    """The marks that the plan expects fit, any other set is off; what was seen is evidence of exactly these marks."""
    here = bay(tmp_path, marks="signal: level over 0.3 V, clip: thd over 1 %")
    state = next(s for s in here.run.steps if s.asked == "look")
    assert state.step.expect is not None
    assert (state.step.expect.lit, state.marks) == (("signal",), ("signal", "clip"))
    for text, verdict, shows in [
        ("Signal", "fits", ["signal"]),
        ("clip, signal", "off", ["signal", "clip"]),
        ("none", "off", "none"),
    ]:
        assert here.enter(state.step.id, text).value["verdict"] == verdict
        said = [e for e in evidence_of(here.run, here.job, Chain(here.job)) if "shows" in e]
        assert [e["shows"] for e in said] == [shows]
        read_entry(said[0], here.job)
    with pytest.raises(CallError):
        here.enter(state.step.id, "distorted")


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(1.0, "fits"), (0.9, "fits"), (1.1, "fits"), (0.8999, "fits"), (0.89, "low"), (1.111, "high")],
)
def test_verdict_is_that_of_the_figures_shown(value: float, verdict: str) -> None:
    """Both ends belong to the interval, as rounded to three digits."""
    assert verdict_of(value, Expect("v_rms", 1.0, 0.9, 1.1)) == verdict


def test_column_gives_the_last_clean_step(tmp_path: Path) -> None:
    """Rows give a knee within one step of the rig's own last clean step; a row is corrected and undone; a step alone ends it."""
    here = bay(tmp_path, "full_range")
    hand = Hand(here.job, seed=3)
    state = next(s for s in here.run.steps if s.asked == "column")
    texts = hand.texts(here.run, state)
    for text in texts:
        here.enter(state.step.id, text)
    state = here.run.of(state.step.id)
    assert state.state == "begun"
    assert len(state.rows) == len(texts)
    meter = instruments(here.job)[state.step.instrument]
    knee = column_knee(state, meter, limit_thd=0.01)
    assert knee is not None
    here.enter(state.step.id, "40 99")
    assert here.run.of(state.step.id).rows[-1] == (40.0, 99.0)
    here.enter(state.step.id, kind="taken_back")
    assert here.run.of(state.step.id).rows[-1][0] == 39.0
    done = here.enter(state.step.id, "38")
    assert done.value["value"] == 38.0
    assert here.run.of(state.step.id).state == "done"
    assert here.run.clean_limit(state.step.adjust.control.removesuffix(".volume")) == 38.0  # type: ignore[union-attr]


@pytest.mark.parametrize("name", list(examples()))
def test_whole_run_on_the_rig_fits_and_finds_nothing_wrong(name: str, tmp_path: Path) -> None:
    """Each example set up on a rig within its spreads: nearly every reading fits, and nothing wrong is the likeliest cause."""
    here = bay(tmp_path, name)
    drive(here, Hand(here.job, seed=2))
    run = here.run
    assert run.count("done") == len(run.steps)
    read = [s for s in run.steps if s.asked is not None]
    outside = {s.step.id: s.value for s in read if s.verdict != "fits"}
    assert len(outside) <= max(1, 0.05 * len(read)), outside
    entries = [read_entry(e, here.job) for e in evidence_of(run, here.job, Chain(here.job))]
    assert len(entries) >= 5
    told = make_diagnosis(Diagnoser(here.job), entries)
    assert told.causes[0].cause == "nothing_wrong", [(c.cause, c.where, c.probability) for c in told.causes[:4]]
    # what no test of a run can see, a reversed lead or hum, stays as likely as before
    assert told.causes[0].probability > 4 * told.causes[1].probability


def test_reading_that_is_far_off_names_its_cause(here: Bay) -> None:
    """A right side that is dead when its output is read is found as the cause, or one that would look the same."""
    hand = Hand(here.job, seed=2, fault={"amp_front.out.right": 0.0})
    while (state := here.run.next) is not None and state.step.id != "verify.head.volume":
        texts = hand.texts(here.run, state)
        for text in texts or [""]:
            here.enter(state.step.id, text, kind="reading" if texts else "done")
    state = here.run.of("verify.amp_front.out.right")
    assert state.verdict == "low"
    entries = [read_entry(e, here.job) for e in evidence_of(here.run, here.job, Chain(here.job))]
    told = make_diagnosis(Diagnoser(here.job), entries)
    assert told.causes[0].cause != "nothing_wrong"
    blamed = [c for c in told.causes if "right" in c.where or c.where.startswith("lead:desk.woofer")]
    assert sum(c.probability for c in blamed) > 0.5, [(c.cause, c.where, c.probability) for c in told.causes[:6]]


def test_controls_are_where_the_run_set_them(here: Bay) -> None:
    """A setting holds until it is restored; a skipped one doesn't count; the volume stays at the clean limit."""
    for state in here.run.steps:
        if state.step.phase == "controls":
            kind, text = (
                ("skipped", "no such switch") if state.step.id == "control.desk.woofer.low_pass" else ("done", "")
            )
            here.enter(state.step.id, text, kind=kind)
    for state in here.run.steps:
        if state.asked in ("place", "column") and state.step.phase == "source":
            here.enter(state.step.id, "36" if "sub" in state.step.id else "34")
    amplifier = settings_during(here.run, here.run.of("amplifier.amp_sub"))
    assert amplifier["head.volume"] == "34"
    assert amplifier["desk.sub.low_pass"] == "off"
    assert "desk.woofer.low_pass" not in amplifier
    verify = settings_during(here.run, here.run.of("verify.amp_sub.out.mono"), gains={"amp_sub.gain": "33 %"})
    assert verify["amp_sub.gain"] == "33 %"
    assert "desk.sub.low_pass" not in verify


def test_too_long_a_text_is_refused(here: Bay) -> None:
    """No more than a reading or a reason fits into a step."""
    with pytest.raises(CallError, match="over 500"):
        entry_value(here.run, here.run.steps[0], kind="skipped", text="x" * 501)
    with pytest.raises(CallError, match="no step"):
        here.enter("no.such.step", "1")


def test_column_with_the_tone_lower_tells_a_taper_from_a_ceiling(tmp_path: Path) -> None:
    """Where the run asks for it, rows with the tone 10 dB lower are kept beside the others, can be taken back, and decide."""
    here = bay(tmp_path, "full_range")
    step = next(s for s in here.run.steps if s.asked == "column").step.id
    column = tapered(104, "two", response="true-rms")
    meter = instruments(here.job)[here.run.of(step).step.instrument]
    for at, volts in zip(*column.read(), strict=True):
        here.enter(step, f"{at:g} {volts:g}")
    alone = column_knee(here.run.of(step), meter, limit_thd=0.01)
    assert alone is not None
    assert alone.lower_steps
    assert alone.lower_db == LOWER_DB
    for at, volts in zip(*column.read(LOWER_DB), strict=True):
        if at in alone.lower_steps:
            assert here.enter(step, f"lower {at:g} {volts:g}").value["lower_db"] == LOWER_DB
    state = here.run.of(step)
    assert len(state.rows) == len(column.read()[0])
    assert [s for s, _ in state.column.lower] == list(alone.lower_steps)
    both = column_knee(state, meter, limit_thd=0.01)
    assert both is not None
    assert both.last_clean_step == column.last_clean
    assert both.confidence > alone.confidence
    assert state.column.next_lower is None
    here.enter(step, kind="taken_back")
    assert here.run.of(step).column.next_lower == alone.lower_steps[-1]
    assert [s for s, _ in here.run.of(step).column.lower] == list(alone.lower_steps)[:-1]
    assert here.run.of(step).rows == state.rows
