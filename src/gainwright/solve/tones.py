"""The set-up tone of a path: the middle of what passes whole, where an instrument can read it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import Indicator, Multimeter, Recorder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from gainwright.model import Instrument

_DECADE = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
PREFERRED_HZ = (*(round(10**power * value, 2) for power in (1, 2, 3) for value in _DECADE), 10e3, 12.5e3, 16e3, 20e3)[
    3:
]
"""Preferred frequencies in one-third octaves, 20 Hz to 20 kHz (ISO 266:1997, table 1)."""
AUDIO_HZ = 20_000.0


def preferred_hz(frequency_hz: float) -> float:
    """Return the preferred frequency nearest to one: of the exact middles 10^(n/10) Hz (IEC 61260-1:2014, 5.2) the nearest."""
    n = min(max(round(10 * math.log10(frequency_hz)), 13), 43)
    return PREFERRED_HZ[n - 13]


def tone_limits_hz(instruments: Iterable[Instrument]) -> list[float]:
    """Return up to which tone instruments see what they need, the first to be taken first.

    A meter reads up to its bandwidth. A recorder needs the third harmonic too, within 20 kHz and half its rate (AES17).
    """
    found = list(instruments)
    meters = [i.bandwidth.nominal for i in found if isinstance(i, Multimeter) and i.bandwidth and i.bandwidth.known]
    rates = [i.rate.nominal if i.rate and i.rate.known else 48e3 for i in found if isinstance(i, Recorder)]
    indicators = any(isinstance(i, Indicator) for i in found)
    limits = [max(meters)] if meters else []
    limits += [min(AUDIO_HZ, max(rates) / 2) / 3] if rates else []
    return limits or ([AUDIO_HZ / 3] if indicators else [AUDIO_HZ])


def set_up_tone_hz(
    band_hz: tuple[float, float],
    *,
    protect_below_hz: float,
    limits_hz: Sequence[float],
    passes: Callable[[float], bool],
) -> float:
    """Return the tone of a path, Hz.

    It is the geometric middle of the pass band above what the speaker must be protected from and below an instrument's
    limit, put to the nearest preferred frequency. Where no instrument reaches the band it is the preferred frequency
    nearest to it that an instrument reads and that passes all the same, for example once filters are opened.

    Parameters
    ----------
    band_hz : where the path passes within 3 dB of its best.
    limits_hz : see `tone_limits_hz`.
    passes : whether what can't be opened lets a tone pass, Hz.
    """
    low, high = max(band_hz[0], protect_below_hz), band_hz[1]
    for limit in limits_hz:
        top = min(high, limit)
        if top > low:
            tone = preferred_hz(math.sqrt(low * top))
            if tone <= limit and passes(tone):
                return tone
    middle = math.sqrt(band_hz[0] * band_hz[1])
    fit = [hz for hz in PREFERRED_HZ if hz <= max(limits_hz) and passes(hz)]
    fit = fit or [hz for hz in PREFERRED_HZ if band_hz[0] <= hz <= band_hz[1]] or [middle]
    return float(min(fit, key=lambda hz: abs(math.log(hz / middle))))
