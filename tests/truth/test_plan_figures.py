"""Tones, targets and limits of a plan against closed forms and preferred frequencies."""

from __future__ import annotations

import math

import pytest
from example_plans import finding, job, steps, two_way_plan

from gainwright.jobfile import with_settings
from gainwright.model import Recorder
from gainwright.plan import Plan, make_plan
from gainwright.plan.context import PlanContext
from gainwright.solve import Chain, Conditions, reading_error_v


@pytest.fixture
def plan() -> Plan:
    """The plan of the two-way chain."""
    return two_way_plan()


# ISO 266:1997, table 1, one-third octaves
PREFERRED_HZ = (20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
                4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000)  # fmt: skip
LR24_3_DB = (10 ** (3 / 20) - 1) ** 0.25
"""Where a Linkwitz-Riley of 24 dB/octave is 3 dB down, over its corner: |H| = 1/(1 + (f/fc)^4)."""


def middle_hz(low: float, high: float) -> float:
    """Return the preferred frequency nearest to the geometric middle, in octaves."""
    return min(PREFERRED_HZ, key=lambda hz: abs(math.log(hz / math.sqrt(low * high))))


def test_tone_is_the_middle_of_what_the_path_passes_and_an_instrument_reads(plan: Plan) -> None:
    """Sub: 20 Hz to its low-pass; woofer: its high-pass to the meter's 1 kHz; tweeter: its high-pass to a third of 20 kHz."""
    tones = {step.stage: step.tone_hz for step in steps(plan, "amplifier")}
    assert tones == {
        "amp_sub": middle_hz(20, 80 * LR24_3_DB),
        "amp_front": middle_hz(80 / LR24_3_DB, 1000),
        "amp_high": middle_hz(3200 / LR24_3_DB, 20_000 / 3),
    }


def test_tone_depends_on_path_meter_and_speaker() -> None:
    """Another corner, another meter, a speaker to be protected, no recorder: each changes the tone; a job's own tone is used."""

    def tone(stage: str, **changes: str) -> float | None:
        return next(s.tone_hz for s in make_plan(job(**changes)).steps if s.id == f"amplifier.{stage}")

    at_200 = "linkwitz-riley 24 at 80 Hz, low_pass => linkwitz-riley 24 at 200 Hz, low_pass"
    assert tone("amp_front", a=at_200) == middle_hz(200 / LR24_3_DB, 1000)
    wide = "bandwidth: 1 kHz => bandwidth: 20 kHz"
    assert tone("amp_front", a=wide) == middle_hz(80 / LR24_3_DB, 3200 * LR24_3_DB)
    protected = "power: 70 W, sensitivity: 88 dB => power: 70 W, sensitivity: 88 dB, protect_below: 400 Hz"
    # unprotected it is a blocker, and nothing is played: the tone that the plan would choose
    chosen = {end.stage: end.tone_hz for end in PlanContext(job(a=protected)).ends}
    assert chosen["amp_front"] == middle_hz(400, 1000)
    no_recorder = "  interface:  {kind: recorder, full_scale: 2 V, attenuator: 30 dB, rate: 48 kHz}\n => "
    assert tone("amp_high", a=no_recorder) == 1000.0
    assert tone("amp_front", a="instruments:\n => tones: {woofer: 440 Hz}\ninstruments:\n") == 440.0


def test_a_full_range_tone_at_a_low_passed_sub_says_nothing(plan: Plan) -> None:
    """The tweeter's 5 kHz through an 80 Hz 24 dB/octave Linkwitz-Riley low-pass are 143.67 dB down, 1 kHz 87.7532 dB (closed form 20 lg(1+(f/fc)^4))."""
    said = finding(plan, "tone_filtered", "desk.sub.low_pass")
    assert "5000 Hz by 144 dB" in said.message
    assert "40 Hz" in said.remedy
    chain = Chain(with_settings(job(), {"amp_sub.low_pass": "off"}))
    solved = chain.solve(Conditions([1.0, 1000.0], -20.0))
    at = [
        abs(solved.fundamental_v[i, chain.nodes.index(n)])
        for n in chain.nodes
        if str(n) == "desk.sub.mono"
        for i in (0, 1)
    ]
    assert 20 * math.log10(at[0] / at[1]) == pytest.approx(87.7532, abs=1e-3)


def test_low_pass_after_a_source_hides_its_limit(plan: Plan) -> None:
    """A stage at 40 Hz with some per cent THD shows under 1 % after an 80 Hz 24 dB/octave low-pass; the plan opens it."""
    said = finding(plan, "harmonics_filtered", "desk.sub.low_pass")
    assert "4.6 % THD" in said.message
    assert "solved again: it shows" in said.remedy
    opened = next(s for s in steps(plan, "controls") if "desk.sub.low_pass" in s.sets)
    assert opened.sets["desk.sub.low_pass"] == "off"
    # 1 dB of a Linkwitz-Riley of 24 dB/octave at the third harmonic, 120 Hz, which the recorder looks for:
    # 20 lg(1 + (120/fc)^4) = 1, so fc = 120/(10^(1/20)-1)^(1/4) = 203.0 Hz
    assert "203 Hz" in opened.do
    assert next(s for s in steps(plan, "source") if s.tone_hz == 40.0).visible


def test_filter_is_never_opened_to_less_than_its_corner() -> None:
    """A low-pass of 3.2 kHz at 1 kHz takes 5.0 dB from the third harmonic: 20 lg(1 + (3/3.2)^4); 1 dB needs 3000/0.5910 Hz."""
    lamp = "instruments:\n => instruments:\n  lamp: {kind: indicator, marks: {clip: thd over 1 %}}\n"
    made = make_plan(job(a="allowance: {sub => tones: {woofer: 1 kHz}\nallowance: {sub", b=lamp))
    opened = next(s for s in steps(made, "controls") if "desk.woofer.low_pass" in s.sets)
    assert "5076 Hz or more" in opened.do
    assert "5.0 dB" in opened.why


def test_with_only_a_meter_harmonics_do_not_matter() -> None:
    """A meter shows a knee, no distortion: a filter that passes the tone stays as it is."""
    no_recorder = "  interface:  {kind: recorder, full_scale: 2 V, attenuator: 30 dB, rate: 48 kHz}\n => "
    made = make_plan(job(a="allowance: {sub => tones: {woofer: 1 kHz}\nallowance: {sub", b=no_recorder))
    assert not [s for s in steps(made, "controls") if "desk.woofer.low_pass" in s.sets]


@pytest.mark.parametrize(
    ("change", "set_by", "volts"),
    [
        ("power: 400 W => power: 400 W", "speaker", 28.2843),
        ("coils: 2 x 4 ohm parallel, power: 400 W => coils: 2 x 2 ohm series, power: 1000 W", "clip", None),
        ("low_pass: butterworth 24 at 250 Hz => regulated: yes", "speaker", 28.2843),
        ("power: 400 W, => power: 900 W,", "clip", None),
    ],
)
def test_the_target_is_the_lowest_of_its_candidates(change: str, set_by: str, volts: float | None) -> None:
    """Rating into the load, speaker's rating (sqrt(P R): 400 W in 2 ohm is 28.2843 V), own ceiling, or the source."""
    made = make_plan(job(a=change))
    target = next(t for t in made.targets if t.stage == "amp_sub")
    assert target.set_by == set_by
    assert target.v_rms == min(target.candidates_v_rms.values())
    if volts is not None:
        assert target.v_rms == pytest.approx(volts, abs=1e-4)


def test_a_regulated_amplifier_is_set_by_its_rating() -> None:
    """With regulated rails the rating holds at any supply: sqrt(500 W x 2 ohm) = 31.6228 V."""
    made = make_plan(job(a="power: 400 W, => power: 900 W,", b="boost: flat => regulated: yes"))
    target = next(t for t in made.targets if t.stage == "amp_sub")
    assert (target.set_by, round(target.v_rms, 4)) == ("amplifier", 31.6228)


@pytest.mark.parametrize(("divider", "half_db"), [("0 dB", 0.05), ("30 dB", 0.45), ("30 dB ± 0.2 dB", 0.25)])
def test_a_divider_before_a_recorder_is_known_no_better_than_its_parts(divider: str, half_db: float) -> None:
    """0.05 dB of drift, and the divider's spread or 0.4 dB: 1 % resistors 0.17 dB (20 lg(1.01/0.99)), 10 kohm +-30 % the rest."""
    recorder = Recorder.model_validate({"kind": "recorder", "full_scale": "2 V", "attenuator": divider})
    assert 20 * math.log10(1 + float(reading_error_v(recorder, 10.0)) / 10.0) == pytest.approx(half_db, abs=1e-9)


def test_only_intervals_of_draws_are_called_so(plan: Plan) -> None:
    """A lead's limit and a target are limits; what the draws give is an interval of 95 %."""
    said = {s.id: s.expect.interval_95 for s in plan.steps if s.expect is not None}
    assert not said["lead.head.sub-desk"]
    assert not said["amplifier.amp_sub"]
    assert said["verify.amp_sub.out.mono"]
    assert said["verify.desk.sub.low_pass"]
    assert said["source.head.sub.40hz.amp_sub"]
