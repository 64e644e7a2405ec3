"""Fit a sine to samples with three or four parameters (IEEE Std 1057), in blocks so that long recordings are cheap.

A block's three-parameter fit at a fixed frequency is one matrix product for all blocks at once; the phases of the blocks
on a straight line give the frequency. For white noise this is as good as a four-parameter fit of all samples (the Cramer-Rao
bound var f = 6 s^2/(pi^2 A^2 N (N^2-1)) cycles per sample is reached within a few per cent; tests/truth).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.phasors import tone_phasors

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]

FEWEST_BLOCKS = 4
"""m blocks keep 1 - 1/m^2 of the information about the frequency; fewer are fitted as one."""
HARMONICS_IN_FIT = 5
"""Harmonics included in a block's fit, so that they don't leak into the fundamental."""


@dataclass(frozen=True, slots=True)
class SineFit:
    """x[n] = amplitude cos(2 pi frequency n / rate + phase) + offset.

    Attributes
    ----------
    frequency_hz, amplitude, phase, offset : of the fit; phase at the first sample, radians.
    """

    frequency_hz: float
    amplitude: float
    phase: float
    offset: float


def three_parameter_fit(samples: Floats, *, rate_hz: float, frequency_hz: float) -> SineFit:
    """Fit amplitude, phase and offset at a known frequency by least squares (IEEE Std 1057, 4.1.4.1)."""
    turning = tone_phasors(2 * np.pi * frequency_hz / rate_hz, len(samples))
    basis = np.stack([turning.real, turning.imag, np.ones(len(samples))])
    a, b, offset = np.linalg.solve(basis @ basis.T, basis @ samples)
    return SineFit(frequency_hz, float(np.hypot(a, b)), float(np.arctan2(-b, a)), float(offset))


def frequency_start(samples: Floats, *, rate_hz: float, expect_hz: float | None = None) -> float:
    """Return an initial frequency from the highest line of a Hann-windowed spectrum, by parabola through its logarithm.

    With `expect_hz` only a third of an octave about it is searched.
    """
    count = min(len(samples), 1 << 17)
    begin = (len(samples) - count) // 2
    part = samples[begin : begin + count]
    spectrum = np.abs(np.fft.rfft((part - part.mean()) * np.hanning(count)))
    spectrum[: max(1, int(5 * count / rate_hz))] = 0
    if expect_hz is not None:
        bins = np.arange(len(spectrum)) * rate_hz / count
        spectrum[(bins < expect_hz * 2 ** (-1 / 3)) | (bins > expect_hz * 2 ** (1 / 3))] = 0
    top = int(np.argmax(spectrum))
    if top <= 0 or top >= len(spectrum) - 1:
        return max(top, 1) * rate_hz / count
    left, middle, right = np.log(np.maximum(spectrum[top - 1 : top + 2], 1e-300))
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((top + np.clip(shift, -0.5, 0.5)) * rate_hz / count)


def four_parameter_fit(samples: Floats, *, rate_hz: float, start_hz: float) -> SineFit:
    """Fit frequency, amplitude, phase and offset (IEEE Std 1057, 4.1.4.3), block by block.

    Harmonics 2 to 5 are included where they are below half the rate.
    """
    frequency_hz = start_hz
    for periods in (8, 64):
        block = round(max(periods * rate_hz / frequency_hz, 64))
        block = min(block, len(samples))
        frequency_hz, first, offset = _blocks(samples, rate_hz, frequency_hz, block)
    frequency_hz, first, offset = _blocks(samples, rate_hz, frequency_hz, block)
    return SineFit(frequency_hz, float(np.abs(first)), float(np.angle(first)), offset)


def _blocks(samples: Floats, rate_hz: float, frequency_hz: float, block: int) -> tuple[float, complex, float]:
    """Return a better frequency, the fundamental's phasor at the first sample, and the offset."""
    count = len(samples) // block
    if count < FEWEST_BLOCKS:
        count = 1
    block = len(samples) // count  # nothing is left over at the end
    step = 2 * np.pi * frequency_hz / rate_hz
    centred = np.arange(block, dtype=np.float64) - (block - 1) / 2
    orders = [k for k in range(1, HARMONICS_IN_FIT + 1) if k == 1 or k * frequency_hz < 0.45 * rate_hz]
    turning = tone_phasors(step, block, start=step * centred[0])
    basis, power = np.ones((2 * len(orders) + 1, block)), turning
    for i, k in enumerate(orders):
        power = power if k == 1 else power * turning
        basis[2 * i], basis[2 * i + 1] = power.real, power.imag
    if count == 1:
        # One block: the slope of the phase is fitted inside it, as the fourth parameter.
        return _single(samples[:block], basis, step, centred, rate_hz)
    weights = np.linalg.solve(basis @ basis.T, basis)[[0, 1, -1]]
    fitted = samples[: count * block].reshape(count, block) @ weights.T
    phasors = (fitted[:, 0] - 1j * fitted[:, 1]) * np.exp(-1j * step * block * np.arange(count))
    phase = np.unwrap(np.angle(phasors))
    place = np.arange(count) - (count - 1) / 2
    slope = float(np.dot(place, phase) / np.dot(place, place)) / block
    turned = phasors * np.exp(-1j * slope * block * place)
    mean = complex(np.mean(turned))
    # The mean phasor refers to the middle of the stretch; move it to the first sample.
    middle_to_first = slope * (block * (count - 1) / 2) + (step + slope) * (block - 1) / 2
    first = mean * np.exp(-1j * middle_to_first)
    return (step + slope) * rate_hz / (2 * np.pi), first, float(np.mean(fitted[:, 2]))


def _single(
    samples: Floats, basis: Floats, step: float, centred: Floats, rate_hz: float
) -> tuple[float, complex, float]:
    coefficients = np.linalg.solve(basis @ basis.T, basis @ samples)
    a, b = coefficients[0], coefficients[1]
    slope = centred * (-a * basis[1] + b * basis[0])
    wider = np.vstack([basis, slope])
    coefficients = np.linalg.solve(wider @ wider.T, wider @ samples)
    shift = float(coefficients[-1]) if np.isfinite(coefficients[-1]) else 0.0
    shift = float(np.clip(shift, -0.2 * step, 0.2 * step))
    first = complex(coefficients[0] - 1j * coefficients[1]) * np.exp(1j * (step + shift) * centred[0])
    return (step + shift) * rate_hz / (2 * np.pi), first, float(coefficients[len(basis) - 1])
