"""The guided check of an input for automatic gain, and its command, with a simulated sound input."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from commands import run

from gainwright.adapters.calibrations import FileCalibrations
from gainwright.app.measuring import gain_check
from gainwright.app.measuring.gain_check import CheckProgress, follow_check
from gainwright.app.measuring.live import LiveOptions
from gainwright.app.ports import Block, InputDevice
from gainwright.composition import Adapters
from gainwright.errors import CallError

RATE_HZ = 8_000


def tone(seconds: float, level_dbfs: float, *, hz: float = 620.0) -> np.ndarray:
    """Return one channel of a tone."""
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def pause(seconds: float = 1.0) -> np.ndarray:
    """Return silence, with the faint noise of an input."""
    return np.random.default_rng(3).normal(scale=1e-5, size=round(seconds * RATE_HZ))


@dataclass
class Played:
    """A sound input whose second channel hears what is played, and the first the same 12 dB lower."""

    parts: tuple[np.ndarray, ...]
    lost_at_s: float = -1.0
    stopped_at_s: float = -1.0
    known: tuple[InputDevice, ...] = field(default=(InputDevice("box", "A", 2, RATE_HZ),))

    def devices(self) -> tuple[InputDevice, ...]:
        """Return the one device."""
        return self.known

    def blocks(self, device: InputDevice, *, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield blocks of 20 ms; lose one, or be stopped by the person, where asked."""
        del device
        both = np.concatenate(self.parts)
        size = rate_hz // 50
        for start in range(0, len(both), size):
            if start == round(self.stopped_at_s * rate_hz):
                raise KeyboardInterrupt
            heard = both[start : start + size]
            lost = start == round(self.lost_at_s * rate_hz)
            yield Block(np.stack([0.25 * heard, heard], axis=1)[:, :channels], lost=lost)


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep calibrations in a folder of the test."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def checked(sound: Played, **options: float) -> list[CheckProgress]:
    """Return all progress of a check."""
    return list(follow_check(sound, LiveOptions(**options), FileCalibrations()))  # type: ignore[arg-type]


def test_each_tone_is_waited_for_and_taken() -> None:
    """The louder tone is waited for, taken, then after a pause the quieter one; the loudest channel is checked."""
    steps = checked(Played((pause(0.5), tone(6.5, -14), pause(0.5), tone(6.5, -34))))
    turns = [(s.part, s.taking) for s in steps]
    assert list(dict.fromkeys(turns)) == [("loud", False), ("loud", True), ("quiet", False), ("quiet", True)]
    last = steps[-1]
    assert last.result is not None
    assert (last.result.result, last.channel) == ("linear", 2)
    assert last.result.difference_db == pytest.approx(20, abs=0.01)


def test_evened_out_tones_are_automatic_gain() -> None:
    """The second tone comes in quieter for a moment only, then as loud as the first."""
    risen = 10 ** (np.minimum(np.linspace(-20, 60, 4 * RATE_HZ), 0) / 20)
    second = tone(12, -14)
    second[: len(risen)] *= risen
    found = checked(Played((tone(7, -14), second)))[-1].result
    assert found is not None
    assert found.result == "not_linear"
    assert found.difference_db == pytest.approx(0, abs=0.1)


def test_interrupted_tone_is_waited_for_again() -> None:
    """Lost samples, and a tone that stops while it is taken, both begin it anew."""
    steps = checked(Played((tone(3, -14), pause(0.5), tone(9, -14), tone(6.5, -34)), lost_at_s=6.0))
    taking = [s.taking for s in steps if s.part == "loud"]
    assert sum(later and not earlier for earlier, later in itertools.pairwise(taking)) == 3
    assert steps[-1].result is not None
    assert steps[-1].result.result == "linear"


@pytest.mark.parametrize(
    ("sound", "options", "says"),
    [
        (Played((pause(7),)), {}, "no steady tone came in within 6 s"),
        (Played((tone(13, -14),)), {}, "the second tone didn't come"),
        (Played((tone(7, -14), pause(7))), {}, "suppresses it as noise"),
        (Played((tone(7, -14),)), {}, "ended before both tones"),
        (Played((tone(9, -14),)), {"seconds": 5}, "ended before both tones"),
        (Played((tone(5, -14),)), {"expect_hz": 1000.0}, "ended before both tones"),
    ],
)
def test_check_that_cant_be_done_says_why(sound: Played, options: dict[str, float], says: str) -> None:
    """Nothing is heard, no second tone, too little time; another tone than asked for isn't taken."""
    steps: list[CheckProgress] = []
    with mock.patch.object(gain_check, "WAIT_SECONDS", 6.0), pytest.raises(CallError, match=says) as refused:
        steps.extend(follow_check(sound, LiveOptions(**options), FileCalibrations()))  # type: ignore[arg-type]
    assert refused.value.code in ("no_tone", "too_short")
    assert any(step.taking for step in steps) == ("expect_hz" not in options and "no steady" not in says)


def test_command_guides_and_says_the_result(tmp_path: Path) -> None:
    """Plain lines without a terminal; the sentence or JSON on standard output; the status is 1 for automatic gain."""
    linear = Played((tone(6.5, -14), tone(6.5, -34)))
    with mock.patch.object(Adapters, "sound", linear):
        done = run("measure", "--live", "--check-gain", folder=tmp_path)
    assert done.returncode == 0
    assert done.stdout == (
        "The two tones differ by 20.0 dB (20 dB ± 1.1 dB is right): no automatic gain between these levels.\n"
    )
    said = [
        "1. Play the louder tone: 620 Hz at -14 dBFS",
        "the louder tone is steady: let it play",
        "2. The louder tone is taken. Now play the quieter one: 620 Hz at -34 dBFS",
        "the quieter tone is steady: let it play",
    ]
    places = [done.stderr.index(words) for words in said]
    assert places == sorted(places)
    assert "Caution" in done.stderr
    assert "not calibrated" not in done.stderr
    with mock.patch.object(Adapters, "sound", Played((tone(6.5, -14), pause(0.5), tone(6.5, -14)))):
        done = run("measure", "--live", "--check-gain", "--json", folder=tmp_path)
    assert done.returncode == 1
    found = json.loads(done.stdout)
    assert (found["result"], found["channel"], found["device"]) == ("not_linear", 2, "box (A)")
    assert "automatic gain" in found["text"]


def test_command_ends_cleanly(tmp_path: Path) -> None:
    """Stopped by the person: told, status 130, no result. What can't go together: status 2."""
    with mock.patch.object(Adapters, "sound", Played((tone(9, -14),), stopped_at_s=3.0)):
        done = run("measure", "--live", "--check-gain", "--json", folder=tmp_path)
    assert (done.returncode, done.stdout) == (130, "")
    assert "stopped: this input isn't checked" in done.stderr
    for wrong in (["tone.wav"], ["--live", "--meter-reads", "1"]):
        done = run("measure", "--check-gain", *wrong, folder=tmp_path)
        assert done.returncode == 2
        assert "--check-gain needs --live" in done.stderr
