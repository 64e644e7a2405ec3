"""The commands `diagnose`, `cases` and `practise`: their JSON, dialogue, exit statuses and files."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from commands import run, run_program

from gainwright.model import WORDED

EVIDENCE = """
evidence:
  - {at: amp_sub.out.mono, with: meter, tone: 1 kHz, level: 0 dBFS, set: {head.volume: 30}, reads: 0.02 V}
  - {at: amp_front.out.left, with: interface, tone: 315 Hz, level: 0 dBFS, reads: 2 mV}
  - {check: amp_sub.power_lamp, is: on}
  - {check: lead:desk.sub-knob, resistance: 0.7 ohm}
  - {heard: sub, tone: 50 Hz, is: silent}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a job and its evidence."""
    place = tmp_path_factory.mktemp("faults")
    run("new", "car.yaml", folder=place)
    run("new", "small.yaml", "--like", "one_amplifier", folder=place)
    (place / "found.yaml").write_text(EVIDENCE, encoding="utf-8")
    return place


def told(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    """Return the one JSON object of a command that went well."""
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("\n") == 1
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_diagnose_keeps_the_contract(folder: Path) -> None:
    """Probabilities sum to 1, each (cause, where) occurs once, most likely first; each test has an entry to be completed."""
    found = told(run("diagnose", "car.yaml", "--evidence", "found.yaml", "--json", folder=folder))
    causes = found["causes"]
    probabilities = [c["probability"] for c in causes]
    assert sum(probabilities) == pytest.approx(1)
    assert probabilities == sorted(probabilities, reverse=True)
    assert len({(c["cause"], c["where"]) for c in causes}) == len(causes)
    assert "nothing_wrong" in {c["cause"] for c in causes}
    assert all(c["why"].endswith(".") for c in causes)
    assert found["evidence_used"] == 5
    assert 0 <= found["surprise"] <= 1
    for test in found["next"]:
        assert {"test", "where", "minutes", "bits", "ask", "expect", "entry"} <= test.keys()
        assert not {"reads", "shows", "is", "resistance", "fault"} & test["entry"].keys()
        assert test["minutes"] > 0
        assert test["bits"] > 0


def test_entry_of_the_next_test_with_a_result_is_evidence(folder: Path) -> None:
    """The entry of a suggested test, completed with a result, is accepted as evidence."""
    found = told(run("diagnose", "car.yaml", "--evidence", "found.yaml", "--json", folder=folder))
    entry = dict(found["next"][0]["entry"])
    words = WORDED.get(str(entry.get("check", "")).rpartition(".")[2], ())
    lamp = str(entry.get("check", "")).endswith("_lamp")
    said = "normal" if "heard" in entry else words[0] if words else "on" if lamp else ""
    entry |= {"is": said} if said else {"reads": "1 V"}
    (folder / "more.yaml").write_text(EVIDENCE + f"  - {json.dumps(entry)}\n", encoding="utf-8")
    assert told(run("diagnose", "car.yaml", "--evidence", "more.yaml", "--json", folder=folder))["evidence_used"] == 6


def test_same_evidence_gives_the_same_answer_in_any_process(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Identical to the last digit in separate processes, whose sets have different orders."""
    told_so = []
    for order in ("1", "2"):
        monkeypatch.setenv("PYTHONHASHSEED", order)
        told_so.append(run_program("diagnose", "car.yaml", "--evidence", "found.yaml", "--json", folder=folder).stdout)
    assert told_so[0] == told_so[1] != ""


def test_tone_that_a_filter_stops_is_named(folder: Path) -> None:
    """1 kHz at a subwoofer's amplifier says nothing about it: the healthy chain appears as the cause that explains the silence."""
    (folder / "tone.yaml").write_text("\n".join(EVIDENCE.splitlines()[:3]) + "\n", encoding="utf-8")
    causes = told(run("diagnose", "car.yaml", "--evidence", "tone.yaml", "--json", folder=folder))["causes"]
    assert (causes[0]["cause"], causes[0]["where"]) == ("wrong_tone_for_path", "desk")
    rest = next(c for c in causes if c["cause"] == "nothing_wrong")
    assert rest["probability"] == 0


def test_unreachable_places_are_not_tested(folder: Path) -> None:
    """No test at a place that is excluded; a place that doesn't exist is refused."""
    out = ("--cant-reach", "amp_sub", "--cant-reach", "desk")
    found = told(run("diagnose", "car.yaml", "--evidence", "found.yaml", *out, "--json", folder=folder))
    for test in found["next"]:
        assert not test["where"].startswith(("amp_sub", "desk.sub.mono", "desk.woofer"))
    done = run("diagnose", "car.yaml", "--cant-reach", "amp_sbu", "--json", folder=folder)
    assert done.returncode == 2
    assert "amp_sbu" in done.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("evidence:\n  - {at: nowhere, tone: 1 kHz, reads: 1 V}\n", "bad.yaml:2"),
        ("evidence:\n  - {heard: sub, is: loud}\n", "bad.yaml:2"),
        ("\x00", "NUL"),
    ],
)
def test_bad_evidence_is_one_sentence(folder: Path, text: str, said: str) -> None:
    """File, line, what is wrong; status 2, no traceback."""
    (folder / "bad.yaml").write_text(text, encoding="utf-8")
    done = run("diagnose", "car.yaml", "--evidence", "bad.yaml", "--json", folder=folder)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert said in done.stderr
    assert done.stdout == ""


def test_the_customers_page_and_the_drawing(folder: Path) -> None:
    """The page is self-contained and its texts are escaped; the drawing marks the place."""
    text = (
        (folder / "car.yaml")
        .read_text(encoding="utf-8")
        .replace("title: Blue", "title: <script>alert(1)</script> Blue")
    )
    (folder / "odd.yaml").write_text(text, encoding="utf-8")
    files = ("--page", "page.html", "--chart", "chain.svg")
    done = run("diagnose", "odd.yaml", "--evidence", "found.yaml", *files, folder=folder)
    assert done.returncode == 0, done.stderr
    page = (folder / "page.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "src=" not in page
    assert "href=" not in page
    assert "What to check" in page
    assert "source muted" in (folder / "chain.svg").read_text(encoding="utf-8")


def test_a_dialogue_in_the_terminal_is_kept_and_counted(folder: Path) -> None:
    """Answers, help, undo, a typing error, another test; stored as a case, continued the next day, closed and counted; then it stays as it ended."""
    typed = "\n".join(["add {heard: sub, tone: 50 Hz, is: silent}", "help", "purple haze", "undo", "add {heard: sub, tone: 50 Hz, is: silent}", "other", "don't know", "can't reach", "why", "quit"])  # fmt: skip
    done = run("diagnose", "small.yaml", "--case", "red", "--cases", "kept", typed=typed, folder=folder)
    assert done.returncode == 0, done.stderr
    assert "That can't be used" in done.stderr
    assert "stored:" in done.stderr
    assert "For it the controls stand at: Volume of the head unit step" in " ".join(done.stderr.split())
    again = run("diagnose", "--case", "red", "--cases", "kept", typed="close gain_muted amp\n", folder=folder)
    assert again.returncode == 0, again.stderr
    assert "sub silent" in again.stderr
    ended = run("diagnose", "--case", "red", "--cases", "kept", typed="add {heard: sub, tone: 60 Hz, is: silent}\n", folder=folder)  # fmt: skip
    assert (ended.returncode, ended.stderr) == (2, "gainwright: the case red is closed; reopen it to continue\n")
    counts = told(run("cases", "--cases", "kept", "--json", folder=folder))
    assert (counts["cases"], counts["closed"]) == (1, 1)
    assert counts["causes"][0]["cause"] == "gain_muted"
    drawn = run("cases", "--cases", "kept", "--chart", "cases.svg", folder=folder)
    assert "gain_muted" in drawn.stdout
    assert "gain muted" in (folder / "cases.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "arguments",
    [("diagnose",), ("diagnose", "--case", "none", "--cases", "nowhere"), ("diagnose", "car.yaml", "--case", "../x"),
     ("diagnose", "car.yaml", "--case", "a", "--evidence", "found.yaml"), ("practise", "nowhere.yaml"),
     ("diagnose", "--json"), ("diagnose", "--chain", "radio"), ("diagnose", "--chain", "radio_sub", "--also", "horn"),
     ("diagnose", "car.yaml", "--chain", "radio_sub"), ("diagnose", "--chain", "radio_sub", "--write-job", "car.yaml")],
)  # fmt: skip
def test_invalid_calls_are_refused(folder: Path, arguments: tuple[str, ...]) -> None:
    """Each gives one message on standard error, and status 2."""
    done = run(*arguments, folder=folder)
    assert done.returncode == 2, done.stdout
    assert "Traceback" not in done.stderr


def test_practice_ends_with_both_sequences_of_tests(folder: Path) -> None:
    """A learner asks, guesses wrong, gives up: the fault is shown, and a short sequence beside the learner's own."""
    typed = "help\ntests listen\nlisten sub\nlisten sub\nnonsense\ncauses\nit is gain_muted amp_front\ngive up\n"
    done = run("practise", "--seed", "5", "--json", typed=typed, folder=folder)
    found = told(done)
    assert found["tests"] >= 0
    assert found["short_way_minutes"] > 0
    assert "A short way" in done.stderr
    assert f"It was {found['cause']}" in done.stderr
    named = run("practise", "--seed", "5", "--json", typed=f"it is {found['cause']} {found['where']}\n", folder=folder)
    assert told(named)["solved"] is True


def test_plan_uses_readings(folder: Path) -> None:
    """With two readings the plan shows the source's clean limit and what changed; without, nothing."""
    text = "evidence:\n  - {at: head.sub.mono, with: meter, tone: 50 Hz, level: -8 dBFS, reads: 0.52 V}\n"
    (folder / "level.yaml").write_text(text, encoding="utf-8")
    plain = told(run("plan", "car.yaml", "--json", folder=folder))
    taught = told(run("plan", "car.yaml", "--evidence", "level.yaml", "--json", folder=folder))
    assert plain["learned"] == []
    assert "head.volume.top" in {x["path"] for x in taught["learned"]}
    for row in taught["learned"]:
        assert row["high"] - row["low"] < row["before_high"] - row["before_low"]


def test_call_without_a_job_begins_with_a_description(folder: Path) -> None:
    """What fits two chains is asked about; then the first question comes, and the chain is kept as a job that is read again."""
    typed = "it's broken\n4-channel amp on the doors, mono amp on a sub\n1\nno bass\nwrite call.yaml\nquit\n"
    done = run("diagnose", folder=folder, typed=typed)
    assert done.returncode == 0, done.stderr
    assert "Which of these is it?" in done.stderr
    assert "factory radio, a converter in its speaker wires). If it is another" in done.stderr
    assert "1. The subwoofer silent" in done.stderr
    assert "Next test" in done.stderr
    found = told(run("diagnose", "call.yaml", "--complaint", "no bass, the doors play", "--json", folder=folder))
    assert found["evidence_used"] == 3


def test_call_without_a_job_in_a_script(folder: Path) -> None:
    """The chain and what it has too are options; evidence names its devices, and the job is written once."""
    (folder / "call_found.yaml").write_text("evidence: [{heard: subwoofer, is: silent}]\n", encoding="utf-8")
    call = ("diagnose", "--chain", "radio_sub", "--also", "knob", "--evidence", "call_found.yaml", "--json")
    found = told(run(*call, "--write-job", "kept.yaml", folder=folder))
    assert found["evidence_used"] == 1
    assert "level_control_down" in {c["cause"] for c in found["causes"]}
    assert not any("power_stage" in test["where"] for test in found["next"] if "lamp" in test["test"])
    again = told(run("diagnose", "kept.yaml", "--evidence", "call_found.yaml", "--json", folder=folder))
    assert again["causes"] == found["causes"]


def test_repair_that_did_not_help_reopens_the_search(folder: Path) -> None:
    """`mended no` makes the repaired cause less probable and asks on; `undo` takes it back; `mended yes` confirms it."""
    evidence = "evidence:\n- {heard: sub, tone: 50 Hz, is: silent}\n- {check: amp.power_lamp, is: 'off'}\n- {check: amp.turn_on_voltage, reads: 12 V}\n"
    (folder / "dead.yaml").write_text(evidence, encoding="utf-8")
    before = told(run("diagnose", "small.yaml", "--evidence", "dead.yaml", "--json", folder=folder))
    cause = before["causes"][0]
    after = dict(before["repair"]["after"])
    assert after == {"check": f"{cause['cause']}@{cause['where']}.mended"}
    (folder / "again.yaml").write_text(
        f"{evidence}- {{check: '{after['check']}', is: still_wrong}}\n", encoding="utf-8"
    )
    again = told(run("diagnose", "small.yaml", "--evidence", "again.yaml", "--json", folder=folder))
    left = next(c for c in again["causes"] if (c["cause"], c["where"]) == (cause["cause"], cause["where"]))
    assert left["probability"] < cause["probability"]
    assert again["next"]
    found = "add {heard: sub, tone: 50 Hz, is: silent}\nadd {check: amp.power_lamp, is: 'off'}\nadd {check: amp.turn_on_voltage, reads: 12 V}\n"
    typed = run(
        "diagnose", "small.yaml", folder=folder, typed=f"{found}mended perhaps\nmended no\nundo\nmended yes\nquit\n"
    )
    said = typed.stdout + typed.stderr
    assert "neither yes nor no" in said
    assert said.index("it is as before [") < said.index("undone") < said.index("it plays as it should [")
