"""The syntax of an indicator's marks: what is accepted, what is refused, and the messages."""

from __future__ import annotations

import pytest
from indicators import with_lamp

from gainwright.errors import JobError
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.model import Indicator, as_mapping

TEXT = example_text("one_amplifier")


@pytest.mark.parametrize(
    ("text", "of", "threshold", "tuned"),
    [
        ("level over 0.5 V", "level", 0.5, None),
        ("Fundamental over 350 mV at 1 kHz", "fundamental", 0.35, 1000.0),
        ("thd over 3 %", "thd", 0.03, None),
        ("thd over 3 % ± 0.5 % at 315 Hz", "thd", 0.03, 315.0),
    ],
)
def test_valid_conditions(text: str, of: str, threshold: float, tuned: float | None) -> None:
    """The monitored quantity, the threshold in SI, the tuned frequency; written back unchanged."""
    lamp = read_job_text(with_lamp(TEXT, f"my word: {text}")).job.instruments["lamp"]
    assert isinstance(lamp, Indicator)
    mark = lamp.marks["my word"]
    assert (mark.of, mark.threshold.nominal) == (of, pytest.approx(threshold))
    assert (mark.tuned and mark.tuned.nominal) == tuned
    assert mark.as_written() == text


@pytest.mark.parametrize(
    ("marks", "says"),
    [
        ("clip: over 3 %", "is not a valid condition of a mark"),
        ("clip: thd under 3 %", "is not a valid condition of a mark"),
        ("clip: thd over 3 V", "V is a unit of voltage"),
        ("clip: level over 0 V", "above zero"),
        ("clip: level over unknown", "above zero"),
        ("clip: level over 1 V at 40 .. 60 Hz", "no spread"),
        ("", "marks"),
        ("none: thd over 3 %", "a mark is named none"),
        ("clip: thd over 3 %, Clip: level over 1 V", "two marks have the same name"),
        ('"a, b": thd over 3 %', "isn't valid here"),
    ],
)
def test_invalid_conditions_are_refused(marks: str, says: str) -> None:
    """Each with one message at its line."""
    with pytest.raises(JobError) as caught:
        read_job_text(with_lamp(TEXT, marks))
    assert says in str(caught.value)
    assert caught.value.where.startswith("job:8:")


def test_thresholds_of_older_job_files_are_refused_with_the_new_syntax() -> None:
    """A file of 0.1.0 gets one message with what to write."""
    old = TEXT.replace(
        "instruments:\n", "instruments:\n  lamp: {kind: indicator, level_above: 0.5 V, thd_above: 1 %}\n"
    )
    with pytest.raises(JobError, match="no longer has level_above, thd_above") as caught:
        read_job_text(old)
    assert "marks: {clip: thd over 3 %}" in caught.value.remedy
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("shows", "lit", "back"),
    [("none", (), "none"), ([], (), "none"), ("b", ("b",), ["b"]), (["b", "a", "b"], ("b", "a"), ["b", "a"])],
)
def test_evidence_lists_the_marks_that_are_lit(shows: object, lit: tuple[str, ...], back: object) -> None:
    """A list, one name, or none; written as a list or none."""
    job = read_job_text(with_lamp(TEXT, "a: level over 1 V, b: thd over 3 %")).job
    entry = read_entry({"at": "amp.out.mono", "with": "lamp", "tone": "50 Hz", "shows": shows}, job)
    assert entry.shows == lit  # type: ignore[union-attr]
    assert as_mapping(entry)["shows"] == back


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"with": "lamp", "shows": ["c"]}, "there is no mark of lamp c"),
        ({"with": "meter", "shows": ["a"]}, "meter is not an indicator"),
        ({"with": "lamp", "shows": ["a", "none"]}, "none is given together with a mark"),
        ({"with": "lamp", "shows": 3}, "must be a list of marks"),
        ({"with": "lamp", "reads": "3 V"}, "lamp shows no numbers"),
    ],
)
def test_evidence_of_other_marks_is_refused(entry: dict[str, object], says: str) -> None:
    """Only marks of the instrument, and only of an indicator."""
    job = read_job_text(with_lamp(TEXT, "a: level over 1 V, b: thd over 3 %")).job
    with pytest.raises(JobError) as caught:
        read_entry({"at": "amp.out.mono", "tone": "50 Hz"} | entry, job)
    assert says in str(caught.value)


def test_a_job_without_an_indicator_shows_no_marks() -> None:
    """No instrument could have shown them."""
    with pytest.raises(JobError, match="has no indicator"):
        read_entry({"at": "amp.out.mono", "tone": "50 Hz", "shows": "none"}, read_job_text(TEXT).job)
