"""Loudness against the minimum requirements of EBU Tech 3341 (v4, table 1) and Tech 3342, by both implementations.

The signals are made from the published description: sines of 1 kHz whose level is the peak's, both channels in phase.
Cases 7 and 8 are recordings of the EBU and are left out.
"""

from __future__ import annotations

import numpy as np
import pytest
from plain_analysis import WAYS
from programme import RATE_HZ, sine, steps
from scipy import signal

from gainwright.programme import Band, TrackStatistics, analyse
from gainwright.programme.weighting import channel_weights, k_weighting

WITHIN_LU = 0.1
"""Tech 3341: all of loudness within 0.1 LU; a pass with the first window's start is told by the case itself."""


def heard(samples: np.ndarray, way: str, rate_hz: int = RATE_HZ) -> TrackStatistics:
    """Analyse samples."""
    whole = (Band("full"),)
    return analyse([samples], rate_hz=rate_hz, channels=samples.shape[1], bands=whole, pair=WAYS[way])


EACH_BEGINNING = [("compiled", index) for index in range(20)] + [("plain", index) for index in (1, 8, 17)]
"""All twenty cases by the kernel; the plain way sums the same ticks and is tried where they lie worst."""

INTEGRATED = {
    "1": lambda: steps((-23, 20)),
    "3": lambda: steps((-36, 10), (-23, 60), (-36, 10)),
    "4": lambda: steps((-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)),
    "5": lambda: steps((-26, 20), (-20, 20.1), (-26, 20)),
    "6": lambda: np.stack([sine(level, 20) for level in (-28, -28, -24, -30, -30)], axis=1),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("case", INTEGRATED)
def test_tech_3341_integrated(case: str, way: str) -> None:
    """Cases 1 and 3 to 6: integrated -23.0 LUFS, whatever quieter parts surround it; 5.0 surround with its weights."""
    assert heard(INTEGRATED[case](), way).lufs == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("level", [-23.0, -33.0])
def test_tech_3341_momentary_short_term_and_integrated_agree(level: float, way: str) -> None:
    """Cases 1 and 2: a steady tone reads its level at all three times."""
    found = heard(steps((level, 20)), way)
    for value in (found.lufs, found.momentary_lufs, found.short_term_lufs):
        assert value == pytest.approx(level, abs=WITHIN_LU)


@pytest.mark.parametrize("way", WAYS)
def test_tech_3341_short_term_of_a_changing_level(way: str) -> None:
    """Case 9: short-term is -23.0 whatever part of the pattern its 3 s contain; so is its maximum."""
    found = heard(steps(*([(-20, 1.34), (-30, 1.66)] * 5)), way)
    assert found.short_term_lufs == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize("way", WAYS)
def test_tech_3341_momentary_of_a_changing_level(way: str) -> None:
    """Case 12: the same for momentary and its 400 ms."""
    found = heard(steps(*([(-20, 0.18), (-30, 0.22)] * 25)), way)
    assert found.momentary_lufs == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize(("way", "index"), EACH_BEGINNING)
def test_tech_3341_highest_short_term(way: str, index: int) -> None:
    """Case 10: 3 s of -23 that begin anywhere between the windows still have a maximum of -23.0."""
    silence = np.zeros((round(index * 0.15 * RATE_HZ), 2))
    found = heard(np.concatenate([silence, steps((-23, 3)), np.zeros((RATE_HZ, 2))]), way)
    assert found.short_term_lufs == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize("index", range(20))
def test_tech_3341_live_bursts(index: int) -> None:
    """Cases 11 and 14: for bursts of 3 s and of 400 ms that rise by 1 dB, the maximum so far is that of the last one."""
    pause, silence = np.zeros((RATE_HZ, 2)), np.zeros((round(index * 0.15 * RATE_HZ), 2))
    so_far = np.concatenate([steps((-39 + index, 3)), pause, silence, steps((-38 + index, 3)), pause])
    assert heard(so_far, "compiled").short_term_lufs == pytest.approx(-38 + index, abs=WITHIN_LU)
    silence = np.zeros((round(index * 0.02 * RATE_HZ), 2))
    so_far = np.concatenate([steps((-39 + index, 0.4)), pause, silence, steps((-38 + index, 0.4)), pause])
    assert heard(so_far, "compiled").momentary_lufs == pytest.approx(-38 + index, abs=WITHIN_LU)


@pytest.mark.parametrize(("way", "index"), EACH_BEGINNING)
def test_tech_3341_highest_momentary(way: str, index: int) -> None:
    """Case 13: 400 ms of -23 that begin at any multiple of 20 ms have a maximum of -23.0."""
    silence = np.zeros((round(index * 0.02 * RATE_HZ), 2))
    found = heard(np.concatenate([silence, steps((-23, 0.4)), np.zeros((RATE_HZ, 2))]), way)
    assert found.momentary_lufs == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(
    ("levels", "range_lu"),
    [((-20, -30), 10), ((-20, -15), 5), ((-40, -20), 20), ((-50, -35, -20, -35, -50), 15)],
)
def test_tech_3342_range(levels: tuple[float, ...], range_lu: float, way: str) -> None:
    """Tech 3342 table 1: 20 s of each level, range within 1 LU."""
    found = heard(steps(*((level, 20) for level in levels)), way)
    assert found.loudness_range_lu == pytest.approx(range_lu, abs=1.0)


def test_k_weighting_is_the_printed_table() -> None:
    """BS.1770-4 Annex 1, tables 1 and 2, at 48 kHz; printed to 14 digits."""
    shelf = [1.53512485958697, -2.69169618940638, 1.19839281085285, 1, -1.69065929318241, 0.73248077421585]
    low_cut = [1, -2, 1, 1, -1.99004745483398, 0.99007225036621]
    assert k_weighting(48_000) == pytest.approx(np.array([shelf, low_cut]), abs=1e-9)


@pytest.mark.parametrize("rate_hz", [32_000, 44_100, 96_000, 192_000])
def test_k_weighting_is_the_same_at_other_rates(rate_hz: int) -> None:
    """Other rates must have the same response (Annex 1); bilinear transforms deviate near half the rate."""
    at_hz = np.array([20.0, 50, 100, 200, 500, 997, 2000, 4000])
    here = signal.sosfreqz(k_weighting(rate_hz), at_hz, fs=rate_hz)[1]
    there = signal.sosfreqz(k_weighting(48_000), at_hz, fs=48_000)[1]
    assert 20 * np.log10(abs(here / there)) == pytest.approx(np.zeros(8), abs=0.1)


@pytest.mark.parametrize("way", WAYS)
def test_a_sine_of_997_hz_reads_its_level(way: str) -> None:
    """BS.1770-4 Annex 1: 0 dBFS of 997 Hz in one channel reads -3.01 LKFS."""
    samples = np.stack([sine(0, 10, 997), np.zeros(10 * RATE_HZ)], axis=1)
    assert heard(samples, way).lufs == pytest.approx(-3.01, abs=0.01)


def test_channels_weigh_as_the_table_says() -> None:
    """BS.1770-4 tables 3 and 4: surrounds 1.41, no low-frequency channel."""
    assert channel_weights(1).tolist() == [1]
    assert channel_weights(6).tolist() == [1, 1, 1, 0, 1.41, 1.41]
    lfe = np.zeros((5 * RATE_HZ, 6))
    lfe[:, 3] = sine(0, 5, 60)
    assert heard(lfe, "compiled").lufs is None
