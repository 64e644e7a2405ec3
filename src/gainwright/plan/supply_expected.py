"""The supply that a device is expected to have while its amplifier delivers, from the cables that the job gives."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import Amplifier
from gainwright.plan.result import Expect
from gainwright.plan.strapping import halves
from gainwright.plan.targets import load_ohm, rail_v
from gainwright.solve import MIDDLE, Taken, amplifier_draw_w, sine, source_of, supply_tree

if TYPE_CHECKING:
    from gainwright.plan.context import End, PlanContext
    from gainwright.solve.cable_resistance import Assumed

SUPPLY_DOUBT = 0.02
"""What a meter and a supply that the job gives without a spread are off at most (common practice, no published source)."""


def supply_running(context: PlanContext, path: str) -> Expect:
    """Return the expected supply with the engine or a charger running, at the path of its fact."""
    running = context.chain.facts[path].quantity
    low, high = running.interval
    doubt = SUPPLY_DOUBT * running.nominal
    return Expect("supply_v", running.nominal, min(low, running.nominal - doubt), max(high, running.nominal + doubt))


def supply_on_load(context: PlanContext, unit: str, end: End, volts: float, at_rest: Expect) -> Expect:
    """Return the expected supply of a device while one of its amplifiers gives a tone of `volts` rms, the engine idling.

    Without cables to it, and where the voltage would collapse, that at rest: `at_rest`. Its ends are those of the supply
    itself with the least and the most that joints and body usually have, and that speakers of these data take at the tone.
    """
    if not context.job.supply:
        return at_rest
    usual = _lost_v(context, unit, end, volts, "usual")
    least, most = (_lost_v(context, unit, end, volts, assumed) for assumed in ("least", "most"))
    if math.isnan(usual + least + most):
        return at_rest
    return Expect("supply_v", at_rest.value - usual, at_rest.low - most, at_rest.high - least)


def _lost_v(context: PlanContext, unit: str, end: End, volts: float, assumed: Assumed) -> float:
    """Return what a device loses against the alternator's voltage; 0 without a cable to it."""
    job, stage = context.job, context.job.stages[end.stage]
    tree = supply_tree(job, assumed=assumed)
    if unit in tree.loose or not isinstance(stage, Amplifier):
        return 0.0
    rail, load = rail_v(context, end), _taking_ohm(context, end, stage, assumed)
    watts = len(end.nodes) * amplifier_draw_w(stage, sine(volts), load_ohm=load, rail_v=rail)
    source = source_of(job, idling=True)
    state = tree.solve(source, {unit: Taken(watts)})
    return source.running_v - float(state.devices_v[unit])


def _taking_ohm(context: PlanContext, end: End, stage: Amplifier, assumed: Assumed) -> float:
    """Return the load that counts for what an amplifier takes at the end's tone, ohm.

    A class B stage takes rail x |i|, whatever the phase: the size of the impedance. Class D takes what the load takes: V^2/P
    (both Kirchhoff's laws). Of 95 % of the speakers that fit the job the one that takes least or most.
    """
    chain, nominal = context.chain, context.chain.nominal()
    if not end.speakers:
        return load_ohm(context, end)
    chosen = np.array([MIDDLE, *np.linspace(0.001, 0.999, 201)])
    siemens = np.zeros(len(chosen), dtype=np.complex128)
    for name in end.speakers:
        siemens += halves(context, name) / (
            nominal[f"{name}.impedance"] * chain.curves[name].ratio(end.tone_hz, chosen)
        )
    ohms = 1 / (np.real(siemens) if stage.output_class == "D" else np.abs(siemens))
    if assumed == "usual":
        return float(ohms[0])
    return float(np.quantile(ohms[1:], 0.975 if assumed == "least" else 0.025))
