"""Answers that used to be misread: a bad lead that looked perfect, a megohm read as a milliohm; and answers as people write them."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.app.cases.answers import with_result
from gainwright.app.cases.dialogue import Dialogue
from gainwright.errors import CallError, GainwrightError, JobError
from gainwright.jobfile import example_text, read_entry, read_evidence_text, read_job_text
from gainwright.model import as_mapping

TEXT = example_text("one_amplifier")
JOB = read_job_text(TEXT).job
METER = {"at": "amp.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}
LEAD = {"check": "lead:head.sub-amp"}
WORDS = ("0", "1,5", "4k7", "OL", "open", "not", "²", "٣", "V", "mV", "ohm", "M", "%", ";", "right", "on", "moved")
ASKED: tuple[dict[str, str], ...] = (
    METER,
    LEAD,
    {"check": "meter"},
    {"check": "amp.gain"},
    {"check": "head.volume"},
    {"check": "amp.supply_voltage"},
    {"check": "sub.resistance"},
    {"check": "amp.power_lamp"},
    {"heard": "sub"},
    {"swap": "amp", "tone": "50 Hz"},
)


@pytest.mark.parametrize(
    ("entry", "typed", "result"),
    [
        (LEAD, "1 Mohm", {"resistance": "1 Mohm"}),
        (LEAD, "0L", {"resistance": "open"}),
        (LEAD, "OL OL", {"resistance": "open", "between_conductors": "open"}),
        (LEAD, "4k7", {"resistance": "4.7 kohm"}),
        (LEAD, "0,3, open", {"resistance": "0.3 ohm", "between_conductors": "open"}),
        ({"check": "sub.resistance"}, "4R7", {"reads": "4.7 ohm"}),
        ({"check": "sub.resistance"}, "OL", {"reads": "open"}),
        (METER, "0.L", {"reads": "over_range"}),
        (METER, "1,2 V; 3,5 %", {"reads": "1.2 V", "thd": "3.5 %"}),
        ({"check": "amp.gain"}, "\u22120 %", {"is": "-0 %"}),
    ],
)
def test_typed_answer_is_read_as_meant(entry: dict[str, str], typed: str, result: dict[str, str]) -> None:
    """The same by every input; the entry is valid for the job."""
    found = with_result(entry, typed)
    assert found == entry | result
    read_entry(found, JOB)


@pytest.mark.parametrize(
    ("entry", "typed"),
    [
        (LEAD, "not open"),
        (LEAD, "0.3 not open"),
        (LEAD, "²"),
        (LEAD, "1 000"),
        (METER, "²"),
        (METER, "350 MV"),
        ({"check": "amp.supply_voltage"}, "OL"),
        ({"check": "amp.supply_voltage"}, "open"),
        ({"check": "head.volume"}, "٣"),
        ({"check": "amp.gain"}, "３"),
    ],
)
def test_text_without_a_value_is_refused(entry: dict[str, str], typed: str) -> None:
    """It is quoted as typed, with an example."""
    with pytest.raises(CallError, match="write, for example"):
        with_result(entry, typed)


def test_two_fields_are_read_like_one_line() -> None:
    """Ohms end to end and between conductors; volts and distortion."""
    assert with_result(LEAD, "0,3", "open") == with_result(LEAD, "0.3 open")
    assert with_result(LEAD, "", "0,1") == LEAD | {"between_conductors": "0.1 ohm"}
    assert with_result(LEAD, "4k7", "shorted") == LEAD | {"resistance": "4.7 kohm", "between_conductors": "0 ohm"}
    assert with_result(METER, "1,2", "3,5 %") == with_result(METER, "1.2; 3.5 %")
    with pytest.raises(CallError):
        with_result(LEAD, "0.3 open", "open")


def test_digit_of_another_script_is_no_entry_number() -> None:
    """`correct ²` in the terminal gives a sentence, not a crash."""
    from gainwright.cli.dialogue import run_dialogue

    said: list[str] = []
    dialogue = Dialogue(TEXT, "Red hatchback")
    dialogue.add({"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"})
    run_dialogue(iter(["correct ² normal", "correct ٣ normal", "quit"]), said.append, dialogue)  # type: ignore[arg-type]
    assert [line for line in said if "there is no entry 0" in line] == [
        "That can't be used: there is no entry 0; there are 1"
    ] * 2


@given(
    st.sampled_from(ASKED),
    st.text(max_size=20) | st.lists(st.sampled_from(WORDS), max_size=6).map(" ".join),
    st.sampled_from(["", "open", "²", "3", "3 %"]),
)
def test_any_typed_text_gives_an_entry_that_reads_back_or_an_error(
    entry: dict[str, str], text: str, second: str
) -> None:
    """Any text is refused with the project's own error, or gives an entry that reads back the same."""
    try:
        found = with_result(entry, text, second)
        read = read_entry(found, JOB)
    except GainwrightError as error:
        assert str(error)
        return
    written: dict[str, Any] = as_mapping(read)
    assert read_entry(written, JOB) == read
    result = {key: value for key, value in found.items() if key not in entry}
    if len(result) == 1 and "between_conductors" not in result:
        assert with_result(entry, next(iter(result.values()))) == found


def test_evidence_files_are_read_by_the_same_reader() -> None:
    """A decimal comma, `OL`, and component codes; anything that isn't a reading is refused at its line."""
    text = """evidence:
  - {at: amp.out.mono, with: meter, tone: 50 Hz, reads: "0,35 V"}
  - {at: amp.out.mono, with: meter, tone: 50 Hz, reads: OL}
  - {check: "lead:head.sub-amp", resistance: 4k7, between_conductors: 0L}
"""
    volts, over, lead = (as_mapping(entry) for entry in read_evidence_text(text, JOB))
    assert volts["reads"] == "0.35 V"
    assert over["reads"] == "over_range"
    assert (lead["resistance"], lead["between_conductors"]) == ("4.7 kohm", "over_range")
    for reads in ("²", "٣ V", "not open", "open"):
        with pytest.raises(JobError, match="reads"):
            read_evidence_text(f'evidence:\n  - {{check: amp.supply_voltage, reads: "{reads}"}}\n', JOB)


@pytest.mark.parametrize("place", ["amp.supply_voltage", "amp.turn_on_voltage"])
def test_negative_volts_of_a_supply_say_what_is_swapped(place: str) -> None:
    """It is no evidence about the supply's volts, and the sentence says what to do."""
    with pytest.raises(CallError) as caught:
        with_result({"check": place}, "\u221213,8 V")
    assert "swapped" in caught.value.rule
    assert "switch everything off" in caught.value.remedy
