"""Sources, supplies, leads and what they end at: inputs, potentiometers and loudspeakers, with the faults in them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gainwright.jobfile import settings, with_settings
from gainwright.model import (
    Amplifier,
    LevelControl,
    Node,
    Port,
    Speaker,
    leads_by_name,
    stages_of,
    supply_path,
    unit_of,
)
from third_world.faults import Fault, beside, coil_open_factor, turned, units_off
from third_world.parts import Parts

if TYPE_CHECKING:
    from third_world.car import Car

OPEN_OHM = 1e9
LEAK_OHM = 1e8


@dataclass(frozen=True)
class State:
    """What is played and how the chain stands; the fields are those of an entry of the evidence.

    Attributes
    ----------
    level_dbfs : None for silence.
    noise : whether hum and whine are there instead of the tone.
    dead : stages that have switched themselves off.
    """

    tone_hz: float
    level_dbfs: float | None
    side: str = "both"
    sets: tuple[tuple[str, str], ...] = ()
    running: bool = True
    speakers: bool = True
    feed: tuple[str, float] | None = None
    swapped: str = ""
    noise: bool = False
    dead: frozenset[str] = frozenset()


@dataclass
class Circuit:
    """The lines of a netlist and where its voltages are.

    Attributes
    ----------
    at : node of the chain -> its two ngspice nodes.
    coil : (node, port) of a speaker -> the two ngspice nodes at its terminals.
    input : port -> ngspice node of its voltage.
    supply : chassis -> ngspice node.
    current : output of an amplifier -> ngspice node whose volts are its amperes, and its limit.
    over : ngspice nodes whose volts are a signal over a ceiling's asymptote, with the ceiling's shape.
    """

    lines: list[str]
    at: dict[Node, tuple[str, str]] = field(default_factory=dict)
    coil: dict[tuple[Node, Port], tuple[str, str]] = field(default_factory=dict)
    input: dict[Port, str] = field(default_factory=dict)
    supply: dict[str, str] = field(default_factory=dict)
    current: dict[Node, tuple[str, float]] = field(default_factory=dict)
    over: dict[str, str] = field(default_factory=dict)


class LeadCircuit(Parts):
    """Writes the netlist."""

    def __init__(self, car: Car, faults: tuple[Fault, ...], state: State, *, settle_s: float) -> None:
        super().__init__()
        self.car, self.faults, self.state = car, faults, state
        self.job = with_settings(car.job, dict(state.sets))
        self.wiring = car.wiring
        self.values = car.values
        moved = dict(state.sets)
        self.stands = settings(self.job) | {c: at for c, at in car.true_gains.items() if c not in moved}
        for fault in faults:
            for control, value in turned(fault, car.job, settings(car.job) | car.true_gains).items():
                if control not in moved:
                    self.stands[control] = value
        self.circuit = Circuit(self.lines, over=self.over)
        self.wires = {pair: str(run) for run, pairs in self.wiring.leads.items() for pair in pairs}
        self._named: dict[tuple[Node, Port], set[str]] = {}
        for name, pairs in leads_by_name(self.wiring).items():
            for pair in pairs:
                self._named.setdefault(pair, set()).add(name)
        for run, pairs in self.wiring.leads.items():
            if str(run) == state.swapped:
                names = [self._named[pair] for pair in reversed(pairs)]
                self._named |= dict(zip(pairs, names, strict=True))
        self._sources(settle_s)
        self._supplies()
        self._rails: dict[str, str] = {}
        for name in self.wiring.order:
            self._inputs(name)
            for node in self.wiring.outputs(name):
                self._output(node)

    # ---- faults ------------------------------------------------------------------------------------------------

    def has(self, cause: str, *wheres: str) -> Fault | None:
        """Return the fault of a cause at one of several places."""
        return next((f for f in self.faults if f.cause == cause and f.where in wheres), None)

    def on_wire(self, cause: str, wire: tuple[Node, Port]) -> Fault | None:
        return self.has(cause, *self._named[wire])

    # ---- sources and supplies ----------------------------------------------------------------------------------

    def _sources(self, settle_s: float) -> None:
        state = self.state
        peak = (
            0.0
            if state.level_dbfs is None or state.noise or state.feed
            else math.sqrt(2) * 10 ** (state.level_dbfs / 20)
        )
        wrong = next((f for f in self.faults if f.cause == "tone_level_wrong"), None)
        peak *= 10 ** (-wrong.amount / 20) if wrong else 1.0
        up = 0.6 * settle_s
        ramp = f"(time<{up!r} ? 0.5-0.5*cos({math.pi / up!r}*time) : 1)"
        sine = f"sin({2 * math.pi * state.tone_hz!r}*time)*{ramp}"
        for name, size in self._small().items():
            self.lines.append(f"Vac_{name} small_{name} 0 DC 0 AC {size!r}")
        for side in ("left", "right"):
            there = peak if state.side in ("both", side) else 0.0
            self.volts(f"{there!r}*{sine}+V(small_{side})", f"src_{side}")
        self.volts("0.5*(V(src_left)+V(src_right))", "src_mono")
        fed = math.sqrt(2) * state.feed[1] if state.feed and not state.noise else 0.0
        self.volts(f"{fed!r}*{sine}+V(small_fed)", "fed")
        self.volts(f"{math.sqrt(2) if state.noise else 0.0!r}*{sine}+V(small_noise)", "noise")

    def _small(self) -> dict[str, float]:
        """Return source -> its amplitude in the small-signal analysis: at a level of 0 dBFS, 1 V of noise or of feed."""
        state = self.state
        plays = not (state.noise or state.feed is not None)
        both = {side: math.sqrt(2) * plays * (state.side in ("both", side)) for side in ("left", "right")}
        return {**both, "fed": math.sqrt(2) * (state.feed is not None), "noise": math.sqrt(2) * state.noise}

    def _supplies(self) -> None:
        volts = self.values["vehicle.running" if self.state.running else "vehicle.resting"]
        self.lines.append(f"Vbus battery 0 {volts!r}")
        self.ohm("battery", "bus", self.car.bus_ohm)
        for unit, parts in self.car.units.items():
            at = self.circuit.supply[unit] = f"sup_{name_of(unit)}"
            member = stages_of(self.job, unit)[0]
            ohm = parts.supply_ohm
            thin = self.has("supply_sagging", unit)
            if thin is not None:
                ohm += thin.amount * 13.0 / max(self._full_amps(unit), 1.0)
            path = supply_path(self.job, member, "running" if self.state.running else "resting")
            if self.has("amplifier_no_supply", unit) or (
                self.has("shared_no_supply", "") and path.startswith("vehicle.")
            ):
                ohm = OPEN_OHM
            if path.startswith("vehicle."):
                self.ohm("bus", at, ohm)
            else:
                self.lines.append(f"V{self.new()} own_{name_of(unit)} 0 {self.values[path]!r}")
                self.ohm(f"own_{name_of(unit)}", at, ohm)
            self.farad(at, "0", parts.farad)
            if ohm < OPEN_OHM and unit not in self._off_units():
                self.amps(at, "0", f"{parts.idle_a!r}*tanh(V({at}))")
            else:
                self.ohm(at, "0", 1e4)

    def _full_amps(self, unit: str) -> float:
        """Return the current of a chassis at full power, A."""
        total = 0.0
        for name in stages_of(self.job, unit):
            stage = self.job.stages[name]
            if isinstance(stage, Amplifier):
                watts = self.values[f"{name}.power.0"]
                total += len(self.wiring.outputs(name)) * watts / self.car.units[unit].efficiency / 13.0
        return total

    def _off_units(self) -> set[str]:
        return {unit for f in self.faults for unit in units_off(f, self.job)}

    def off(self, name: str) -> bool:
        """Return whether a stage is off."""
        return unit_of(self.job, name) in self._off_units() or name in self.state.dead

    # ---- leads and inputs --------------------------------------------------------------------------------------

    def _inputs(self, name: str) -> None:
        stage, crossed = self.job.stages[name], self.has("leads_swapped", name) is not None
        crossed = crossed != (self.state.swapped == name)
        for port in self.wiring.ports(name):
            via = port
            if crossed and port.side in ("left", "right"):
                via = Port(port.stage, port.input, "right" if port.side == "left" else "left")
                via = via if via in self.wiring.feeds else port
            if isinstance(stage, Speaker):
                self._load(port)
            else:
                self._input(port, via, stage)

    def _input(self, port: Port, via: Port, stage: Any) -> None:
        """Add the leads that end at a port, its input resistance, and what it takes in."""
        name = port.stage
        feeds = [(feed.node, via) for feed in self.wiring.feeds[via]]
        ends = [self._crossed(node) for node, _ in feeds]
        plus, minus = f"in_{name_of(port)}", f"gnd_{name_of(port)}"
        if feeds[0][0] in self.wiring.digital:
            cut = any(self.on_wire("lead_open", wire) for wire in feeds)
            self.circuit.input[port] = self.volts("0" if cut else f"V({self.circuit.at[feeds[0][0]][0]})")
            return
        noise = self._noise(feeds)
        self.volts(f"{noise!r}*V(noise)", minus)
        balanced = any(getattr(self.job.stages[node.stage], "balanced", False) for node, _ in feeds)
        differential = balanced and self.values.get(f"{name}.balanced_input", 0.0) > 0.5
        if self.state.feed is not None and self.state.feed[0] == name:
            self.ohm("fed", plus, 30.0)
        else:
            for wire, end in zip(feeds, ends, strict=True):
                self._lead(wire, end, plus, f"cold_{name_of(port)}" if balanced else "0")
        ohm = self.values[f"{name}.input_impedance"]
        other = f"cold_{name_of(port)}" if differential else minus
        if balanced and not differential:
            self.ohm(f"cold_{name_of(port)}", minus, 1e-3)
        if isinstance(stage, LevelControl):
            self._pot(port, plus, ohm)
        else:
            self.ohm(plus, other, ohm)
        turned_round = any(self.on_wire("polarity_reversed", wire) for wire in feeds)
        self.circuit.input[port] = self.volts(f"{-1.0 if turned_round else 1.0}*(V({plus})-V({other}))")

    def _noise(self, feeds: list[tuple[Node, Port]]) -> float:
        found = [self.on_wire(cause, wire) for wire in feeds for cause in ("ground_loop", "alternator_whine")]
        found += [self.has("source_ground_bad", node.stage) for node, _ in feeds]
        return max(
            (f.amount for f in found if f is not None and (f.cause == "ground_loop" or self.state.running)), default=0.0
        )

    def _crossed(self, node: Node) -> Node:
        """Return the output into which a lead is really plugged."""
        for fault in self.faults:
            stage, _, output = fault.where.rpartition(".")
            if fault.cause == "outputs_crossed" and node.stage == stage:
                other = beside(output, stage, self.wiring)
                if node.output in (output, other):
                    wanted = other if node.output == output else output
                    nodes = [n for n in self.wiring.outputs(stage) if n.output == wanted]
                    return next((n for n in nodes if n.side == node.side), nodes[0])
        return node

    def _lead(self, wire: tuple[Node, Port], end: Node, plus: str, cold: str) -> None:
        """Add a lead at line level from an output to a port, broken, bad or shorted if that is the fault."""
        hot_out, cold_out = self.circuit.at[end]
        half = self.values[f"{self.wires[wire]}.resistance"] / 2
        middle = self.new()
        extra = OPEN_OHM if self.on_wire("lead_open", wire) or self.on_wire("lead_loose", wire) else 0.0
        bad = self.on_wire("lead_resistive", wire)
        self.ohm(hot_out, middle, half)
        self.ohm(middle, plus, half + extra + (bad.amount if bad else 0.0))
        if cold != "0":
            self.ohm(cold_out, cold, half)
        touching = self.on_wire("lead_shorted", wire)
        if touching is not None:
            self.ohm(middle, cold_out, touching.amount)

    def _pot(self, port: Port, plus: str, ohm: float) -> None:
        """Add a potentiometer whose wiper goes straight to the next lead."""
        name = port.stage
        down = 10 ** (min(self.stands[f"{name}.level"], 0.0) / 20)
        wiper = f"wiper_{name_of(port)}"
        self.ohm(plus, wiper, ohm * (1 - down) + 1.0)
        self.ohm(wiper, "0", max(ohm * down, 0.5))

    def _load(self, port: Port) -> None:
        """Add a loudspeaker at the end of its lead, or between a strapped pair."""
        pair = self.wiring.pair(port)
        ends = []
        for feed in self.wiring.feeds[port]:
            wire = (feed.node, port)
            hot, cold = self.circuit.at[self._crossed(feed.node)]
            half = self.values[f"{self.wires[wire]}.resistance"] / 2
            middle, far = self.new(), self.new("spk")
            cut = self.on_wire("lead_open", wire) or self.on_wire("lead_loose", wire)
            extra = OPEN_OHM if cut or not self.state.speakers else 0.0
            bad = self.on_wire("lead_resistive", wire)
            self.ohm(hot, middle, half)
            self.ohm(middle, far, half + extra + (bad.amount if bad else 0.0))
            touching = self.on_wire("lead_shorted", wire)
            if touching is not None:
                self.ohm(middle, cold, touching.amount)
            ends.append((feed, far, cold))
        if pair is not None:
            plus = next(far for feed, far, _ in ends if feed.share > 0)
            minus = next(far for feed, far, _ in ends if feed.share < 0)
        else:
            for _, far, _ in ends[1:]:
                self.ohm(ends[0][1], far, 1e-3)
            plus, minus = ends[0][1], ends[0][2]
        self.voice(port, plus, minus)
        sign = any(self.on_wire("polarity_reversed", (feed.node, port)) for feed, _, _ in ends)
        self.circuit.coil[ends[0][0].node, port] = (minus, plus) if sign else (plus, minus)

    def voice(self, port: Port, plus: str, minus: str) -> None:
        """Add a voice coil with its fault."""
        coil = self.car.coils[port.stage]
        opened, shorted = self.has("speaker_open", port.stage), self.has("speaker_shorted", port.stage)
        if opened is not None and opened.side in ("both", port.side):
            self.ohm(plus, minus, OPEN_OHM)
            return
        if shorted is not None and shorted.side in ("both", port.side):
            self.ohm(plus, minus, shorted.amount)
            return
        before = {feed.node.stage for feed in self.wiring.feeds[port]}
        low = self.has("load_too_low", *before)
        factor = low.amount if low else 1.0
        if self.has("coil_open", port.stage):
            factor *= coil_open_factor(port, self.job, self.wiring)
        if math.isinf(factor):
            self.ohm(plus, minus, OPEN_OHM)
        else:
            self.voice_coil(plus, minus, coil.scaled(factor))

    def _output(self, node: Node) -> None:
        raise NotImplementedError


def name_of(place: Any) -> str:
    """Return a place as a part of the name of an ngspice node."""
    text = f"{place.stage}_{place.input}_{place.side}" if isinstance(place, Port) else str(place)
    return re.sub(r"[^a-z0-9]+", "_", text.lower())
