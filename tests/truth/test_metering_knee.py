"""The knee from a meter alone, against blind simulations written for this test and closed forms of clipped sines.

The simulation makes a waveform of each step by brute force (a sine cut hard, or bent by tanh-free powers, on 2048
points), reads it with a meter of its own (ranges, gain errors, rounding), and knows what is true by THD of the waveform.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from meter_columns import column, knee, waveform
from scipy import optimize
from tapered_columns import TUNING, found_with_lower, scored, tapered

from gainwright.metering import MeterKind, find_knee
from gainwright.metering.compression_curves import HARD, compression_curve

CASES = 60


def thd(wave: np.ndarray) -> float:
    """Return harmonics over fundamental by Fourier transform."""
    lines = np.abs(np.fft.rfft(wave))
    return float(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])


@dataclass(frozen=True)
class Truth:
    """A simulated column of readings and what lies behind it."""

    steps: np.ndarray
    readings: np.ndarray
    last_clean: float
    onset: float
    ceiling: float
    per_step: float


def simulated(rng: np.random.Generator, *, true_rms: bool, soft: bool, uneven_db: float) -> Truth:
    """Return a column with hidden parameters: 1 to 2 dB a step, a 1 % meter of 6000 counts, a knee 2.5 to 9 steps from the end."""
    per_step, count = rng.uniform(1, 2), int(rng.integers(16, 31))
    touching = rng.uniform(count - 9, count - 2.5)
    sharpness = 1 / rng.uniform(0.06, 0.28) if soft else HARD
    peak_v = 10 ** rng.uniform(-0.3, 1.6) * math.sqrt(2)
    steps = np.arange(1.0, count + 1)
    drive_db = per_step * (steps - touching) + uneven_db * rng.normal(size=count)
    waves = [waveform(10 ** (d / 20), sharpness) for d in drive_db]
    shown = np.array(
        [np.sqrt(np.mean(w**2)) if true_rms else np.mean(np.abs(w)) * math.pi / math.sqrt(8) for w in waves]
    )
    volts = peak_v * shown
    digits = 10.0 ** np.maximum(np.ceil(np.log10(volts / 6000)), -4)
    common, apart = rng.uniform(-1, 1), rng.random() < 0.5
    gains = {d: 1 + 0.01 * (rng.uniform(-1, 1) if apart else common) for d in np.unique(digits)}
    read = volts * np.array([gains[d] for d in digits]) * (1 + 0.001 * rng.normal(size=count))
    read = np.round((read + rng.uniform(-3, 3, count) * digits) / digits) * digits
    limit_db = float(optimize.brentq(lambda d: thd(waveform(10 ** (d / 20), sharpness)) - 0.01, -25.0, 1.0))
    clean = waveform(10 ** (limit_db / 20), sharpness)
    keep = read > 5 * digits
    return Truth(
        steps[keep],
        read[keep],
        float(steps[drive_db <= limit_db][-1]),
        touching + limit_db / per_step,
        # the rms at the limit, less the 0.2016 dB by which a hard-cut sine of 1 % THD passes the one that just touches
        peak_v * float(np.sqrt(np.mean(clean**2))) * 10 ** (-0.20154 / 20),
        per_step,
    )


@pytest.mark.parametrize(
    "kind",
    [
        {"true_rms": True, "soft": False, "uneven_db": 0.0},
        {"true_rms": False, "soft": False, "uneven_db": 0.0},
        {"true_rms": True, "soft": True, "uneven_db": 0.0},
        {"true_rms": True, "soft": False, "uneven_db": 0.1},
    ],
    ids=["hard", "average", "soft", "uneven"],
)
def test_blind_columns(kind: dict[str, Any]) -> None:
    """The last clean step in 9 of 10, never more than one too high; 95 % intervals have their stated coverage."""
    rng = np.random.default_rng(20)
    exact, held = 0, np.zeros(3)
    for _ in range(CASES):
        truth = simulated(rng, **kind)
        found = find_knee(truth.steps, truth.readings, meter=MeterKind("rms" if kind["true_rms"] else "average"))  # type: ignore[arg-type]
        assert found.found
        assert found.last_clean_step is not None
        assert found.last_clean_step <= truth.last_clean + 1
        exact += found.last_clean_step == truth.last_clean
        pairs = (
            (found.onset, truth.onset),
            (found.ceiling, truth.ceiling),
            (found.rise, truth.per_step),
        )
        held += [i is not None and i.low <= true <= i.high for i, true in pairs]
    assert exact >= 0.9 * CASES
    assert np.all(held >= (0.95 - 3 * math.sqrt(0.95 * 0.05 / CASES)) * CASES), held / CASES


@pytest.mark.parametrize("true_rms", [True, False])
@pytest.mark.parametrize("sharpness", [HARD, 1 / 0.15])
@pytest.mark.parametrize("drive_db", [-20.0, -3.0, 0.0, 0.25, 1.0, 6.0, 20.0])
def test_bends_are_what_a_meter_shows(true_rms: bool, sharpness: float, drive_db: float) -> None:
    """Tables against brute-force waveforms; a 1 dB clip reads 0.6335 dB over the ceiling (table of clipped sines)."""
    shape = compression_curve(
        next(s for s in (sharpness, HARD) if s == sharpness), shows="rms" if true_rms else "average"
    )
    wave = waveform(10 ** (drive_db / 20), sharpness)
    reading = np.sqrt(np.mean(wave**2)) if true_rms else np.mean(np.abs(wave)) * math.pi / math.sqrt(8)
    assert float(shape.shown(drive_db)) == pytest.approx(20 * math.log10(reading * math.sqrt(2)), abs=2e-3)
    if math.isinf(sharpness) and true_rms and drive_db == 1.0:
        assert float(shape.shown(drive_db)) == pytest.approx(0.6335, abs=1e-3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_missing_step_at_the_knee_is_requested(seed: int) -> None:
    """With 14, 15 and 16 missing and the onset at 15, that step is asked for; with it the last clean step is known.

    1 % THD lies 0.251261 dB over the hard ceiling (closed form): 14.9 and an eighth of a step of 2 dB are 15.03.
    """
    steps, volts = column(22, 14.9, 2.0)
    volts *= 1 + 0.004 * np.random.default_rng(seed).normal(size=len(volts))
    kept = [s not in (14, 15, 16) for s in steps]
    found = knee(steps[kept], volts[kept])
    assert (found.advice, found.next_step) == ("measure_between", 15)
    kept = [s not in (14, 16) for s in steps]
    found = knee(steps[kept], volts[kept])
    assert (found.advice, found.last_clean_step) == ("enough", 15)


@pytest.mark.parametrize("taper", ["growing", "two", "three"])
def test_tapered_columns(taper: str) -> None:
    """Steps that grow, or come in two or three sizes: right, nothing refused, good readings not suspected (bench/knee.py has many)."""
    for seed in range(TUNING[0], TUNING[0] + 3):
        column = tapered(seed, taper)
        knee_found, _ = found_with_lower(column)
        assert scored(knee_found, column) == "right"
        assert not knee_found.outliers


def test_column_with_the_tone_lower_decides() -> None:
    """A rounded ceiling on a growing taper: asked for, and then known to a quarter of a step."""
    column = tapered(105, "growing")
    steps, volts = column.read()
    first = find_knee(steps, volts, meter=MeterKind("average", accuracy=0.005, full_counts=4000))
    assert (first.advice, first.lower_db) == ("read_lower", 10)
    assert first.next_step == first.lower_steps[0] < column.onset < first.lower_steps[-1]
    second, asked = found_with_lower(column)
    assert asked
    assert second.onset is not None
    assert second.onset.low <= column.onset <= second.onset.high
    assert second.onset.high - second.onset.low < 0.5
    assert second.advice == "enough"


@pytest.mark.parametrize(("taper", "seed"), [("three", 117), ("growing", 132)])
def test_a_column_alone_misleads(taper: str, seed: int) -> None:
    """Steps that shrink where the ceiling is; a reading at the end of the meter's range that the next one showed."""
    column = tapered(seed, taper)
    knee_found, asked = found_with_lower(column)
    assert asked
    assert scored(knee_found, column) == "right"


@pytest.mark.parametrize(("taper", "seed"), [("growing", 5006), ("growing", 5015)])
def test_a_bend_that_is_no_power_of_the_drive(taper: str, seed: int) -> None:
    """A parabola and a tanh after a straight part: fits of powers alone were a step late."""
    column = tapered(seed, taper)
    knee_found, _ = found_with_lower(column)
    assert scored(knee_found, column) == "right"


@pytest.mark.parametrize("response", ["true-rms", "average"])
def test_unknown_meter_weighs_both_responses(response: str) -> None:
    """The last clean step stays right where nobody knows how the meter responds."""
    column = tapered(TUNING[0], "even", response=response)
    steps, volts = column.read()
    assert find_knee(steps, volts, meter=MeterKind("unknown")).last_clean_step == column.last_clean


def test_another_limit_moves_the_onset_by_its_drive() -> None:
    """0.1, 1 and 10 % THD are 0.036677, 0.251261 and 2.173141 dB above a hard ceiling (inverse of the closed form)."""
    steps, volts = column(25, 15.3, 1.0)
    onsets = {}
    for limit in (0.001, 0.01, 0.1):
        found = knee(steps, volts, limit_thd=limit)
        assert found.onset_step is not None
        onsets[limit] = found.onset_step
    assert onsets[0.1] - onsets[0.01] == pytest.approx(2.173141 - 0.251261, abs=0.06)
    assert onsets[0.01] - onsets[0.001] == pytest.approx(0.251261 - 0.036677, abs=0.06)
