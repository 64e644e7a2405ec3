"""The dialogue: answers as typed, undone, corrected, unreachable, stored and continued."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.adapters.case_folder import FolderCases
from gainwright.adapters.store import SqlStore, open_store
from gainwright.app.cases.answers import with_result
from gainwright.app.cases.diagnosis import open_case
from gainwright.app.cases.dialogue import WITH_INSTRUMENT, Dialogue
from gainwright.app.cases.endings import Ending
from gainwright.app.cases.import_export import export_cases, import_cases, import_old_folder
from gainwright.app.cases.tally import count_cases
from gainwright.app.store import ConflictError
from gainwright.errors import CallError, GainwrightError, JobError
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.jobfile.casefile import case_text, read_case_text
from gainwright.model.case import Case

TEXT = example_text("one_amplifier")
JOB = read_job_text(TEXT).job
METER = {"at": "amp.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}


def dialogue() -> Dialogue:
    """Return a new dialogue about the smallest chain."""
    return Dialogue(TEXT, "Red hatchback", "2026-11-26")


@pytest.mark.parametrize(
    ("entry", "typed", "result"),
    [
        (METER, "0,62", {"reads": "0.62 V"}),
        (METER, "620 mV", {"reads": "620 mV"}),
        (METER, "over range", {"reads": "over_range"}),
        (METER, "1.2 3 %", {"reads": "1.2 V", "thd": "3 %"}),
        ({"heard": "sub"}, "Silent", {"is": "silent"}),
        ({"check": "amp.power_lamp"}, "ON", {"is": "on"}),
        ({"check": "amp.supply_voltage"}, "13.6", {"reads": "13.6 V"}),
        ({"check": "sub.resistance"}, "3.4", {"reads": "3.4 ohm"}),
        ({"check": "sub.resistance"}, "open", {"reads": "open"}),
        ({"check": "lead:head.sub-amp"}, "0.7 open", {"resistance": "0.7 ohm", "between_conductors": "open"}),
        ({"check": "lead:head.sub-amp"}, "open", {"resistance": "open"}),
        ({"check": "lead:head.sub-amp"}, "shorted", {"between_conductors": "0 ohm"}),
        ({"check": "meter"}, "good", {"is": "good"}),
        ({"check": "amp.gain"}, "30 %", {"is": "30 %"}),
        ({"check": "amp.gain"}, "37,5", {"is": "37.5 %"}),
        ({"check": "amp.gain"}, "Right", {"is": "right"}),
        ({"check": "knob.level"}, "-6", {"is": "-6 dB"}),
        ({"check": "head.volume"}, "24", {"is": "24"}),
        ({"swap": "amp"}, "moved", {"fault": "moved"}),
    ],
)
def test_typed_answers_are_understood(entry: dict[str, str], typed: str, result: dict[str, str]) -> None:
    """Units are optional, a comma is a decimal point, words are words."""
    assert with_result(entry, typed) == entry | result


@pytest.mark.parametrize(
    ("typed", "lit"),
    [("none", "none"), ("Nothing", "none"), ("clip", ["clip"]), ("red one; CLIP", ["clip", "red one"])],
)
def test_marks_are_typed_by_their_names(typed: str, lit: object) -> None:
    """The lit ones, separated by commas, in any order and case."""
    assert with_result({"at": "amp.out.mono"}, typed, marks=("clip", "red one")) == {"at": "amp.out.mono", "shows": lit}


def test_ears_alone_are_an_answer() -> None:
    """A job that says nothing of instruments has a meter until somebody says that there is none; it can be undone and stored."""
    talk = dialogue()
    talk.add({"heard": "sub", "is": "silent"})
    measuring = next(t for t in talk.diagnosis().next if t.test in WITH_INSTRUMENT)
    assert talk.answer_or_skip(measuring, "I have only ears, sorry") == "every test with an instrument"
    left = talk.diagnosis()
    assert left.next
    assert not [t.ask for t in left.next if t.test in WITH_INSTRUMENT or "dBFS" in t.ask]
    stored = Dialogue.of(read_case_text(case_text(talk.case())))
    assert stored.unreachable == ["instruments"]
    stored.undo()
    assert [t for t in stored.diagnosis().next if t.test in WITH_INSTRUMENT]


def test_dialogue_commands() -> None:
    """Answers, don't know, can't reach, undo and correct."""
    talk = dialogue()
    first = talk.diagnosis()
    talk.add({"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"})
    second = talk.diagnosis()
    assert second.causes[0].cause != first.causes[0].cause
    asked = second.next[0]
    talk.decline(asked)
    third = talk.diagnosis()
    assert third.next[0].entry != asked.entry
    place = talk.exclude_place(third.next[0])
    assert all(place != str(n.entry.get("at", n.where)).split(".")[0] for n in talk.diagnosis().next)
    talk.undo()
    assert talk.unreachable == []
    talk.undo()
    assert talk.declined == []
    talk.correct(1, "normal")
    assert talk.entries[0]["is"] == "normal"
    assert talk.diagnosis().causes[0].cause == first.causes[0].cause
    talk.undo()
    assert talk.entries == []
    for wrong in (talk.undo, lambda: talk.correct(1, "silent")):
        with pytest.raises(CallError):
            wrong()


def test_invalid_answer_changes_nothing() -> None:
    """No entry is added."""
    talk = dialogue()
    test = talk.diagnosis().next[0]
    for typed in ("", "purple", "-3"):
        with pytest.raises(GainwrightError):
            talk.answer(test, typed)
    assert talk.entries == []
    assert talk.steps == []


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlStore]:
    """Return an empty store."""
    with closing(open_store(tmp_path / "store.sqlite")) as opened:
        yield opened


def test_case_is_stored_and_continued(store: SqlStore, tmp_path: Path) -> None:
    """Everything said yesterday is there today, and in a file if requested; closing the case counts it."""
    copies = FolderCases(tmp_path / "cases")
    kept = open_case(store.cases, "red 1", job_text=TEXT, title="Red hatchback", copies=copies)
    talk = kept.dialogue
    talk.add({"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"})
    talk.note_belief(talk.diagnosis())
    talk.decline(talk.diagnosis().next[0])
    kept.save()
    kept.save()
    assert store.cases.get("red 1").revision == 1
    assert store.cases.get("red 1").case == talk.case() == copies.load("red 1")
    again = open_case(store.cases, "red 1", job_text=None, copies=copies)
    assert again.dialogue.diagnosis() == talk.diagnosis()
    again.save(again.dialogue.closed_as(Ending("gain_muted", "amp"), on="2026-11-27"))
    counts = count_cases(store.cases.find())
    assert (counts.cases, counts.closed) == (1, 1)
    assert counts.causes[0].cause == "gain_muted"
    assert store.cases.counted().by_cause == {"gain_muted": 1}
    with pytest.raises(CallError, match="it can be at"):
        again.dialogue.closed_as(Ending("gain_muted", "sub"))
    with pytest.raises(CallError, match="there is no case another"):
        open_case(store.cases, "another", job_text=None)
    talk.undo()
    with pytest.raises(ConflictError):  # changed meanwhile: nothing of the other is lost
        kept.save()
    assert store.cases.get("red 1").case.closed is not None


def test_a_folder_of_case_files_is_imported_and_exported(store: SqlStore, tmp_path: Path) -> None:
    """Neither direction overwrites anything."""
    folder, other = FolderCases(tmp_path / "in"), FolderCases(tmp_path / "out")
    case = dialogue().closed_as(Ending("lead_open", "lead:head.sub-amp"))
    for name in ("blue", "red"):
        folder.save(name, case)
    store.cases.write("red", dialogue().case(), seen=0)
    done = import_cases(folder, store.cases)
    assert (done.added, done.same, done.differing) == (("blue",), (), ("red",))
    other.save("blue", dialogue().case())
    done = export_cases(store.cases.find(), other)
    assert (done.added, done.differing) == (("red",), ("blue",))
    assert other.load("red") == dialogue().case() == other.load("blue")
    assert export_cases(store.cases.find("red"), other).same == ("red",)


def test_folder_of_version_0_1_is_imported_once(store: SqlStore, tmp_path: Path) -> None:
    """Its cases count from then on; its files stay; a case removed or changed there later isn't imported again."""
    folder = FolderCases(tmp_path / "cases")
    assert import_old_folder(folder, store) is None
    folder.save("blue", dialogue().closed_as(Ending("lead_open", "lead:head.sub-amp")))
    (tmp_path / "cases" / "torn.case.yaml").write_text("format: 1\n", encoding="utf-8")
    done = import_old_folder(folder, store)
    assert done is not None
    assert (done.added, [left.name for left in done.unreadable]) == (("blue",), ["torn"])
    assert store.cases.counted().by_cause == {"lead_open": 1}
    folder.save("green", dialogue().case())
    assert import_old_folder(folder, store) is None
    assert folder.names() == ["blue", "green", "torn"]


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "x" * 100, "con\x00"])
def test_invalid_case_names_are_refused(name: str, tmp_path: Path) -> None:
    """No name reaches another folder."""
    with pytest.raises(CallError, match="can't be the name"):
        FolderCases(tmp_path).save(name, dialogue().case())
    assert list(tmp_path.iterdir()) == []


def test_damaged_case_file_is_reported_with_line(store: SqlStore, tmp_path: Path) -> None:
    """Unknown keys and wrong values at their lines; the other cases are imported."""
    folder = FolderCases(tmp_path / "cases")
    folder.save("good", dialogue().closed_as(Ending("lead_open", "lead:head.sub-amp")))
    (tmp_path / "cases" / "bad.case.yaml").write_text("format: 1\njob: x\nopend: 3\n", encoding="utf-8")
    with pytest.raises(JobError, match=r"bad.case.yaml:3:.*opend"):
        folder.load("bad")
    (left_out,) = import_cases(folder, store.cases).left_out()
    assert "bad.case.yaml:3" in left_out
    assert store.cases.counted().by_cause == {"lead_open": 1}


@given(st.text(max_size=200), st.text(max_size=40))
def test_case_with_any_text_reads_back_or_is_refused(job: str, title: str) -> None:
    """What is written is what is read, or it is refused with one sentence."""
    try:
        case = Case(job=job, title=title)
        text = case_text(case)
        back = read_case_text(text)
    except GainwrightError as error:
        assert str(error)
    else:
        assert back.title == title


@given(st.text(max_size=20))
def test_anything_typed_is_an_answer_or_one_sentence(text: str) -> None:
    """No line crashes the dialogue."""
    for entry in (METER, {"check": "lead:head.sub-amp"}, {"check": "amp.gain"}, {"heard": "sub"}):
        try:
            read_entry(with_result(entry, text), JOB)
        except GainwrightError as error:
            assert str(error)
