"""Responses in words and as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.metering import Responses

POLARITY = {"normal": "normal", "reversed": "reversed", None: "not told by its phase"}


def response_text(found: Responses) -> str:
    """Return filters, level, polarity and delay of each channel, and each later one against the first."""
    lines = []
    for path in found.channels:
        half = max(path.level_db_high - path.level_db, 0.01)
        polarity = POLARITY[path.polarity]
        lines.append(
            f"channel {path.channel}: {path.level_db:.2f} dB (± {half:.2f}) where it passes, polarity {polarity}"
        )
        for f in path.filters:
            name = "high-pass" if f.kind == "high" else "low-pass"
            lines.append(f"  {name} {f.text} ({f.corner_hz_low:.4g} to {f.corner_hz_high:.4g} Hz)")
        if not path.filters:
            lines.append("  no filter in the band of the measurement")
        lines.append(f"  what no filter explains: {path.misfit_db:.2f} dB rms")
    for match in found.matches:
        lines.append(f"channel {match.channel} against channel {match.against}:")
        if match.level_db is not None:
            level = match.level_db
            lines.append(f"  level {level.value:+.2f} dB ({level.low:+.2f} to {level.high:+.2f}) where both pass")
        else:
            lines.append("  level: they pass no band together")
        within = f" ± {1000 * match.delay_within_s:.2g}" if match.delay_within_s < 1 else ""
        lines.append(f"  {1000 * match.delay_s:+.3f}{within} ms later, {100 * match.distance_m:+.1f} cm of air")
        said = {True: "the same polarity", False: "opposite polarity", None: "polarity not told by their phase"}
        lines.append(f"  {said[match.same_polarity]}")
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


def response_chart(found: Responses, *, title: str) -> ResponseChart:
    """Return the chart of some responses; what is over 60 dB down or drowned in noise is left out."""
    points = []
    said = []
    for path in found.channels:
        name = say("channel {number}", number=path.channel)
        top = max(p.level_db for p in path.curve)
        points += [
            CurvePoint(name, p.frequency_hz, p.level_db) for p in path.curve if p.level_db > top - 60 and p.sure_db < 3
        ]
        filters = ", ".join(f.text for f in path.filters) or say("no filter")
        said.append(say("{place}: {words}", place=name, words=filters))
    text = joined(said, by="{a}; {b}")
    return ResponseChart(title, text, tuple(points), say("{place}: {words}", place=title, words=text))
