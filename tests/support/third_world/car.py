"""The hidden numbers of one car: what its parts really have, drawn from spreads of their own.

The spreads are common practice, no published source, and differ on purpose from those that the product assumes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import facts, settings, volume_steps
from gainwright.model import Amplifier, HeadUnit, Powered, Processor, Speaker, resolve, unit_of, volume_of
from gainwright.quantities import Unknown
from third_world.parts import SHAPES, VoiceCoil

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.jobfile import Fact
    from gainwright.model import Job, Wiring

RATIO_SD = {
    "output_limit": 0.04,
    "input_limit": 0.08,
    "output_impedance": 0.15,
    "input_impedance": 0.12,
    "corner": 0.04,
    "corner_q": 0.05,
    "up": 0.06,
    "down": 0.06,
    "impedance": 0.05,
    "re": 0.03,
    "resistance": 0.15,
    "q": 0.05,
}
"""Last word of a path -> standard deviation of the natural logarithm about what the job says."""
ASSUMED_SD = {
    "output_impedance": 0.5,
    "input_impedance": 0.4,
    "resistance": 0.5,
    "input_limit": 0.2,
    "turn_on_level": 0.4,
}
"""The same where the job says nothing, about what the product would assume."""
DB_SD = {"gain": 0.4, "ratio": 0.6, "digital_gain": 0.4, "level": 0.1}
VOLUME_SHARE = (0.4, 1.0)
"""Share of a volume's way down that counts: many sources give their rated output well before their highest step."""
POWER_OVER = (0.0, 1.2)
"""By how much an amplifier gives more than its rating, dB."""


@dataclass(frozen=True)
class Unit:
    """One chassis: its supply lead and what protects it.

    Attributes
    ----------
    own_v : of a supply of its own, None on the vehicle's.
    supply_ohm, farad : of its lead there and back, and the capacitor at its terminals.
    idle_a, efficiency : of what it draws.
    protects : whether it switches off on too much current; else it gives its limit.
    lamp_in_short : whether its protection lamp then is lit.
    """

    own_v: float | None
    supply_ohm: float
    farad: float
    idle_a: float
    efficiency: float
    protects: bool
    lamp_in_short: bool


@dataclass(frozen=True)
class Stage:
    """What an amplifier, a source or a stage at line level has beyond its facts: ceilings and the taper of its controls."""

    shape: str
    input_shape: str
    over_db: float
    regulation: float
    limit: float
    bend: float
    taper: float


@dataclass
class Car:
    """One car: a job and its hidden numbers, by the path of the fact that the job (or the catalogue) gives.

    Attributes
    ----------
    true_gains : control -> where it really stands, where the job has what somebody read off.
    worlds : faults -> the world of this car with them, for whoever asks again.
    """

    job: Job
    wiring: Wiring
    seed: int
    values: dict[str, float]
    bus_ohm: float
    units: dict[str, Unit]
    stages: dict[str, Stage]
    coils: dict[str, VoiceCoil]
    true_gains: dict[str, float] = field(default_factory=dict)
    worlds: dict[Any, Any] = field(default_factory=dict)

    def rng(self, *more: int) -> np.random.Generator:
        """Return a generator that depends on the car and some numbers only."""
        return np.random.default_rng([self.seed, *more])


def draw_car(job: Job, seed: int) -> Car:
    """Return a car whose hidden numbers are drawn by a seed."""
    rng = np.random.default_rng([seed, 17])
    wiring = resolve(job)
    found = facts(job, wiring)
    values = {path: _drawn(path, fact, rng) for path, fact in found.items()}
    for name, stage in job.stages.items():
        volume = volume_of(stage)
        if (
            volume is not None
            and not found[f"{name}.volume.top"].given
            and isinstance(stage, HeadUnit)
            and not stage.all_digital
        ):
            values |= _volume(name, settings(job)[f"{name}.volume"], volume_steps(volume), found, rng)
    units, stages, coils = {}, {}, {}
    for name, stage in job.stages.items():
        if isinstance(stage, Powered):
            unit = unit_of(job, name)
            own = values.get(f"{name}.supply.running")
            if unit not in units or own is not None:
                units[unit] = _unit(name, job, own, rng)
        if isinstance(stage, Speaker):
            coils[name] = _coil(name, job, wiring, values, found, rng)
        soft = SHAPES[:3] if not isinstance(stage, Amplifier) else SHAPES[1:]
        stages[name] = Stage(
            str(rng.choice(soft)),
            str(rng.choice(SHAPES)),
            float(rng.uniform(0.0, 1.5)),
            float(rng.uniform(0.03, 0.12)),
            float(rng.uniform(1.3, 2.2)),
            float(rng.normal(0.0, 0.06)),
            float(rng.uniform(0.0, 0.03)) if isinstance(stage, HeadUnit) and not stage.all_digital else 0.0,
        )
    return Car(job, wiring, seed, values, float(rng.uniform(0.006, 0.02)), units, stages, coils)


def _drawn(path: str, fact: Fact, rng: np.random.Generator) -> float:
    """Return the true value of a fact: somewhere in the job's own span, and off by what such a part is off."""
    chance, off = rng.uniform(0.02, 0.98), rng.normal()
    last = path.rpartition(".")[2]
    spread = fact.quantity.spread
    assert not isinstance(spread, Unknown)
    value = float(spread.quantile(np.array(chance)))
    if path.startswith("vehicle."):
        return value + 0.12 * off
    if last.isdigit():
        return value * 10 ** (rng.uniform(*POWER_OVER) / 10) if ".power." in path else value
    if not fact.given and last in ASSUMED_SD:
        return float(fact.quantity.nominal * math.exp(ASSUMED_SD[last] * off))
    if fact.quantity.dimension == "ratio" and ".volume." not in path:  # of volumes an analogue one is drawn as a whole
        return value + DB_SD.get(last, 0.3) * off
    return float(value * math.exp(RATIO_SD.get(last, 0.0) * off))


def _volume(name: str, at: float, steps: int, found: Mapping[str, Fact], rng: np.random.Generator) -> dict[str, float]:
    """Return a volume control's step where it stands, and its top: sources give most of their output at three quarters."""
    given = found[f"{name}.volume.step"]
    step = given.quantity.nominal * float(rng.normal(1, 0.03)) if given.given else float(rng.uniform(0.7, 1.8))
    below = step * (steps - at) * float(rng.uniform(*VOLUME_SHARE)) + float(rng.uniform(0.0, 4.0)) * (at < steps)
    return {f"{name}.volume.step": step, f"{name}.volume.top": step * (steps - at) - below}


def _unit(name: str, job: Job, own_v: float | None, rng: np.random.Generator) -> Unit:
    stage = job.stages[name]
    watts = [r.power.nominal for r in stage.power if r.power.known] if isinstance(stage, Amplifier) else []
    # a lead that loses 1 to 4 % at the current of full power
    amps = max(2 * max(watts, default=10.0) / 12.0, 3.0)
    return Unit(
        own_v,
        float(rng.uniform(0.01, 0.04)) * 13.0 / amps,
        float(rng.uniform(2e-3, 8e-3)),
        float(rng.uniform(0.3, 1.5)),
        float(rng.uniform(0.55, 0.85)),
        bool(rng.random() < 0.7),
        bool(rng.random() < 0.6),
    )


def _coil(
    name: str,
    job: Job,
    wiring: Wiring,
    values: dict[str, float],
    found: dict[str, Fact],
    rng: np.random.Generator,
) -> VoiceCoil:
    stage = job.stages[name]
    assert isinstance(stage, Speaker)
    ohm = found[f"{name}.impedance"].quantity.nominal
    low, high = edges_of(name, job, wiring)
    re_ohm = values.get(f"{name}.re", ohm * float(rng.uniform(0.66, 0.88)))
    if high <= 300:
        resonance, le_s = rng.uniform(24, 45), rng.uniform(0.15e-3, 0.5e-3)
    elif low >= 1000:
        resonance, le_s = rng.uniform(0.25, 0.45) * low, rng.uniform(0.005e-3, 0.015e-3)
    else:
        resonance, le_s = rng.uniform(55, 110), rng.uniform(0.03e-3, 0.12e-3)
    if stage.resonance is not None and stage.resonance.known:
        resonance = stage.resonance.nominal
    return VoiceCoil(
        re_ohm,
        ohm * float(le_s),
        ohm * float(rng.uniform(2, 8)),
        resonance_hz=float(resonance),
        qms=float(rng.uniform(3, 7)),
        qes=float(rng.uniform(0.4, 0.8)),
    )


def edges_of(speaker: str, job: Job, wiring: Wiring) -> tuple[float, float]:
    """Return between which corners the filters before a speaker let pass, Hz, as the job has them."""
    low, high = 20.0, 20e3
    nodes = {node for path in wiring.paths if path.speaker == speaker for node in path.nodes}
    ends = {feed.node for port in wiring.ports(speaker) for feed in wiring.feeds[port]}
    for node in nodes:
        stage = job.stages[node.stage]
        holder = stage.outputs[node.output] if isinstance(stage, HeadUnit | Processor) else stage
        # of a processor's other outputs nothing comes here
        if isinstance(stage, Amplifier) and node not in ends:
            continue
        for key in ("low_pass", "high_pass"):
            setting = getattr(holder, key, None)
            if setting is not None and not setting.off:
                hz = setting.corner.nominal
                low, high = (low, min(high, hz)) if key == "low_pass" else (max(low, hz), high)
    return low, high
