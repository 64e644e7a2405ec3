"""Noise as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.report.figures import volts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import NoiseChannel

NAMES = {
    "mains_hum": "mains hum",
    "ground_loop_hum": "ground-loop hum",
    "rectifier_ripple": "rectifier ripple",
    "alternator_whine": "alternator whine",
    "digital_whine": "steady whine",
    "hiss": "hiss",
}


def noise_text(channels: Sequence[NoiseChannel]) -> str:
    """Return levels and components of every channel."""
    lines: list[str] = []
    for c in channels:
        if c.noise_dbfs is None or c.a_weighted_dbfs is None:
            lines.append(f"channel {c.channel}: {c.why_not.get('noise_dbfs', 'nothing to measure')}")
            continue
        lines.append(
            f"channel {c.channel}: {c.noise_dbfs:.1f} dBFS, A-weighted {c.a_weighted_dbfs:.1f} dBFS "
            f"(± {max(c.interval_db or 0, 0.1):.1f} dB), 20 Hz to 20 kHz"
        )
        if c.noise_v_rms is not None:
            lines.append(f"  {volts(c.noise_v_rms)} rms (± {max(c.volts_percent or 0, 0.1):.1f} %)")
        if c.snr_db is not None and c.snr_a_db is not None and c.reference_v_rms is not None:
            lines.append(
                f"  signal to noise {c.snr_db:.1f} dB, A-weighted {c.snr_a_db:.1f} dB, re {volts(c.reference_v_rms)}"
            )
        lines += [f"  {part.level_dbfs:7.1f} dBFS  {NAMES[part.kind]}: {part.evidence}" for part in c.components]
    return "\n".join(lines)
