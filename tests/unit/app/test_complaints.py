"""A caller's complaint in a sentence becomes entries about the speakers of the job."""

from __future__ import annotations

import pytest
from typical_chains import typical_text

from gainwright.app.cases.complaints import complaint_entries, is_complaint
from gainwright.errors import CallError
from gainwright.jobfile import example_text, read_entry, read_job_text

JOB = read_job_text(typical_text("factory_doors_and_sub")).job


def told(text: str) -> dict[str, str]:
    """Return speaker, with its side if one is told, and `engine off` -> its word, and check that the entries are valid."""
    entries = complaint_entries(text, JOB)
    for entry in entries:
        read_entry(entry, JOB)
    off = {"off": "engine off"}
    names = [(e["heard"], e.get("side", ""), off.get(e.get("engine", ""), "")) for e in entries]
    return {" ".join(filter(None, name)): e["is"] for name, e in zip(names, entries, strict=True)}


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("no bass", {"subwoofer": "silent"}),
        ("there is no sound from the sub", {"subwoofer": "silent"}),
        ("no bass, the doors play fine", {"subwoofer": "silent", "front_speakers": "normal", "rear_speakers": "normal"}),
        ("the left front door doesn't play", {"front_speakers left": "silent"}),
        ("front right crackles but everything else is fine",
         {"front_speakers right": "distorted", "front_speakers left": "normal", "rear_speakers": "normal", "subwoofer": "normal"}),
        ("nothing at all", {"front_speakers": "silent", "rear_speakers": "silent", "subwoofer": "silent"}),
        ("it whines with the engine",
         {f"{s}{engine}": word for s in ("front_speakers", "rear_speakers", "subwoofer")
          for engine, word in (("", "whine"), (" engine off", "normal"))}),
        ("the left side is dead, the right plays",
         {f"{s} {side}": word for s in ("front_speakers", "rear_speakers") for side, word in (("left", "silent"), ("right", "normal"))}),
        ("the doors are dead and the sub plays", {"front_speakers": "silent", "rear_speakers": "silent", "subwoofer": "normal"}),
        ("Der Subwoofer ist sehr leise", {"subwoofer": "faint"}),
        ("hinten kommt gar nichts, vorne läuft alles", {"rear_speakers": "silent", "front_speakers": "normal"}),
        ("kein Bass, aber der Rest spielt", {"subwoofer": "silent", "front_speakers": "normal", "rear_speakers": "normal"}),
        ("links vorn kratzt es", {"front_speakers left": "distorted"}),
        ("the sub, it hums", {"subwoofer": "hum"}),
        ("rear doors, no sound", {"rear_speakers": "silent"}),
    ],
)  # fmt: skip
def test_complaint_names_speakers_and_how_they_sound(said: str, meant: dict[str, str]) -> None:
    """By what they are called in a car, in English and German; a side only where one is named."""
    assert told(said) == meant


@pytest.mark.parametrize(
    ("said", "part", "doors", "sub"),
    [
        ("it sounds thin, no bass in the doors", "thin", ["front_speakers", "rear_speakers"], []),
        ("die vorderen Türen klingen dünn, kein Bass", "thin", ["front_speakers"], []),
        ("the rear doors sound dull and the sub plays", "dull", ["rear_speakers"], ["normal"]),
        ("the front is thin, no bass from the sub", "thin", ["front_speakers"], ["silent"]),
    ],
)
def test_part_of_the_music_that_is_heard_is_no_silence(said: str, part: str, doors: list[str], sub: list[str]) -> None:
    """Such a speaker plays, less loud than usual, and which part of the music it plays is evidence too."""
    entries = complaint_entries(said, JOB)
    for entry in entries:
        read_entry(entry, JOB)
    assert [e["heard"] for e in entries if e["is"] == "faint"] == doors
    assert [e["check"] for e in entries if e["is"] == part] == [f"{door}.sounds" for door in doors]
    assert [e["is"] for e in entries if e.get("heard") == "subwoofer"] == sub


@pytest.mark.parametrize("said", ["it is broken somehow", "please help", "the sub", "hm", "one side is dead"])
def test_complaint_that_tells_nothing_is_asked_again(said: str) -> None:
    """With an example."""
    with pytest.raises(CallError, match="no bass"):
        complaint_entries(said, JOB)


def test_speakers_are_named_as_the_job_names_them() -> None:
    """Whatever their keys are."""
    job = read_job_text(example_text("two_way_and_sub")).job
    assert complaint_entries("the tweeter is silent", job) == [{"heard": "tweeter", "is": "silent"}]


@pytest.mark.parametrize(
    ("line", "is_one"), [("no bass", True), ("silent", False), ("I don't know", False), ("", False)]
)
def test_one_word_is_an_answer_and_no_complaint(line: str, is_one: bool) -> None:
    """As it may answer the first test."""
    assert is_complaint(line) is is_one
