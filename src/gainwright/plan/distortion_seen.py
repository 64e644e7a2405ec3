"""Which instruments see distortion of a tone by themselves, and from how much on."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import Indicator, Recorder

if TYPE_CHECKING:
    from gainwright.model import Instrument


def sees_distortion(instrument: Instrument, tone_hz: float) -> bool:
    """Return whether an instrument can detect distortion of a tone by itself."""
    return isinstance(instrument, Recorder) or (
        isinstance(instrument, Indicator) and bool(distortion_mark(instrument, tone_hz))
    )


def distortion_mark(indicator: Indicator, tone_hz: float) -> str:
    """Return the mark that lights at the least distortion of a tone; empty if none does."""
    return least_distortion(indicator, tone_hz)[0]


def least_distortion(indicator: Indicator, tone_hz: float) -> tuple[str, float]:
    """Return the mark that lights at the least distortion of a tone, and that THD as a ratio; infinite if none does."""
    marks = [(name, m.threshold.nominal) for name, m in indicator.distortion_marks.items() if m.passes(tone_hz)]
    return min(marks, key=lambda pair: pair[1], default=("", math.inf))
