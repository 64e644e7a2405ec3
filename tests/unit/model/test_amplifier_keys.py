"""Properties of some amplifiers and speakers: a fixed gain, input ranges, a remote level control, a chassis, a supply, wiring."""

from __future__ import annotations

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import controls, example_text, facts, read_job_text, settings
from gainwright.jobfile.editing import remove_stage, rename_stage, set_key, unset_key
from gainwright.jobfile.forms import forms
from gainwright.model import chassis, supply_path, unit_of
from gainwright.plan import make_plan

JOB = """\
format: 1
stages:
  head: {kind: head_unit, rated_output: 2 V, outputs: {a: {sides: [mono]}, b: {sides: [mono]}}}
  one: {kind: amplifier, from: head.a, chassis: box, power: 50 W @ 4 ohm, ONE}
  two: {kind: amplifier, from: head.b, chassis: box, power: 50 W @ 4 ohm, TWO}
  first: {kind: speaker, from: one, SPEAKER}
  second: {kind: speaker, from: two}
"""


def text(one: str = "sides: [mono]", two: str = "sides: [mono]", speaker: str = "impedance: 4 ohm") -> str:
    """Return a job with other keys of its two amplifiers and the first speaker."""
    return JOB.replace("ONE", one).replace("TWO", two).replace("SPEAKER", speaker)


def test_a_fixed_gain_has_no_control() -> None:
    """`gain: fixed` and `gain: {fixed: yes}` mean the same; there is no control and nothing that mutes."""
    for said in ("gain: fixed", "gain: Fixed", "gain: {fixed: yes}"):
        job = read_job_text(text(f"{said}, sensitivity: 1.5 V")).job
        assert "one.gain" not in controls(job)
        assert "two.gain" in controls(job)
        assert facts(job)["one.sensitivity.up"].quantity.nominal == 1.5
        assert facts(job)["one.gain.mutes"].quantity.nominal == 0
    assert read_job_text(text("gain: 30 %")).job.stages["one"].gain.at.nominal == 0.3  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("one", "says"),
    [
        ("sensitivity: 0.3 V", "write, for example, 0.3 V .. 5 V, or gain: fixed"),
        ("gain: fixed, sensitivity: 0.3 .. 5 V", "the one input for rated power"),
        ("gain: {fixed: yes, at: 20 %}", "a fixed gain can't be set"),
        ("sensitivity: 0.3 .. 5 V, input_ranges: {low: 0.2 .. 2 V}", "keep input_ranges"),
        ("input_ranges: {low: 0.2 .. 2 V}, input_range: high", "there is low"),
        ("remote_level: {range: -20 .. 6 dB, at: 9 dB}", "its range is -20 to 6 dB"),
        ("remote_level: {at: 3 dB}", "its range is -200 to 0 dB"),
        ("supply: 24 V", "one supply, fuse, ground and turn-on"),
        ("turn_on: signal", "one supply, fuse, ground and turn-on"),
    ],
)
def test_invalid_keys_are_refused(one: str, says: str) -> None:
    """Each message says what would be valid; two amplifiers in one chassis can't have two supplies."""
    with pytest.raises(JobError) as caught:
        read_job_text(text(one, "supply: 12 V" if "supply" in one else "sides: [mono]"))
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("speaker", "ohm"),
    [
        ("impedance: 4 ohm, count: 2", 2.0),
        ("impedance: 4 ohm, count: 2, wiring: series", 8.0),
        ("impedance: 4 ohm, count: 4, wiring: series-parallel", 4.0),
        ("coils: 2 x 2 ohm series, count: 3, wiring: series", 12.0),
        ("coils: 2 x 4 ohm parallel, count: 2, wiring: parallel", 1.0),
    ],
)
def test_the_load_of_several_speakers(speaker: str, ohm: float) -> None:
    """Equal resistances in series add, in parallel divide (Kirchhoff); Re is wired as the coils are."""
    found = facts(read_job_text(text(speaker=speaker + ", re: 3 ohm")).job)
    each = 4.0 if "impedance" in speaker or "x 4" in speaker else 2.0
    assert found["first.impedance"].quantity.nominal == pytest.approx(ohm)
    assert found["first.re"].quantity.nominal == pytest.approx(3 * ohm / each)
    with pytest.raises(JobError, match="series-parallel is two pairs"):
        read_job_text(text(speaker="count: 3, wiring: series-parallel"))


def test_a_chassis_has_one_supply() -> None:
    """A supply given once feeds everything in the chassis; a single value holds with the engine off, a battery rests lower."""
    job = read_job_text(text("supply: 24 V ± 0.5 V, rated_at: 24 V", "rated_at: 24 V")).job
    assert chassis(job) == {"box": ("one", "two")}
    assert unit_of(job, "two") == "box"
    assert supply_path(job, "two", "resting") == "one.supply.resting"
    assert facts(job)["one.supply.resting"].quantity.nominal == 24
    job = read_job_text(text("supply: {running: 27.6 V}")).job
    assert facts(job)["one.supply.resting"].quantity.nominal == pytest.approx(27.6 * 12.6 / 13.8)
    with pytest.raises(JobError, match="both a chassis and the name of a stage"):
        read_job_text(text().replace("chassis: box", "chassis: first"))


def test_positions_of_the_switches() -> None:
    """The first range and fully up are assumed; a control that boosts a band is assumed to be at no boost."""
    job = read_job_text(
        text("input_ranges: {low: 0.2 .. 2 V, high: 2 .. 12 V}, remote_level: {range: -20 .. 6 dB}")
    ).job
    assert settings(job)["one.input_range"] == 0
    assert settings(job)["one.remote_level"] == 6
    job = read_job_text(text("remote_level: {range: 0 .. 12 dB, boosts: 45 Hz}")).job
    assert settings(job)["one.remote_level"] == 0


def test_short_forms_are_edited_key_by_key() -> None:
    """`gain: fixed` and `supply: 24 V` appear on the form as their keys, and are written in full when one is changed."""
    start = text("gain: fixed, supply: 24 V, rated_at: 24 V")
    fields = {f.path: f.present for form in forms(read_job_text(start)) for f in form.fields}
    assert fields["stages", "one", "gain", "fixed"] == "yes"
    assert fields["stages", "one", "supply", "resting"] == "24 V"
    changed = set_key(start, ("stages", "one", "supply", "running"), "27 V")
    assert "supply: {running: 27 V, resting: 24 V}" in changed
    assert "fixed" not in unset_key(changed, ("stages", "one", "gain", "fixed"))


def test_a_processor_shares_a_chassis_too() -> None:
    """Its supply feeds the amplifier in it; its inputs may be for speaker level, and take more there."""
    text = """\
format: 1
stages:
  head: {kind: head_unit, rated_output: 8 V, speaker_level: yes, outputs: {out: {sides: [mono]}}}
  desk: {kind: processor, inputs: {in: head}, outputs: {sub: {}}, chassis: box, supply: 24 V, high_level: yes}
  amp: {kind: amplifier, from: desk.sub, chassis: box, power: 50 W @ 4 ohm, rated_at: 24 V}
  speaker: {kind: speaker, from: amp}
"""
    read = read_job_text(text)
    found = facts(read.job)
    assert supply_path(read.job, "amp", "running") == "desk.supply.running"
    assert found["desk.supply.running"].quantity.nominal == 24
    assert found["desk.input_limit"].quantity.nominal == 16
    assert [f.code for f in make_plan(read.job).findings if f.severity == "blocker"] == []
    bare = read_job_text(text.replace(", high_level: yes", "")).job
    assert "speaker_level_into_line_input" in {f.code for f in make_plan(bare).findings}


def test_a_renamed_stage_keeps_its_pair() -> None:
    """The partner's `strapped_to` follows a new name, and goes with the stage that it names."""
    pair = example_text("strapped_pair")
    renamed = rename_stage(pair, "amp_a", "amp_plus")
    assert "strapped_to: amp_plus" in renamed
    assert read_job_text(renamed).wiring.pair(read_job_text(renamed).wiring.ports("sub")[0]) is not None
    assert "strapped_to" not in remove_stage(pair, "amp_a")
