"""Columns of meter readings along a real volume control: tapers, several ceilings, sagging supplies, two kinds of meter.

Nothing of the columns is shared with `gainwright.metering`: waveforms are made point by point, tapers are tables of step sizes, and
what is true follows from the THD of the waveform. A column can be read again with the tone lower, on the same control.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gainwright.metering import LowerColumn, MeterKind, find_knee

TAPERS = ("even", "growing", "shrinking", "two", "three")
CEILINGS = ("hard", "tanh", "rounded", "power", "asymmetric")
UNLIKE = "arctan"
"""A ceiling whose curve isn't among those of the fit."""
RESPONSES = ("true-rms", "average")
_TURN = 2 * np.pi * (np.arange(1024) + 0.5) / 1024
_SINE = np.sin(_TURN)
TUNING, REPORTING = (100, 5000), 12000
"""First seeds of the columns that the fit was tuned on (40 each), and of those whose figures are reported."""


def sizes(rng: np.random.Generator, taper: str, count: int, usual: float) -> np.ndarray:
    """Return the size in dB of each of a control's steps, shape (count - 1,)."""
    along = np.linspace(-0.5, 0.5, count - 1)
    if taper == "even":
        return np.full(count - 1, usual)
    if taper in ("growing", "shrinking"):
        by = math.log(1.15) * (1 if taper == "growing" else -1)
        return np.asarray(usual * np.exp(by * along))
    pieces = 2 if taper == "two" else 3
    ratio = rng.choice([2.0, 1.5, 1.25, 0.8, 0.67, 0.5], size=pieces - 1)
    ends = np.sort(rng.choice(np.arange(3, count - 3), size=pieces - 1, replace=False))
    of_pieces = usual * np.concatenate([[1.0], np.cumprod(ratio)])
    of_pieces = of_pieces * usual / of_pieces[pieces // 2]
    of_pieces = np.clip(of_pieces, 0.5, 3.0)
    return np.asarray(of_pieces[np.searchsorted(ends, np.arange(count - 1), side="right")])


@dataclass(frozen=True)
class Ceiling:
    """A ceiling of 1: its kind, how soft it is (1 is softest), how far it falls under full drive."""

    kind: str
    soft: float
    sag: float

    def wave(self, drive_db: float) -> np.ndarray:
        """Return one period of a sine driven into it."""
        drive = 10 ** (drive_db / 20)
        top = 1 - self.sag * min(1.0, max(0.0, drive_db) / 6)
        x = drive * _SINE / top
        if self.kind == "hard":
            bent = np.clip(x, -1, 1)
        elif self.kind == "asymmetric":
            bent = np.clip(x, -1 + 0.04 * self.soft, 1)
        elif self.kind == "tanh":  # linear up to a share of the ceiling, then a tanh
            line = 1 - self.soft
            over = np.maximum(np.abs(x) - line, 0) / self.soft
            bent = np.sign(x) * np.where(np.abs(x) < line, np.abs(x), line + self.soft * np.tanh(over))
        elif self.kind == "rounded":  # a parabola between the line and the ceiling
            width = self.soft
            over = np.clip((np.abs(x) - (1 - width)) / (2 * width), 0, 1)
            bent = np.sign(x) * (np.minimum(np.abs(x), 1 - width) + 2 * width * (over - over**2 / 2))
        elif self.kind == "arctan":  # linear up to a share of the ceiling, then an arc tangent that is slow to flatten
            line = 1 - self.soft
            over = np.maximum(np.abs(x) - line, 0) / self.soft
            bent = np.sign(x) * (np.minimum(np.abs(x), line) + self.soft * np.arctan(np.pi / 2 * over) / (np.pi / 2))
        else:
            p = 2 + 8 * (1 - self.soft)
            bent = x / (1 + np.abs(x) ** p) ** (1 / p)
        return bent * top

    def thd(self, drive_db: float) -> float:
        """Return harmonics over fundamental."""
        lines = np.abs(np.fft.rfft(self.wave(drive_db)))
        return float(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])

    def limit_db(self, limit_thd: float) -> float:
        """Return the drive of a THD by halving."""
        low, high = -40.0, 30.0
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (middle, high) if self.thd(middle) <= limit_thd else (low, middle)
        return low


@dataclass(frozen=True)
class TaperedColumn:
    """A control on a stage with a ceiling, and a meter at it.

    Attributes
    ----------
    steps, drive_db : of the control, and the drive at each with the tone at its level, shape (count,) each.
    last_clean : the highest step whose THD is within the limit.
    onset : where THD reaches the limit, in steps.
    """

    taper: str
    response: str
    ceiling: Ceiling
    steps: np.ndarray
    drive_db: np.ndarray
    peak_v: float
    accuracy: float
    counts: int
    full_counts: int
    last_clean: float
    onset: float
    _seed: int
    _gains: dict[int, float] = field(default_factory=dict)

    def read(self, lower_db: float = 0.0) -> tuple[list[float], list[float]]:
        """Return steps and readings with the tone at its level, or lower; steps too small to read are left out."""
        rng = np.random.default_rng([self._seed, round(10 * lower_db)])
        steps: list[float] = []
        volts: list[float] = []
        for step, drive in zip(self.steps, self.drive_db, strict=True):
            wave = self.peak_v * self.ceiling.wave(float(drive) - lower_db)
            wave = wave - np.mean(wave)
            of = np.sqrt(np.mean(wave**2)) if self.response == "true-rms" else 1.1107207 * np.mean(np.abs(wave))
            power = max(-4, math.ceil(math.log10(of / self.full_counts)))
            digit = 10.0**power
            shown = of * self._gains[power] * (1 + 0.001 * rng.normal()) + rng.uniform(-1, 1) * self.counts * digit
            shown = round(shown / digit) * digit
            if shown > 20 * digit:
                steps.append(float(step))
                volts.append(float(f"{shown:.6g}"))
        return steps, volts


def tapered(seed: int, taper: str, *, response: str = "", ceiling: str = "") -> TaperedColumn:
    """Return a random control, ceiling and meter; the knee is 2.5 to 9 steps below the end."""
    rng = np.random.default_rng([seed, TAPERS.index(taper)])
    count, usual = int(rng.integers(16, 31)), float(rng.uniform(1, 2))
    response = response or str(rng.choice(RESPONSES))
    kind = ceiling or str(rng.choice(CEILINGS, p=[0.4, 0.15, 0.15, 0.15, 0.15]))
    of_stage = Ceiling(kind, float(rng.uniform(0.05, 0.5)), float(rng.choice([0.0, 0.0, rng.uniform(0, 0.03)])))
    table = np.concatenate([[0.0], np.cumsum(sizes(rng, taper, count, usual))])
    table = table + rng.choice([0.0, 0.03, 0.06]) * rng.normal(size=count)
    limit_db = of_stage.limit_db(0.01)
    onset = float(rng.uniform(count - 9, count - 2.5))
    drive_db = table - float(np.interp(onset, np.arange(1, count + 1), table)) + limit_db
    steps = np.arange(1.0, count + 1)
    accuracy = float(rng.choice([0.005, 0.01, 0.015]))
    common, apart = rng.uniform(-1, 1), rng.random() < 0.5
    gains = {p: 1 + accuracy * (rng.uniform(-1, 1) if apart else common) for p in range(-4, 3)}
    return TaperedColumn(
        taper,
        response,
        of_stage,
        steps,
        drive_db,
        float(10 ** rng.uniform(-0.3, 1.6) * math.sqrt(2)),
        accuracy,
        int(rng.integers(1, 4)),
        int(rng.choice([2000, 4000, 6000])),
        float(steps[drive_db <= limit_db][-1]),
        onset,
        seed,
        gains,
    )


def found_with_lower(column: TaperedColumn) -> tuple[Any, bool]:
    """Return the knee, with the tone lower at the steps that it asks for, and whether it asked."""
    meter = MeterKind(
        "rms" if column.response == "true-rms" else "average",
        accuracy=column.accuracy,
        counts=column.counts,
        full_counts=column.full_counts,
    )
    steps, volts = column.read()
    found = find_knee(steps, volts, meter=meter)
    if not found.lower_steps or found.lower_db is None:
        return found, False
    again = [(s, v) for s, v in zip(*column.read(found.lower_db), strict=True) if s in found.lower_steps]
    second = LowerColumn([s for s, _ in again], [v for _, v in again], found.lower_db)
    return find_knee(steps, volts, meter=meter, lower=second), True


def scored(found: Any, column: TaperedColumn) -> str:
    """Return `right`, `low`, `one_high`, `high`, or `refused`."""
    if not found.found or found.last_clean_step is None:
        return "refused"
    off = found.last_clean_step - column.last_clean
    return "right" if off == 0 else "low" if off < 0 else "one_high" if off <= 1 else "high"
