"""Cars as a set-up left them: a job with its gains where the circuit needs them, written as somebody read them off."""

from __future__ import annotations

import math
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from random_jobs import random_job

from gainwright.jobfile import example_text, examples, read_job_text, with_settings
from gainwright.model import Amplifier
from third_world import spice
from third_world.car import Car, draw_car
from third_world.lead_circuit import State
from third_world.power_circuit import PowerCircuit
from third_world.world import World

if TYPE_CHECKING:
    from gainwright.model import Job

READ_OFF_SD = 0.02
"""By how much a place of a gain control is read off wrongly, share of travel."""
BELOW_RATED_DB = (0.0, 6.0)
"""How far below its rating an amplifier was set, dB: by ear, or with reserve."""


def own_chains() -> tuple[str, ...]:
    """Return the names of the chains that are kept with this package."""
    return tuple(sorted(path.stem for path in Path(__file__).parent.glob("chains/*.yaml")))


def draw_job(seed: int) -> tuple[str, Job]:
    """Return a job by a seed: one in three is shipped, one in three kept here, one in three random."""
    if seed % 3 == 0:
        name = list(examples())[(seed // 3) % len(list(examples()))]
        return name, read_job_text(example_text(name)).job
    if seed % 3 == 1:
        name = own_chains()[(seed // 3) % len(own_chains())]
        text = resources.files("third_world").joinpath(f"chains/{name}.yaml").read_text(encoding="utf-8")
        return name, read_job_text(text).job
    return f"random {seed}", random_job(50_000 + seed)


def set_up(job: Job, seed: int) -> Car:
    """Return a car whose gains stand as after a set-up; its job has them as somebody read them off."""
    rng = np.random.default_rng([seed, 23])
    free = [n for n, s in job.stages.items() if isinstance(s, Amplifier) and not s.gain.fixed]
    half = with_settings(job, {f"{n}.gain": "50 %" for n in free})
    trial = draw_car(half, seed)
    reached = _reached_v(trial)
    true, read = {}, {}
    for name in free:
        stage = job.stages[name]
        assert isinstance(stage, Amplifier)
        ends = next(iter(stage.input_ranges.values()), stage.sensitivity)
        spread_db = 28.0
        if ends is not None and ends.first.known and ends.second.known:
            spread_db = abs(20 * math.log10(ends.second.nominal / ends.first.nominal))
        rating = stage.power[0]
        rated_v = math.sqrt(trial.values[f"{name}.power.0"] * rating.load.nominal)
        below = float(rng.uniform(*BELOW_RATED_DB))
        place = 0.5 + (20 * math.log10(rated_v / max(reached[name], 1e-9)) - below) / max(spread_db, 6.0)
        true[name] = min(max(place, 0.06), 0.95)
        read[name] = min(max(true[name] + READ_OFF_SD * float(rng.normal()), 0.05), 0.95)
    told = with_settings(job, {f"{n}.gain": f"{100 * at:.0f} %" for n, at in read.items()})
    car = draw_car(told, seed)
    car.true_gains = {f"{n}.gain": at for n, at in true.items()}
    return car


def _reached_v(car: Car) -> dict[str, float]:
    """Return the volts that each amplifier would reach with the set-up tone of its path, far from any ceiling."""
    world = World(car)
    made = PowerCircuit(car, (), State(1000.0, 0.0), settle_s=1.0).circuit
    names = sorted({v for pair in made.at.values() for v in pair} - {"0"})
    _, found = spice.response(made.lines, [f"v({v})" for v in names], low_hz=25.0, high_hz=16e3)
    reached: dict[str, float] = {}
    for path in world.wiring.paths:
        for node in [n for n in path.nodes if isinstance(car.job.stages[n.stage], Amplifier)]:
            size = np.abs(found[f"v({made.at[node][0]})"])
            level = 10 ** (-path.allowance_db(car.job) / 20) / math.sqrt(2)
            reached[node.stage] = max(reached.get(node.stage, 0.0), float(np.max(size)) * level)
    return reached
