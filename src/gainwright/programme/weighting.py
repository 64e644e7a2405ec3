"""K-weighting for loudness (ITU-R BS.1770-4 Annex 1) at any sample rate, and the weights of the channels."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SURROUND = 1.41
_CHANNEL_WEIGHTS = {
    4: (1, 1, SURROUND, SURROUND),
    5: (1, 1, 1, SURROUND, SURROUND),
    6: (1, 1, 1, 0, SURROUND, SURROUND),
    7: (1, 1, 1, 0, 1, SURROUND, SURROUND),
    8: (1, 1, 1, 0, 1, 1, SURROUND, SURROUND),
}


def channel_weights(channels: int) -> Floats:
    """Return the weight of each channel in the order of WAV files (BS.1770-4 Table 4).

    Left, right, centre and channels behind 120 degrees have 1, side channels 1.41, the low-frequency channel 0. Four
    channels are taken as left, right and two surrounds, five as 5.0.
    """
    return np.array(_CHANNEL_WEIGHTS.get(channels, (1.0,) * channels), dtype=np.float64)


def k_weighting(rate_hz: int) -> Floats:
    """Return the two sections (b0 b1 b2 1 a1 a2) of the K-weighting.

    The annex gives coefficients for 48 kHz only and requires the same response at other rates. These are the analogue
    values behind them, converted by the bilinear transform pre-warped at their corners; at 48 kHz they equal the
    printed table within 1e-9.
    """
    corner_hz, gain_db, q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
    k = math.tan(math.pi * corner_hz / rate_hz)
    high = 10 ** (gain_db / 20)
    band = high**0.4996667741545416
    a0 = 1 + k / q + k * k
    shelf = [(high + band * k / q + k * k) / a0, 2 * (k * k - high) / a0, (high - band * k / q + k * k) / a0]
    shelf += [1.0, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    corner_hz, q = 38.13547087602444, 0.5003270373238773
    k = math.tan(math.pi * corner_hz / rate_hz)
    a0 = 1 + k / q + k * k
    low_cut = [1.0, -2.0, 1.0, 1.0, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    return np.array([shelf, low_cut])
