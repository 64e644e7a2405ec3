"""The waveform of one cell in many cases, by its harmonics, and waves of some cases taken from those of others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]
    Rows = npt.NDArray[np.intp]

FEW = 3
"""Harmonics that every case keeps."""


@dataclass(slots=True)
class Wave:
    """One waveform in each of `cases` cases.

    Attributes
    ----------
    few : peak phasors of harmonics 1 .. FEW, shape (cases, FEW).
    rows : the cases that keep all harmonics, sorted.
    rest : their harmonics FEW + 1 .. HARMONICS over `scale`, shape (len(rows), HARMONICS - FEW); shared between waves,
        never written to.
    scale : factor on `rest`, shape (len(rows),).
    above : mean square of those harmonics, scaled, shape (len(rows),).
    top : their cases' largest value in time, NaN where it must be computed, shape (len(rows),).
    """

    few: Complexes
    rows: Rows
    rest: Complexes
    scale: Floats
    above: Floats
    top: Floats

    @property
    def rms(self) -> Floats:
        """Root mean square of each case."""
        power = 0.5 * sum_of_squares(self.few)
        power[self.rows] += self.above
        return np.asarray(np.sqrt(power))

    @property
    def thd(self) -> Floats:
        """Harmonics over fundamental, as a ratio; NaN where there is no fundamental."""
        power = 0.5 * sum_of_squares(self.few[:, 1:])
        power[self.rows] += self.above
        first = np.abs(self.few[:, 0])
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(first > 0, np.sqrt(2 * power) / first, np.nan))

    def first(self, count: int) -> Wave:
        """Return the wave with no more than its first harmonics in memory; its mean square stays that of all."""
        return replace(self, rest=self.rest[:, : max(count - FEW, 0)].copy())

    def harmonics(self, count: int) -> Complexes:
        """Return the first harmonics of each case, shape (cases, count)."""
        found = np.zeros((len(self.few), count), dtype=np.complex128)
        known = min(count, FEW)
        found[:, :known] = self.few[:, :known]
        found[self.rows, known:] = self.rest[:, : count - known] * self.scale[:, None]
        return found


@dataclass(frozen=True, slots=True)
class TakenCases:
    """Which cases of one cell another one takes.

    Attributes
    ----------
    rows : the case that each takes; None for all as they are.
    at : the cases that take something; None for all.
    """

    rows: Rows | None
    at: Rows | None

    def of(self, wave: Wave, cases: int) -> Wave:
        """Return the wave that arrives in `cases` cases: nothing in those that take nothing."""
        if self.rows is not None:
            few, rich = wave.few[self.rows], wave.rows
            if len(rich):
                place = np.full(len(wave.few), -1)
                place[rich] = np.arange(len(rich))
                held = place[self.rows]
                rich = np.flatnonzero(held >= 0)
                held = held[rich]
                parts = {"rest": wave.rest[held], "scale": wave.scale[held]}
                wave = replace(wave, few=few, rows=rich, above=wave.above[held], top=wave.top[held], **parts)
            else:
                wave = replace(wave, few=few)
        if self.at is None:
            return wave
        few = np.zeros((cases, wave.few.shape[1]), dtype=np.complex128)
        few[self.at] = wave.few
        return replace(wave, few=few, rows=self.at[wave.rows])


def sum_of_squares(phasors: Complexes) -> Floats:
    """Return the sum of squared sizes of each row."""
    parts = phasors.view(np.float64)
    return np.asarray(np.einsum("ij,ij->i", parts, parts))
