"""Advice during a column of readings, mistakes in it, and columns without a knee."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from meter_columns import column, knee

from gainwright.errors import ReadingError
from gainwright.metering import find_knee


def test_no_knee_is_claimed_where_none_is_shown() -> None:
    """Straight to the last step: clean so far, go on."""
    found = knee(*column(20, 40, 1.5))
    assert not found.found
    assert found.last_clean_step == 20
    assert found.ceiling_v_rms is None
    assert (found.advice, found.next_step) == ("go_on", 21)


def test_last_steps_that_rise_less_are_asked_for_with_the_tone_lower() -> None:
    """Half the step from 12 on may be the control or a ceiling that has just begun: no knee is claimed, and what decides is said."""
    steps = np.arange(1.0, 17.0)
    volts = 0.5 * 10 ** ((1.5 * np.minimum(steps, 12) + 0.75 * np.maximum(steps - 12, 0)) / 20)
    found = knee(steps, volts)
    assert not found.found
    assert found.lower_steps[-1] == 16
    assert found.lower_db == 10
    assert found.advice == "go_on"


def test_advice_while_readings_come_in() -> None:
    """Never a last clean step that isn't clean, and in the end enough readings."""
    steps, volts = column(20, 15.3, 1.5)
    advices = []
    for n in range(1, 21):
        found = knee(steps[:n], volts[:n])
        advices.append(found.advice)
        assert found.last_clean_step is None or found.last_clean_step <= 15
    assert advices[:3] == ["too_few"] * 3
    assert "enough" in advices
    assert advices.index("enough") < 19


@pytest.mark.parametrize(("index", "factor"), [(8, 10.0), (8, 0.1), (13, 1.2), (16, 0.8)])
def test_mistyped_reading_is_named_and_ignored(index: int, factor: float) -> None:
    """A wrong range, a mistyped digit."""
    steps, volts = column(20, 15.3, 1.5)
    volts[index] *= factor
    found = knee(steps, volts)
    assert index in found.outliers
    assert found.last_clean_step == 15


@pytest.mark.parametrize("chosen", [slice(0, None, 3), slice(11, 18), slice(None, None, -1)])
def test_missing_unequal_and_backward_steps(chosen: slice) -> None:
    """Every third, a few near the knee, from loud to soft."""
    steps, volts = column(20, 15.3, 1.5)
    assert knee(steps[chosen], volts[chosen]).last_clean_step == 15


@pytest.mark.parametrize(
    ("steps", "volts", "advice"),
    [
        (range(10), [3.0] * 10, "go_lower"),
        (range(10), np.linspace(3, 1, 10), "go_lower"),
        (range(10), np.random.default_rng(1).uniform(0.1, 5, 10), "read_again"),
        ([1, 2, 3], [1, 2, 3], "too_few"),
        ([], [], "too_few"),
    ],
)
def test_columns_without_information(steps: Any, volts: Any, advice: str) -> None:
    """A control past its knee or without effect, a loose lead, too few readings."""
    found = knee(steps, volts)
    assert found.advice == advice
    assert not found.found
    assert found.why_not


@pytest.mark.parametrize(
    ("steps", "volts", "limit"),
    [([1, 2], [1], 0.01), ([1, 2], [1, -1], 0.01), ([1, 2], [1, float("nan")], 0.01), ([1, 2], [1, 2], 0.9)],
)
def test_invalid_readings_are_refused(steps: list[float], volts: list[float], limit: float) -> None:
    """Each with what is wrong."""
    with pytest.raises(ReadingError):
        find_knee(steps, volts, limit_thd=limit)
