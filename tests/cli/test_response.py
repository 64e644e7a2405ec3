"""The commands `sweep` and `response`: round trip, chart, refusals."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from commands import run

from gainwright.signals import Tone, tone_bytes


def call(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run `gainwright ...`."""
    return run(*arguments, folder=cwd)


def test_a_sweep_and_its_response(tmp_path: Path) -> None:
    """A sweep is written, filtered by sox and analysed: filter, level, polarity and delay of both sides."""
    assert call("sweep", "--out", "s.wav", "--seconds", "3", cwd=tmp_path).returncode == 0
    remix = ("remix", "1v0.5", "2v-0.4")
    subprocess.run(("sox", "s.wav", "t.wav", "highpass", "-2", "300", "pad", "0.005", "0.3", *remix), cwd=tmp_path, check=True, capture_output=True)  # fmt: skip
    done = call("response", "t.wav", "--seconds", "3", "--json", "--chart", "r.png", cwd=tmp_path)
    found = json.loads(done.stdout)
    left, right = found["channels"]
    assert left["filters"][0]["text"].startswith("butterworth 12 at 300")
    assert (left["polarity"], right["polarity"]) == ("normal", "reversed")
    assert left["delay_s"] == pytest.approx(0.005, abs=1e-4)
    assert left["curve"][0].keys() == {"frequency_hz", "level_db", "sure_db", "coherence"}
    assert found["matches"][0]["level_db"]["value"] == pytest.approx(-1.938, abs=0.02)
    assert (tmp_path / "r.png").read_bytes().startswith(b"\x89PNG")
    said = call("response", "t.wav", "--seconds", "3", cwd=tmp_path).stdout
    assert "high-pass butterworth 12 at 300" in said
    assert "opposite polarity" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("sweep", "--out", "s.mp3"), ".wav or .flac"),
        (("sweep", "--out", "s.wav", "--from", "0"), "rises by a ratio of at least 1.5"),
        (("response", "none.wav"), "can't be read"),
        (("response", "tone.wav", "--temperature", "99"), "-40 to 60"),
        (("response", "none.wav", "--seconds", "nan"), "0.5 to 120"),
    ],
)
def test_invalid_calls_are_refused(tmp_path: Path, arguments: tuple[str, ...], says: str) -> None:
    """Status 2 and one sentence."""
    (tmp_path / "tone.wav").write_bytes(tone_bytes(Tone(1000.0, (-3.0,), 1.0), ".wav"))
    done = call(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
