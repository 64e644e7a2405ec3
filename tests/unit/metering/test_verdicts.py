"""Every kind of recording gets the right verdict, or one clear error."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.errors import RecordingError
from gainwright.metering import Channel, Recording, measure, read_recording, steady_part
from gainwright.results import to_json

RATE_HZ = 48_000


def tone(seconds: float = 1.0, peak: float = 0.5, hz: float = 997.0) -> np.ndarray:
    """Return a sine."""
    return peak * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def judged(samples: np.ndarray, **options: float) -> Channel:
    """Measure one channel; its JSON holds plain numbers only."""
    found = measure(Recording(samples[:, None], RATE_HZ), **options)
    json.dumps(to_json(found), allow_nan=False)
    return found.channels[0]


def noise(seconds: float = 2.0, rms: float = 0.1) -> np.ndarray:
    """Return white noise."""
    return np.random.default_rng(5).normal(0, rms, round(seconds * RATE_HZ))


def music() -> np.ndarray:
    """Return chords that change four times a second, with noise bursts."""
    rng = np.random.default_rng(8)
    parts = []
    for _ in range(16):
        t = np.arange(RATE_HZ // 4) / RATE_HZ
        chord = sum(np.sin(2 * np.pi * f * t) / (1 + i) for i, f in enumerate(rng.uniform(60, 2000, 6)))
        parts.append(np.exp(-6 * t) * chord * 0.2 + 0.1 * rng.normal(0, 1, len(t)) * np.exp(-30 * t))
    return np.concatenate(parts)


@pytest.mark.parametrize(
    ("samples", "verdict"),
    [
        (tone(), "clean"),
        (tone(peak=1.0), "clean"),
        (tone(peak=0.001), "clean"),
        (tone(hz=40.0), "clean"),
        (tone(hz=15_000.0), "clean"),
        (tone(0.12), "clean"),
        (np.clip(tone(peak=0.6), -0.5, 0.5), "clipped"),
        (np.clip(tone(peak=0.6, hz=40.0), -0.5, 0.5), "clipped"),
        (np.clip(tone(peak=0.6), -0.5, 1.0), "clipped"),
        (np.clip(tone(peak=1.3), -1, 1), "overloaded_input"),
        (np.clip(tone(peak=8.0), -1, 1), "overloaded_input"),
        (tone() + 0.03 * tone(peak=1.0, hz=2 * 997.0), "distorted"),
        (np.zeros(RATE_HZ), "no_tone"),
        (noise(), "no_tone"),
        (music(), "no_tone"),
        (tone(0.05), "too_short"),
        (tone(0.15, hz=40.0), "too_short"),
        (np.zeros(1), "too_short"),
    ],
)
def test_verdicts(samples: np.ndarray, verdict: str) -> None:
    """Clean, clipped, overloaded, distorted, no tone, too short."""
    found = judged(samples)
    assert found.verdict == verdict
    if verdict in ("no_tone", "too_short"):
        assert found.thd_percent is None
        assert found.why_not["thd_percent"]


def test_one_sided_clipping_shows_even_harmonics() -> None:
    """A sine of 1 clipped at -0.8 only: H2 4.83531 %, H3 3.86825 % of the fundamental (half-wave closed forms)."""
    found = judged(0.5 * np.maximum(tone(4.0, peak=1.0, hz=211.0), -0.8))
    percents = {h.order: h.percent for h in found.harmonics}
    assert percents[2] == pytest.approx(4.83531, rel=0.01)
    assert percents[3] == pytest.approx(3.86825, rel=0.01)
    assert found.verdict == "clipped"


def test_the_limit_can_be_chosen() -> None:
    """2 % of second harmonic is clean at a limit of 3 %, distorted at 1 %."""
    bent = tone() + 0.01 * np.cos(2 * np.pi * 2 * 997.0 * np.arange(RATE_HZ) / RATE_HZ)
    assert judged(bent, limit_percent=3.0).verdict == "clean"
    assert judged(bent, limit_percent=1.0).verdict == "distorted"


def test_volts_through_a_calibration() -> None:
    """A recorder for which full scale is 2 V rms shows -6 dBFS as 1.0024 V."""
    content = to_json(measure(Recording(tone(peak=10 ** (-6 / 20))[:, None], RATE_HZ), calibrate_v=2.0))
    assert content["channels"][0]["v_rms"] == pytest.approx(2 * 10 ** (-6 / 20), rel=1e-4)


def test_the_expected_frequency_wins_over_a_louder_hum() -> None:
    """With a louder tone beside it, the expected one is measured."""
    both = tone(2.0, peak=0.3) + tone(2.0, peak=0.25, hz=50.0)
    assert judged(both, expect_hz=50.0).frequency_hz == pytest.approx(50.0, abs=0.01)


def test_fades_and_pauses_are_left_out() -> None:
    """Only the steady part counts."""
    wave = np.concatenate([np.zeros(RATE_HZ), tone(3.0), np.linspace(1, 0, RATE_HZ) * tone(1.0)])
    part = steady_part(wave, rate_hz=RATE_HZ)
    assert 2.7 * RATE_HZ < len(part) < 3.3 * RATE_HZ
    assert judged(wave).fundamental_dbfs == pytest.approx(20 * np.log10(0.5), abs=0.01)


# ---- files -----------------------------------------------------------------------------------------------------


def refusal(path: Path) -> RecordingError:
    """Return the error that a file brings."""
    with pytest.raises(RecordingError) as caught:
        read_recording(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(str(path))
    return caught.value


def test_files_that_are_not_recordings(tmp_path: Path) -> None:
    """Missing, folder, empty, text, the beginning of an image, a WAV header alone."""
    assert refusal(tmp_path / "none.wav").code == "not_readable"
    assert refusal(tmp_path).code == "not_a_file"
    for name, content, code in (
        ("empty.wav", b"", "empty"),
        ("text.wav", b"this is no sound", "not_audio"),
        ("picture.flac", b"\x89PNG\r\n\x1a\n" + bytes(100), "not_audio"),
        ("head.wav", b"RIFF\x24\x00\x00\x00WAVE", "not_audio"),
        ("fake.mp3", b"format: 1\ntitle: a job\n", "not_audio"),
    ):
        path = tmp_path / name
        path.write_bytes(content)
        assert refusal(path).code == code, name


def test_a_truncated_file(tmp_path: Path) -> None:
    """Half a WAV contains half a tone; half a FLAC too, or it is refused with one sentence."""
    for suffix in ("wav", "flac"):
        whole = tmp_path / f"whole.{suffix}"
        soundfile.write(whole, tone(4.0), RATE_HZ)
        half = tmp_path / f"half.{suffix}"
        half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
        try:
            channel = measure(read_recording(half)).channels[0]
        except RecordingError as error:
            assert error.code == "not_audio"
        else:
            assert channel.verdict == "clean"


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_samples_that_are_not_numbers(tmp_path: Path, bad: float) -> None:
    """The error gives the position."""
    wave = tone()
    wave[4800] = bad
    path = tmp_path / "bad.wav"
    soundfile.write(path, wave, RATE_HZ, subtype="FLOAT")
    error = refusal(path)
    assert error.code == "not_finite"
    assert "sample 4800 (0.100 s) of channel 1" in str(error)


def test_an_empty_recording(tmp_path: Path) -> None:
    """A WAV with no samples."""
    path = tmp_path / "none.wav"
    soundfile.write(path, np.zeros((0, 2)), RATE_HZ)
    assert refusal(path).code == "empty"


@settings(max_examples=60)
@given(
    seed=st.integers(0, 2**32 - 1),
    length=st.sampled_from([1, 2, 3, 100, 2000, 4801, 20_000]),
    kind=st.sampled_from(["noise", "steps", "spike", "constant", "huge", "tiny", "square", "sweep"]),
    rate_hz=st.sampled_from([8000, 44_100, 192_000]),
)
def test_anything_finite_is_judged(seed: int, length: int, kind: str, rate_hz: int) -> None:
    """Any samples give a verdict, and its JSON has no NaN."""
    rng = np.random.default_rng(seed)
    n = np.arange(length)
    wave = {
        "noise": rng.normal(0, 1, length),
        "steps": np.repeat(rng.normal(0, 1, length // 50 + 1), 50)[:length],
        "spike": (n == length // 2).astype(float),
        "constant": np.full(length, rng.normal()),
        "huge": 1e6 * np.sin(n * rng.uniform(0.01, 3)),
        "tiny": 1e-9 * np.sin(n * rng.uniform(0.01, 3)),
        "square": np.sign(np.sin(n * rng.uniform(0.01, 3))),
        "sweep": np.sin(1e-5 * n**2),
    }[kind]
    found = measure(Recording(wave[:, None], rate_hz))
    json.dumps(to_json(found), allow_nan=False)


@settings(max_examples=80)
@given(data=st.data())
def test_damaged_files_are_measured_or_refused(data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    """A WAV or FLAC with bytes overwritten or removed gives a measurement or a `RecordingError`."""
    folder = tmp_path_factory.mktemp("damaged", numbered=True)
    suffix = data.draw(st.sampled_from(["wav", "flac"]))
    path = folder / f"tone.{suffix}"
    soundfile.write(path, tone(0.3), RATE_HZ)
    content = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, min(len(content) - 1, 200)))] = data.draw(st.integers(0, 255))
    path.write_bytes(bytes(content[: data.draw(st.integers(0, len(content)))]))
    try:
        json.dumps(to_json(measure(read_recording(path))), allow_nan=False)
    except RecordingError as error:
        assert error.code


def test_two_levels_of_equal_length_are_measured() -> None:
    """A level that jumps in the middle, as when samples are lost: one of the two is measured, not something in between."""
    one = tone(1.0)
    found = judged(np.concatenate([one, one * 10 ** (-9 / 20)]))
    assert found.rms_dbfs is not None
    assert min(abs(found.rms_dbfs - level) for level in (-6.02, -15.02)) < 0.05


# ---- another tone than the one asked for ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked_hz", "heard_hz"),
    [(100.0, 1000.0), (1000.0, 63.0), (315.0, 1000.0), (315.0, 945.0), (500.0, 250.0), (315.0, 350.0), (315.0, 319.0)],
)
def test_another_tone_than_asked_is_told_with_both(asked_hz: float, heard_hz: float) -> None:
    """Far away (once a division by zero), a harmonic, half of it, and between: measured, and told as another tone."""
    found = judged(tone(0.3, hz=heard_hz), expect_hz=asked_hz)
    assert (found.verdict, found.asked_hz) == ("other_tone", asked_hz)
    assert found.frequency_hz == pytest.approx(heard_hz, abs=0.01)
    assert found.fundamental_dbfs == pytest.approx(20 * np.log10(0.5), abs=0.01)
    heard = "1 kHz" if heard_hz == 1000 else f"{heard_hz:g} Hz"
    assert found.why_not["verdict"] == f"asked for {'1 kHz' if asked_hz == 1000 else f'{asked_hz:g} Hz'}, heard {heard}"


def test_clock_of_a_player_is_no_other_tone() -> None:
    """A player 0.1 % fast (IEC 60958-3, level II); one that plays 44.1 kHz at 48 kHz is 8 % fast, and is told."""
    assert judged(tone(hz=315 * 1.001), expect_hz=315.0).verdict == "clean"
    assert judged(tone(hz=315 * 48 / 44.1), expect_hz=315.0).verdict == "other_tone"


def test_full_input_is_told_before_another_tone() -> None:
    """An overloaded input is the first thing to mend, whatever is played."""
    assert judged(np.clip(tone(peak=1.3), -1, 1), expect_hz=315.0).verdict == "overloaded_input"


@pytest.mark.parametrize("asked_hz", [None, 20.0, 315.0, 5000.0])
@pytest.mark.parametrize(
    ("samples", "why"),
    [
        (np.zeros(RATE_HZ), "is silent"),
        (np.full(RATE_HZ, 0.3), "constant offset (DC) of -10.5 dBFS"),
        (noise(1.0), "no steady tone"),
        (tone(peak=0.3, hz=431.0) + tone(peak=0.3, hz=1000.0), "several tones at once, no single one: 431 Hz / 1 kHz"),
    ],
)
def test_what_is_heard_where_there_is_no_tone(samples: np.ndarray, why: str, asked_hz: float | None) -> None:
    """Silence, an offset, noise and two tones are no tone, whatever was asked for, and each is told."""
    found = measure(Recording(samples[:, None], RATE_HZ), expect_hz=asked_hz).channels[0]
    assert found.verdict == "no_tone"
    assert why in found.why_not["thd_percent"]
