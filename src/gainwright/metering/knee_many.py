"""Which readings of a very long column the knee is fitted to: the time of the fits grows with the cube of their number."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.knee_posterior import search

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.metering.compression_curves import CeilingShape
    from gainwright.metering.knee_fits import Readings

    Rows = npt.NDArray[np.intp]

MOST_USED = 101
"""All readings of a control from 0 to 100 per cent are used."""
EVENLY = 41
"""Of longer columns, this many spread over the whole column, and those nearest to the knee that these show."""
OF_ONE_STEP = 3
"""Readings of one step that are used: more of them tell nothing new about the curve."""


def readings_used(data: Readings, ceilings: Sequence[CeilingShape]) -> Rows:
    """Return the rows of the readings that are used: all of them, unless they are too many."""
    rows = np.arange(len(data.s))
    if len(rows) <= MOST_USED:
        return rows
    rows = np.concatenate([_few_of_each(data, np.flatnonzero(data.lower_db == db)) for db in np.unique(data.lower_db)])
    if len(rows) <= MOST_USED:
        return rows
    share = EVENLY / len(rows)
    evenly = np.concatenate([_spread(rows[data.lower_db[rows] == db], share) for db in np.unique(data.lower_db)])
    found, _ = search(of_rows(data, evenly), ceilings)
    onset = float(np.sum(found.weights * found.onset) / np.sum(found.weights))
    rest = np.setdiff1d(rows, evenly)
    near = rest[np.argsort(np.abs(data.s[rest] - onset), kind="stable")[: MOST_USED - len(evenly)]]
    return np.sort(np.concatenate([evenly, near]))


def of_rows(data: Readings, rows: Rows) -> Readings:
    """Return some of the readings."""
    names = ("s", "y", "lower_db", "noise_db", "ranges", "weights")
    return dataclasses.replace(data, **{name: getattr(data, name)[rows] for name in names})


def _few_of_each(data: Readings, rows: Rows) -> Rows:
    """Return the first few rows of each step; the steps rise along the rows."""
    s = data.s[rows]
    return rows[np.arange(len(s)) - np.searchsorted(s, s) < OF_ONE_STEP]


def _spread(rows: Rows, share: float) -> Rows:
    count = min(len(rows), max(2, round(share * len(rows))))
    return rows[np.unique(np.linspace(0, len(rows) - 1, count).round().astype(np.intp))]
