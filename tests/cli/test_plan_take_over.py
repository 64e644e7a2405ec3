"""The evidence of a run given to the commands: the handover as it was set, and the settings written into the job file."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import commands
import pytest

from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from pathlib import Path

RUN = [
    {
        "at": "amp_sub.out.mono",
        "with": "interface",
        "tone": "40 Hz",
        "level": "0 dBFS",
        "set": {"head.volume": "34", "amp_sub.gain": "5 %", "desk.sub.low_pass": "off"},
        "speakers": "off",
        "reads": "12.1 V",
    },
    {
        "at": "amp_sub.out.mono",
        "with": "meter",
        "tone": "40 Hz",
        "level": "-8 dBFS",
        "set": {"head.volume": "34", "amp_sub.gain": "62 % ± 8 %", "amp_front.gain": "5 %", "desk.sub.low_pass": "off"},
        "speakers": "off",
        "reads": "28.2 V",
    },
    {
        "at": "amp_front.out.left",
        "with": "meter",
        "tone": "315 Hz",
        "level": "-6 dBFS",
        "set": {"head.volume": "34", "amp_front.gain": "61.5 % ± 8.3 %"},
        "speakers": "off",
        "reads": "16.7 V",
    },
    {
        "at": "amp_high.out.left",
        "with": "interface",
        "tone": "5 kHz",
        "level": "0 dBFS",
        "set": {"head.volume": "34", "amp_high.gain": "5 %", "desk.tweeter.high_pass": "off"},
        "speakers": "off",
        "reads": "4.7 V",
    },
]
"""A run with two gains set, one read off its scale and one worked out; filters still open, the third gain at its start."""


@pytest.fixture(name="car")
def car_fixture(tmp_path: Path) -> Path:
    """A folder with the example and the evidence of a run."""
    (tmp_path / "car.yaml").write_text(example_text("two_way_and_sub"), encoding="utf-8")
    (tmp_path / "run.yaml").write_text(json.dumps({"evidence": RUN}), encoding="utf-8")
    return tmp_path


def test_handover_prints_the_settings_of_the_last_reading(car: Path) -> None:
    """The volume and the gains that were found, the clean step, the voltage reached; the filter and the open gain as in the job."""
    done = commands.run("report", "car.yaml", "--kind", "handover", "--evidence", "run.yaml", "--json", folder=car)
    assert done.returncode == 0, done.stderr
    paper = json.loads(done.stdout)
    assert paper["controls"]["head.volume"].removesuffix(".0") == "34"
    assert paper["controls"]["amp_sub.gain"] == "62 %"
    assert paper["controls"]["amp_front.gain"] == "61.5 % ± 8.3 %"
    assert paper["controls"]["amp_high.gain"] == ""
    assert paper["controls"]["desk.sub.low_pass"] == "linkwitz-riley 24 at 80 Hz"
    assert paper["last_clean_step"] == 34
    assert next(t for t in paper["targets"] if t["stage"] == "amp_sub")["reached_v"] == 28.2


def test_settings_of_the_last_reading_are_written_into_the_job(car: Path) -> None:
    """`plan --take-over` changes three lines of the file, and nothing when it is called again; without readings it is refused."""
    command = ("plan", "car.yaml", "--evidence", "run.yaml", "--take-over", "--json")
    taken = json.loads(commands.run(*command, folder=car).stdout)["taken_over"]
    assert [(c["control"], c["old"], c["new"]) for c in taken] == [
        ("head.volume", "30", "34"),
        ("amp_sub.gain", "20 %", "62 %"),
        ("amp_front.gain", "", "61.5 % ± 8.3 %"),
    ]
    text = (car / "car.yaml").read_text(encoding="utf-8")
    before = example_text("two_way_and_sub")
    changed = [line.strip() for line in text.splitlines() if line not in before.splitlines()]
    assert changed[:2] == ["volume: {steps: 40, at: 34}", "gain: {at: 62 %, mutes_at_minimum: unknown}"]
    assert changed[2].endswith("gain: {at: 61.5 % ± 8.3 %}}")
    assert json.loads(commands.run(*command, folder=car).stdout)["taken_over"] == []
    refused = commands.run("plan", "car.yaml", "--take-over", folder=car)
    assert refused.returncode == 2
    assert "--evidence" in refused.stderr
