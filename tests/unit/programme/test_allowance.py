"""The choice of an allowance: it keeps its limits, only rises as they are loosened, and names the tracks that limit it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from programme_made import RATE_HZ, band_of, part_of

from gainwright.programme import AllowanceRow, Limits, SpeakerLoad, TrackBand, clipping_at, evaluate_allowances

TRACKS = st.lists(
    st.lists(st.floats(-1.5, 1.5, width=32, allow_subnormal=False), min_size=2, max_size=40), min_size=1, max_size=4
)


UNDER_ROUNDING_DB = -110
"""Products so small that rounding of their sums shows."""


def _products(row: AllowanceRow) -> float:
    return -math.inf if row.distortion_power_db is None else row.distortion_power_db


def _parts(tracks: list[list[float]]) -> list[TrackBand]:
    return [part_of(f"t{i}", np.array(track)) for i, track in enumerate(tracks)]


@settings(max_examples=60, deadline=None)
@given(tracks=TRACKS, percent=st.floats(0, 50), products=st.floats(-80, -1))
def test_more_allowance_never_clips_less(tracks: list[list[float]], percent: float, products: float) -> None:
    """Clipped time, products and power re a tone only rise with the allowance; the choice keeps its limits, the next step doesn't."""
    found = evaluate_allowances(_parts(tracks), limits=Limits(percent, products), drive=SpeakerLoad("s", 100.0, None))
    for less, more in zip(found.rows, found.rows[1:], strict=False):
        assert more.clipped_time_percent >= less.clipped_time_percent - 1e-9
        assert _products(more) >= _products(less) - 1e-6 or _products(less) < UNDER_ROUNDING_DB
        assert (more.mean_power_w or 0) >= (less.mean_power_w or 0) - 1e-9
    for row in found.rows:
        low, high = row.clipped_time_percent_low, row.clipped_time_percent_high
        assert low - 1e-9 <= row.clipped_time_percent <= high + 1e-9

    def keeps(db: float) -> bool:
        row = found.row(db)
        return row.clipped_time_percent <= percent and _products(row) <= products

    assert keeps(found.choice.db) == found.choice.kept
    if found.choice.decided_by != "range" and found.choice.kept:
        assert not keeps(found.choice.db + 0.5)


@settings(max_examples=40, deadline=None)
@given(tracks=TRACKS, percent=st.floats(0.01, 20))
def test_looser_limits_never_allow_less(tracks: list[list[float]], percent: float) -> None:
    """Twice the clipped time and 6 dB more products allow at least as much."""
    parts = _parts(tracks)
    tight, loose = (
        evaluate_allowances(parts, limits=Limits(percent, -40)),
        evaluate_allowances(parts, limits=Limits(2 * percent, -34)),
    )
    assert loose.choice.db >= tight.choice.db


def _noise(sigma: float, seconds: float = 4.0, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, sigma, round(seconds * RATE_HZ))


def test_limiting_track_of_a_list_is_named() -> None:
    """Of one loud and two soft tracks it is the loud one."""
    parts = [part_of("soft", _noise(0.02)), part_of("loud", _noise(0.2)), part_of("other", _noise(0.03))]
    found = evaluate_allowances(parts)
    assert found.choice.tracks == ("loud",)
    assert found.choice.decided_by in ("clipped_time", "distortion")
    assert found.choice.db < evaluate_allowances(parts[:1]).choice.db


def test_power_is_judged_by_the_worst_track() -> None:
    """A square wave has 3.01 dB more power than a sine of the same peak; over the rating it decides, however short it is."""
    square = np.sign(np.sin(2 * np.pi * 50 * (np.arange(RATE_HZ) + 0.5) / RATE_HZ)) * 0.5
    parts = [part_of("square", square), part_of("soft", _noise(0.01, seconds=60))]
    found = evaluate_allowances(parts, drive=SpeakerLoad("sub", 100.0, 110.0), limits=Limits(100, 0))
    assert found.choice.decided_by == "mean_power"
    assert found.choice.tracks == ("square",)
    row = found.row(6.5)  # its ceiling is just under the square's height, so that it is as much as there can be
    assert row.worst_track_power_w == pytest.approx(200.0, rel=0.02)
    assert row.mean_power_w == pytest.approx(200.0 / 61, rel=0.2)
    # the largest allowance at which 0.25 of full scale squared over c^2 / 2 stays under 1.1: c^2 >= 0.4545, A <= 3.42 dB
    assert found.choice.db == 3.0


def test_silence_allows_everything() -> None:
    """Every allowance that is tried, and silence has neither crest nor products."""
    found = evaluate_allowances([part_of("silence", np.zeros(1000))])
    assert (found.choice.db, found.choice.decided_by, found.choice.kept) == (20.0, "range", True)
    assert found.crest_db is None
    assert {row.distortion_power_db for row in found.rows} == {None}


def test_track_over_full_scale_is_reported() -> None:
    """A track over full scale all the time keeps no limit, not even at 0 dB."""
    found = evaluate_allowances([part_of("over", 1.4 * np.sign(_noise(1.0)))])
    assert (found.choice.db, found.choice.kept, found.choice.tracks) == (0.0, False, ("over",))


def test_invalid_calls_are_refused() -> None:
    """No track, and a ceiling of zero, are errors and not answered."""
    with pytest.raises(ValueError, match="track"):
        evaluate_allowances([])
    with pytest.raises(ValueError, match="ceiling"):
        clipping_at(band_of(np.ones(3)), np.array([0.0]))
