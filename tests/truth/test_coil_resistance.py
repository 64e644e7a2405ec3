"""What a meter reads of a speaker: the DC resistance of measured drivers, or the job's own, on the plan and on the rig."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.diagnose import Cause
from gainwright.diagnose.answers import AnswerModel
from gainwright.diagnose.ensemble import Ensemble
from gainwright.diagnose.observer import Observer
from gainwright.jobfile import example_text, instruments, read_job_text
from gainwright.plan import Expect, make_plan
from gainwright.simulated import Rig
from gainwright.solve import Chain

COILS = "coils: 2 x 4 ohm parallel"
TEXT = example_text("one_amplifier").replace("from: amp, impedance: 4 ohm", f"from: amp, {COILS}")
SHARES = (0.59, 0.75, 0.877)
"""DC resistance over nominal impedance at 5, 50 and 95 % of 444 measured drivers (collected data, not published)."""
RIGS = 300


def expected(text: str) -> Expect:
    """Return what the plan expects of the subwoofer's resistance."""
    found = next(s.expect for s in make_plan(read_job_text(text).job).steps if s.id == "speaker.sub")
    assert found is not None
    return found


def read(text: str) -> np.ndarray:
    """Return the resistance on rigs with other hidden numbers, ohm."""
    job = read_job_text(text).job
    return np.array([Rig(job, seed=seed).speaker_resistance("sub") for seed in range(RIGS)])


def test_the_rig_has_the_coils_of_measured_drivers() -> None:
    """Quantiles of 300 rigs against the data's, within three standard errors of a quantile (about 0.03) and the lead."""
    ohms = read(TEXT) - 0.06
    assert np.quantile(ohms / 2.0, [0.05, 0.5, 0.95]) == pytest.approx(SHARES, abs=0.035)


def test_nineteen_of_twenty_sound_speakers_read_as_the_plan_expects() -> None:
    """The interval holds 95 % of the rigs, and neither a short, coils in series (four times) nor one open coil (twice)."""
    found, ohms = expected(TEXT), read(TEXT)
    inside = float(np.mean((ohms >= found.low) & (ohms <= found.high)))
    assert inside > 0.93
    assert found.low > 0.5 * 0.59 * 2
    assert found.high < 4 * 0.59 * 2
    assert found.value == pytest.approx(0.75 * 2, abs=0.1)


def test_a_given_resistance_is_wired_as_the_coils_are() -> None:
    """Two coils of 3.4 ohm in parallel read 1.7 ohm, in series 6.8 ohm, plus the lead (Kirchhoff)."""
    given = TEXT.replace(COILS, COILS + ", re: 3.4 ohm")
    assert given != TEXT
    assert expected(given).value == pytest.approx(1.7, abs=0.1)
    assert read(given) == pytest.approx(1.7, abs=0.12)
    series = given.replace("parallel", "series")
    assert expected(series).value == pytest.approx(6.8, abs=0.1)
    assert expected(given).high < expected(series).low


def test_the_diagnosis_draws_the_coil_as_measured() -> None:
    """A load of 0.15 to 0.6 of the job's, evenly, reads as a short where load times share is under 0.15 of the median's.

    By integration over the measured quantiles: 2.6 of 100; with the median for every coil it would be none.
    """
    job = read_job_text(example_text("one_amplifier")).job
    causes = [(Cause("nothing_wrong", ""),), (Cause("load_too_low", "amp"),)]
    ensemble = Ensemble(Chain(job), causes, draws=1000, seed=1)
    found = AnswerModel(Observer(ensemble, instruments(job))).check("sub.resistance")
    sound, low = np.moveaxis(found.chance, 1, 0)
    chance = np.linspace(0, 1, 2001)
    share = np.interp(chance, [0.0, 0.05, 0.5, 0.95, 1.0], [0.56, *SHARES, 0.9])
    expected_short = float(np.mean(np.clip((0.15 * 0.75 / share - 0.15) / 0.45, 0, 1)))
    assert expected_short == pytest.approx(0.026, abs=0.004)
    assert np.mean(low, axis=1)[found.labels.index("short")] == pytest.approx(expected_short, abs=0.012)
    assert np.all(sound[found.labels.index("right")] > 0.98)
