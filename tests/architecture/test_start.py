"""A command imports only what it uses, so that it starts quickly (`bench start` measures how quickly)."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from gainwright.cli.base import app
from gainwright.cli.main import with_called_command
from gainwright.jobfile import example_text
from gainwright.signals import Tone, tone_bytes

if TYPE_CHECKING:
    from pathlib import Path

HEAVY = {"numpy", "scipy", "pint", "numba", "vl_convert", "soundfile", "narwhals", "jsonschema"}

WHAT_IS_LOADED = """
import sys
from gainwright.cli import main
sys.argv = ["gainwright", *sys.argv[1:]]
status = 0
try:
    main()
except SystemExit as ended:
    status = ended.code
loaded = {name for name in sys.modules if "." not in name} | {n for n in sys.modules if n.startswith("gainwright.")}
print("loaded:", *sorted(loaded), file=sys.stderr)
raise SystemExit(status)
"""


def _loaded(folder: Path, *arguments: str) -> tuple[subprocess.CompletedProcess[str], set[str]]:
    """Run a command; return how it ended and what it had loaded by then: libraries, and modules of our own."""
    command = (sys.executable, "-c", WHAT_IS_LOADED, *arguments)
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, encoding="utf-8", check=False)
    said, mark, loaded = done.stderr.rpartition("loaded:")
    assert mark, done.stderr
    assert "gainwright" in loaded.split()
    return subprocess.CompletedProcess(command, done.returncode, done.stdout, said), set(loaded.split())


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    """`gainwright --help` imports no library for numerics, units, sound or charts."""
    done, loaded = _loaded(tmp_path, "--help")
    assert done.returncode == 0, done.stderr
    assert "plan" in done.stdout
    assert loaded & HEAVY == set()


def test_a_schema_error_loads_nothing_heavy(tmp_path: Path) -> None:
    """A job file with an unknown key is refused, with its line and the known key, before anything slow is imported."""
    job = tmp_path / "job.yaml"
    job.write_text(
        "format: 1\ntitle: one\nvehicle: {running: 13.8 V}\n"
        "stages:\n  head:\n    kind: head_unit\n    volumne: {steps: 40}\n",
        encoding="utf-8",
    )
    done, loaded = _loaded(tmp_path, "check", "job.yaml")
    assert done.returncode == 2
    assert "job.yaml:7" in done.stderr
    assert "volume" in done.stderr.replace("volumne", "")
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert loaded & HEAVY == set()


@pytest.mark.parametrize("command", ["plan", "check", "measure", "music"])
def test_only_the_called_command_is_built(command: str) -> None:
    """The options of other commands aren't built: that would take longer than reading a job."""
    line = with_called_command([command, "job.yaml"])
    assert [c.callback.__name__ for c in line.registered_commands if c.callback] == [command]
    assert line.registered_groups == []


@pytest.mark.parametrize("arguments", [[], ["--help"], ["--version"], ["plna", "plan"], ["store", "plan"]])
def test_every_command_is_listed_where_none_is_called(arguments: list[str]) -> None:
    """The help and the message about an unknown command list all commands and groups."""
    assert with_called_command(arguments) is app
    assert len(app.registered_commands) > 20
    assert len(app.registered_groups) == 2  # class and store


def _packages(loaded: set[str]) -> set[str]:
    """Return which packages of our own were loaded, of those that a short command may do without."""
    return {
        name for name in ("diagnose", "metering", "programme", "simulated", "jobfile") if f"gainwright.{name}" in loaded
    }


@pytest.mark.parametrize("command", [("check",), ("levels", "--tone", "1000"), ("plan",)])
def test_command_about_a_job_loads_neither_metering_nor_diagnosis(tmp_path: Path, command: tuple[str, ...]) -> None:
    """Checking, solving and planning a job import neither metering nor diagnosis, nor cases, classes and a day's dose."""
    job = tmp_path / "job.yaml"
    job.write_text(example_text("two_way_and_sub"), encoding="utf-8")
    done, loaded = _loaded(tmp_path, command[0], "job.yaml", *command[1:])
    assert done.stdout
    assert _packages(loaded) == {"jobfile"}
    needless = ("report.handover", "model.case", "model.class_exercise", "jobfile.casefile", "jobfile.class_files")
    assert loaded & {f"gainwright.{module}" for module in (*needless, "solve.hearing_dose")} == set()


def test_measuring_a_recording_loads_nothing_about_jobs(tmp_path: Path) -> None:
    """Measuring a recording prints its verdict without importing the job model and its file format."""
    (tmp_path / "tone.wav").write_bytes(tone_bytes(Tone(1000.0, (-3.0,), seconds=1.0, rate_hz=44_100, bits=16), ".wav"))
    done, loaded = _loaded(tmp_path, "measure", "tone.wav")
    assert "channel 1: clean" in done.stdout
    assert _packages(loaded) == {"metering"}
    assert loaded & {"gainwright.model", "gainwright.plan", "scipy", "ruamel"} == set()
