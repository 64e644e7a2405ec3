"""How much sound a recording of a job may hold, so that measuring it stays within 200 MB of memory."""

from __future__ import annotations

MOST_SAMPLES = 12_000_000
"""Samples of all channels together: two minutes of two channels at 48 kHz. They are stored with 4 bytes each, all at once."""
LONGEST_S = 600
"""Longest recording whatever its rate."""
USUAL_RATE_HZ, USUAL_CHANNELS = 48_000, 2


def longest_s(rate_hz: int, channels: int) -> int:
    """Return how long a recording may be, in whole seconds."""
    return min(LONGEST_S, MOST_SAMPLES // (rate_hz * channels))
