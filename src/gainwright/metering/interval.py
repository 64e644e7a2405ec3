"""A value with its interval."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its central 95 % interval."""

    value: float
    low: float
    high: float


def interval_parts(interval: Interval | None) -> tuple[float | None, float | None, float | None]:
    """Return value, low and high end of an interval, as stored in results; three None for none."""
    return (None, None, None) if interval is None else (interval.value, interval.low, interval.high)


def interval_from_parts(value: float | None, low: float | None, high: float | None) -> Interval | None:
    """Return an interval of the three, None when one is missing."""
    return None if value is None or low is None or high is None else Interval(value, low, high)
