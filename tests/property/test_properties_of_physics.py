"""Properties of the formulas for all numbers: sums, orders, inverses and bounds."""

from __future__ import annotations

import itertools
from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gainwright import physics
from gainwright.physics import SLOPES_DB_PER_OCTAVE

FILTERS = [(shape, slope) for shape, slopes in SLOPES_DB_PER_OCTAVE.items() for slope in slopes]

audio_hz = st.floats(1.0, 24e3)
gain_db = st.floats(-24.0, 24.0)
some_q = st.floats(0.1, 20.0)
kinds: st.SearchStrategy[Literal["low", "high"]] = st.sampled_from(["low", "high"])


@given(frequency_hz=audio_hz, corner_hz=audio_hz, order=st.sampled_from([4, 8]))
def test_linkwitz_riley_sums_to_unity(frequency_hz: float, corner_hz: float, order: int) -> None:
    """Low-pass and high-pass of order 4 or 8 sum to magnitude 1 at every frequency (Linkwitz 1976), except for rounding."""
    common: dict[str, Any] = {"frequency_hz": frequency_hz, "corner_hz": corner_hz, "order": order}
    low = physics.linkwitz_riley_response(**common, kind="low")
    total = low + physics.linkwitz_riley_response(**common, kind="high")
    assert abs(complex(total)) == pytest.approx(1.0, rel=1e-11)


@given(frequency_hz=audio_hz, corner_hz=audio_hz, order=st.integers(1, 8))
def test_butterworth_splits_power(frequency_hz: float, corner_hz: float, order: int) -> None:
    """The powers of a Butterworth low-pass and high-pass of the same order sum to 1."""
    common: dict[str, Any] = {"frequency_hz": frequency_hz, "corner_hz": corner_hz, "order": order}
    parts = [abs(complex(physics.butterworth_response(**common, kind=kind))) ** 2 for kind in ("low", "high")]
    assert sum(parts) == pytest.approx(1.0, rel=1e-11)


@given(which=st.sampled_from(FILTERS), kind=kinds, corner_hz=audio_hz, tones=st.lists(audio_hz, min_size=2, max_size=5))
def test_filters_never_amplify_and_attenuate_monotonically(
    which: tuple[str, int], kind: Literal["low", "high"], corner_hz: float, tones: list[float]
) -> None:
    """No crossover filter amplifies, and its loss never falls as the tone moves away from its pass band."""
    tones.sort(reverse=kind == "high")
    response = physics.filter_response(
        shape=which[0], slope_db_per_octave=which[1], corner_hz=corner_hz, kind=kind, frequency_hz=np.array(tones)
    )
    sizes = np.abs(response)
    assert np.all(sizes <= 1 + 1e-12)
    assert all(later <= earlier * (1 + 1e-12) for earlier, later in itertools.pairwise(sizes))


@given(which=st.sampled_from(FILTERS), kind=kinds, tone_hz=audio_hz, loss_db=st.floats(0.001, 150.0))
def test_corner_for_loss_is_the_inverse(
    which: tuple[str, int], kind: Literal["low", "high"], tone_hz: float, loss_db: float
) -> None:
    """A filter with the corner found has the loss that was asked for."""
    named: dict[str, Any] = {"shape": which[0], "slope_db_per_octave": which[1], "kind": kind}
    corner_hz = physics.corner_for_loss(**named, frequency_hz=tone_hz, loss_db=loss_db)
    response = physics.filter_response(**named, corner_hz=corner_hz, frequency_hz=tone_hz)
    assert -20 * np.log10(abs(complex(response))) == pytest.approx(loss_db, rel=1e-9, abs=1e-9)


@given(frequency_hz=audio_hz, corner_hz=audio_hz, gain_db=gain_db, q=some_q)
def test_a_cut_undoes_a_boost(frequency_hz: float, corner_hz: float, gain_db: float, q: float) -> None:
    """A band of the opposite gain is the exact inverse of a peak or shelf of the cookbook."""
    common: dict[str, Any] = {"frequency_hz": frequency_hz, "q": q}
    for function, place in (
        (physics.peak_response, "centre_hz"),
        (physics.low_shelf_response, "corner_hz"),
        (physics.high_shelf_response, "corner_hz"),
    ):
        both = function(**common, **{place: corner_hz}, gain_db=gain_db) * function(
            **common, **{place: corner_hz}, gain_db=-gain_db
        )
        assert complex(both) == pytest.approx(1.0, rel=1e-9)


@given(depths_db=st.lists(st.floats(-20.0, 60.0), min_size=2, max_size=6, unique=True))
def test_all_levels_rise_with_drive(depths_db: list[float]) -> None:
    """Fundamental, rms, rectified mean and THD never fall as a sine is driven harder, and stay below those of a square wave."""
    drive = 10 ** (np.sort(depths_db) / 20)
    for function, most in (
        (physics.clipped_sine_fundamental, 4 / np.pi),
        (physics.clipped_sine_rms, 1.0),
        (physics.clipped_sine_mean_abs, 1.0),
        (physics.clipped_sine_thd, np.sqrt(np.pi**2 / 8 - 1)),
    ):
        values = function(drive=drive)
        assert np.all(np.diff(values) >= -1e-9)  # rounding: 2e-16 of the drive, under a root
        assert np.all(values <= most * (1 + 1e-9))
    assert np.all(physics.clipped_sine_thd(drive=drive[drive <= 1]) == 0)


@given(thd=st.floats(1e-4, 0.48))
def test_drive_for_thd_is_the_inverse(thd: float) -> None:
    """The drive found gives the THD that was asked for."""
    assert float(physics.clipped_sine_thd(drive=physics.drive_for_thd(thd=thd))) == pytest.approx(thd, rel=1e-6)


@given(
    loads=st.lists(st.sampled_from([1.0, 2.0, 3.0, 4.0, 8.0]), min_size=1, max_size=4, unique=True),
    powers=st.lists(st.floats(10.0, 2000.0), min_size=4, max_size=4),
    real=st.lists(st.floats(0.1, 1e5), min_size=2, max_size=6),
)
def test_a_ceiling_meets_its_ratings_and_stays_between_them(
    loads: list[float], powers: list[float], real: list[float]
) -> None:
    """At a rated load the ceiling is the rating; between loads it lies between ratings; the order of ratings doesn't matter."""
    ratings_v = np.sqrt(np.array(powers[: len(loads)]) * loads)
    common: dict[str, Any] = {"ratings_load_ohm": np.array(loads), "ratings_v": ratings_v}
    at_ratings = physics.loaded_ceiling(**common, load_ohm=np.array(loads))
    np.testing.assert_allclose(at_ratings, ratings_v, rtol=1e-9)
    ceilings = physics.loaded_ceiling(**common, load_ohm=np.array(real))
    assert np.all(ceilings <= ratings_v.max() * (1 + 1e-12))
    assert np.all(ceilings[np.array(real) >= min(loads)] >= ratings_v.min() * (1 - 1e-12))
    turned: dict[str, Any] = {"ratings_load_ohm": np.array(loads[::-1]), "ratings_v": ratings_v[::-1]}
    np.testing.assert_array_equal(physics.loaded_ceiling(**turned, load_ohm=np.array(real)), ceilings)


@given(level=st.floats(-200.0, 100.0))
def test_level_conversions_are_inverses(level: float) -> None:
    """A ratio and its decibels are inverses of each other."""
    assert float(physics.db_from_ratio(ratio=physics.ratio_from_db(db=level))) == pytest.approx(level, abs=1e-9)


@given(resistances=st.lists(st.floats(0.01, 1e6), min_size=1, max_size=6))
def test_parallel_is_at_most_the_smallest(resistances: list[float]) -> None:
    """Resistances in parallel are at most the smallest, and at least the smallest divided by their number."""
    together, least = float(physics.parallel(*resistances)), min(resistances)
    assert least / len(resistances) * (1 - 1e-12) <= together <= least * (1 + 1e-12)


@given(levels_db=st.lists(st.floats(-150.0, 150.0), min_size=1, max_size=6))
def test_sum_of_powers_is_at_least_the_largest(levels_db: list[float]) -> None:
    """Uncorrelated signals together are at least the loudest and at most that many times it."""
    total, most = float(physics.sum_of_powers_db(levels_db=levels_db)), max(levels_db)
    assert most - 1e-9 <= total <= most + 10 * np.log10(len(levels_db)) + 1e-9


@given(level_dba=st.floats(60.0, 130.0), more_db=st.floats(0.1, 20.0))
def test_louder_is_allowed_for_less_time(level_dba: float, more_db: float) -> None:
    """Every rule allows less time at a higher level, and NIOSH never more than OSHA from 85 dBA up."""
    assume(level_dba + more_db <= 130)
    for function in (physics.niosh_permissible_time_s, physics.osha_permissible_time_s):
        assert float(function(level_dba=level_dba + more_db)) < float(function(level_dba=level_dba))
    loud = max(level_dba, 85.0)
    assert float(physics.niosh_permissible_time_s(level_dba=loud)) <= float(
        physics.osha_permissible_time_s(level_dba=loud)
    )
