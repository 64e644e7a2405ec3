"""Compare two paths: level, delay and polarity of one relative to the other."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.metering.filter_identification import IdentifiedPath
from gainwright.metering.interval import Interval
from gainwright.physics import speed_of_sound
from gainwright.results import Number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering.response import Response

SURE_DB = 1.0
PASSBAND_DB = 6.0


@dataclass(frozen=True, slots=True)
class PathComparison:
    """The second path relative to the first.

    Attributes
    ----------
    level_db : mean difference where both pass, with its 95 % interval; None when they have no common band.
    delay_s, distance_m : how much later it arrives, and the distance sound travels in that time.
    delay_within_s : half of the 95 % interval of the delay.
    same_polarity : None when the phase of either doesn't show it.
    """

    level_db: Interval | None
    delay_s: float
    delay_within_s: Number
    distance_m: float
    same_polarity: bool | None


@dataclass(frozen=True, slots=True)
class MeasuredPoint:
    """One point of a response; `sure_db` is the standard deviation of its level."""

    frequency_hz: float
    level_db: float
    sure_db: Number
    coherence: float


@dataclass(frozen=True, slots=True)
class ChannelResponse(IdentifiedPath):
    """One channel, from 1: its response and the filters that explain it."""

    channel: int
    curve: tuple[MeasuredPoint, ...]


@dataclass(frozen=True, slots=True)
class ChannelMatch(PathComparison):
    """One channel compared with the first."""

    channel: int
    against: int


@dataclass(frozen=True, slots=True)
class Responses:
    """The responses of all channels, and each later channel compared with the first."""

    channels: tuple[ChannelResponse, ...]
    matches: tuple[ChannelMatch, ...]


def compare_paths(
    first: tuple[Response, IdentifiedPath],
    second: tuple[Response, IdentifiedPath],
    *,
    temperature_celsius: float = 20.0,
) -> PathComparison:
    """Compare the second path with the first; both responses have the same grid."""
    a, b = first[0], second[0]
    both = (a.level_db > np.max(a.level_db) - PASSBAND_DB) & (b.level_db > np.max(b.level_db) - PASSBAND_DB)
    both &= (a.sure_db < SURE_DB) & (b.sure_db < SURE_DB)
    level = None
    if np.count_nonzero(both) >= 3:
        difference = (b.level_db - a.level_db)[both]
        # ripple of both, and their noise: the mean of n points of a spread s is known to s/sqrt(n)
        half = 1.96 * float(np.std(difference, ddof=1)) / np.sqrt(np.count_nonzero(both))
        half = max(half, 1.96 * float(np.mean(np.hypot(a.sure_db, b.sure_db)[both])) / np.sqrt(np.count_nonzero(both)))
        middle = float(np.mean(difference))
        level = Interval(middle, middle - float(half), middle + float(half))
    delay_s = second[1].delay_s - first[1].delay_s
    polarities = first[1].polarity, second[1].polarity
    speed = float(speed_of_sound(temperature_c=temperature_celsius))
    within_s = float(np.hypot(first[1].delay_within_s, second[1].delay_within_s))
    return PathComparison(
        level, delay_s, within_s, delay_s * speed, None if None in polarities else polarities[0] == polarities[1]
    )


def compare_channels(
    channels: Sequence[int],
    responses: Sequence[Response],
    paths: Sequence[IdentifiedPath],
    *,
    temperature_celsius: float,
) -> Responses:
    """Return the responses of some channels with their filters, and each later channel compared with the first."""
    pairs = list(zip(responses, paths, strict=True))
    return Responses(
        tuple(
            ChannelResponse(**_fields(path), channel=number, curve=_curve(response))
            for number, (response, path) in zip(channels, pairs, strict=True)
        ),
        tuple(
            ChannelMatch(
                **_fields(compare_paths(pairs[0], pair, temperature_celsius=temperature_celsius)),
                channel=number,
                against=channels[0],
            )
            for number, pair in zip(channels[1:], pairs[1:], strict=True)
        ),
    )


def _fields(found: IdentifiedPath | PathComparison) -> dict[str, Any]:
    return {f.name: getattr(found, f.name) for f in fields(found)}


def _curve(response: Response) -> tuple[MeasuredPoint, ...]:
    columns = (response.frequency_hz, response.level_db, response.sure_db, response.coherence)
    return tuple(MeasuredPoint(*map(float, row)) for row in zip(*columns, strict=True))
