"""Live input from a real sound server: tones are played into a null sink, and its monitor is measured."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile
from commands import run
from sound_server import RATE_HZ, SoundServer

MEASURE = ("measure", "--live", "--rate", str(RATE_HZ), "--json")

if TYPE_CHECKING:
    from warm_program import WarmProgram

    Follow = Callable[..., tuple[dict[str, Any], str]]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[SoundServer]:
    """Return a running server."""
    made = SoundServer(tmp_path)
    made.start()
    yield made
    made.stop()


def tone(
    folder: Path, *, level_dbfs: float = -6.0, seconds: float = 10.0, clip: float = 1.0, hz: float = 997.0
) -> Path:
    """Write a tone in 32-bit float; repeated without a step if its frequency is a whole number of tenths of a hertz."""
    wave = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)
    path = folder / "tone.wav"
    wave = np.clip(wave, -clip, clip)
    soundfile.write(path, np.stack([wave, wave], axis=1), RATE_HZ, subtype="FLOAT")
    return path


@pytest.fixture
def follow(server: SoundServer, program: WarmProgram) -> Follow:
    """Run a live measurement; return its last reading and its messages."""

    def run_to_its_end(*options: str, status: int = 0) -> tuple[dict[str, Any], str]:
        done = program.run((*MEASURE, *options), server.environment, server.folder, timeout=60)
        assert done.returncode == status, done.stderr
        return json.loads(done.stdout) if done.stdout else {}, done.stderr

    return run_to_its_end


def test_level_and_distortion_floor(server: SoundServer, follow: Follow, tmp_path: Path) -> None:
    """Level within 0.01 dB, THD below -90 dB, at least ten updates per second of sound."""
    with server.playing(tone(tmp_path)):
        found, _ = follow("--seconds", "3")
    for channel in found["last"]["channels"]:
        assert channel["fundamental_dbfs"] == pytest.approx(-6.0, abs=0.01)
        assert channel["thd_percent"] < 100 * 10 ** (-90 / 20)
        assert channel["frequency_hz"] == pytest.approx(997, abs=0.01)
        assert channel["verdict"] == "clean"
    assert found["updates"] >= 30
    assert found["rate_hz"] == RATE_HZ


def test_meter_reading_calibrates_the_input(server: SoundServer, follow: Follow, tmp_path: Path) -> None:
    """2.000 V at -6 dBFS: full scale is 3.991 V; remembered for this device and gain, not for another."""
    with server.playing(tone(tmp_path)):
        first, said = follow("--seconds", "3", "--meter-reads", "2.0", "--gain", "noon")
        again, _ = follow("--seconds", "1", "--gain", "noon")
        _, other = follow("--seconds", "1", "--gain", "full")
    assert "calibrated: full scale is 3.99" in said
    assert first["calibrate_v"] == pytest.approx(2 * 10 ** (6 / 20), rel=2e-3)
    assert again["last"]["channels"][0]["v_rms"] == pytest.approx(2.0, rel=2e-3)
    assert "not calibrated" in other


def test_overload_is_reported_and_held(server: SoundServer, follow: Follow, tmp_path: Path) -> None:
    """A tone 3 dB over full scale is reported, and the status at the end is 1."""
    with server.playing(tone(tmp_path, level_dbfs=3.0)):
        found, _ = follow("--seconds", "2", status=1)
    assert found["last"]["worst"] == ["overloaded_input", "overloaded_input"]
    assert any("the input itself is overloaded" in w for w in found["last"]["warnings"])


@contextlib.contextmanager
def following(server: SoundServer) -> Iterator[subprocess.Popen[str]]:
    """Start a live measurement of eight seconds, and wait until it reports a level."""
    running = subprocess.Popen(
        (sys.executable, "-m", "gainwright", *MEASURE, "--seconds", "8"),
        env=server.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert running.stderr is not None
        while "dBFS" not in (line := running.stderr.readline()):
            assert line
        yield running
    finally:
        running.kill()


def test_dropout_is_reported_and_survived(server: SoundServer, tmp_path: Path) -> None:
    """The server stops for two seconds in the middle."""
    with server.playing(tone(tmp_path)), following(server) as running:
        time.sleep(1)
        server.freeze(2.0)
        out, said = running.communicate(timeout=60)
    found = json.loads(out)
    assert "the input is disconnected" in said
    assert found["last"]["gaps"] >= 1
    assert found["last"]["channels"][0]["verdict"] == "clean"


def test_measurement_waits_for_a_device_that_vanishes(server: SoundServer, tmp_path: Path) -> None:
    """The server ends and comes back; the measurement continues."""
    path = tone(tmp_path)
    with server.playing(path), following(server) as running:
        time.sleep(1)
        server.stop()
        time.sleep(1.5)
        server.start()
        with server.playing(path):
            out, said = running.communicate(timeout=60)
    found = json.loads(out)
    assert "the input is disconnected" in said
    assert "Traceback" not in said
    assert found["last"]["gaps"] >= 1
    assert found["last"]["channels"][0]["fundamental_dbfs"] == pytest.approx(-6.0, abs=0.01)


def test_expected_reading_of_a_step_is_shown(server: SoundServer, follow: Follow, tmp_path: Path) -> None:
    """The plan's step is shown beside the reading of its tone; another tone is told as such."""
    from gainwright.jobfile import example_text, read_job_text
    from gainwright.plan import make_plan

    (tmp_path / "car.yaml").write_text(example_text("one_amplifier"))
    plan = make_plan(read_job_text(example_text("one_amplifier")).job)
    hz = next(s.tone_hz for s in plan.steps if s.id == "amplifier.amp")
    assert hz is not None
    to = ("--job", str(tmp_path / "car.yaml"), "--step", "amplifier.amp")
    with server.playing(tone(tmp_path, hz=2 * hz)):
        found, other = follow("--seconds", "1", "--calibrate", "63", *to, status=1)
    assert found["last"]["worst"] == ["other_tone", "other_tone"]
    assert f"asked for {hz:g} Hz, heard {2 * hz:g} Hz" in other
    assert "as expected" not in other
    with server.playing(tone(tmp_path, hz=hz)):
        _, said = follow("--seconds", "2", "--calibrate", "63", *to)
        _, low = follow("--seconds", "2", "--calibrate", "6", *to)
    assert "expects" in said
    assert "as expected" in said
    assert "LOWER than expected" in low


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--device", "nothing"), "no input is named nothing"),
        (("--seconds", "2", "--meter-reads", "1"), "no clean tone"),
    ],
)
def test_invalid_calls_are_refused(follow: Follow, options: tuple[str, ...], says: str) -> None:
    """Status 2 and one sentence."""
    _, said = follow(*options, status=2)
    assert says in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("options", "says"), [(("--step", "x"), "--job and --step"), (("--meter-reads", "-1"), "--meter-reads")]
)
def test_invalid_calls_need_no_input(tmp_path: Path, options: tuple[str, ...], says: str) -> None:
    """Status 2 and one sentence, before any sound is asked for."""
    done = run("measure", "--live", "--rate", RATE_HZ, "--json", *options, folder=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_devices_are_listed(server: SoundServer, program: WarmProgram) -> None:
    """By name and by the system's interface to them."""
    done = program.run(("devices", "--json"), server.environment, server.folder, timeout=60)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)["devices"]
    assert any(device["name"] == "pulse" for device in found)
