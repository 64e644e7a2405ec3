"""The loads that count for what an amplifier takes from its supply: speakers with their impedance over the band that they play."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import Amplifier
from gainwright.plan.bands import passed
from gainwright.plan.strapping import halves
from gainwright.solve import UNITS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Node
    from gainwright.plan.context import PlanContext

    Floats = np.ndarray

LOWEST_HZ, HIGHEST_HZ, POINTS = 20.0, 20_000.0, 61
SURE = 0.975
"""Quantile of the units that verdicts on cables and fuses use."""
IN_BAND = 10 ** (-3 / 20)
"""Where a band's filters pass at least this share of their best, a sine may be played in it."""


def taken_ohms(
    context: PlanContext, stage: str, nodes: Sequence[Node], speakers: Sequence[str], load_ohm: float
) -> tuple[float, float]:
    """Return the loads on one side that count for music, and for a sine at the frequency of the band that takes most, ohm.

    Music is taken as pink noise through the band's filters. A class B stage takes rail x |i| whatever the phase, so the
    rms of the current counts; class D takes what the load takes: V^2 Re Y (both Kirchhoff's laws). Of the units
    that fit the job (docs/decisions/0023-speaker-impedance.md) one counts that takes more than 39 of 40 of them: what
    isn't known mustn't make a cable look as if it carried.

    Parameters
    ----------
    load_ohm : what counts where there is no speaker.
    """
    if not speakers:
        return load_ohm, load_ohm
    hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS)
    passes = passed(context.job, context.chain.wiring, nodes[0], hz)
    if not np.any(passes):
        return load_ohm, load_ohm
    nominal, units = context.chain.nominal(), (np.arange(UNITS) + 0.5) / UNITS
    siemens = np.zeros((POINTS, UNITS), dtype=np.complex128)
    for name in speakers:
        ratio = context.chain.curves[name].ratio(np.repeat(hz, UNITS), np.tile(units, POINTS)).reshape(POINTS, UNITS)
        siemens += halves(context, name) / (nominal[f"{name}.impedance"] * ratio)
    amplifier = context.job.stages[stage]
    switching = isinstance(amplifier, Amplifier) and amplifier.output_class == "D"
    # pink noise has the same power in each step of a geometric grid
    shares = passes**2 / np.sum(passes**2)
    each = np.real(siemens) if switching else np.abs(siemens)
    music = shares @ each if switching else np.sqrt(shares @ each**2)
    sine = np.max(each[passes >= IN_BAND * passes.max()], axis=0)
    return 1 / float(np.quantile(music, SURE)), 1 / float(np.quantile(sine, SURE))
