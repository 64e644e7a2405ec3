"""Dividers: the effect of a finer series and of tolerances, and what can't be designed."""

from __future__ import annotations

import math

import pytest

from gainwright.errors import CallError
from gainwright.jobfile import example_text, read_job_text
from gainwright.model import Job
from gainwright.physics import preferred_mantissas, preferred_values
from gainwright.plan import design_attenuators

RECORDER = "instruments:\n  rec: {kind: recorder, full_scale: 1 V, input_impedance: 20 kohm}\n"


def job(name: str) -> Job:
    """Return an example with a recorder of 1 V and 20 kohm."""
    return read_job_text(example_text(name).replace("instruments:\n", RECORDER)).job


def test_values_over_decades() -> None:
    """Both bounds are included; bounds out of order are refused."""
    assert preferred_values(series=3, low=10, high=1000) == (10, 22, 47, 100, 220, 470, 1000)
    with pytest.raises(ValueError, match="in order"):
        preferred_values(series=24, low=10, high=1)
    with pytest.raises(ValueError, match="series are"):
        preferred_mantissas(series=10)


def test_a_finer_series_comes_nearer() -> None:
    """E96 is nearer to what is needed than E6."""
    coarse, fine = (design_attenuators(job("one_amplifier"), recorder="rec", series=s)[0] for s in (6, 96))
    assert fine.attenuation_db - fine.needed_db < coarse.attenuation_db - coarse.needed_db


def test_tolerances_widen_the_ratio() -> None:
    """1 % resistors against 5 %: corners by worst case."""
    one, five = (design_attenuators(job("one_amplifier"), recorder="rec", tolerance=t)[0] for t in (0.01, 0.05))
    assert five.high_db - five.low_db > one.high_db - one.low_db
    assert one.high_db - one.attenuation_db > 20 * math.log10(1.01 / 0.99) * 0.9


def test_impossible_dividers_are_refused() -> None:
    """No recorder, an unknown name, no amplifier that quarter-watt resistors are sufficient for."""
    plain = read_job_text(example_text("one_amplifier")).job
    with pytest.raises(CallError, match="names no recorder"):
        design_attenuators(plain)
    with pytest.raises(CallError, match="isn't a recorder"):
        design_attenuators(job("one_amplifier"), recorder="meter")
    with pytest.raises(CallError, match="tolerance"):
        design_attenuators(job("one_amplifier"), recorder="rec", tolerance=0.5)
    huge = read_job_text(
        example_text("one_amplifier")
        .replace("instruments:\n", RECORDER)
        .replace("300 W @ 4 ohm", "90000 W @ 4 ohm")
        .replace("450 W", "99000 W")
    ).job
    with pytest.raises(CallError, match="several resistors in series"):
        design_attenuators(huge, recorder="rec")
