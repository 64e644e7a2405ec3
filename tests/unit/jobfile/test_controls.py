"""Controls by name, and what the catalogue assumes."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.errors import CallError
from gainwright.jobfile import (
    controls,
    example_text,
    examples,
    facts,
    instrument_assumptions,
    instruments,
    read_job_text,
    settings,
    with_settings,
)
from gainwright.model import Job


@pytest.fixture
def job() -> Job:
    """Return the two-way example."""
    return read_job_text(example_text("two_way_and_sub")).job


def test_controls_are_listed_with_their_positions(job: Job) -> None:
    """Volume, levels, filters, gains by name."""
    found = controls(job)
    assert found["head.volume"] == "30.0"
    assert found["knob.level"] == "0 dB"
    assert found["amp_sub.gain"] == "20 %"
    assert found["desk.sub.low_pass"] == "linkwitz-riley 24 at 80 Hz"
    assert found["head.tone"] == "flat"


@pytest.mark.parametrize(
    ("text", "stands"),
    [
        ("peak +6 dB at 45 Hz q 1", "peak +6 dB at 45 Hz q 1"),
        (
            "peak +6 dB at 45 Hz q 1; high-shelf -2 dB at 8 kHz q 0.7 ;",
            "peak +6 dB at 45 Hz q 1; high-shelf -2 dB at 8 kHz q 0.7",
        ),
        ("flat", "flat"),
        ("off", "off"),
    ],
)
def test_bands_are_set_and_read_as_one_text(job: Job, text: str, stands: str) -> None:
    """Tone controls, equalisers, boosts; several bands separated by semicolons, and each of them counts."""
    for control in ("head.tone", "desk.sub.equaliser", "amp_sub.boost"):
        changed = with_settings(job, {control: text})
        assert controls(changed)[control] == stands
        assert with_settings(changed, {control: controls(changed)[control]}) == changed


def test_empty_list_of_bands_is_flat() -> None:
    """It can be set again as it is printed."""
    read = read_job_text(example_text("two_way_and_sub").replace("tone: [flat]", "tone: []")).job
    assert controls(read)["head.tone"] == "flat"
    assert controls(with_settings(read, {"head.tone": "flat"}))["head.tone"] == "flat"


@pytest.mark.parametrize(
    ("control", "text", "path", "value"),
    [
        ("head.volume", "12", "head.volume", 12),
        ("knob.level", "-6 dB", "knob.level", -6),
        ("knob.at", "-6 dB", "knob.level", -6),
        ("amp_sub.gain", "40 %", "amp_sub.gain", 0.4),
        ("desk.sub.level", "-3 dB", "desk.sub.level", -3),
    ],
)
def test_control_is_set(job: Job, control: str, text: str, path: str, value: float) -> None:
    """The job isn't changed; the new one differs only in that control."""
    before = settings(job)
    after = settings(with_settings(job, {control: text}))
    assert after[path] == pytest.approx(value)
    assert {k for k in after if after[k] != before[k]} == {path}
    assert settings(job) == before


@pytest.mark.parametrize(
    ("control", "text", "says"),
    [
        ("knob.levl", "0 dB", "did you mean knob.level"),
        ("head.volume", "41", "0 to 40"),
        ("head.volume", "loud", "head.volume"),
        ("knob.level", "3 dB", "-40 to 0 dB"),
        ("knob.level", "-50 dB", "-40 to 0 dB"),
        ("amp_sub.gain", "120 %", "at most 100 %"),
        ("amp_sub.low_pass", "sharp", "linkwitz-riley 24 at 80 Hz"),
        ("desk.sub.polarity", "upside down", "desk.sub.polarity"),
    ],
)
def test_invalid_control_settings(job: Job, control: str, text: str, says: str) -> None:
    """Each error says what would be valid."""
    with pytest.raises(CallError) as caught:
        with_settings(job, {control: text})
    assert says in str(caught.value)


@pytest.mark.parametrize("name", list(examples()))
def test_every_number_is_given_or_assumed_with_a_reason(name: str) -> None:
    """All finite, in order, with a reason where the job gives nothing."""
    read = read_job_text(example_text(name))
    for path, fact in facts(read.job, read.wiring).items():
        assert np.isfinite(fact.quantity.nominal), path
        assert fact.quantity.interval[0] <= fact.quantity.nominal <= fact.quantity.interval[1], path
        assert fact.given or fact.reason or path.endswith(".gain"), path


def test_given_values_replace_assumed_ones() -> None:
    """A key in the job replaces the catalogue's value."""
    text = example_text("one_amplifier")
    assert not facts(read_job_text(text).job)["amp.headroom"].given
    said = facts(read_job_text(text.replace("    minimum_load", "    headroom: 1 dB\n    minimum_load")).job)[
        "amp.headroom"
    ]
    assert said.given
    assert said.quantity.nominal == 1


def test_job_without_instruments_has_a_typical_meter() -> None:
    """It is assumed, and listed as such."""
    job = read_job_text(example_text("one_amplifier")).job
    bare = job.model_copy(update={"instruments": {}})
    assert [i.kind for i in instruments(bare).values()] == ["multimeter"]
    assert instrument_assumptions(bare)
