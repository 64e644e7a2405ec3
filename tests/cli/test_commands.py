"""The commands as a user calls them: what they print, write and return, and what they refuse."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import soundfile
from commands import run, run_program

from gainwright.app.tones import plan_tones
from gainwright.errors import CallError
from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.plan import make_plan
from gainwright.signals import Tone, tone_bytes


def call(*arguments: str, cwd: Path, status: int = 0) -> str:
    """Run `gainwright ...` in a folder; return what it prints, or with status 2 its error message."""
    done = run(*arguments, folder=cwd)
    assert done.returncode == status, done.stdout + done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    if status == 2:
        assert done.stdout == ""
        return done.stderr
    assert done.stderr == ""
    return done.stdout


def as_json(*arguments: str, cwd: Path, status: int = 0) -> dict[str, Any]:
    """Run with `--json`; return the one object it prints."""
    found = json.loads(call(*arguments, "--json", cwd=cwd, status=status), parse_constant=pytest.fail)
    assert isinstance(found, dict)
    return found


@pytest.fixture
def car(tmp_path: Path) -> Path:
    """Return a job file of the two-way example."""
    path = tmp_path / "car.yaml"
    path.write_text(example_text("two_way_and_sub"), encoding="utf-8")
    return path


def test_new_lists_writes_and_never_overwrites(tmp_path: Path) -> None:
    """Lists the examples; writes a commented file; refuses to write it again and leaves the file alone."""
    assert set(as_json("new", cwd=tmp_path)["examples"]) == set(examples())
    call("new", "my.yaml", "--like", "full_range", cwd=tmp_path)
    assert (tmp_path / "my.yaml").read_text(encoding="utf-8") == example_text("full_range")
    (tmp_path / "my.yaml").write_text("mine", encoding="utf-8")
    assert "exists already" in call("new", "my.yaml", cwd=tmp_path, status=2)
    assert (tmp_path / "my.yaml").read_text(encoding="utf-8") == "mine"
    assert "two_way_and_sub" in call("new", "b.yaml", "--like", "two_way", cwd=tmp_path, status=2)


@pytest.mark.parametrize("name", list(examples()))
def test_every_example_checks_and_plans(tmp_path: Path, name: str) -> None:
    """No blocker; every key of the JSON; targets for each amplifier; steps in the order of the phases."""
    (tmp_path / "j.yaml").write_text(example_text(name), encoding="utf-8")
    assert as_json("check", "j.yaml", cwd=tmp_path)["title"]
    plan = as_json("plan", "j.yaml", cwd=tmp_path)
    keys = {"id", "phase", "stage", "do", "why", "tone_hz", "level_dbfs", "measure_at", "expect", "visible", "cautions"}
    assert all(keys <= set(step) for step in plan["steps"])
    order = ["prepare", "leads", "controls", "source", "processor", "amplifier", "restore", "verify"]
    places = [order.index(step["phase"]) for step in plan["steps"]]
    assert places == sorted(places)
    assert len({step["id"] for step in plan["steps"]}) == len(plan["steps"])
    assert all(t["set_by"] in {"amplifier", "speaker", "clip", "source"} and t["v_rms"] > 0 for t in plan["targets"])
    for finding in plan["findings"]:
        assert set(finding) == {"severity", "code", "where", "message", "remedy", "remedy_sets", "where_text"}
        assert finding["severity"] in {"blocker", "caution", "note"}
    hidden = [step for step in plan["steps"] if not step["visible"]]
    codes = {f["code"] for f in plan["findings"]}
    seen = {"tone_filtered", "below_threshold", "other_stage_first", "harmonics_filtered", "tone_out_of_band"}
    assert not hidden or codes & seen


def test_levels(car: Path) -> None:
    """One path for each speaker and side, nodes in signal order, intervals around the level; `--set` changes it."""
    found = as_json("levels", car.name, "--tone", "40", cwd=car.parent)
    assert {p["path"] for p in found["paths"]} == {
        "sub.mono", "woofer.left", "woofer.right", "tweeter.left", "tweeter.right",
    }  # fmt: skip
    sub = next(p for p in found["paths"] if p["path"] == "sub.mono")
    assert [n["node"] for n in sub["nodes"]] == ["head.sub.mono", "desk.sub.mono", "knob.out.mono", "amp_sub.out.mono"]
    for node in sub["nodes"]:
        assert node["v_rms_low"] <= node["v_rms"] <= node["v_rms_high"]
    moved = as_json("levels", car.name, "--tone", "40", "--set", "knob.level=-6 dB", cwd=car.parent)
    down = next(p for p in moved["paths"] if p["path"] == "sub.mono")
    assert down["nodes"][2]["v_rms"] / sub["nodes"][2]["v_rms"] == pytest.approx(10 ** (-6 / 20), rel=1e-3)
    assert down["nodes"][1] == sub["nodes"][1]


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_levels_are_drawn(car: Path, suffix: str) -> None:
    """A picture of the corridor."""
    call("levels", car.name, "--tone", "40", "--chart", f"c.{suffix}", cwd=car.parent)
    content = (car.parent / f"c.{suffix}").read_bytes()
    assert content.startswith(b"<svg" if suffix == "svg" else b"\x89PNG")
    assert len(content) > 5000


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("check", "none.yaml"), "none.yaml: can't be read"),
        (("plan", "."), "is a folder"),
        (("levels", "car.yaml", "--tone", "0"), "tone of 0 Hz"),
        (("levels", "car.yaml", "--tone", "nan"), "tone of nan Hz"),
        (("levels", "car.yaml", "--tone", "40", "--level", "3"), "level of 3 dBFS"),
        (("levels", "car.yaml", "--tone", "40", "--set", "knob"), "knob"),
        (("levels", "car.yaml", "--tone", "40", "--set", "knb.level=3 dB"), "did you mean knob.level"),
        (("levels", "car.yaml", "--tone", "40", "--set", "knob.level=loud"), "knob.level"),
        (("levels", "car.yaml", "--tone", "40", "--set", "head.volume=99"), "40"),
        (("levels", "car.yaml", "--tone", "40", "--chart", "c.doc"), ".svg or .png"),
        (("levels", "car.yaml", "--tone", "40", "--chart", "none/c.svg"), "can't be written"),
        (("tones", "--tone", "1000"), "--out"),
        (("tones", "car.yaml"), "--out"),
        (("tones", "car.yaml", "--tone", "50", "--out", "x"), "the job or the tone is missing"),
        (("tones", "--tone", "1000", "--level", "1", "--out", "a.wav"), "-120 to 0"),
        (("tones", "--tone", "30000", "--out", "a.wav"), "30000 Hz"),
        (("tones", "--tone", "1000", "--bits", "8", "--out", "a.wav"), "16 or 24"),
        (("tones", "--tone", "1000", "--out", "a.mp3"), ".wav or .flac"),
        (("tones", "--tone", "1000", "--seconds", "inf", "--out", "a.wav"), "length"),
        (("measure", "car.yaml"), "can't be read as sound"),
        (("measure", "none.wav"), "can't be read"),
        (("measure", "short.wav", "--calibrate", "0"), "--calibrate"),
        (("new", "none/a.yaml"), "can't be written"),
    ],
)
def test_bad_calls_say_what_to_do(car: Path, arguments: tuple[str, ...], says: str) -> None:
    """Status 2 and one sentence; no files are left behind."""
    (car.parent / "short.wav").write_bytes(tone_bytes(Tone(1000.0, (-3.0,), 0.5), ".wav"))
    before = sorted(p.name for p in car.parent.rglob("*"))
    said = call(*arguments, cwd=car.parent, status=2)
    assert says in said
    assert said.count("\n") == 1
    assert sorted(p.name for p in car.parent.rglob("*")) == before


def test_a_blocker_exits_with_status_1(car: Path) -> None:
    """A load below the amplifier's minimum."""
    text = car.read_text(encoding="utf-8").replace("    boost: flat\n", "    boost: flat\n    minimum_load: 4 ohm\n")
    car.write_text(text, encoding="utf-8")
    for command in ("check", "plan"):
        findings = as_json(command, car.name, cwd=car.parent, status=1)["findings"]
        assert [f["code"] for f in findings if f["severity"] == "blocker"] == ["load_below_minimum"]


def test_assumed_gives_reasons(car: Path) -> None:
    """Everything assumed has a value and a reason."""
    found = as_json("assumed", car.name, cwd=car.parent)["assumed"]
    assert any(entry["path"] == "head.volume.step" for entry in found)
    assert all(entry["value"] and entry["reason"] for entry in found)


def test_a_stopped_plan_has_no_tones(tmp_path: Path) -> None:
    """Before its blockers are changed nothing is played: no file, status 1 and a word about it; an error for a page or a program."""
    text = example_text("one_amplifier").replace("sensitivity: 0.25 .. 4 V", "sensitivity: 4 .. 0.25 V")
    (tmp_path / "car.yaml").write_text(text, encoding="utf-8")
    ended = run("tones", "car.yaml", "--out", "t", "--json", folder=tmp_path)
    assert (ended.returncode, json.loads(ended.stdout)) == (1, {"tones": []})
    assert "gainwright check" in ended.stderr
    assert not (tmp_path / "t").exists()
    with pytest.raises(CallError, match="stops the plan"):
        plan_tones(make_plan(read_job_text(text).job), seconds=1.0, rate_hz=44_100, bits=16)


def test_a_jobs_tones_and_their_list(car: Path) -> None:
    """Files numbered in the order of use, a list to print; each with the requested length and level."""
    found = as_json("tones", car.name, "--out", "t", "--seconds", "0.5", "--flac", cwd=car.parent)["tones"]
    listed = (car.parent / "t" / "tones.txt").read_text(encoding="utf-8")
    assert [Path(t["file"]).name[:2] for t in found] == [f"{i:02d}" for i in range(1, len(found) + 1)]
    for entry in found:
        path = car.parent / entry["file"]
        assert path.suffix == ".flac"
        assert path.name in listed
        assert soundfile.info(path).samplerate == entry["rate_hz"]
    assert "speakers off" in listed
    first = as_json("measure", found[0]["file"], cwd=car.parent)["channels"][0]
    assert first["fundamental_dbfs"] == pytest.approx(found[0]["level_dbfs"], abs=0.001)


def test_measure(tmp_path: Path) -> None:
    """Every key of the JSON; status 1 when a verdict isn't clean; volts when calibrated."""
    call(
        "tones", "--tone", "1000", "--level", "-6", "--seconds", "1", "--sides", "left", "--out", "t.wav", cwd=tmp_path
    )
    found = as_json("measure", "t.wav", "--calibrate", "2", "--expect", "1000", cwd=tmp_path, status=1)
    left, right = found["channels"]
    keys = {
        "channel", "seconds", "frequency_hz", "rms_dbfs", "peak_dbfs", "fundamental_dbfs", "thd_percent",
        "thd_n_percent", "harmonics", "dc_dbfs", "noise_dbfs", "clipped", "clip_depth_db", "verdict",
    }  # fmt: skip
    assert keys <= set(left)
    assert (left["verdict"], right["verdict"]) == ("clean", "no_tone")
    assert left["v_rms"] == pytest.approx(2 * 10 ** (-6 / 20), rel=1e-3)
    assert left["clip_depth_db"] is None
    assert right["thd_percent"] is None
    assert right["why_not"]["thd_percent"]


def test_the_demo_leaves_all_results(tmp_path: Path) -> None:
    """Plan, corridor, tones, recordings and verdicts in a folder; one clean and one clipped recording."""
    text = call("demo", "--out", "d", cwd=tmp_path)
    assert 10 < text.count("\n") < 60
    assert max(map(len, text.splitlines())) <= 120
    names = [p.name for p in (tmp_path / "d").rglob("*") if p.is_file()]
    assert any(n.endswith(".svg") for n in names)
    assert sum(n.endswith((".wav", ".flac")) for n in names) >= 4
    assert "clean" in text
    assert "clipped" in text
    again = as_json("demo", "--out", "d", cwd=tmp_path)
    assert json.dumps(again)


def test_help_of_every_command(tmp_path: Path) -> None:
    """Each has a help text."""
    top = call("--help", cwd=tmp_path)
    for command in ("new", "check", "levels", "plan", "assumed", "tones", "measure", "demo", "selfcheck"):
        assert command in top
        assert len(call(command, "--help", cwd=tmp_path)) > 100


def test_selfcheck_and_version(tmp_path: Path) -> None:
    """What is installed; the version."""
    assert all(part["ok"] for part in as_json("selfcheck", cwd=tmp_path)["parts"])
    assert call("--version", cwd=tmp_path).startswith("gainwright ")


@pytest.mark.parametrize(
    ("arguments", "typed", "status"),
    [
        (("plan", "car.yaml", "--json"), "", 0),
        (("check", "blocked.yaml"), "", 1),
        (("levels", "none.yaml", "--tone", "40"), "", 2),
        (("knee",), "12 1.82\nwrong\n13 2.16\n14 2.57\n15 3.05\n\n", 0),
    ],
)
def test_installed_program_behaves_like_the_call_in_process(
    car: Path, arguments: tuple[str, ...], typed: str, status: int
) -> None:
    """What the other tests run in process is what a terminal shows: status, output and messages."""
    text = car.read_text(encoding="utf-8").replace("    boost: flat\n", "    boost: flat\n    minimum_load: 4 ohm\n")
    (car.parent / "blocked.yaml").write_text(text, encoding="utf-8")
    here, apart = (way(*arguments, folder=car.parent, typed=typed) for way in (run, run_program))
    assert (here.returncode, here.stdout, here.stderr) == (apart.returncode, apart.stdout, apart.stderr)
    assert here.returncode == status


def test_a_closed_pipe_is_no_error(car: Path) -> None:
    """`gainwright plan | head -1`."""
    command = f"{sys.executable} -m gainwright plan {car} | head -1"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)  # noqa: S602
    assert done.stderr == ""


def test_plan_in_short(car: Path) -> None:
    """One line a step: the same numbers as in full, without the reasons."""
    full, short = (call("plan", car.name, *option, cwd=car.parent) for option in ((), ("--short",)))
    numbers = [re.findall(r"^ ?([0-9]+)\. ", text, re.MULTILINE) for text in (full, short)]
    assert numbers[0] == numbers[1]
    assert len(short.splitlines()) < 0.8 * len(full.splitlines())
