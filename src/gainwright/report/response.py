"""Responses in words and as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import FoundPath, Match, Response

POLARITY = {1: "normal", -1: "reversed", 0: "not told by its phase"}


def response_text(channels: Sequence[int], paths: Sequence[FoundPath], matches: Sequence[Match]) -> str:
    """Return filters, level, polarity and delay of each channel, and each later one against the first."""
    lines = []
    for number, path in zip(channels, paths, strict=True):
        level = path.level_db
        half = max(level.high - level.value, 0.01)
        lines.append(
            f"channel {number}: {level.value:.2f} dB (± {half:.2f}) where it passes, polarity {POLARITY[path.polarity]}"
        )
        for f in path.filters:
            name = "high-pass" if f.kind == "high" else "low-pass"
            lines.append(f"  {name} {f.text} ({f.corner.low:.4g} to {f.corner.high:.4g} Hz)")
        if not path.filters:
            lines.append("  no filter in the band of the measurement")
        lines.append(f"  what no filter explains: {path.misfit_db:.2f} dB rms")
    for number, found in zip(channels[1:], matches, strict=True):
        lines.append(f"channel {number} against channel {channels[0]}:")
        if found.level_db is not None:
            level = found.level_db
            lines.append(f"  level {level.value:+.2f} dB ({level.low:+.2f} to {level.high:+.2f}) where both pass")
        else:
            lines.append("  level: they pass no band together")
        within = f" ± {1000 * found.delay_within_s:.2g}" if found.delay_within_s < 1 else ""
        lines.append(f"  {1000 * found.delay_s:+.3f}{within} ms later, {100 * found.distance_m:+.1f} cm of air")
        said = {True: "the same polarity", False: "opposite polarity", None: "polarity not told by their phase"}
        lines.append(f"  {said[found.same_polarity]}")
    return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One point of one curve."""

    name: str
    frequency_hz: float
    level_db: float


@dataclass(frozen=True, slots=True)
class ResponseChart:
    """Level against frequency, one curve a channel, named at its end."""

    title: str
    subtitle: str
    points: tuple[CurvePoint, ...]
    description: str


def response_chart(
    channels: Sequence[int], responses: Sequence[Response], paths: Sequence[FoundPath], *, title: str
) -> ResponseChart:
    """Return the chart of some responses; what is over 60 dB down or drowned in noise is left out."""
    points = []
    said = []
    for number, response, path in zip(channels, responses, paths, strict=True):
        name = say("channel {number}", number=number)
        top = float(response.level_db.max())
        points += [
            CurvePoint(name, float(f), float(v))
            for f, v, s in zip(response.frequency_hz, response.level_db, response.sure_db, strict=True)
            if v > top - 60 and s < 3
        ]
        filters = ", ".join(f.text for f in path.filters) or say("no filter")
        said.append(say("{place}: {words}", place=name, words=filters))
    text = joined(said, by="{a}; {b}")
    return ResponseChart(title, text, tuple(points), say("{place}: {words}", place=title, words=text))
