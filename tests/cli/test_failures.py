"""An error that nobody foresaw ends a command with status 70, one sentence, and a report that may be sent."""

from __future__ import annotations

import re
from pathlib import Path
from unittest import mock

import pytest
from commands import run

from gainwright.cli.failures import REPORTS_KEPT
from gainwright.jobfile import example_text


@pytest.fixture
def car(tmp_path: Path) -> Path:
    """Return a job file in a folder with a private name."""
    folder = tmp_path / "Mrs Miller"
    folder.mkdir()
    (folder / "car.yaml").write_text(example_text("one_amplifier"), encoding="utf-8")
    return folder


def test_sentence_and_report_tell_no_folder_and_no_file(car: Path) -> None:
    """The report has the versions, the command with the names of its options, and the place in the program."""
    secret = KeyError(f"no gain in {car / 'car.yaml'} at postgresql:/{'/'}shop:swordfish@host/db")
    with mock.patch("gainwright.plan.check_job", side_effect=secret):
        done = run("check", car / "car.yaml", "--json", folder=car)
    assert done.returncode == 70
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "KeyError" in done.stderr
    place = re.search(r"is in (/.*\.txt): please send it", done.stderr)
    assert place is not None, done.stderr
    assert Path(place[1]).stat().st_mode & 0o077 == 0
    report = Path(place[1]).read_text(encoding="utf-8")
    assert "none of your files" in report
    assert "command  check --json" in report
    assert re.search(r"at       gainwright/cli/jobs\.py:[0-9]+ in check", report)
    assert "no gain in car.yaml" in report
    for private in (str(car), "Mrs Miller", "swordfish", str(Path.home()), str(Path(__file__).parent)):
        assert private not in report


def test_reports_stay_few_and_a_full_disk_loses_only_the_report(car: Path) -> None:
    """The oldest go; where no file can be written, the sentence says the place in the program instead."""
    with mock.patch("gainwright.plan.check_job", side_effect=ZeroDivisionError("x")):
        for _ in range(REPORTS_KEPT + 2):
            run("check", "car.yaml", folder=car)
        assert len(list((car / "data").rglob("error-*.txt"))) == REPORTS_KEPT
        with mock.patch("pathlib.Path.write_text", side_effect=OSError(28, "No space left on device")):
            done = run("check", "car.yaml", folder=car)
    assert done.returncode == 70
    assert re.fullmatch(r"gainwright: an error inside the program \(ZeroDivisionError, .*\n", done.stderr)


def test_title_with_controls_doesnt_reach_the_terminal(car: Path) -> None:
    """A title may hold an escape sequence, spelt in YAML; it is shown as that spelling."""
    text = example_text("one_amplifier")
    titled = re.sub(r"(?m)^title: .*$", r'title: "a\\x1b[2Jb\\u009bc"', text)
    assert titled != text
    (car / "car.yaml").write_text(titled, encoding="utf-8")
    for command in (("plan",), ("plan", "--json"), ("check", "--json")):
        done = run(command[0], "car.yaml", *command[1:], folder=car)
        assert "\x1b" not in done.stdout + done.stderr
        assert "\x9b" not in done.stdout + done.stderr
