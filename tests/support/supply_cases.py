"""Random supplies of one job, judged by arithmetic of their own beside the product's findings."""

from __future__ import annotations

from typing import Any

import numpy as np

from gainwright.jobfile import read_job_text, with_changes
from gainwright.plan import amplifier_loads, head_unit_loads
from gainwright.power.cable_remedies import Evaluated
from gainwright.power.programmes import programme
from gainwright.power.supply_findings import supply_findings
from gainwright.power.supply_states import supply_states

JOB = """
format: 1
title: Grey van
vehicle: {running: 13.8 V, battery: {capacity: 70 Ah}, alternator: {current: 90 A, other_loads: 30 A}}
allowance: 6 dB
stages:
  head: {kind: head_unit, rated_output: 4 V}
  amp: {kind: amplifier, from: head, sides: [mono], power: 500 W @ 2 ohm, sensitivity: 0.2 .. 5 V, class: AB, efficiency: 85 %, idle: 0 A}
  sub: {kind: speaker, from: amp, coils: 2 x 4 ohm parallel, power: 500 W, re: 3.2 ohm}
supply:
  main: {feeds: [amp], length: 5 m, wire: 4 AWG, fuse: 60 A}
"""
SIZES_A = {8: 65, 6: 95, 4: 125, 2: 170, 1: 195, 0: 230}
"""33 CFR 183.425 table 5, insulation for 75 degrees C, as printed; 1/0 is 0."""


def evaluated(text: str = JOB, **changes: str) -> Evaluated:
    """Return a job with its supply solved, keys changed by path (`__` for a dot)."""
    job = read_job_text(text).job
    job = with_changes(job, {key.replace("__", "."): value for key, value in changes.items()})
    loads = {load.stage: load for load in amplifier_loads(job)} | head_unit_loads(job)
    programmes = {name: programme(load, None) for name, load in loads.items()}
    return Evaluated(job, loads, programmes, supply_states(job, loads, programmes))


def codes(found: Evaluated) -> dict[str, Any]:
    """Return code -> finding of the supply."""
    return {f.code: f for f in supply_findings(found)}


def brute_force(rng: np.random.Generator, cases: int) -> int:
    """Return how many of random cables carry by this file's own arithmetic; AssertionError where the product says otherwise.

    The amplifier is a constant power behind cable and battery, so its current solves V = E - R I with I = P/V.
    """
    base = evaluated()
    carried = 0
    for _ in range(cases):
        gauge, fuse = int(rng.choice(list(SIZES_A))), float(rng.choice([10, 20, 30, 40, 60, 80, 100, 150]))
        length, alternator = float(rng.uniform(0.5, 9)), float(rng.uniform(20, 140))
        size = f"{gauge} AWG" if gauge else "1/0 AWG"
        found = base.with_changes(
            {
                "supply.main.wire": size,
                "supply.main.fuse": f"{fuse:g} A",
                "supply.main.length": f"{length:.3f} m",
                "vehicle.alternator.current": f"{alternator:.2f} A",
            }
        )
        said = codes(found)
        area = np.pi / 4 * (0.127 * 92 ** ((36 - gauge) / 39)) ** 2
        ohm = float(f"{length:.3f}") / 58 / area * (1 + 0.00393 * 30) + 0.003
        amps = {}
        for state in ("music", "worst_second"):
            watts = found.states.watts["amp"][state]
            current, volts = 0.0, 13.8
            for _round in range(300):
                missing = current + 30 - float(f"{alternator:.2f}")
                volts = 13.8 if missing <= 0 else 12.6 - 0.4 / 70 * missing
                current = watts / (volts - ohm * current)
            amps[state], lost = current, ohm * current
        fits = fuse <= SIZES_A[gauge] and amps["music"] <= 0.75 * fuse and amps["worst_second"] <= 1.1 * fuse
        if not said:
            carried += 1
            assert fits
            assert lost <= 0.5 + 1e-6
            assert amps["worst_second"] + 30 <= alternator + 1e-6
        elif {"fuse_above_wire", "fuse_small"} & said.keys():
            assert not fits
    return carried
