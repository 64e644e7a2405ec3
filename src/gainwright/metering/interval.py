"""A figure with its interval."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure with its central 95 % interval."""

    value: float
    low: float
    high: float


def flat(interval: Interval | None) -> tuple[float | None, float | None, float | None]:
    """Return a figure, its low and its high end, as results hold them; three times None for none."""
    return (None, None, None) if interval is None else (interval.value, interval.low, interval.high)


def joined(value: float | None, low: float | None, high: float | None) -> Interval | None:
    """Return the three as an interval, None when one isn't there."""
    return None if value is None or low is None or high is None else Interval(value, low, high)
