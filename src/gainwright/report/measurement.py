"""The measurement of a recording of a steady tone, as plain text."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.report.figures import rounded, wrapped

if TYPE_CHECKING:
    from gainwright.metering import Measurement


def measurement_text(measurement: Measurement) -> str:
    """Return the measurement of a recording as text, a paragraph per channel."""
    lines = []
    for channel in measurement.channels:
        phrases = [f"channel {channel.channel}: {channel.verdict.replace('_', ' ')}"]
        if channel.frequency_hz is not None:
            phrases.append(f"{channel.frequency_hz:.3f} Hz")
        for key, unit, name in (
            ("rms_dbfs", "dBFS", "level"),
            ("thd_percent", "%", "THD"),
            ("thd_n_percent", "%", "THD+N"),
            ("noise_dbfs", "dBFS", "noise"),
            ("v_rms", "V", "voltage"),
            ("clip_depth_db", "dB over the ceiling", "clipped"),
        ):
            value: float | None = getattr(channel, key)
            if value is not None and math.isfinite(value):
                half = channel.within.get(key)
                if key == "v_rms":
                    half = channel.within.get("volts_percent", 0.0) / 100 * value
                phrases.append(f"{name} {rounded(value, half)} {unit}")
        lines.append(wrapped(", ".join(phrases), 2, "  "))
        if "verdict" in channel.why_not:
            lines.append(wrapped(channel.why_not["verdict"], 4))
        if channel.frequency_hz is None:
            lines += [wrapped(why, 4) for why in dict.fromkeys(channel.why_not.values())]
    return "\n".join(lines)
