"""Columns of very many readings: the knee is fitted to a part of them, so that the time is bounded (500 once took minutes)."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from meter_columns import column, knee

from gainwright.metering import knee_many
from gainwright.metering.knee_fits import Readings
from gainwright.metering.knee_many import MOST_USED, OF_ONE_STEP, readings_used

ONSET = 70.0


def readings(steps: np.ndarray, lower: np.ndarray) -> Readings:
    """Return readings at some steps, those with the tone lower after the others."""
    s = np.concatenate([np.sort(steps), np.sort(lower)]).astype(float)
    zero = np.zeros(len(s))
    lower_db = np.repeat([0.0, 10.0], [len(steps), len(lower)])
    return Readings(s, zero, lower_db, zero, zero.astype(np.intp), 0.0, zero, 0.01, 1.0)


@pytest.fixture
def fitted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Have the first fit find its knee at one place; note how many readings it was given."""
    seen: list[int] = []

    def found(data: Readings, _ceilings: object) -> tuple[SimpleNamespace, Readings]:
        seen.append(len(data.s))
        return SimpleNamespace(weights=np.array([0.5, 0.5]), onset=np.array([ONSET - 1, ONSET + 1])), data

    monkeypatch.setattr(knee_many, "search", found)
    return seen


def test_up_to_a_hundred_and_one_are_all_used(fitted: list[int]) -> None:
    """A control in per cent, read at every one."""
    data = readings(np.arange(91), np.arange(10))
    assert list(readings_used(data, [])) == list(range(MOST_USED))
    assert fitted == []


@pytest.mark.parametrize("lower", [0, 90])
def test_of_more_those_about_the_knee_and_some_of_all_are_used(fitted: list[int], lower: int) -> None:
    """Both ends of each column, hardly a gap of more than its share, and every reading near the knee."""
    data = readings(np.arange(0, 100, 0.25), np.linspace(0, 90, lower))
    used = readings_used(data, [])
    assert len(used) <= MOST_USED
    assert len(np.unique(used)) == len(used)
    assert fitted[0] <= 42
    for db in np.unique(data.lower_db):
        of_column = data.s[used][data.lower_db[used] == db]
        whole = data.s[data.lower_db == db]
        assert (of_column[0], of_column[-1]) == (whole[0], whole[-1])
        assert np.max(np.diff(of_column)) < 14
    near = data.s[np.abs(data.s - ONSET) < 5]
    assert np.isin(near, data.s[used]).all()


def test_one_step_read_again_and_again_does_not_hide_the_others(fitted: list[int]) -> None:
    """A line that is in the file 200 times counts three times, and all the other steps are used: the knee is as without it."""
    steps, volts = column(14, 10.3, 1.5)
    again = np.r_[np.arange(14), np.full(200, 6)]
    used = readings_used(readings(steps[again], np.zeros(0)), [])
    assert len(used) == 13 + OF_ONE_STEP
    assert knee(steps[again], volts[again]).last_clean_step == 10
    assert fitted == []
