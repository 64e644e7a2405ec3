"""Evidence files: valid entries, each mistake at its line, any other input with one error."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from indicators import with_lamp
from yaml_text import yaml_text

from gainwright.errors import GainwrightError, JobError
from gainwright.jobfile import entry_mapping, example_text, read_entry, read_evidence, read_evidence_text, read_job_text
from gainwright.model import Check, HeardSpeaker, Reading, SwapTest, as_mapping

JOB = read_job_text(with_lamp(example_text("two_way_and_sub"), "clip: thd over 3 %, red one: level over 9 V")).job
EVERY_KIND = """
evidence:
  - {at: amp_sub.out.mono, with: meter, tone: 1 kHz, level: 0 dBFS, set: {head.volume: 30}, reads: 0.02 V}
  - {at: amp_front.out.left, with: lamp, tone: 315 Hz, level: 0 dBFS, shows: none}
  - {at: amp_front.out.left, with: lamp, tone: 315 Hz, level: 0 dBFS, shows: [red one, clip]}
  - {check: amp_sub.power_lamp, is: on}
  - {check: lead:desk.sub-knob, resistance: 0.7 ohm}
  - {heard: sub, tone: 50 Hz, is: silent}
  - {check: amp_sub.supply_voltage, reads: 13.6 V}
  - {check: sub.resistance, reads: 2.1 ohm}
  - {check: amp_sub.gain, is: 20 %}
  - {check: lead:desk.woofer.left-amp_front.left, between_conductors: open}
  - {at: amp_sub.out.mono, tone: 50 Hz, reads: over_range}
  - {at: amp_sub.out.mono, tone: 50 Hz, current: 2.4 A, engine: off}
  - {at: amp_front.out.left, with: interface, tone: 1 kHz, reads: 3 V, thd: 4 %, verdict: clipped}
  - {swap: amp_front, tone: 1 kHz, fault: moved}
"""


def test_every_kind_of_entry_is_read() -> None:
    """Each kind of entry is read as its class and written back unchanged."""
    entries = read_evidence_text(EVERY_KIND, JOB)
    kinds = [
        Reading,
        Reading,
        Reading,
        Check,
        Check,
        HeardSpeaker,
        Check,
        Check,
        Check,
        Check,
        Reading,
        Reading,
        Reading,
        SwapTest,
    ]
    assert [type(e) for e in entries] == kinds
    first, lamp = entries[0], entries[3]
    assert isinstance(first, Reading)
    assert (first.tone_hz, first.level_dbfs, first.set) == (1000.0, 0.0, {"head.volume": "30"})
    assert isinstance(lamp, Check)
    assert lamp.is_ == "on"
    again = read_evidence_text(yaml_text({"evidence": [as_mapping(e) for e in entries]}), JOB)
    assert again == entries


@pytest.mark.parametrize(
    ("entry", "line", "said"),
    [
        ("{at: amp_sub.out.mon, tone: 1 kHz, reads: 1 V}", 3, "did you mean amp_sub.out.mono"),
        ("{at: amp_sub.out.mono, reads: 1 V}", 3, "there is no tone"),
        ("{at: amp_sub.out.mono, tone: 1 kHz}", 3, "the result is missing"),
        ("{at: amp_sub.out.mono, tone: 1 kHz, reads: 3 W}", 3, "W is a unit of power"),
        ("{at: amp_sub.out.mono, tone: 1 kHz, raeds: 3 V}", 3, "did you mean reads"),
        ("{at: amp_sub.out.mono, tone: 1 kHz, with: lamp, reads: 3 V}", 3, "lamp shows no numbers"),
        ("{at: amp_sub.out.mono, tone: 1 kHz, with: scope, reads: 3 V}", 3, "no instrument scope"),
        ("{at: amp_sub.out.mono, tone: 1 kHz, set: {knob.volume: 3}, reads: 3 V}", 3, "no control knob.volume"),
        ("{at: amp_sub.out.mono, tone: 0.1 Hz, reads: 3 V}", 3, "a tone must be 1 Hz to 100 kHz"),
        ("{check: amp_sub.power_lamp, is: bright}", 3, "write on or off"),
        ("{check: amp_sub.gain, reads: 3 V}", 3, "has no reads"),
        ("{check: lead:desk-knob, resistance: 1 ohm}", 3, "no place to check"),
        ("{check: sub.resistance, reads: many}", 3, "not a valid resistance"),
        ("{heard: sub, is: loud}", 3, "isn't valid here"),
        ("{heard: knob, is: silent}", 3, "no speaker knob"),
        ("{swap: knob, tone: 1 kHz, fault: moved}", 3, "no stage or lead with two sides"),
        ("{swap: amp_front, fault: moved}", 3, "comparing sides needs a tone"),
        ("{heard: sub, at: amp_sub.out.mono, is: silent}", 3, "has both"),
        ("{tone: 1 kHz}", 3, "has none of"),
        ("silent", 3, "must be a mapping"),
    ],
)
def test_each_mistake_is_reported_at_its_line(entry: str, line: int, said: str) -> None:
    """One error: line, what is wrong, and how to fix it."""
    text = f"evidence:\n  - {{check: amp_sub.power_lamp, is: on}}\n  - {entry}\n"
    with pytest.raises(JobError) as caught:
        read_evidence_text(text, JOB, name="found.yaml")
    assert str(caught.value).startswith(f"found.yaml:{line}:"), str(caught.value)
    assert said in str(caught.value)


@pytest.mark.parametrize("text", ["", "evidence: 3", "evidenz: []", "- 1", "evidence: [\n"])
def test_file_that_is_no_evidence_file(text: str) -> None:
    """One sentence says so."""
    with pytest.raises(JobError):
        read_evidence_text(text, JOB)


def test_empty_list_is_valid() -> None:
    """A file may say that nothing has been found yet."""
    assert read_evidence_text("evidence: []", JOB) == ()


def test_missing_files_are_named(tmp_path: Path) -> None:
    """A missing file, and a folder."""
    for path in (tmp_path / "none.yaml", tmp_path):
        with pytest.raises(JobError, match=path.name):
            read_evidence(path, JOB)


_words = st.sampled_from(["at", "check", "heard", "swap", "tone", "level", "reads", "is", "with", "set", "feed", "x"])
_values = st.one_of(
    st.sampled_from(
        ["amp_sub.out.mono", "meter", "1 kHz", "0.2 V", "silent", "on", "open", "sub", "lead:desk.sub-knob"]
    ),
    st.text(max_size=12),
    st.integers(),
    st.floats(allow_nan=False),
    st.booleans(),
    st.none(),
    st.dictionaries(st.text(max_size=6), st.text(max_size=6), max_size=2),
    st.lists(st.integers(), max_size=2),
)


@given(st.dictionaries(_words, _values, max_size=6))
def test_any_mapping_is_an_entry_or_one_sentence(mapping: dict[str, object]) -> None:
    """Whatever is given, the result is an entry, or an error of ours with a rule or a remedy."""
    try:
        entry = read_entry(mapping, JOB)
    except GainwrightError as error:
        assert str(error)
    else:
        assert read_entry(as_mapping(entry), JOB) == entry


@given(st.text(max_size=60))
def test_any_line_is_a_mapping_or_one_sentence(text: str) -> None:
    """A line typed in the dialogue is accepted or refused, and never crashes it."""
    try:
        entry_mapping(text)
    except GainwrightError as error:
        assert str(error)


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("head.volume", "loud"),
        ("head.volume", "nan"),
        ("amp_sub.gain", "three"),
        ("amp_sub.gain", "unknown"),
        ("knob.at", "up"),
        ("desk.sub.level", "1 V"),
    ],
)
def test_numeric_control_accepts_no_other_word(place: str, said: str) -> None:
    """A value that such a control can't have is refused when it is entered, not when it is evaluated."""
    with pytest.raises(JobError) as refused:
        read_entry({"check": place, "is": said}, JOB)
    assert refused.value.where == "is"
    assert "right or wrong" in refused.value.remedy


@pytest.mark.parametrize("said", ["loud", "peak", "peak +3 dB at 45 Hz q 1; and more", "12"])
@pytest.mark.parametrize("place", ["amp_sub.boost", "desk.sub.equaliser", "head.tone"])
def test_control_with_bands_accepts_no_other_word(place: str, said: str) -> None:
    """An invalid band is refused when it is entered, with what to write."""
    with pytest.raises(JobError) as refused:
        read_entry({"check": place, "is": said}, JOB)
    assert refused.value.where == "is"
    assert "separated by semicolons" in refused.value.remedy
    assert read_entry({"check": place, "is": "flat"}, JOB) == Check.model_validate({"check": place, "is": "flat"})


@pytest.mark.parametrize(
    ("place", "said"),
    [("head.volume", "30"), ("amp_sub.gain", "20 %"), ("knob.at", "-6 dB"), ("amp_sub.gain", "wrong")],
)
def test_control_accepts_its_position(place: str, said: str) -> None:
    """A step, a percentage, decibels, or a judgement."""
    assert read_entry({"check": place, "is": said}, JOB) == Check.model_validate({"check": place, "is": said})
