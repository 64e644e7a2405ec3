"""Stages at line level in the circuit: sources, processors, drivers, converters, with soft ceilings and tapered volumes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gainwright.jobfile import settings, volume_steps
from gainwright.model import Amplifier, Converter, HeadUnit, LevelControl, LineDriver, Processor
from third_world.faults import corner_hz, usual_tone_hz
from third_world.lead_circuit import LEAK_OHM, LeadCircuit, name_of
from third_world.parts import at_one_percent

if TYPE_CHECKING:
    from gainwright.model import Node


class ChainCircuit(LeadCircuit):
    """The netlist of a chain without its amplifiers."""

    # ---- outputs -----------------------------------------------------------------------------------------------

    def _output(self, node: Node) -> None:
        name, stage = node.stage, self.job.stages[node.stage]
        if isinstance(stage, LevelControl):
            route = self.wiring.routes[node][0]
            self.circuit.at[node] = (f"wiper_{name_of(route.port)}", "0")
            return
        if isinstance(stage, HeadUnit):
            emf = self._head(node, stage)
        else:
            emf = self._taken(node)
            if isinstance(stage, Processor):
                emf = self._processor(node, stage, emf)
            elif isinstance(stage, Amplifier):
                self._amplifier(node, stage, emf)
                return
            elif isinstance(stage, LineDriver | Converter):
                emf = self._line(node, stage, emf)
        ohm = 1e-3 if node in self.wiring.digital else self.values[f"{name}.output_impedance"]
        hot = f"o_{name_of(node)}"
        if getattr(stage, "balanced", False):
            cold = f"oc_{name_of(node)}"
            half = self.volts(f"0.5*V({emf})")
            other = self.volts(f"-0.5*V({emf})")
            self.ohm(half, hot, ohm / 2)
            self.ohm(other, cold, ohm / 2)
            self.ohm(cold, "0", LEAK_OHM)
            self.circuit.at[node] = (hot, cold)
        else:
            self.ohm(emf, hot, ohm)
            self.circuit.at[node] = (hot, "0")
        self.ohm(hot, "0", LEAK_OHM)

    def _taken(self, node: Node) -> str:
        """Return what a stage takes in for an output: the shares of its ports, each behind its input's ceiling."""
        name = node.stage
        routes = self.wiring.routes[node]
        if self.has("output_misrouted", f"{name}.{node.output}"):
            others = [n for n in self.wiring.outputs(name) if self.wiring.routes[n] != routes]
            same = [n for n in others if n.side == node.side]
            routes = self.wiring.routes[(same or others or [node])[0]]
        total = self.volts("+".join(f"{r.share!r}*V({self.circuit.input[r.port]})" for r in routes))
        limit = self.values.get(f"{name}.input_limit")
        digital = any(self.wiring.is_fed_digitally(r.port) for r in routes)
        if limit is None or digital:
            return total
        parts = self.car.stages[name]
        peak = limit * 10 ** (parts.over_db / 20) / at_one_percent(parts.input_shape)
        return self.soft(total, repr(peak), parts.input_shape)

    def in_the_way(self, node: Node, at: str) -> str:
        """Add the filters and the boost of a fault at an output or its stage."""
        places = (node.stage, f"{node.stage}.{node.output}")
        for cause, kind in (("low_pass_in_the_way", "low"), ("high_pass_in_the_way", "high")):
            fault = self.has(cause, *places)
            if fault is not None:
                at = self.butterworth(at, kind, corner_hz(fault, node, self.job, self.wiring))
        boost = self.has("boost_on", *places)
        if boost is not None:
            hz = usual_tone_hz(node, self.job, self.wiring) * 2 ** (boost.other - 0.5)
            at = self.band(at, "peak", boost.amount, hz, 1.0)
        return at

    def _clipped(self, at: str, name: str, limit_v: float) -> str:
        """Add the soft ceiling of a stage at line level, rated at 1 % THD."""
        parts = self.car.stages[name]
        peak = limit_v * 10 ** (parts.over_db / 20) / at_one_percent(parts.shape)
        return self.soft(at, repr(peak), parts.shape)

    def volume_db(self, name: str, volume: Any, stands: float) -> float:
        """Return the level of a tapered volume control below its top step, dB: steps grow along the way down."""
        down = volume_steps(volume) - stands
        parts, step = self.car.stages[name], self.values[f"{name}.volume.step"]
        # the steps have their mean size where the job has the control, and grow towards the bottom
        usual = volume_steps(volume) - settings(self.car.job)[f"{name}.volume"]
        grown = down + parts.taper * (down - usual) * down / 2
        return float(self.values[f"{name}.volume.top"] - step * grown)

    def _head(self, node: Node, stage: HeadUnit) -> str:
        name, out = node.stage, stage.outputs[node.output]
        at = self.volts(f"V(src_{node.side})")
        for i, band in enumerate(stage.tone.bands if stage.tone is not None else ()):
            at = self.band(at, band.kind, *(self.values[f"{name}.tone.{i}.{key}"] for key in ("gain", "corner", "q")))
        at = self._loudness(name, stage, at)
        path = f"{name}.{node.output}"
        at = self.filtered(at, "low", out.low_pass, self.values.get(f"{path}.low_pass.corner", 1.0))
        at = self.filtered(at, "high", out.high_pass, self.values.get(f"{path}.high_pass.corner", 1.0))
        at = self.in_the_way(node, at)
        db = self.stands[f"{path}.level"]
        db += 0.0 if out.fixed_level else self.volume_db(name, stage.volume, self.stands[f"{name}.volume"])
        low, aside = self.has("source_low", name), self.has("balance_over", path)
        db -= aside.amount if aside is not None and aside.side == node.side else 0.0
        over = self.has("fader_over", path)
        db -= over.amount if over is not None else 0.0
        effect = self.has("player_equaliser_on", name)
        if effect is not None:
            at = self.band(at, "peak", effect.amount * (1 if effect.other < 0.6 else -1), 60 * 100**effect.other, 0.8)
        silent = self.has("source_muted", name) is not None or self.has("output_switched_off", path) is not None
        silent = silent or self._no_load(node)
        rated = 1.0 if node in self.wiring.digital else self.values[f"{name}.output_limit"]
        gain = 0.0 if silent else rated * 10 ** (db / 20)
        drop = 10 ** (-low.amount / 20) if low is not None else 1.0
        driven = self.volts(f"{gain * drop!r}*V({at})")
        if node in self.wiring.digital:
            return self.volts(f"max(min(V({driven}),{math.sqrt(2)!r}),{-math.sqrt(2)!r})")
        return self._clipped(driven, name, rated * drop)

    def _loudness(self, name: str, stage: HeadUnit, at: str) -> str:
        top = self.values.get(f"{name}.factory.bass_at_top")
        if top is None:
            return at
        along = (self.stands[f"{name}.volume"] - 1) / max(volume_steps(stage.volume) - 1, 1)
        bottom = self.values[f"{name}.factory.bass_at_bottom"]
        return self.band(
            at, "low-shelf", bottom + (top - bottom) * along, self.values[f"{name}.factory.bass_corner"], 0.7
        )

    def _no_load(self, node: Node) -> bool:
        """Return whether a source that looks for a loudspeaker finds none."""
        most = self.values.get(f"{node.stage}.factory.needs_load")
        if most is None:
            return False
        siemens = 0.0
        for port in self.wiring.ports_fed_by(node):
            cut = self.on_wire("lead_open", (node, port)) is not None
            bad = self.on_wire("lead_resistive", (node, port))
            coil = self.car.coils.get(port.stage)
            ohm = coil.re_ohm if coil is not None else self.values[f"{port.stage}.input_impedance"]
            siemens += 0.0 if cut else 1 / (ohm + (bad.amount if bad else 0.0))
        return siemens < 1 / most

    def _processor(self, node: Node, stage: Processor, at: str) -> str:
        name, path, out = node.stage, f"{node.stage}.{node.output}", stage.outputs[node.output]
        for i, band in enumerate(out.equaliser.bands if out.equaliser is not None else ()):
            keys = ("gain", "corner", "q")
            at = self.band(at, band.kind, *(self.values[f"{path}.equaliser.{i}.{key}"] for key in keys))
        at = self.filtered(at, "low", out.low_pass, self.values.get(f"{path}.low_pass.corner", 1.0))
        at = self.filtered(at, "high", out.high_pass, self.values.get(f"{path}.high_pass.corner", 1.0))
        at = self.in_the_way(node, at)
        db = self.stands[f"{path}.level"]
        if stage.volume is not None:
            db += self.volume_db(name, stage.volume, self.stands[f"{name}.volume"])
        digital = any(self.wiring.is_fed_digitally(r.port) for r in self.wiring.routes[node])
        limit = self.values[f"{name}.output_limit"]
        gain = 10 ** ((db + self.values[f"{name}.digital_gain" if digital else f"{name}.gain"]) / 20)
        gain *= limit if digital else 1.0
        gain *= -1.0 if out.polarity == "reversed" else 1.0
        silent = out.mute or self.has("output_muted", path) is not None or self.off(name)
        driven = self.volts(f"{0.0 if silent else gain!r}*V({at})")
        return self._clipped(driven, name, limit)

    def _line(self, node: Node, stage: LineDriver | Converter, at: str) -> str:
        name = node.stage
        db = self.values[f"{name}.gain" if isinstance(stage, LineDriver) else f"{name}.ratio"]
        if isinstance(stage, LineDriver) and stage.range is not None:
            db += self.stands[f"{name}.gain"] - settings(self.car.job)[f"{name}.gain"]
        silent = self.off(name)
        driven = self.volts(f"{0.0 if silent else 10 ** (db / 20)!r}*V({at})")
        return self._clipped(driven, name, self.values[f"{name}.output_limit"])

    def _amplifier(self, node: Node, stage: Amplifier, at: str) -> None:
        raise NotImplementedError
