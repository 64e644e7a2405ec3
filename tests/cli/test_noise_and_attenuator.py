"""The commands `noise` and `attenuator`: texts, JSON, refusals."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import run

from gainwright.jobfile import example_text
from gainwright.signals import Tone, tone_bytes


def call(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run `gainwright ...`."""
    return run(*arguments, folder=cwd)


def test_noise_of_a_recording(tmp_path: Path) -> None:
    """Both channels, volts, signal to noise, components in words."""
    time_s = np.arange(5 * 48_000) / 48_000
    noise = np.random.default_rng(1).normal(0, 1e-4, (len(time_s), 2))
    noise[:, 0] += 0.003 * np.sin(2 * np.pi * 50 * time_s)
    soundfile.write(tmp_path / "n.wav", noise, 48_000, subtype="PCM_24")
    options = ("noise", "n.wav", "--calibrate", "20", "--power", "100", "--load", "4")
    left, right = json.loads(call(*options, "--json", cwd=tmp_path).stdout)["channels"]
    assert [c["kind"] for c in left["components"]] == ["mains_hum", "hiss"]
    assert [c["kind"] for c in right["components"]] == ["hiss"]
    assert right["snr_db"] > left["snr_db"] > 40
    said = call(*options, cwd=tmp_path).stdout
    assert "mains hum" in said
    assert "signal to noise" in said


def test_onset_of_a_run(tmp_path: Path) -> None:
    """A stepped run made by this test and clipped with numpy; with a filter, and with an invalid one."""
    time_s = np.arange(8 * 48_000) / 48_000
    wave = np.clip(10 ** ((-24 + 3 * time_s) / 20) * np.sin(2 * np.pi * 211 * time_s), -0.5, 0.5)
    soundfile.write(tmp_path / "r.wav", wave, 48_000, subtype="PCM_24")
    (channel,) = json.loads(call("onset", "r.wav", "--json", cwd=tmp_path).stdout)["channels"]
    assert channel["level_dbfs_low"] < -5.82 < channel["level_dbfs_high"]
    assert "cut flat" in call("onset", "r.wav", "--chart", "o.svg", cwd=tmp_path).stdout
    assert (tmp_path / "o.svg").read_bytes().startswith(b"<svg")
    assert call("onset", "r.wav", "--behind", "butterworth 12 at 20 kHz", cwd=tmp_path).returncode == 0
    done = call("onset", "r.wav", "--behind", "sharp", cwd=tmp_path)
    assert done.returncode == 2
    assert "linkwitz-riley 24 at 80 Hz" in done.stderr


def test_attenuators_of_a_job(tmp_path: Path) -> None:
    """One for each amplifier, with a drawing and cautions."""
    (tmp_path / "j.yaml").write_text(example_text("two_way_and_sub"))
    found = json.loads(call("attenuator", "j.yaml", "--json", cwd=tmp_path).stdout)["attenuators"]
    assert [a["stage"] for a in found] == ["amp_sub", "amp_front", "amp_high"]
    said = call("attenuator", "j.yaml", cwd=tmp_path).stdout
    assert said.count("[ R1 ]") == 3
    assert "Caution:" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("noise", "none.wav"), "can't be read"),
        (("noise", "none.wav", "--power", "3"), "--load and --calibrate"),
        (("noise", "tone.wav", "--calibrate", "-1"), "--calibrate"),
        (("attenuator", "j.yaml", "--series", "7"), "--series"),
        (("attenuator", "j.yaml", "--recorder", "meter"), "isn't a recorder"),
        (("attenuator", "j.yaml", "--tolerance", "nan"), "tolerance"),
    ],
)
def test_invalid_calls_are_refused(tmp_path: Path, arguments: tuple[str, ...], says: str) -> None:
    """Status 2 and one sentence."""
    (tmp_path / "j.yaml").write_text(example_text("two_way_and_sub"))
    (tmp_path / "tone.wav").write_bytes(tone_bytes(Tone(1000.0, (-3.0,), 1.0), ".wav"))
    done = call(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
