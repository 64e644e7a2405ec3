"""The onset of clipping in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Onset


def onset_text(channels: Sequence[Onset]) -> str:
    """Return where each channel begins to clip, and how that is known."""
    return "\n".join(line for onset in channels for line in _lines(onset))


def _lines(onset: Onset) -> list[str]:
    head = f"channel {onset.channel}: "
    if onset.level_dbfs is None or onset.time_s is None:
        return [head + onset.why_not]
    level = onset.level_dbfs
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
        lines.append("  name a filter that you know with --behind, or play the stepped run")
    return lines
