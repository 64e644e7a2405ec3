"""A running measurement as a few lines of text."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gainwright.report.figures import volts
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Channel, LiveReading, Pictures

VERDICTS = {
    "clean": "clean",
    "clipped": "CLIPPED",
    "distorted": "distorted",
    "no_tone": "no tone",
    "other_tone": "other tone",
    "overloaded_input": "INPUT FULL",
    "too_short": "too short",
}
UNMEASURED = ("no_tone", "other_tone", "too_short")
"""Verdicts that aren't a result of the tone that was asked for."""


def live_lines(reading: LiveReading, *, calibrated: bool, expected: Sequence[str] = ()) -> list[str]:
    """Return one line per channel, ending with the worst result since the start, then what is heard instead, and the warnings."""
    lines = []
    for i, channel in enumerate(reading.channels):
        worst = reading.worst_thd_percent[i]
        measured = reading.worst[i] not in UNMEASURED
        held = f"worst {VERDICTS[reading.worst[i]]}" if measured else "nothing measured yet"
        held += f", {worst:.2f} % THD" if worst is not None else ""
        fits = f"  {expected[i]}" if i < len(expected) else ""
        lines.append(
            f"{channel.channel}  {_now(channel, calibrated):<58} room {reading.room_db[i]:5.1f} dB{fits}  |  {held}"
        )
    instead = [f"!  channel {c.channel}: {heard(c)}" for c in reading.channels if heard(c)]
    return lines + instead + [f"!  {warning}" for warning in reading.warnings]


def heard(channel: Channel) -> str:
    """Return why there is no result for the tone that was asked for, in a sentence; empty when there is one."""
    if channel.verdict == "other_tone":
        return say("{what}: play the tone that is asked for", what=channel.why_not["verdict"])
    return channel.why_not["frequency_hz"] if channel.frequency_hz is None else ""


def _now(channel: Channel, calibrated: bool) -> str:
    if channel.fundamental_dbfs is None or channel.frequency_hz is None:
        level = channel.rms_dbfs
        shown = "silent" if level is None or not math.isfinite(level) else f"{level:7.2f} dBFS"
        return f"{VERDICTS[channel.verdict]:<10} {shown}"
    rms = channel.rms_dbfs if channel.rms_dbfs is not None else channel.fundamental_dbfs
    level_text = volts((channel.calibrate_v or 0) * 10 ** (rms / 20)) if calibrated else f"{rms:7.2f} dBFS"
    depth = f", {channel.clip_depth_db:.1f} dB over" if channel.clip_depth_db else ""
    return (
        f"{VERDICTS[channel.verdict]:<10} {level_text:>12} {channel.frequency_hz:9.2f} Hz "
        f"THD {channel.thd_percent or 0:6.3f} %{depth}"
    )


def pictures_json(pictures: Pictures) -> dict[str, Any]:
    """Return one period and the spectrum for a page, rounded to what can be seen."""
    return {
        "frequency_hz": pictures.frequency_hz,
        # a bin of a folded period may have no sample
        "wave": [None if math.isnan(v) else round(v, 4) for v in pictures.wave.tolist()],
        "upper": pictures.upper,
        "lower": pictures.lower,
        "spectrum_hz": [round(v, 1) for v in pictures.spectrum_hz.tolist()],
        "spectrum_dbfs": [round(v, 1) for v in pictures.spectrum_dbfs.tolist()],
        "harmonics": [[order, round(hz, 1), round(dbfs, 1)] for order, hz, dbfs in pictures.harmonics],
    }
