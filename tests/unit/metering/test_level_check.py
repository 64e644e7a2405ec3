"""One tone at two levels through inputs with and without automatic gain: what the check says of each."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.errors import CallError
from gainwright.metering import LevelCheck, check_levels

RATE_HZ, TONE_HZ = 16_000, 437.0
Floats = np.ndarray


def tone(level_dbfs: float, *, seconds: float = 3.0, hz: float = TONE_HZ) -> Floats:
    """Return a sine; 0 dBFS has a peak of 1 (AES17)."""
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def noisy(wave: Floats, dbfs: float) -> Floats:
    """Add white noise of a level (a mean square of 1/2 is 0 dBFS, AES17)."""
    return wave + np.random.default_rng(3).normal(0, 10 ** (dbfs / 20) / np.sqrt(2), len(wave))


def agc(wave: Floats, *, target_dbfs: float, ratio: float, db_per_s: float, begin_db: float = 0.0) -> Floats:
    """Return a wave through a gain that moves, by so many dB a second, towards the level of a compressor.

    A compressor of ratio r about a target T gives T + (L - T) / r for a steady level L (closed form): infinite r holds T.
    """
    block = RATE_HZ // 50
    gain, out = begin_db, []
    for i in range(0, len(wave), block):
        part = wave[i : i + block]
        level = 10 * np.log10(2 * np.mean(part**2) + 1e-12)
        wanted = target_dbfs + (level - target_dbfs) / ratio - level
        step = db_per_s * block / RATE_HZ
        before, gain = gain, gain + float(np.clip(wanted - gain, -step, step))
        out.append(part * 10 ** (np.linspace(before, gain, len(part)) / 20))
    return np.concatenate(out)


def held(level_dbfs: float, ratio: float, target_dbfs: float = -24.0) -> Floats:
    """Return a tone through a gain that has already settled."""
    gain = target_dbfs + (level_dbfs - target_dbfs) / ratio - level_dbfs
    return agc(tone(level_dbfs), target_dbfs=target_dbfs, ratio=ratio, db_per_s=1000, begin_db=gain)


def checked(loud: Floats, quiet: Floats) -> LevelCheck:
    """Check with a little noise, as in any input."""
    return check_levels(noisy(loud, -80), noisy(quiet, -80), rate_hz=RATE_HZ)


def test_input_without_automatic_gain_is_linear() -> None:
    """20 dB apart within 0.05 dB; a true 19 dB is still within 1.1 dB, 18.5 dB isn't (IEC 61672-1, class 2)."""
    found = checked(tone(-9), tone(-29))
    assert found.result == "linear"
    assert found.difference_db == pytest.approx(20, abs=0.05)
    assert found.within_db is not None
    assert found.within_db < 0.05
    assert "no automatic gain" in found.text
    assert checked(tone(-9), tone(-28.0)).result == "linear"
    assert checked(tone(-9), tone(-27.5)).result == "not_linear"


@pytest.mark.parametrize(("ratio", "left_db"), [(2.0, 10.0), (4.0, 5.0), (1.2, 20 / 1.2)])
def test_settled_automatic_gain_is_told_by_the_difference(ratio: float, left_db: float) -> None:
    """A compressor of ratio r leaves 20/r dB of 20 dB (closed form)."""
    found = checked(held(-9, ratio), held(-29, ratio))
    assert found.result == "not_linear"
    assert found.difference_db == pytest.approx(left_db, abs=0.1)
    assert "automatic gain of this input is on" in found.text
    assert "only frequencies" in found.text


def test_gain_that_evens_all_out_or_a_tone_that_was_not_lowered() -> None:
    """No difference at all: both explanations are given, and levels aren't trusted."""
    for loud, quiet in ((held(-9, 1e9), held(-29, 1e9)), (tone(-9), tone(-9))):
        found = checked(loud, quiet)
        assert found.result == "not_linear"
        assert "wasn't quieter" in found.text


@pytest.mark.parametrize("db_per_s", [0.5, 3.0])
def test_slow_gain_is_told_by_its_drift(db_per_s: float) -> None:
    """A gain that creeps up after the quieter tone begins: the difference alone may still look right, the drift doesn't."""
    creeping = agc(tone(-29), target_dbfs=-9, ratio=1e9, db_per_s=db_per_s)
    found = checked(tone(-9), creeping)
    assert found.result == "not_linear"
    assert "changed by +" in found.text


def test_noise_suppression_takes_the_quieter_tone_down_further() -> None:
    """An expander of 1:1.5 makes 30 dB of 20 dB."""
    found = checked(held(-9, 1 / 1.5, -9.0), held(-29, 1 / 1.5, -9.0))
    assert found.result == "not_linear"
    assert found.difference_db == pytest.approx(30, abs=0.2)
    assert "noise suppression" in found.text


@pytest.mark.parametrize(
    ("loud", "quiet", "says"),
    [
        (np.clip(tone(3), -1, 1), tone(-17), "clips: play both quieter"),
        (np.clip(tone(-9), -0.2, 0.2), tone(-29), "clips: play both quieter"),
        (0 * tone(0), tone(-29), "isn't heard"),
        (noisy(0 * tone(0), -20), tone(-29), "isn't heard"),
        (tone(-9), tone(-29, hz=611.0), "The quieter tone is 611 Hz, the louder one 437 Hz"),
        (tone(-9), 0 * tone(0), "lost in noise"),
        (tone(-9), noisy(tone(-70), -30), "lost in noise"),
    ],
)
def test_recordings_that_do_not_tell(loud: Floats, quiet: Floats, says: str) -> None:
    """Clipping, silence, noise and another tone are no automatic gain: what to do is told instead."""
    found = checked(loud, quiet)
    assert (found.result, found.tolerance_db) == ("unclear", None)
    assert says in found.text


def test_noise_widens_the_interval_as_the_scatter_of_many_repetitions() -> None:
    """In noise as strong as the quieter tone, 95 % of repeated differences lie within the stated half width (JCGM 100:2008, 6)."""
    loud, quiet, errors, widths = tone(-9), tone(-29), [], []
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0, 10 ** (-29 / 20) / np.sqrt(2), 2 * len(quiet))
        found = check_levels(loud + noise[: len(loud)], quiet + noise[len(loud) :], rate_hz=RATE_HZ)
        assert found.difference_db is not None
        assert found.within_db is not None
        errors.append(abs(found.difference_db - 20))
        widths.append(found.within_db)
    covered = np.mean(np.array(errors) < np.array(widths))
    assert 0.85 <= covered <= 1.0
    assert np.percentile(errors, 95) == pytest.approx(np.median(widths), rel=0.5)


def test_too_short_recordings_are_refused() -> None:
    """Less than two seconds."""
    with pytest.raises(CallError, match="too short"):
        check_levels(tone(-9, seconds=1), tone(-29), rate_hz=RATE_HZ)
