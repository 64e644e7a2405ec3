"""The onset of clipping, as text and as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Onset


def onset_text(channels: Sequence[Onset]) -> str:
    """Return the level at which each channel begins to clip, and the evidence for it, as text."""
    return "\n".join(line for onset in channels for line in _lines(onset))


def _lines(onset: Onset) -> list[str]:
    head = f"channel {onset.channel}: "
    if onset.level is None or onset.time_s is None:
        return [head + onset.why_not]
    level = onset.level
    span = f"{level.value:.2f} dBFS ({level.low:.2f} to {level.high:.2f})"
    lines = [f"{head}{onset.limit_percent:g} % THD at {onset.time_s:.2f} s, {span}, {onset.frequency_hz:.1f} Hz"]
    if onset.hidden:
        lines.append("  seen in the fundamental, which stops following the steps: a later filter hides the harmonics")
    if onset.flattened:
        lines.append("  the peaks are cut flat" + (", one side first" if onset.one_sided else ""))
    if onset.rounded:
        lines.append(
            " the peaks are rounded: soft clipping, or a filter after the stage; then clipping begins at a lower level than shown"
        )
        lines.append(" give the filters after the stage if you know them, or play the stepped run")
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
    """Level and THD against time, the limit, and the times at which it is exceeded."""

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
    text = "; ".join(_lines(onset)[0] for onset in channels)
    limit = channels[0].limit_percent if channels else 1.0
    return OnsetChart(title, text, points, limit, moments, f"{title}. {text}")
