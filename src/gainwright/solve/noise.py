"""The noise floor: each stage's own noise carried through everything after it.

Powers add (the sources are independent), each weighted by |H|^2 of the stages after it, integrated over 20 Hz to 20 kHz.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics
from gainwright.solve.chain import Chain, Conditions

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

LOW_HZ, HIGH_HZ = 20.0, 20_000.0
_POINTS = 193
ENGINE_HZ = (25.0, 200.0)
"""The band of noise cancelling of an idling engine: its firing rate and the next orders (common practice, no published source)."""
LINK_BITS = 16
"""Word length of a digital link and of what is played over it, at the least (IEC 60958-3, Red Book)."""


def noise_v(chain: Chain, *, settings: Mapping[str, Any] | None = None) -> npt.NDArray[np.float64]:
    """Return the noise at every node with all numbers at the middle of their spread, volts rms, shape (nodes,).

    What a source with noise cancelling plays while the engine runs is part of it.
    """
    values, stand = chain.nominal(), {**chain.settings, **(settings or {})}
    loading, cells = chain.cells(values, stand, Conditions(tone_hz=1000.0, level_dbfs=0.0))
    frequency_hz = np.geomspace(LOW_HZ, HIGH_HZ, _POINTS)
    in_engine_band = (frequency_hz >= ENGINE_HZ[0]) & (frequency_hz <= ENGINE_HZ[1])
    density: list[npt.NDArray[np.float64]] = []
    for place, cell in zip(chain.places, cells, strict=True):
        power = np.zeros(_POINTS)
        for i, factor in cell.inputs:
            power = power + density[i] * np.square(float(np.squeeze(factor)))
        if cell.response is not None:
            power = power * np.abs(cell.response(frequency_hz[None, :], slice(None))[0]) ** 2
        power = power * np.square(float(np.squeeze(cell.gain)))
        if place.role == "output":
            digital = place.at in chain.wiring.digital
            own_v = physics.dither_noise(bits=LINK_BITS) if digital else values[f"{place.stage}.output_noise"]
            power = power + own_v**2 / (HIGH_HZ - LOW_HZ)
            engine_v = 0.0 if digital else values.get(f"{place.stage}.factory.cancelling_level", 0.0)
            power = power + np.where(in_engine_band, engine_v**2 / (ENGINE_HZ[1] - ENGINE_HZ[0]), 0.0)
        density.append(power)
    outputs = {place.at: density[i] for i, place in enumerate(chain.places) if place.role == "output"}
    emf = np.array([np.sqrt(np.trapezoid(outputs[node], frequency_hz)) for node in chain.nodes])
    factors = np.array([float(np.squeeze(loading.node_factor(node))) for node in chain.nodes])
    return np.asarray(emf * factors)
