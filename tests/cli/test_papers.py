"""The command `report`: each kind and format, and errors in one sentence."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import run

EVIDENCE = "evidence:\n  - {heard: sub, tone: 50 Hz, is: silent}\n"


LAST_CLEAN = 23


def mean_square(drive: float) -> float:
    """Return the mean square of a sine of peak `drive`, clipped at 1 (integral of its closed form)."""
    if drive <= 1:
        return drive**2 / 2
    angle = math.asin(1 / drive)
    return 2 / math.pi * (drive**2 * (angle / 2 - math.sin(2 * angle) / 4) + math.pi / 2 - angle)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a job, evidence, a recording, a column of readings and a kept case."""
    place = tmp_path_factory.mktemp("papers")
    run("new", "small.yaml", "--like", "one_amplifier", folder=place)
    (place / "found.yaml").write_text(EVIDENCE, encoding="utf-8")
    time_s = np.arange(96_000) / 48_000
    soundfile.write(place / "clip.wav", np.clip(0.6 * np.sin(2 * np.pi * 1000 * time_s), -0.4, 0.4), 48_000)
    run("sweep", "--out", "sweep.wav", folder=place)
    rows = [(step, 3.0 * math.sqrt(mean_square(10 ** (1.5 * (step - 24) / 20 + 0.035)))) for step in range(1, 31)]
    (place / "knee.csv").write_text("step,v_rms\n" + "".join(f"{s},{v:.4g}\n" for s, v in rows), encoding="utf-8")
    run("diagnose", "small.yaml", "--case", "red", "--cases", "kept", folder=place, typed="add {heard: sub, tone: 50 Hz, is: silent}\nquit\n")  # fmt: skip
    return place


@pytest.mark.parametrize("kind", ["setup", "handover", "customer", "case"])
@pytest.mark.parametrize("suffix", ["pdf", "html", "csv", "json"])
def test_each_kind_in_each_format(folder: Path, kind: str, suffix: str) -> None:
    """Each file begins as its format requires; one line is printed."""
    out = f"{kind}.{suffix}"
    evidence = ("--evidence", "found.yaml") if kind in ("customer", "case") else ()
    done = run("report", "small.yaml", "--kind", kind, *evidence, "--out", out, "--date", "2026-11-26", folder=folder)
    assert (done.returncode, done.stdout) == (0, f"written: {out}\n"), done.stderr
    text = (folder / out).read_bytes()
    if suffix == "json":
        assert json.loads(text)["kind"] == kind
    elif suffix == "csv":
        assert len(list(csv.reader(text.decode().splitlines()))) > 1
    else:
        assert text.startswith({"pdf": b"%PDF-", "html": b"<!doctype html>"}[suffix])


def test_handover_contains_the_measurements(folder: Path) -> None:
    """The recording's verdict, its THD by the Fourier series, and the last clean step of the column are on it."""
    files = ("--recording", "clip.wav", "--knee", "knee.csv", "--response", "sweep.wav", "--out", "full.html")
    done = run("report", "small.yaml", "--kind", "handover", *files, "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["last_clean_step"] == LAST_CLEAN
    recording = found["recordings"][0]
    assert (recording["name"], recording["verdict"]) == ("clip.wav", "clipped")
    drive = 1.5
    first = 2 * drive / math.pi * (math.asin(1 / drive) + math.sqrt(1 - 1 / drive**2) / drive)
    thd = 100 * math.sqrt(mean_square(drive) / (first**2 / 2) - 1)  # Fourier series of a clipped sine, closed form
    assert recording["thd_percent"] == pytest.approx(thd, rel=0.01)
    page = (folder / "full.html").read_text(encoding="utf-8")
    assert f"The highest clean step is {LAST_CLEAN}" in page
    assert page.count("<svg") >= 6
    assert f"knee.csv: last clean step {LAST_CLEAN}" in page
    assert "sweep.wav: channel 1: no filter" in page


def test_stored_case_in_german(folder: Path) -> None:
    """The case contains its own job; German on Letter paper."""
    done = run("report", "--kind", "case", "--case", "red", "--cases", "kept", "--language", "de", "--paper", "letter", "--out", "fall.html", folder=folder)  # fmt: skip
    assert done.returncode == 0, done.stderr
    page = (folder / "fall.html").read_text(encoding="utf-8")
    assert "<html lang=de>" in page
    assert "Der Fall ist offen." in page


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("small.yaml", "--out", "a.doc"), ".pdf"),
        (("small.yaml", "--out", "sheet"), ".pdf"),
        (("small.yaml", "--kind", "poem", "--out", "a.pdf"), "customer"),
        (("small.yaml", "--date", "26.11.2026", "--out", "a.pdf"), "2026-11-26"),
        (("small.yaml", "--language", "tlh", "--out", "a.pdf"), "Deutsch"),
        (("small.yaml", "--paper", "a3", "--out", "a.pdf"), "letter"),
        (("small.yaml", "--out", "nowhere/a.pdf"), "nowhere"),
        (("small.yaml",), "--out"),
        (("--out", "a.pdf"), "--case"),
        (("nothing.yaml", "--out", "a.pdf"), "nothing.yaml"),
        (("small.yaml", "--kind", "handover", "--recording", "found.yaml", "--out", "a.pdf"), "found.yaml"),
    ],
)
def test_mistakes_are_one_sentence(folder: Path, arguments: tuple[str, ...], told: str) -> None:
    """Status 2, what is wrong and what is available, no traceback, no half-written file."""
    done = run("report", *arguments, folder=folder)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not (folder / "a.pdf").exists()
