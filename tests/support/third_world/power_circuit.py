"""Amplifiers in the circuit: gain from the sensitivity, rails that sag, a current limit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.jobfile import input_range
from gainwright.model import Amplifier, Speaker, unit_of
from third_world.chain_circuit import ChainCircuit
from third_world.lead_circuit import name_of
from third_world.parts import at_one_percent, bent

if TYPE_CHECKING:
    from gainwright.model import Node

MUTED = 0.02
RAIL_FARAD = 3e-3


class PowerCircuit(ChainCircuit):
    """The netlist of a chain with its amplifiers."""

    def _amplifier(self, node: Node, stage: Amplifier, at: str) -> None:
        name, path = node.stage, f"{node.stage}.out"
        at = self.filtered(at, "low", stage.low_pass, self.values.get(f"{path}.low_pass.corner", 1.0))
        at = self.filtered(at, "high", stage.high_pass, self.values.get(f"{path}.high_pass.corner", 1.0))
        for i, band in enumerate(stage.boost.bands if stage.boost is not None else ()):
            at = self.band(at, band.kind, *(self.values[f"{name}.boost.{i}.{key}"] for key in ("gain", "corner", "q")))
        at = self.in_the_way(node, at)
        at = self._remote(name, stage, at)
        dead = self.off(name) or self.has("side_dead", str(node)) is not None
        gain = 0.0 if dead else self._gain(node, stage)
        inside = self.values[f"{name}.output_impedance"]
        rail, limit_a = self._rail(name, stage)
        over = self.volts(f"{gain!r}*V({at})/max(V({rail}),0.1)")
        self.over[over] = self.car.stages[name].shape
        emf = self.volts(f"max(V({rail}),0.1)*({bent(over, self.car.stages[name].shape)})")
        hot = f"o_{name_of(node)}"
        self.ohm(hot, "0", 1e5)
        pushed = self.volts(f"(V({emf})-V({hot}))/{inside * limit_a!r}")
        amperes = self.volts(f"{limit_a!r}*({bent(pushed, '8')})")
        self.amps("0", hot, f"V({amperes})")
        self.amps(rail, "0", f"abs(V({amperes}))/2")
        if not dead:
            supply = self.circuit.supply[unit_of(self.job, name)]
            eff = self.car.units[unit_of(self.job, name)].efficiency
            self.amps(supply, "0", f"abs(V({emf})*V({amperes}))/({eff!r}*max(V({supply}),4))")
        self.circuit.at[node] = (hot, "0")
        self.circuit.current[node] = (amperes, limit_a)

    def _remote(self, name: str, stage: Amplifier, at: str) -> str:
        if stage.remote_level is None:
            return at
        db = self.stands[f"{name}.remote_level"]
        if stage.remote_level.boosts is not None:
            return self.band(at, "peak", db, stage.remote_level.boosts.nominal, 1.0)
        return self.volts(f"{10 ** (db / 20)!r}*V({at})")

    def _declared_ohm(self, node: Node) -> float:
        """Return the load on an output as the job declares it, ohm."""
        siemens = 0.0
        for port in self.wiring.ports_fed_by(node):
            stage = self.job.stages[port.stage]
            if isinstance(stage, Speaker):
                coil = stage.coils.each if stage.coils is not None else stage.impedance
                each = (coil.nominal if coil is not None and coil.known else 4.0) * stage.load_factor
                siemens += (2 if self.wiring.pair(port) is not None else 1) / each
        return 1 / siemens if siemens else math.inf

    def _gain(self, node: Node, stage: Amplifier) -> float:
        """Return volts out per volt in: the sensitivity is the input for rated power into the rating's load."""
        name, place = node.stage, self.stands[f"{node.stage}.gain"]
        if place <= MUTED and self.values[f"{name}.gain.mutes"] > 0.5:
            return 0.0
        if self.has("gain_muted", name) is not None:
            return 0.0
        load = self._declared_ohm(node)
        pairs = [(r.load.nominal, self.values[f"{name}.power.{i}"]) for i, r in enumerate(stage.power)]
        ohm, _ = min(pairs, key=lambda p: abs(math.log(p[0] / load)) if math.isfinite(load) else -p[0])
        rating = next(r for r in stage.power if r.load.nominal == ohm)
        watts = rating.power.nominal if rating.power.known else self.values[f"{name}.power.0"]
        which = input_range(stage)
        if stage.input_ranges:
            which = list(stage.input_ranges)[int(self.stands[f"{name}.input_range"])]
        ends = f"{name}.input_ranges.{which}" if which else f"{name}.sensitivity"
        down, up = (self.values[f"{ends}.{end}"] for end in ("down", "up"))
        place = min(max(place + 4 * self.car.stages[name].bend * place * (1 - place), 0.0), 1.0)
        needed_v = down * (up / down) ** place
        mode = self.has("input_mode_wrong", name)
        if mode is not None:
            # the other kind of input is dead, or has another range
            needed_v *= math.inf if mode.other < 0.4 else 10 ** ((1 if mode.other < 0.8 else -1) * mode.amount / 20)
        sign = -1.0 if stage.polarity == "reversed" else 1.0
        return float(sign * math.sqrt(watts * ohm) / needed_v)

    def _rail(self, name: str, stage: Amplifier) -> tuple[str, float]:
        """Return the node of an amplifier's rail, and the limit of its current, A, from its ratings."""
        parts, outputs = self.car.stages[name], len(self.wiring.outputs(name))
        rated = []
        for i, rating in enumerate(stage.power):
            ohm, watts = rating.load.nominal, self.values[f"{name}.power.{i}"]
            volts = math.sqrt(watts * ohm)
            inside = self.values[f"{name}.output_impedance"]
            peak = volts * (1 + inside / ohm) / at_one_percent(parts.shape)
            rated.append((math.sqrt(2) * volts / ohm, peak))
        rated.sort()
        limit_a = parts.limit * rated[-1][0]
        drawn = [outputs * amps / math.pi for amps, _ in rated]
        if len(rated) > 1 and rated[0][1] > rated[-1][1]:
            ohm = (rated[0][1] - rated[-1][1]) / (drawn[-1] - drawn[0])
        else:
            ohm = parts.regulation * rated[-1][1] / drawn[-1]
        empty = rated[0][1] + ohm * drawn[0]
        if name not in self._rails:
            rail, source = f"rail_{name_of(name)}", self.new()
            supply = self.circuit.supply[unit_of(self.job, name)]
            at = self.values[f"{name}.rated_at"]
            scale = (
                f"(V({supply})>0.6*{at!r} ? 1 : V({supply})/{0.6 * at!r})" if stage.regulated else f"V({supply})/{at!r}"
            )
            self.volts(f"{empty!r}*{scale}", source)
            self.ohm(source, rail, ohm)
            self.farad(rail, "0", RAIL_FARAD)
            self._rails[name] = rail
        return self._rails[name], limit_a
