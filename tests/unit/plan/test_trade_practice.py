"""Common practice of the trade, item by item, in plan and levels.

Each is common practice, no published source; a figure with a published or closed-form source names it.
"""

from __future__ import annotations

import math

import pytest
from example_plans import finding, job, steps, two_way_plan

from gainwright.jobfile import example_text, examples, read_entry, read_job_text, with_settings
from gainwright.plan import Plan, make_plan
from gainwright.report.languages import Language
from gainwright.simulated import Fault, Rig, answer
from gainwright.solve import Chain, levels


@pytest.fixture
def plan() -> Plan:
    """The plan of the two-way chain."""
    return two_way_plan()


def test_leads_are_expected_from_zero_up_and_the_measuring_lead_comes_first(plan: Plan) -> None:
    """Each conductor end to end, open between conductors; a good one on the rig reads inside, a bad one doesn't.

    What the limit lets through is compared with the divider in test_leads.py.
    """
    checked = [s for s in steps(plan, "leads") if s.id.startswith("lead.")]
    assert checked[0].id == "lead.measuring"
    for step in checked:
        assert step.expect is not None
        assert step.expect.low == 0.0 <= step.expect.value < step.expect.high
        assert "open between" in step.do
    lead = {s.id: s.expect for s in checked}["lead.desk.sub-knob"]
    assert lead is not None
    look = read_entry({"check": "lead:desk.sub-knob"}, job(), answered=False)
    for seed in range(5):
        well = answer(Rig(job(), seed=seed), look)["resistance"]
        assert lead.low <= float(str(well).removesuffix(" ohm")) <= lead.high
        bad = answer(Rig(job(), seed=seed, faults=(Fault("lead_resistive", "lead:desk.sub-knob", 50.0),)), look)
        assert float(str(bad["resistance"]).removesuffix(" ohm")) > lead.high


def test_source_too_low_for_the_indicator_is_reported_and_worked_around() -> None:
    """A source below the indicator's threshold is a finding, and the plan uses another method that works."""
    lamp = "instruments:\n => instruments:\n  lamp: {kind: indicator, marks: {there: level over 1 V, clip: thd over 1 %}}\n"
    weak = make_plan(job(a="rated_output: 4 V => rated_output: 20 mV", b=lamp))
    said = finding(weak, "below_threshold", "lamp")
    assert "needs 1 V" in said.message
    step = next(s for s in steps(weak, "source") if s.tone_hz == 40.0)
    assert step.visible
    assert step.instrument != "lamp" or step.sets


def test_later_stage_that_clips_first_is_reported() -> None:
    """An amplifier that clips before the source does hides the source's limit."""
    hot = make_plan(job(a="sensitivity: 0.2 .. 5 V => sensitivity: 0.02 .. 0.1 V"))
    said = finding(hot, "other_stage_first", "amp_sub.gain")
    assert "clips" in said.message
    step = next(s for s in steps(hot, "source") if s.tone_hz == 40.0)
    assert step.visible
    assert step.measure_at != "amp_sub.out.mono" or step.sets


def test_source_may_give_less_than_its_rating_with_flat_tone() -> None:
    """A source that reserves headroom for its tone controls may give less than rated at its top; the interval includes that."""
    top = with_settings(job(), {"head.volume": "40"})
    node = levels(Chain(top), tone_hz=1000, level_dbfs=0).paths[1].nodes[0]
    assert node.node == "head.front.left"
    assert node.v_rms_low < 0.6 * 4.0


def test_level_control_is_set_fully_up_and_a_reserve_costs_drive() -> None:
    """A level control only attenuates; it is set fully up, and turned down it leaves that much in reserve."""
    plain = make_plan(job())
    step = next(s for s in plain.steps if s.id == "control.knob.level")
    assert step.sets == {"knob.level": "0 dB"}
    reserved = make_plan(job(a="at: 0 dB => at: 0 dB\n    reserve: 6 dB"))
    step = next(s for s in reserved.steps if s.id == "control.knob.level")
    assert step.sets == {"knob.level": "-6 dB"}
    assert "6 dB to turn up later and costs as much drive" in step.why
    source = {t.stage: t.candidates_v_rms["source"] for t in plain.targets}["amp_sub"]
    less = {t.stage: t.candidates_v_rms["source"] for t in reserved.targets}["amp_sub"]
    assert 20 * math.log10(source / less) == pytest.approx(6.0, abs=0.05)


def test_a_gain_that_may_mute_starts_just_above_its_lowest_end(plan: Plan) -> None:
    """Some gain controls pass nothing at their lowest end; silence there is no fault."""
    step = next(s for s in plan.steps if s.id == "control.amp_sub.gain")
    assert step.sets == {"amp_sub.gain": "5 %"}
    assert "not a fault" in finding(plan, "gain_may_mute", "amp_sub.gain").message
    surely_not = make_plan(job("one_amplifier"))
    assert next(s for s in surely_not.steps if s.id == "control.amp.gain").sets == {"amp.gain": "0 %"}


@pytest.mark.parametrize("name", list(examples()))
def test_stages_are_set_front_to_back_with_the_measurement_at_the_end(name: str) -> None:
    """Prepare, leads, controls, source, processors, amplifiers, restore, verify; measured at the end of the chain.

    Nearer to the source only where an amplifier clips first even at its lowest gain, and that is said.
    """
    made = make_plan(read_job_text(example_text(name)).job)
    order = ["prepare", "leads", "controls", "source", "processor", "amplifier", "restore", "verify"]
    phases = [order.index(step.phase) for step in made.steps]
    assert phases == sorted(phases)
    ends = {t.stage for t in made.targets}
    first = {f.where.removesuffix(".gain") for f in made.findings if f.code == "other_stage_first"}
    for step in made.steps:
        if step.phase in ("source", "processor", "amplifier") and step.tone_hz is not None:
            assert step.measure_at.split(".")[0] in ends or step.id.rsplit(".", 1)[1] in first


@pytest.mark.parametrize("name", list(examples()))
def test_speakers_are_off_while_a_channel_is_set_at_power(name: str) -> None:
    """Speakers are disconnected while a channel is set at power, and every such step carries its cautions."""
    made = make_plan(read_job_text(example_text(name)).job)
    for step in made.steps:
        if step.phase in ("source", "amplifier") and step.tone_hz is not None:
            assert step.speakers_off
            assert step.cautions


def test_filters_are_opened_before_setting_and_restored_after(plan: Plan) -> None:
    """Low-pass filters are opened above the tone and high-pass filters below it before setting, and restored."""
    opened = {c for s in steps(plan, "controls") for c in s.sets if c.endswith("_pass")}
    restored = {c: t for s in steps(plan, "restore") for c, t in s.sets.items()}
    assert opened == set(restored)
    assert restored["desk.sub.low_pass"] == "linkwitz-riley 24 at 80 Hz"
    assert restored["desk.tweeter.high_pass"] == "linkwitz-riley 24 at 3.2 kHz"


def test_boost_is_reported_with_the_headroom_it_costs() -> None:
    """Equaliser and boost are set flat, or as they will be used, with the headroom that this costs."""
    boosted = make_plan(job(a="boost: flat => boost: peak +6 dB at 45 Hz q 0.7"))
    assert "6.0 dB" in finding(boosted, "boost_costs_headroom", "amp_sub.boost").message


def test_the_tone_sits_below_full_scale_by_the_allowance(plan: Plan) -> None:
    """Set-up tones below full scale leave room for quieter recordings, by each output's allowance in the job."""
    assert {s.stage: s.level_dbfs for s in steps(plan, "amplifier")} == {
        "amp_sub": -8,
        "amp_front": -6,
        "amp_high": -3,
    }
    assert all(s.level_dbfs == 0 for s in steps(plan, "source") if s.tone_hz)


def test_meter_out_of_its_band_at_1_khz_is_reported() -> None:
    """Many handheld meters specify their AC ranges only to 400 or 500 Hz: 1 kHz lies outside."""
    made = make_plan(job("full_range", a="bandwidth: 1 kHz => bandwidth: 400 Hz"))
    assert finding(made, "tone_out_of_band", "meter").severity in ("note", "caution")
    assert all(s.tone_hz is None or s.tone_hz <= 400 for s in made.steps)
    assert "1000" not in finding(made, "tone_out_of_band", "meter").message


def test_tones_that_a_meter_reads_low_are_named_in_the_language_of_the_paper() -> None:
    """Those of the job, and no other; their `and` is German on a German paper."""
    made = make_plan(job("two_way_and_sub", a="bandwidth: 1 kHz => bandwidth: 30 Hz"))
    tones = sorted({s.tone_hz for s in steps(made, "amplifier") if s.tone_hz and s.tone_hz > 30})
    message = finding(made, "tone_out_of_band", "meter").message
    assert " and ".join(f"{hz:g} Hz" for hz in tones) in message
    assert " und ".join(f"{hz:g} Hz" for hz in tones) in Language("de").translate(message)


def test_source_too_weak_for_full_power_is_reported() -> None:
    """A source that can't drive the amplifier to its rating even at full gain sets the target and is a finding."""
    made = make_plan(job(a="sensitivity: 0.2 .. 5 V => sensitivity: 4 .. 8 V"))
    target = next(t for t in made.targets if t.stage == "amp_sub")
    assert target.set_by == "source"
    assert "dB short" in finding(made, "source_cannot_drive", "amp_sub").message


@pytest.mark.parametrize(
    ("change", "code", "where", "severity"),
    [
        ("boost: flat => minimum_load: 4 ohm", "load_below_minimum", "amp_sub", "blocker"),
        ("protect_below: 2.5 kHz => protect_below: 5 kHz", "unprotected_speaker", "tweeter", "blocker"),
        ("input_limit: 5 V => input_limit: 1 V", "input_overdriven", "desk", "caution"),
        (
            (
                "high_pass: linkwitz-riley 24 at 80 Hz, low_pass: linkwitz-riley 24 at 3.2 kHz => "
                "high_pass: linkwitz-riley 24 at 400 Hz, low_pass: linkwitz-riley 24 at 200 Hz"
            ),
            "filters_clash",
            "desk.woofer.low_pass",
            "blocker",
        ),
        (
            "low_pass: butterworth 24 at 250 Hz => low_pass: butterworth 24 at 90 Hz",
            "filters_twice",
            "amp_sub.low_pass",
            "caution",
        ),
    ],
)
def test_engineering_findings(change: str, code: str, where: str, severity: str) -> None:
    """Load below the minimum, unprotected tweeter, overdriven input, clashing and doubled filters."""
    made = make_plan(job(a=change))
    assert finding(made, code, where).severity == severity
    assert made.blocked == (severity == "blocker")
