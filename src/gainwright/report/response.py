"""Frequency responses as text and as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.metering import Responses

POLARITY = {"normal": "normal", "reversed": "reversed", None: "not determined by its phase"}


def response_text(responses: Responses) -> str:
    """Return filters, level and polarity of each channel, and each later channel compared with the first, as text."""
    lines = []
    for path in responses.channels:
        half = max(path.level_db_high - path.level_db, 0.01)
        polarity = POLARITY[path.polarity]
        lines.append(
            f"channel {path.channel}: {path.level_db:.2f} dB (± {half:.2f}) in its pass band, polarity {polarity}"
        )
        for f in path.filters:
            name = "high-pass" if f.kind == "high" else "low-pass"
            lines.append(f"  {name} {f.text} ({f.corner_hz_low:.4g} to {f.corner_hz_high:.4g} Hz)")
        if not path.filters:
            lines.append("  no filter in the measured band")
        lines.append(f"  not explained by any filter: {path.misfit_db:.2f} dB rms")
    for match in responses.matches:
        lines.append(f"channel {match.channel} against channel {match.against}:")
        if match.level_db is not None:
            level = match.level_db
            lines.append(f"  level {level.value:+.2f} dB ({level.low:+.2f} to {level.high:+.2f}) where both pass")
        else:
            lines.append(" level: they have no common pass band")
        within = f" ± {1000 * match.delay_within_s:.2g}" if match.delay_within_s < 1 else ""
        lines.append(f"  {1000 * match.delay_s:+.3f}{within} ms later, {100 * match.distance_m:+.1f} cm of air")
        polarities = {
            True: "the same polarity",
            False: "opposite polarity",
            None: "polarity not determined by their phase",
        }
        lines.append(f"  {polarities[match.same_polarity]}")
    return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One point of one curve."""

    name: str
    frequency_hz: float
    level_db: float


@dataclass(frozen=True, slots=True)
class ResponseChart:
    """Level against frequency, one curve per channel, labelled at its end."""

    title: str
    subtitle: str
    points: tuple[CurvePoint, ...]
    description: str


def response_chart(responses: Responses, *, title: str) -> ResponseChart:
    """Return the chart of responses, without points more than 60 dB down or too noisy."""
    points = []
    summaries = []
    for path in responses.channels:
        name = say("channel {number}", number=path.channel)
        top = max(p.level_db for p in path.curve)
        points += [
            CurvePoint(name, p.frequency_hz, p.level_db) for p in path.curve if p.level_db > top - 60 and p.sure_db < 3
        ]
        filters = ", ".join(f.text for f in path.filters) or say("no filter")
        summaries.append(say("{place}: {words}", place=name, words=filters))
    text = joined(summaries, by="{a}; {b}")
    return ResponseChart(title, text, tuple(points), say("{place}: {words}", place=title, words=text))
