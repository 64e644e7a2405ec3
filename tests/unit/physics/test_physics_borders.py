"""The limits of the formulas: what they refuse, edge cases, shapes and documentation."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Callable

FUNCTIONS = {name: value for name in physics.__all__ if callable(value := getattr(physics, name))}
TONE: dict[str, Any] = {"frequency_hz": 100.0, "corner_hz": 80.0}


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: physics.butterworth_response(**TONE, order=0, kind="low"), "1 to 8, not 0"),
        (lambda: physics.butterworth_response(**TONE, order=9, kind="low"), "1 to 8, not 9"),
        (lambda: physics.bessel_response(**TONE, order=2.5, kind="low"), "1 to 8, not 2.5"),  # type: ignore[arg-type]
        (lambda: physics.butterworth_response(**TONE, order=2, kind="band"), "low or high"),  # type: ignore[arg-type]
        (lambda: physics.linkwitz_riley_response(**TONE, order=3, kind="low"), "2, 4, 6, 8, not 3"),
        (
            lambda: physics.filter_response(**TONE, shape="linkwitz-riley", slope_db_per_octave=18, kind="low"),
            "there is no filter linkwitz-riley 18",
        ),
        (
            lambda: physics.filter_response(**TONE, shape="butterworth", slope_db_per_octave=54, kind="low"),
            "there is no filter butterworth 54",
        ),
        (
            lambda: physics.filter_response(**TONE, shape="elliptic", slope_db_per_octave=24, kind="low"),
            "there is no filter elliptic 24",
        ),
        (
            lambda: physics.corner_for_loss(
                shape="bessel", slope_db_per_octave=24, kind="low", frequency_hz=1e3, loss_db=0.0
            ),
            "between 0 and 240 dB, not 0",
        ),
        (
            lambda: physics.corner_for_loss(
                shape="elliptic", slope_db_per_octave=24, kind="low", frequency_hz=1e3, loss_db=1.0
            ),
            "there is no filter elliptic 24",
        ),
        (lambda: physics.clipped_sine_harmonic(drive=2.0, order=0), "counted from 1"),
        (lambda: physics.drive_for_thd(thd=0.5), "between 0 and 0.4834, not 0.5"),
        (lambda: physics.drive_for_thd(thd=float("nan")), "not nan"),
        (physics.parallel, "nothing to put in parallel"),
        (lambda: physics.loaded_ceiling(ratings_load_ohm=[4, 4], ratings_v=[20, 21], load_ohm=3), "same load"),
        (lambda: physics.class_d_power(mean_square_v2=1, load_ohm=1, efficiency=75), "ratio above 0 and up to 1"),
        (lambda: physics.boat_ampacity_a(gauge=22, insulation_c=105, engine_space=False), "no gauge 22"),
        (lambda: physics.boat_ampacity_a(gauge=8, insulation_c=60, engine_space=True), "there is no factor here"),
        (
            lambda: physics.speaker_spl(
                sensitivity_db=88,
                reference="1 V",  # type: ignore[arg-type]
                voltage_v=1,
                impedance_ohm=4,
                distance_m=1,
            ),
            "2.83 V or 1 W",
        ),
    ],
)
def test_values_out_of_range_are_refused(call: Callable[[], Any], says: str) -> None:
    """The error says what would be valid."""
    with pytest.raises(ValueError, match=re.escape(says)):
        call()


@pytest.mark.parametrize("shape", physics.SLOPES_DB_PER_OCTAVE)
def test_filters_at_direct_current(shape: str) -> None:
    """At 0 Hz a low-pass has gain 1 and a high-pass 0, without a warning."""
    for slope in physics.SLOPES_DB_PER_OCTAVE[shape]:
        common: dict[str, Any] = {"shape": shape, "slope_db_per_octave": slope, "corner_hz": 80.0, "frequency_hz": 0.0}
        assert complex(physics.filter_response(**common, kind="low")) == pytest.approx(1.0, abs=1e-12)
        assert complex(physics.filter_response(**common, kind="high")) == 0.0


def test_batch_and_harmonics_broadcast() -> None:
    """Corners of shape (batch, 1) and frequencies of shape (1, harmonics) give (batch, harmonics), each cell independent."""
    corner_hz, frequency_hz = np.array([[60.0], [80.0], [100.0]]), 40.0 * np.arange(6)[None]
    for shape, slope in (("butterworth", 18), ("linkwitz-riley", 24), ("bessel", 30)):
        named: dict[str, Any] = {"shape": shape, "slope_db_per_octave": slope, "kind": "high"}
        both = physics.filter_response(**named, corner_hz=corner_hz, frequency_hz=frequency_hz)
        assert both.shape == (3, 6)
        assert both.dtype == np.complex128
        alone = physics.filter_response(**named, corner_hz=80.0, frequency_hz=120.0)
        assert complex(both[1, 3]) == pytest.approx(complex(alone), rel=1e-14)
    bands = physics.peak_response(
        frequency_hz=frequency_hz, centre_hz=corner_hz, gain_db=np.array([[3.0], [6.0], [9.0]]), q=1.0
    )
    assert bands.shape == (3, 6)
    shelves = physics.low_shelf_response(frequency_hz=50.0, corner_hz=80.0, gain_db=[3.0, 6.0], q=0.7)
    assert shelves.shape == (2,)


def test_ceilings_broadcast_over_the_batch() -> None:
    """Ratings of shape (batch, ratings), shared or each with its own loads, meet loads of shape (batch,)."""
    ratings_v = np.array([[30.0, 34.0], [31.0, 36.0]])
    shared = physics.loaded_ceiling(ratings_load_ohm=[2.0, 4.0], ratings_v=ratings_v, load_ohm=np.array([2.0, np.inf]))
    np.testing.assert_allclose(shared, [30.0, 36.0])
    own = physics.loaded_ceiling(
        ratings_load_ohm=[[2.0, 4.0], [8.0, 4.0]], ratings_v=ratings_v, load_ohm=np.array([1.0, 4.0])
    )
    np.testing.assert_allclose(own, [15.0, 36.0])
    single = physics.loaded_ceiling(ratings_load_ohm=[4.0], ratings_v=[20.0], load_ohm=np.array([0.0, 2.0, 4.0, 8.0]))
    np.testing.assert_allclose(single, [0.0, 10.0, 20.0, 20.0])


def test_sines_under_the_ceiling_are_unclipped() -> None:
    """Drives from 0 to 1 leave a sine: its own peak, rms and mean, no harmonics, and no warning at 0."""
    drive = np.array([0.0, 0.3, 1.0])
    np.testing.assert_array_equal(physics.clipped_sine_fundamental(drive=drive), drive)
    np.testing.assert_allclose(physics.clipped_sine_rms(drive=drive), drive / np.sqrt(2))
    np.testing.assert_allclose(physics.clipped_sine_mean_abs(drive=drive), 2 / np.pi * drive)
    np.testing.assert_array_equal(physics.clipped_sine_thd(drive=drive), 0)
    np.testing.assert_array_equal(physics.clipped_sine_harmonic(drive=drive, order=3), 0)


def test_open_and_shorted_loads() -> None:
    """An open load passes all of a voltage and a short none; shorts and opens are valid in parallel."""
    assert float(physics.divider(source_ohm=600, load_ohm=np.inf)) == 1.0
    assert float(physics.divider(source_ohm=600, load_ohm=0)) == 0.0
    assert float(physics.parallel(4, np.inf)) == 4.0
    assert float(physics.parallel(4, 0)) == 0.0
    assert float(physics.parallel(np.inf, np.inf)) == np.inf
    assert float(physics.db_from_ratio(ratio=0)) == -np.inf


def test_import_loads_numpy_and_nothing_heavy() -> None:
    """Importing the formulas loads no scipy, pint, numba or drawing library."""
    code = "import sys, gainwright.physics; print(sorted({n.split('.')[0] for n in sys.modules}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    for heavy in ("scipy", "pint", "numba", "soundfile", "control", "pydantic"):
        assert f"'{heavy}'" not in done.stdout


@pytest.mark.parametrize("name", FUNCTIONS)
def test_physical_arguments_are_named(name: str) -> None:
    """Every argument is keyword-only (except resistances in parallel), so that they can't be swapped."""
    kinds = {parameter.kind for parameter in inspect.signature(FUNCTIONS[name]).parameters.values()}
    assert kinds == ({inspect.Parameter.VAR_POSITIONAL} if name == "parallel" else {inspect.Parameter.KEYWORD_ONLY})


def test_every_formula_is_documented(tree: Path) -> None:
    """The section Formulas of docs/model.md has a row for each formula and no others."""
    text = (tree / "docs" / "model.md").read_text(encoding="utf-8")
    section = text.split("\n## Formulas\n")[1].split("\n## ")[0]
    told = set(re.findall(r"^\| `(\w+)` \|", section, flags=re.MULTILINE))
    assert told == set(FUNCTIONS)
