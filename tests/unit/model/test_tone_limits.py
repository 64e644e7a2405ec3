"""The lowest and highest tone that a job may have."""

from __future__ import annotations

import math

import pytest

from gainwright.errors import CallError
from gainwright.model import TONES_HZ
from gainwright.signals import Tone


def test_limits_of_a_set_up_tone_are_those_of_its_file() -> None:
    """A file of 44.1 kHz, the lowest rate, holds the lowest and the highest set-up tone, and nothing beyond them."""
    lowest, highest = TONES_HZ
    assert {Tone(hz, (0.0,), 1.0, rate_hz=44_100).frequency_hz for hz in TONES_HZ} == {lowest, highest}
    for beyond in (math.nextafter(lowest, 0), math.nextafter(highest, math.inf)):
        with pytest.raises(CallError, match="a tone of"):
            Tone(beyond, (0.0,), 1.0, rate_hz=44_100)
