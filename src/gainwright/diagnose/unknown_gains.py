"""Gains whose place a job doesn't say: found anywhere in their travel, not at the lowest end that a set-up starts from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Amplifier
from gainwright.quantities import latin_hypercube
from gainwright.solve import Chain

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Job

    Floats = npt.NDArray[np.float64]

MIDDLE = 0.5
READ_SD = 0.04
"""Spread of a place of the travel that is read off a knob (common practice, no published source)."""


def unknown_gains(job: Job) -> tuple[str, ...]:
    """Return the gain controls that a job names no place of."""
    return tuple(
        f"{name}.gain"
        for name, stage in job.stages.items()
        if isinstance(stage, Amplifier) and (stage.gain.at is None or not stage.gain.at.known)
    )


def chain_with_unknown_gains(job: Job) -> Chain:
    """Return a job's chain as somebody meets it: a gain whose place isn't said stands in the middle.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    chain = Chain(job)
    chain.settings |= dict.fromkeys(unknown_gains(job), MIDDLE)
    return chain


def gain_positions(job: Job, *, draws: int, seed: int) -> dict[str, Any]:
    """Return where each gain that isn't said may stand, evenly over its travel, shape (draws,) each."""
    gains = unknown_gains(job)
    if not gains:
        return {}
    drawn = latin_hypercube(draws=draws, dimensions=len(gains), seed=seed)
    return {gain: drawn[:, i] for i, gain in enumerate(gains)}


def position_density(places: Floats, said: float) -> Floats:
    """Return the density, per whole travel, of a place read off a knob that stands at `places`: a normal one."""
    z = (places - said) / READ_SD
    return np.asarray(np.exp(-0.5 * z * z) / (READ_SD * np.sqrt(2 * np.pi)))
