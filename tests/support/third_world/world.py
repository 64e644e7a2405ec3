"""The circuit of one car in any state, run by ngspice once for each state; protection and turn-on by signal act afterwards."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Amplifier, Powered, Speaker, stages_of, unit_of
from third_world import spice
from third_world.lead_circuit import State
from third_world.power_circuit import PowerCircuit

if TYPE_CHECKING:
    from gainwright.model import Node, Port
    from third_world.car import Car
    from third_world.faults import Fault

NEAR = {"tanh": 0.12, "4": 0.35, "8": 0.6, "16": 0.75}
"""Up to this peak over its asymptote a ceiling bends a sine by less than half of one per cent."""
TRIPS = 0.9
"""Share of the current limit at which an amplifier that protects switches itself off."""
MUSIC_BELOW_DB = 4.0
"""How far below its loud passages ordinary music stands; those stand as far below full scale as the job's allowance."""


@dataclass(frozen=True)
class Waves:
    """One settled period of a state.

    Attributes
    ----------
    node : volts at each output, shape (points,).
    coil : volts at each loudspeaker's terminals, plus to minus as it should be connected.
    supply : volts at each chassis, mean.
    tripped : chassis that have switched themselves off.
    """

    node: dict[Node, Any]
    coil: dict[tuple[Node, Port], Any]
    supply: dict[str, float]
    tripped: frozenset[str]


class World:
    """One car with its faults."""

    def __init__(self, car: Car, faults: tuple[Fault, ...] = ()) -> None:
        self.car, self.job, self.wiring, self.faults = car, car.job, car.wiring, faults
        self._kept: dict[State, Waves] = {}
        self._usual: dict[str, float] = {}
        self._linear: dict[State, tuple[Any, dict[str, complex]]] = {}
        self._supplied: dict[State, dict[str, float]] = {}
        self.runs = self.small_runs = 0

    def waves(self, state: State) -> Waves:
        """Return the waves of a state, from the cache or run."""
        if state not in self._kept:
            self._kept[state] = self._settled(state)
        return self._kept[state]

    def _settled(self, state: State) -> Waves:
        tripped: frozenset[str] = frozenset()
        dead = state.dead
        for _ in range(3):
            waves, over, asleep = self._run(replace(state, dead=dead))
            gone = {s for unit in over for s in stages_of(self.job, unit)} | asleep
            tripped |= over
            if gone <= dead:
                break
            dead |= gone
        return replace(waves, tripped=tripped)

    def _run(self, state: State) -> tuple[Waves, frozenset[str], frozenset[str]]:
        small = self._small_signal(state)
        return small if small is not None else self._large_signal(state)

    def _small_signal(self, state: State) -> tuple[Waves, frozenset[str], frozenset[str]] | None:
        """Return what a state gives far from every ceiling, by the small-signal analysis; None where a ceiling is near.

        What the supplies give isn't known then; `supplies` runs the large signal.
        """
        one = replace(state, level_dbfs=0.0, feed=None if state.feed is None else (state.feed[0], 1.0))
        if one not in self._linear:
            made = PowerCircuit(self.car, self.faults, one, settle_s=1.0).circuit
            wanted = {v for pair in (*made.at.values(), *made.coil.values()) for v in pair}
            wanted |= {*made.input.values(), *made.over, *(v for v, _ in made.current.values())}
            names = sorted(wanted - {"0"})
            self.small_runs += 1
            found = spice.phasors(made.lines, [f"v({v})" for v in names], tone_hz=state.tone_hz)
            self._linear[one] = made, {v: found[f"v({v})"] for v in names}
        made, phasors = self._linear[one]
        size = 1.0 if state.noise else 0.0 if state.level_dbfs is None else 10 ** (state.level_dbfs / 20)
        size = state.feed[1] if state.feed is not None else size
        if any(abs(phasors[v]) * size > NEAR[shape] for v, shape in made.over.items()):
            return None
        if any(abs(phasors[v]) * size > 0.5 * limit for v, limit in made.current.values()):
            return None
        turn = np.exp(2j * np.pi * np.arange(spice.POINTS) / spice.POINTS) * -1j
        volts = {v: np.real(size * p * turn) for v, p in phasors.items()} | {"0": np.zeros(spice.POINTS)}
        waves = Waves(
            {node: volts[a] - volts[b] for node, (a, b) in made.at.items()},
            {wire: volts[a] - volts[b] for wire, (a, b) in made.coil.items()},
            {},
            frozenset(),
        )
        return waves, frozenset(), self._asleep(made.input, volts)

    def supplies(self, state: State) -> dict[str, float]:
        """Return the mean volts at each chassis in a state."""
        if state not in self._supplied:
            waves = self.waves(state)
            dead = frozenset(s for unit in waves.tripped for s in stages_of(self.job, unit))
            self._supplied[state] = waves.supply or self._large_signal(replace(state, dead=dead))[0].supply
        return self._supplied[state]

    def _large_signal(self, state: State) -> tuple[Waves, frozenset[str], frozenset[str]]:
        settle_s = max(6 / state.tone_hz, min(max(0.03, 1.5 / self._lowest_hz()), 40 / state.tone_hz))
        made = PowerCircuit(self.car, self.faults, state, settle_s=settle_s).circuit
        wanted = {v for pair in (*made.at.values(), *made.coil.values()) for v in pair}
        wanted |= {*made.input.values(), *made.supply.values(), *(v for v, _ in made.current.values())}
        names = sorted(wanted - {"0"})
        self.runs += 1
        found = spice.transient(made.lines, [f"v({v})" for v in names], tone_hz=state.tone_hz, settle_s=settle_s)
        volts = {v: found[f"v({v})"] for v in names} | {"0": np.zeros(spice.POINTS)}

        def between(pair: tuple[str, str]) -> Any:
            wave = volts[pair[0]] - volts[pair[1]]
            return wave - np.mean(wave)

        waves = Waves(
            {node: between(pair) for node, pair in made.at.items()},
            {wire: between(pair) for wire, pair in made.coil.items()},
            {unit: float(np.mean(volts[v])) for unit, v in made.supply.items()},
            frozenset(),
        )
        over = frozenset(
            unit_of(self.job, node.stage)
            for node, (v, limit) in made.current.items()
            if np.max(np.abs(volts[v])) > TRIPS * limit
            and self.car.units[unit_of(self.job, node.stage)].protects
            and node.stage not in state.dead
        )
        return waves, over, self._asleep(made.input, volts)

    def _asleep(self, inputs: dict[Port, str], volts: dict[str, Any]) -> frozenset[str]:
        """Return the stages that a signal would turn on and hasn't."""
        found = set()
        for name, stage in self.job.stages.items():
            if isinstance(stage, Powered) and stage.turn_on == "signal":
                arriving = [rms(volts[v]) for port, v in inputs.items() if port.stage == name]
                if max(arriving, default=1.0) < self.car.values[f"{name}.turn_on_level"]:
                    found.add(name)
        return frozenset(found)

    def _lowest_hz(self) -> float:
        corners = [v for path, v in self.car.values.items() if path.endswith("high_pass.corner")]
        return min([*corners, 60.0])

    # ---- what is usual -----------------------------------------------------------------------------------------

    def usual_tone_hz(self, speaker: str) -> float:
        """Return a tone in the middle of what reaches a loudspeaker when all is well, Hz, from the small-signal response."""
        if not self._usual:
            state = State(1000.0, 0.0)
            made = PowerCircuit(self.car, (), state, settle_s=1.0).circuit
            names = sorted({v for pair in made.coil.values() for v in pair} - {"0"})
            hz, found = spice.response(made.lines, [f"v({v})" for v in names], low_hz=25.0, high_hz=16e3)
            volts = {v: found[f"v({v})"] for v in names} | {"0": np.zeros(len(hz))}
            for (_, port), (plus, minus) in made.coil.items():
                size = np.abs(volts[plus] - volts[minus])
                passing = hz[size > 0.7 * np.max(size)]
                self._usual.setdefault(port.stage, float(round(math.sqrt(passing[0] * passing[-1]))))
        return self._usual[speaker]

    def music(
        self, speaker: str, *, running: bool = True, sets: tuple[tuple[str, str], ...] = (), loud: bool = False
    ) -> State:
        """Return the state that stands for ordinary music at a loudspeaker, or for a loud passage of it."""
        path = next(p for p in self.wiring.paths if p.speaker == speaker)
        level = -path.allowance_db(self.job) - (0.0 if loud else MUSIC_BELOW_DB)
        return State(self.usual_tone_hz(speaker), level, sets=sets, running=running)

    def speakers(self) -> list[str]:
        """Return the loudspeakers."""
        return [name for name, stage in self.job.stages.items() if isinstance(stage, Speaker)]

    def amplifiers(self) -> list[str]:
        """Return the amplifiers."""
        return [name for name, stage in self.job.stages.items() if isinstance(stage, Amplifier)]


def world_of(car: Car, faults: tuple[Fault, ...] = ()) -> World:
    """Return the world of a car with its faults, one for all who ask."""
    if faults not in car.worlds:
        car.worlds[faults] = World(car, faults)
    return car.worlds[faults]  # type: ignore[no-any-return]


def rms(wave: Any) -> float:
    """Return the rms of one period."""
    return float(np.sqrt(np.mean(np.square(wave))))


def thd(wave: Any) -> float:
    """Return the harmonics over the fundamental of one period."""
    lines = np.abs(np.fft.rfft(wave))
    return float(np.sqrt(np.sum(lines[2:40] ** 2)) / max(lines[1], 1e-12))
