"""Check an input with one tone at two levels: do they come in as far apart as they were played?

Automatic gain evens them out, noise suppression or a gate takes the quieter one down further; either way no level of that
input can be trusted. A gain that changes by less than about 0.1 dB a second isn't seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.errors import CallError
from gainwright.metering.recording import Recording
from gainwright.metering.sine import three_parameter_fit
from gainwright.metering.tone_measurement import measure
from gainwright.metering.tone_search import hertz
from gainwright.texts import say

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.metering.measurement import Channel

    Floats = npt.NDArray[np.float64]

APART_DB = 20.0
TOLERANCE_DB = 1.1
"""Level linearity of a sound level meter of class 2 (IEC 61672-1:2013, 5.6; the figure from memory)."""
BLOCK_SECONDS, FEWEST_BLOCKS = 0.25, 8
T_95 = 2.14
"""Student's t for 95 % and 14 degrees of freedom, those of twice eight blocks (JCGM 100:2008, table G.2)."""
WAVERING_DB = 1.0
"""Scatter of the blocks above which nothing can be said; below it noise adds less than 0.06 dB to a level (half the mean
square of the relative scatter, 0.115^2/2)."""
LARGEST_WITHIN_DB = TOLERANCE_DB / 2
DRIFT_DB = 0.5
EVEN_DB = 1.0


@dataclass(frozen=True, slots=True)
class LevelCheck:
    """What two levels of one tone say about an input.

    Attributes
    ----------
    result : `linear` when they come in as far apart as they were played; `not_linear` with automatic gain, noise suppression
        or a limiter; `unclear` when the recordings don't tell.
    difference_db : between the tones, louder less quieter; None when it isn't known.
    within_db : half of its 95 % interval.
    tolerance_db : the difference may be off by this much.
    text : the result in a sentence.
    """

    result: Literal["linear", "not_linear", "unclear"]
    difference_db: float | None
    within_db: float | None
    tolerance_db: float | None
    text: str


@dataclass(frozen=True, slots=True)
class _Level:
    """Mean level in dBFS, its standard uncertainty, the scatter of the blocks, the drift from begin to end; all in dB."""

    mean: float
    uncertainty: float
    scatter: float
    drift: float
    drift_uncertainty: float


def check_levels(loud: Floats, quiet: Floats, *, rate_hz: int, apart_db: float = APART_DB) -> LevelCheck:
    """Compare two recordings of one tone, the second played `apart_db` quieter with nothing else changed.

    Parameters
    ----------
    loud, quiet : samples of one channel re full scale, at least 2 s each.

    Raises
    ------
    CallError : one is too short.
    """
    least = round(FEWEST_BLOCKS * BLOCK_SECONDS * rate_hz)
    if min(len(loud), len(quiet)) < least:
        raise CallError("a tone is too short for this check", code="too_short", rule="2 s or more of each are needed")
    first = measure(Recording(loud[:, None], rate_hz, "louder tone")).channels[0]
    if first.frequency_hz is None:
        return _unclear(say("The louder tone isn't heard: {why}.", why=first.why_not["frequency_hz"]))
    if first.verdict in ("clipped", "overloaded_input"):
        return _unclear(say("The louder tone clips: play both quieter, and repeat both."))
    other = _another(quiet, rate_hz, first)
    if other:
        return _unclear(other)
    above = _level(loud, rate_hz, first.frequency_hz)
    below = _level(quiet, rate_hz, first.frequency_hz)
    difference = above.mean - below.mean
    within = T_95 * math.hypot(above.uncertainty, below.uncertainty)
    return _judged(above, below, difference, within, apart_db, distorted=first.verdict == "distorted")


def _unclear(text: str, difference: float | None = None, within: float | None = None) -> LevelCheck:
    return LevelCheck("unclear", difference, within, None, text)


def _another(quiet: Floats, rate_hz: int, first: Channel) -> str | None:
    second = measure(Recording(quiet[:, None], rate_hz, "quieter tone"), expect_hz=first.frequency_hz).channels[0]
    if second.verdict != "other_tone" or first.frequency_hz is None or second.frequency_hz is None:
        return None
    return say(
        "The quieter tone is {second}, the louder one {first}: play the same tone at two levels.",
        second=hertz(second.frequency_hz), first=hertz(first.frequency_hz),
    )  # fmt: skip


def _level(samples: Floats, rate_hz: int, frequency_hz: float) -> _Level:
    """Return the level of the tone: blocks fitted at its frequency, with a straight line through their levels."""
    size = round(BLOCK_SECONDS * rate_hz)
    count = len(samples) // size
    fits = [
        three_parameter_fit(samples[i * size : (i + 1) * size], rate_hz=rate_hz, frequency_hz=frequency_hz)
        for i in range(count)
    ]
    levels = 20 * np.log10(np.maximum([fit.amplitude for fit in fits], 1e-12))
    place = np.arange(count) - (count - 1) / 2
    slope = float(np.dot(place, levels) / np.dot(place, place))
    rest = levels - np.mean(levels) - slope * place
    scatter = math.sqrt(float(np.dot(rest, rest)) / (count - 2))
    return _Level(
        float(np.mean(levels)),
        scatter / math.sqrt(count),
        scatter,
        slope * (count - 1),
        (count - 1) * scatter / math.sqrt(float(np.dot(place, place))),
    )


def _judged(
    above: _Level, below: _Level, difference: float, within: float, apart_db: float, *, distorted: bool
) -> LevelCheck:
    drifting = max((above, below), key=lambda level: abs(level.drift) - T_95 * level.drift_uncertainty)
    if abs(drifting.drift) > DRIFT_DB + T_95 * drifting.drift_uncertainty:
        return LevelCheck(
            "not_linear",
            difference,
            within,
            None,
            say(
                "The level of a steady tone changed by {drift} dB by itself: the automatic gain of this input is on. Its levels can't be trusted, only frequencies.",
                drift=f"{drifting.drift:+.1f}",
            ),
        )
    if max(above.scatter, below.scatter) > WAVERING_DB or within > LARGEST_WITHIN_DB:
        return _unclear(
            say("The tones waver or are lost in noise: play both louder, keep everything still, and repeat both."),
            difference,
            within,
        )
    allowed = TOLERANCE_DB + within
    if abs(difference - apart_db) <= allowed:
        found = say(
            "The two tones differ by {difference} dB ({apart} dB ± {allowed} dB is right): no automatic gain between these levels.",
            difference=f"{difference:.1f}", apart=f"{apart_db:g}", allowed=f"{allowed:.1f}",
        )  # fmt: skip
        return LevelCheck("linear", difference, within, allowed, found)
    if distorted and difference < apart_db:
        return _unclear(say("The louder tone is distorted: play both quieter, and repeat both."), difference, within)
    return LevelCheck("not_linear", difference, within, allowed, _not_linear(difference, apart_db))


def _not_linear(difference: float, apart_db: float) -> str:
    parts = {"difference": f"{difference:.1f}", "apart": f"{apart_db:g}"}
    if abs(difference) < EVEN_DB:
        parts["difference"] = f"{abs(difference):.1f}"
        return say(
            "Both tones come in at one level, {difference} dB apart instead of {apart} dB: the automatic gain of this input is on, or the second tone wasn't quieter. Its levels can't be trusted, only frequencies.",
            **parts,
        )
    if difference > apart_db:
        return say(
            "The two tones differ by {difference} dB instead of {apart} dB: noise suppression takes quiet tones down, or the second was quieter than that. The levels of this input can't be trusted, only frequencies.",
            **parts,
        )
    return say(
        "The two tones differ by {difference} dB instead of {apart} dB: the automatic gain of this input is on. Its levels can't be trusted, only frequencies.",
        **parts,
    )
