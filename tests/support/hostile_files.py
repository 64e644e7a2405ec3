"""Files of readings, evidence, cases, classes, music, calibrations and backups with damaged or extreme content, each read and used."""

from __future__ import annotations

import functools
import json
import re
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.adapters.calibrations import FileCalibrations
from gainwright.adapters.store import StoreMaintenance, open_store
from gainwright.app.cases.diagnosis import diagnose
from gainwright.app.cases.dialogue import Dialogue
from gainwright.app.cases.history import COLUMNS, read_history
from gainwright.app.measuring.knee import knee_of, meter_kind, parse_readings
from gainwright.app.music.result import read_music
from gainwright.app.practice.class_exercises import class_table, diagnosers_of, make_exercise, result_of
from gainwright.jobfile import example_text, read_evidence_text, read_job_text
from gainwright.jobfile.casefile import case_text, read_case_text
from gainwright.jobfile.class_files import exercise_text, read_exercise, read_result, result_text
from gainwright.model.case import Case
from gainwright.model.class_exercise import PracticeLimits
from gainwright.programme.allowance import AllowanceRow, Limits
from gainwright.programme.music_result import (
    BandChoice,
    BandFigures,
    MusicResult,
    SkippedFile,
    SpeakerFigures,
    TimeAbove,
    TrackFigures,
)
from gainwright.report.class_table import class_table_csv, class_table_text
from gainwright.report.diagnosis import diagnosis_text
from gainwright.report.knee import knee_text
from gainwright.report.music import music_text
from gainwright.results import to_json
from gainwright.simulated import SimulatedHiddenRigs

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

NAME = "attacked"
JOB = example_text("one_amplifier")
COLUMN = "step,v_rms\n" + "".join(f"{step},{0.2 * 1.12**step:.3f}\n" for step in range(10, 24)) + "24,3.1\n25,3.2\n"
EVIDENCE = """evidence:
  - {at: amp.out.mono, with: meter, tone: 50 Hz, level: -8 dBFS, set: {head.volume: 24}, reads: 1.4 V}
  - {check: amp.power_lamp, is: on}
  - {check: "lead:head.sub-amp", resistance: 0.7 ohm}
  - {heard: sub, tone: 40 Hz, is: faint, engine: off}
"""
HISTORY = (
    ",".join(COLUMNS)
    + "\r\nA1,Estate,2026-01-02,2026-01-03,faint,,found,lead_open,lead:a-b,,,,3,12.5,note\r\n"
    + 'A2,"two, faults",,2026-02-03,,,two_faults,gain_low,amp,lead_open,x,,4,9,"a\nb"\r\n'
)
SNIPPETS = (
    "9" * 400, "9" * 5000, "1e400", "1e-400", "-1", "0", "nan", ".inf", "Infinity", "null", "{}", "[]", "[" * 3000, "{a: " * 500, '"', "'", "\x00",
    "\x1b[2J", "\ud800", "\n", ",", ",,,", "\t", "&a ", "*a", "<<: *a", "!!python/object:os.system x", "%", "|", "x" * 140_000, "\u202e",
    "=cmd|' /C calc'!A0", "true", "- ", ": ", "٣", "1/0", "unknown", " ± 1e300 %", "..",
)  # fmt: skip


def damaged(draw: random.Random, text: str) -> str:
    """Return a text with one to four things changed: numbers, words, slices, inserted oddities."""
    for _ in range(draw.randint(1, 4)):
        at = draw.randrange(len(text) + 1)
        end = min(len(text), at + draw.choice((1, 1, 3, 10, 40)))
        match draw.choice(("number", "number", "insert", "cut", "double", "many", "swap")):
            case "number":
                numbers = list(re.finditer(r"[0-9]+(?:\.[0-9]+)?", text))
                if numbers:
                    found = draw.choice(numbers)
                    text = text[: found.start()] + draw.choice(SNIPPETS) + text[found.end() :]
            case "insert":
                text = text[:at] + draw.choice(SNIPPETS) + text[at:]
            case "cut":
                text = text[:at] + text[end:]
            case "double":
                text = text[:end] + text[at:end] + text[end:]
            case "many":
                text = text[:end] + text[at:end] * draw.choice((10, 300, 3000)) + text[end:]
            case _:
                text = text[:at] + chr(draw.choice((draw.randrange(128), draw.randrange(0x2FFF)))) + text[at + 1 :]
    return text


def use_column(text: str) -> None:
    """Read a column of readings and find the knee in it."""
    readings = parse_readings(text.splitlines(), NAME)
    found = knee_of(readings, kind=meter_kind(meter="unknown", accuracy_percent=1.0), limit_percent=1.0)
    _shown(found, knee_text(found, readings, limit_percent=1.0))


def use_history(text: str) -> None:
    """Read a table of closed cases."""
    read_history(text.encode("utf-8", "surrogatepass"))


def use_evidence(text: str) -> None:
    """Read evidence and diagnose with it."""
    job = read_job_text(JOB).job
    found = diagnose(job, read_evidence_text(text, job), counted={})
    _shown(found, diagnosis_text(found))


def use_case(text: str) -> None:
    """Read a case, go on with it, write it again."""
    case = read_case_text(text)
    if case.job.strip():
        Dialogue.of(case)
    assert read_case_text(case_text(case)) == case


@functools.cache
def _case() -> str:
    case = Case(title="Estate", opened="2026-01-02", job=JOB, evidence=({"check": "amp.power_lamp", "is": "on"},))
    return case_text(case)


@functools.cache
def _class() -> tuple[Any, Any, str, str]:
    exercise = make_exercise(
        {"one": {"like": "one_amplifier"}}, title="Week", seeds=[4], limits=PracticeLimits(tests=2)
    )
    result = result_of(exercise, "Ann", [["look amp.power_lamp"]], program="0")
    return exercise, diagnosers_of(exercise), exercise_text(exercise), result_text(result)


def use_exercise(text: str) -> None:
    """Read a class exercise and write it again."""
    exercise_text(read_exercise(text.encode("utf-8", "surrogatepass")))


def use_result(text: str) -> None:
    """Read a learner's result and make the table of the class."""
    exercise, diagnosers, _, _ = _class()
    result = read_result(text.encode("utf-8", "surrogatepass"))
    table = class_table(exercise, [result], rigs=SimulatedHiddenRigs(), diagnosers=diagnosers)
    class_table_csv(table)
    _shown(table, class_table_text(table))


def use_calibrations(text: str) -> None:
    """Read the calibrations of sound inputs."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "calibrations.json"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        json.dumps(FileCalibrations(path).kept(), allow_nan=False)


def use_music(text: str) -> None:
    """Read a result of music and tell it."""
    found = read_music(text, name=NAME)
    _shown(found, music_text(found))


@functools.cache
def _music() -> str:
    row = AllowanceRow(3.0, 0.1, 0.05, 0.15, -60.0, -62.0, -58.0, -12.0, -6.0, 2.0, 3.0, 9.0, 3.0)
    band = BandFigures(-0.3, -0.1, -14.0, 13.7, 0.0, 0.0, 1.0, -8.0)
    track = TrackFigures("a.flac", 200.0, 44_100, 2, -11.0, 5.0, -0.1, {"full": band}, {"full": 3.0})
    choice = BandChoice("clipped_time", ("a.flac",), True, 13.7, -0.3, 4.0, 315.0, "sub", 80.0, 100.0)
    speaker = SpeakerFigures(
        "sub", "full", "amp", 40.0, 30.0, 60.0, "a.flac", 9.0, 8.0, 7.0, 9.0, 12.0, 30.0, 13.0, 8.5, 90.0, 200.0, ()
    )
    found = MusicResult(
        "", (track,), {"full": (row,)}, {"full": 3.0}, {"full": choice}, {"full": (TimeAbove(-3.0, 0.1),)},
        Limits(), 200.0, 0, (SkippedFile("b.mp3", "is empty"),), None, (speaker,),
    )  # fmt: skip
    return json.dumps(to_json(found))


@functools.cache
def _backup() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "store.sqlite"
        store = open_store(path)
        store.jobs.add(title="car", text=JOB)
        store.cases.write("c", Case(title="t", job=JOB), seen=0)
        store.close()
        return StoreMaintenance(str(path)).backup(Path(folder) / "backup.sqlite").read_bytes()


def use_backup(content: bytes) -> None:
    """Restore a backup into a new store, open it and read all of it."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "backup.sqlite"
        file.write_bytes(content)
        place = str(Path(folder) / "store.sqlite")
        StoreMaintenance(place).restore(file)
        store = open_store(place)
        try:
            for job in store.jobs.list():
                store.jobs.get(job.id)
            store.cases.counted()
        finally:
            store.close()


def _damaged_bytes(draw: random.Random, content: bytes) -> bytes:
    found = bytearray(content)
    for _ in range(draw.randint(1, 5)):
        at = draw.randrange(len(found))
        match draw.choice(("byte", "bit", "zero", "cut", "header")):
            case "byte":
                found[at] = draw.randrange(256)
            case "bit":
                found[at] ^= 1 << draw.randrange(8)
            case "zero":
                found[at : at + 512] = bytes(len(found[at : at + 512]))
            case "header":
                found[draw.randrange(100)] = draw.randrange(256)
            case _:
                if draw.random() < 0.2:
                    del found[max(at, 100) :]
    return bytes(found)


def _shown(found: Any, text: str) -> None:
    json.dumps(to_json(found), allow_nan=False)
    assert not re.search(r"\bnan\b", text, re.IGNORECASE), text[:300]


KINDS: dict[str, tuple[Callable[[], str], Callable[[str], None]]] = {
    "columns of readings": (lambda: COLUMN, use_column),
    "tables of closed cases": (lambda: HISTORY, use_history),
    "evidence files": (lambda: EVIDENCE, use_evidence),
    "case files": (_case, use_case),
    "class exercises": (lambda: _class()[2], use_exercise),
    "class results": (lambda: _class()[3], use_result),
    "music results": (_music, use_music),
    "calibrations": (lambda: '{"Mic 48000": 1.25, "b": 2}', use_calibrations),
}
"""What is attacked -> a sound file of it, and what is done with one."""


def random_backup(draw: random.Random) -> bytes:
    """Return a backup of a small store with bytes changed."""
    return _damaged_bytes(draw, _backup())
