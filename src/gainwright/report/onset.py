"""The onset of clipping in words and as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Onset


def onset_text(channels: Sequence[Onset]) -> str:
    """Return where each channel begins to clip, and how that is known."""
    return "\n".join(line for onset in channels for line in _lines(onset))


def _lines(onset: Onset) -> list[str]:
    head = f"channel {onset.channel}: "
    if onset.level is None or onset.time_s is None:
        return [head + onset.why_not]
    level = onset.level
    span = f"{level.value:.2f} dBFS ({level.low:.2f} to {level.high:.2f})"
    lines = [f"{head}{onset.limit_percent:g} % THD at {onset.time_s:.2f} s, {span}, {onset.frequency_hz:.1f} Hz"]
    if onset.hidden:
        lines.append("  known by the fundamental, which stops following the steps: a filter behind hides the harmonics")
    if onset.flattened:
        lines.append("  the tops are cut flat" + (", one side first" if onset.one_sided else ""))
    if onset.rounded:
        lines.append(
            "  the tops are rounded: a soft ceiling, or a filter behind the stage; then it begins lower than it seems"
        )
        lines.append("  name a filter that you know (the filters behind the stage), or play the stepped run")
    return lines


@dataclass(frozen=True, slots=True)
class OnsetPoint:
    """One moment of one channel."""

    name: str
    time_s: float
    rms_dbfs: float
    thd_percent: float


@dataclass(frozen=True, slots=True)
class OnsetChart:
    """Level and THD against time, the limit, and the moments at which it is passed."""

    title: str
    subtitle: str
    points: tuple[OnsetPoint, ...]
    limit_percent: float
    onsets: tuple[tuple[str, float], ...]
    description: str


def onset_chart(channels: Sequence[Onset], *, title: str) -> OnsetChart:
    """Return the chart of a rising tone."""
    points = tuple(
        OnsetPoint(f"channel {o.channel}", f.time_s, f.rms_dbfs, f.thd_percent) for o in channels for f in o.frames
    )
    moments = tuple((f"channel {o.channel}", o.time_s) for o in channels if o.time_s is not None)
    said = "; ".join(_lines(onset)[0] for onset in channels)
    limit = channels[0].limit_percent if channels else 1.0
    return OnsetChart(title, said, points, limit, moments, f"{title}. {said}")
