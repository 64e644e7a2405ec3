"""The running measurement without a sound device: a simulated input."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from gainwright.adapters.calibrations import FileCalibrations
from gainwright.app.measuring.live import LiveOptions, LiveUpdate, choose_device, follow_input
from gainwright.app.ports import Block, InputDevice
from gainwright.errors import CallError
from gainwright.metering import LiveMeter
from gainwright.report.live import live_lines

RATE_HZ = 48_000


def tone(seconds: float, *, peak: float = 0.5, hz: float = 997.0, begin: int = 0) -> np.ndarray:
    """Return a stereo tone."""
    n = begin + np.arange(round(seconds * RATE_HZ))
    wave = peak * np.sin(2 * np.pi * hz * n / RATE_HZ)
    return np.stack([wave, wave], axis=1)


@dataclass
class MadeUp:
    """A sound input that plays an array."""

    samples: np.ndarray
    known: tuple[InputDevice, ...] = (
        InputDevice("box", "A", 2, RATE_HZ),
        InputDevice("box", "B", 2, RATE_HZ),
        InputDevice("line", "A", 1, 44_100),
    )
    away_at: int = -1

    def devices(self) -> tuple[InputDevice, ...]:
        """Return invented devices."""
        return self.known

    def blocks(self, device: InputDevice, *, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield blocks of 20 ms."""
        del device
        size = rate_hz // 50
        for i, start in enumerate(range(0, len(self.samples), size)):
            if i == self.away_at:
                yield Block(np.zeros((0, channels)), away=True)
            yield Block(self.samples[start : start + size, :channels])


def followed(sound: MadeUp, **options: object) -> list[LiveUpdate]:
    """Return all updates."""
    return list(follow_input(sound, LiveOptions(device="box (A)", **options), FileCalibrations()))  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep calibrations in a folder of the test."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def test_updates_per_second_and_held_maximum() -> None:
    """A moment of clipping stays as the worst; the present one is clean again."""
    wave = np.concatenate([tone(1), np.clip(tone(1, peak=0.7), -0.5, 0.5), tone(1)])
    updates = [u for u in followed(MadeUp(wave)) if u.reading is not None]
    assert len(updates) >= 25
    last = updates[-1].reading
    assert last is not None
    assert [c.verdict for c in last.channels] == ["clean", "clean"]
    assert last.worst == ("clipped", "clipped")
    assert last.worst_thd_percent[0] is not None
    assert last.worst_thd_percent[0] > 5
    assert last.channels[0].fundamental_dbfs == pytest.approx(20 * np.log10(0.5), abs=0.01)
    assert last.room_db[0] == pytest.approx(6.02, abs=0.05)
    assert "worst CLIPPED" in live_lines(last, calibrated=False)[0]


def test_lost_device_is_reported_and_the_rest_measured() -> None:
    """Samples before the gap aren't joined to those after it."""
    updates = followed(MadeUp(np.concatenate([tone(1), tone(1, begin=12_345)]), away_at=50))
    assert sum(u.away for u in updates) == 1
    last = updates[-1].reading
    assert last is not None
    assert last.gaps == 1
    assert last.worst == ("clean", "clean")
    assert any("lost 1 time" in w for w in last.warnings)


def test_automatic_gain_is_noticed() -> None:
    """A steady tone that rises by 3 dB in four seconds."""
    gain = 10 ** (np.linspace(0, 3, 5 * RATE_HZ) / 20)
    last = followed(MadeUp(0.5 * tone(5) * gain[:, None]))[-1].reading
    assert last is not None
    assert any("automatic gain" in w for w in last.warnings)
    steps = np.concatenate([tone(2, peak=0.2), tone(3, peak=0.4)])
    by_hand = followed(MadeUp(steps))[-1].reading
    assert by_hand is not None
    assert not any("automatic gain" in w for w in by_hand.warnings)


def test_clipping_input_is_noticed() -> None:
    """Flat peaks at the input's own full scale."""
    last = followed(MadeUp(np.clip(tone(1, peak=1.5), -1, 1)))[-1].reading
    assert last is not None
    assert last.worst[0] == "overloaded_input"
    assert any("the input itself is overloaded" in w for w in last.warnings)


def test_low_tones_get_a_longer_window() -> None:
    """40 Hz needs twelve periods."""
    last = followed(MadeUp(tone(3, hz=40.0)))[-1].reading
    assert last is not None
    assert last.channels[0].verdict == "clean"
    assert last.channels[0].frequency_hz == pytest.approx(40, abs=0.01)


def test_meter_reading_calibrates_the_input() -> None:
    """4 V at -6.02 dBFS: full scale is 8 V; stored beside others; used the next time."""
    FileCalibrations().keep("other", 1.5)
    updates = followed(MadeUp(tone(4)), meter_v=4.0)
    assert updates[-1].calibrate_v == pytest.approx(8.0, rel=1e-3)
    assert FileCalibrations().kept() == {"other": 1.5, "box (A)": pytest.approx(8.0, rel=1e-3)}
    again = followed(MadeUp(tone(1)))[-1]
    assert again.reading is not None
    assert again.reading.channels[0].v_rms == pytest.approx(4.0, rel=1e-3)
    assert not any("not calibrated" in note for note in again.notes)


def test_converted_sample_rate_is_reported() -> None:
    """A sample rate other than the device's own."""
    assert any("converts 48000 Hz to 44100 Hz" in n for n in followed(MadeUp(tone(1)), rate_hz=44_100)[-1].notes)


def test_damaged_calibrations_are_not_overwritten() -> None:
    """An error says what to do; the file stays."""
    FileCalibrations().path.parent.mkdir(parents=True)
    FileCalibrations().path.write_text("{oops")
    with pytest.raises(CallError, match="delete it and calibrate again"):
        FileCalibrations().keep("box", 1.0)
    assert FileCalibrations().path.read_text() == "{oops"


@pytest.mark.parametrize(
    ("name", "key"), [("", "box (A)"), ("line", "line (A)"), ("box (B)", "box (B)"), ("LIN", "line (A)")]
)
def test_device_name_must_be_unique(name: str, key: str) -> None:
    """Whole names win, parts must be unique, no name means the first device."""
    assert choose_device(MadeUp(tone(0.1)), name).key == key


@pytest.mark.parametrize(
    ("name", "says"), [("box", "may be box"), ("cd", "there is box"), ("1", "no input is named 1")]
)
def test_unknown_and_ambiguous_device_names_are_refused(name: str, says: str) -> None:
    """With a list of the devices; a number is no name."""
    with pytest.raises(CallError, match=says):
        choose_device(MadeUp(tone(0.1)), name)


def test_no_device_at_all() -> None:
    """The error says what to do."""
    with pytest.raises(CallError, match="plug the interface in"):
        choose_device(MadeUp(tone(0.1), known=()), "")


def test_too_little_sound_gives_no_reading() -> None:
    """Nothing in the first third of a second; a reset clears the worst."""
    meter = LiveMeter(rate_hz=RATE_HZ, channels=2)
    assert meter.reading() is None
    meter.push(np.clip(tone(0.5, peak=0.8), -0.5, 0.5))
    reading = meter.reading()
    assert reading is not None
    assert reading.worst == ("clipped", "clipped")
    meter.reset()
    meter.push(tone(1))
    after = meter.reading()
    assert after is not None
    assert after.worst == ("clean", "clean")


@pytest.mark.parametrize("wave", [np.zeros((RATE_HZ, 2)), np.full((RATE_HZ, 2), 0.2), tone(1, hz=63.0)])
def test_nothing_measured_is_not_clean(wave: np.ndarray) -> None:
    """Silence, an offset and another tone than asked aren't results: the worst so far isn't clean, the line says so."""
    last = followed(MadeUp(wave), expect_hz=315.0)[-1].reading
    assert last is not None
    assert "clean" not in last.worst
    assert last.worst_thd_percent == (None, None)
    line, *more = live_lines(last, calibrated=False)
    assert "nothing measured yet" in line
    assert "clean" not in line
    assert more


def test_silence_after_a_tone_leaves_the_worst_of_the_tone() -> None:
    """A clean tone, then nothing: what was measured stays; another tone than asked doesn't count."""
    for after in (np.zeros((RATE_HZ, 2)), np.clip(tone(1, peak=0.7, hz=63.0), -0.5, 0.5)):
        last = followed(MadeUp(np.concatenate([tone(1), after])), expect_hz=997.0)[-1].reading
        assert last is not None
        assert last.channels[0].verdict in ("no_tone", "other_tone")
        assert last.worst == ("clean", "clean")


def test_another_tone_than_asked_is_told_in_the_display() -> None:
    """Asked for 100 Hz, played 1 kHz (once a division by zero)."""
    last = followed(MadeUp(tone(1, hz=1000.0)), expect_hz=100.0)[-1].reading
    assert last is not None
    lines = live_lines(last, calibrated=False)
    assert "other tone" in lines[0]
    assert "!  channel 1: asked for 100 Hz, heard 1 kHz: play the tone that is asked for" in lines


def test_calibrations_kept_at_once_are_all_kept(tmp_path: Path) -> None:
    """By threads and by programs, which know nothing of each other: each reads what is there and writes the whole file."""

    def keep(thread: int) -> None:
        for number in range(5):
            FileCalibrations(tmp_path / "c.json").keep(f"{thread} {number}", 1.0)

    threads = [threading.Thread(target=keep, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(FileCalibrations(tmp_path / "c.json").kept()) == 20
