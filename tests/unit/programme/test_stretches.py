"""The loudest stretches of a track, from its distributions, against every stretch of the windows themselves."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from programme_made import band_of_windows as band

from gainwright.programme import loudest_stretches, worst_100ms


def programme(kind: str) -> np.ndarray:
    """Return mean squares of 100 ms over two minutes."""
    rng, at = np.random.default_rng(3), np.arange(1200)
    if kind == "beats":
        return np.where(at % 5 == 0, 0.4, 0.004)
    if kind == "passages":
        return np.where(at % 400 < 150, 0.3, 0.01) * rng.uniform(0.7, 1.3, 1200)
    return rng.exponential(0.05, 1200)


@pytest.mark.parametrize("kind", ["beats", "passages", "noise"])
def test_no_stretch_holds_more(kind: str) -> None:
    """Of 0.1 s to two minutes, beginning with any window; played twice, as much again."""
    squares = programme(kind)
    sums = np.concatenate([[0.0], np.cumsum(squares)]) / 10
    lengths = np.array([1, 2, 5, 9, 10, 15, 30, 77, 150, 400, 1000, 1190, 1200])
    bound = loudest_stretches(band(squares), lengths / 10)
    most = np.array([np.max(sums[n:] - sums[:-n]) for n in lengths])
    assert np.all(bound >= most * (1 - 1e-9))
    assert bound[-1] == pytest.approx(most[-1], rel=0.024)  # a step of 0.1 dB
    assert loudest_stretches(band(squares), np.array([240.0]))[0] == pytest.approx(2 * bound[-1])
    assert worst_100ms(band(squares)) == pytest.approx(squares.max(), rel=0.024)


def test_beats_are_not_taken_as_one_long_beat() -> None:
    """Half a minute of beats is bounded by its seconds, within a tenth, not by beats that follow each other without a pause."""
    squares = programme("beats")
    held = loudest_stretches(band(squares), np.array([30.0]))[0]
    assert held < 1.1 * 30 * squares.mean()


def test_a_track_without_a_window_holds_nothing() -> None:
    """An empty file, and silence."""
    empty = dataclasses.replace(band(np.zeros(5)), power_100ms=np.zeros(1400, dtype=np.int64))
    assert loudest_stretches(empty, np.array([1.0, 10.0])) == pytest.approx([0.0, 0.0])
    assert worst_100ms(empty) == 0.0
    assert loudest_stretches(band(np.zeros(50)), np.array([1.0]))[0] < 1e-11
