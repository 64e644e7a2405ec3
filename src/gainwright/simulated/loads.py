"""The rig's loads and leads: what a node has to drive, and what of its voltage arrives at the end of a lead."""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any

from gainwright.model import Amplifier, HeadUnit, Speaker, gives_power, leads_by_name, stages_of, unit_of
from gainwright.simulated.line_levels import between_legs

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job, Node, Port, Wiring
    from gainwright.simulated.faults import Fault

OPEN_OHM = 1e12
CHAINS = 16
"""Wirings whose leads' names are kept: a rig makes a chain of the same wiring for each of its readings."""
OVERLOADING = ("lead_shorted", "speaker_shorted", "load_too_low")
"""Faults at which an amplifier may switch itself off."""
TRIP_RATIO = 1.6
"""Peak current at which it does, over that of its rated power into its lowest rated load (common practice)."""


class _WiringKey:
    """A wiring as the key of a cache, equal to itself alone."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring

    def __hash__(self) -> int:
        return id(self.wiring)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _WiringKey) and self.wiring is other.wiring


@functools.lru_cache(maxsize=CHAINS)
def _lead_names(key: _WiringKey, swapped: str) -> Mapping[tuple[Node, Port], tuple[str, ...]]:
    named: dict[tuple[Node, Port], tuple[str, ...]] = {}
    for name, pairs in leads_by_name(key.wiring).items():
        for wire in pairs:
            named[wire] = (*named.get(wire, ()), name)
    for pairs in (pairs for run, pairs in key.wiring.leads.items() if str(run) == swapped):
        named |= dict(zip(pairs, [named[wire] for wire in reversed(pairs)], strict=True))
    return named


class SimulatedLoads:
    """The part of the rig's chain that is made of resistances, and what happens if there is too little of it."""

    job: Job
    wiring: Wiring
    truth: dict[str, float]
    faults: tuple[Fault, ...]
    off: frozenset[str]
    probe: tuple[Node, float] | None
    limiting: frozenset[str]
    there: bool
    swapped: str

    def fault(self, cause: str, *wheres: str) -> Fault | None:
        """Return the fault of a cause at one of several names of a place; see the chain."""
        raise NotImplementedError

    @functools.cached_property
    def lead_names(self) -> Mapping[tuple[Node, Port], tuple[str, ...]]:
        """Return the names of each side of a lead; exchanged sides have each other's names."""
        return _lead_names(_WiringKey(self.wiring), self.swapped)

    def at_side(self, cause: str, port: Port) -> Fault | None:
        """Return a speaker's fault if it is on a port's side."""
        found = self.fault(cause, port.stage)
        return found if found is not None and found.side in ("both", port.side) else None

    def lead_ohm(self, node: Node, port: Port) -> float:
        """Return the loop resistance of a lead."""
        names = self.lead_names[node, port]
        if self.fault("lead_open", *names) or (self.there and self.fault("lead_loose", *names)):
            return OPEN_OHM
        extra = self.fault("lead_resistive", *names)
        return self.truth[f"{names[0]}.resistance"] + (extra.size if extra else 0.0)

    def input_ohm(self, port: Port) -> float:
        """Return the input resistance of a port; for a speaker its impedance, faults included."""
        stage = self.job.stages[port.stage]
        if not isinstance(stage, Speaker):
            return self.truth[f"{port.stage}.input_impedance"]
        ohm = self.truth[f"{port.stage}.impedance"]
        if self.at_side("speaker_open", port):
            return OPEN_OHM
        shorted = self.at_side("speaker_shorted", port)
        if shorted:
            return shorted.size
        if self.fault("coil_open", port.stage):
            ohm *= self._coils_left(port)
        feeding = {feed.node.stage for feed in self.wiring.feeds[port]}
        low = next((f for f in self.faults if f.cause == "load_too_low" and f.where in feeding), None)
        return ohm * (low.size if low else 1.0)

    def _coils_left(self, port: Port) -> float:
        """Return what one open coil makes of the impedance: of parallel ones the rest is left, of series ones nothing."""
        stage = self.job.stages[port.stage]
        coils = stage.coils if isinstance(stage, Speaker) else None
        if coils is None or coils.wiring == "series":
            return OPEN_OHM
        if coils.wiring == "separate":
            return OPEN_OHM if port == self.wiring.ports(port.stage)[0] else 1.0
        return coils.number / (coils.number - 1) if coils.wiring == "parallel" else 2.0

    def moving_share(self, port: Port) -> float:
        """Return which share of the force on a cone its coils are left with."""
        if self.fault("coil_reversed", port.stage):
            return 0.02
        stage = self.job.stages[port.stage]
        if self.fault("coil_open", port.stage) and isinstance(stage, Speaker) and stage.coils is not None:
            half = stage.coils.wiring == "series-parallel"
            return 0.5 if half else (stage.coils.number - 1) / stage.coils.number
        return 1.0

    def _ladder(self, node: Node, port: Port) -> tuple[float, float]:
        """Return the resistance that a lead with its port presents, and the share of the voltage that arrives at the port.

        A short is a rung between two pieces of the lead: first the piece and the port behind it, then the rung beside
        them, then the piece before.
        """
        lead, load = self.lead_ohm(node, port), self.input_ohm(port)
        short = self.fault("lead_shorted", *self.lead_names[node, port])
        if short is None:
            return lead + load, load / (lead + load)
        behind = (1 - short.along) * lead + load
        rung = short.size * behind / (short.size + behind)
        whole = short.along * lead + rung
        return whole, rung / whole * load / behind

    def load_ohm(self, node: Node) -> float:
        """Return the load on a node, all ports and the probe in parallel."""
        siemens = 0.0
        for port in self.wiring.ports_fed_by(node):
            if port.stage in self.off:
                continue
            ends = self.wiring.pair(port)
            if ends is None or self.fault("lead_shorted", *self.lead_names[node, port]):
                siemens += 1 / self._ladder(node, port)[0]
            else:
                # the loop through both amplifiers, one conductor of each lead; its middle stays at zero
                loop = self.input_ohm(port) + 0.5 * sum(self.lead_ohm(end, port) for end in ends)
                siemens += 1 / (loop / 2)
        if self.probe is not None and self.probe[0] == node:
            siemens += 1 / self.probe[1]
        return 1 / siemens if siemens > 0 else OPEN_OHM

    def at_node(self, node: Node) -> float:
        """Return the voltage at a node as a share of its EMF; a digital one is not a voltage."""
        if node in self.wiring.digital:
            return 1.0
        balanced = getattr(self.job.stages[node.stage], "balanced", False)
        return between_legs(self, node, self.load_ohm(node), balanced=balanced)  # type: ignore[arg-type]

    def at_port(self, node: Node, port: Port) -> float:
        """Return the voltage at a port as a share of the node's, with its sign."""
        names = self.lead_names[node, port]
        if node in self.wiring.digital:
            return 0.0 if self.fault("lead_open", *names) else 1.0
        sign = -1.0 if self.fault("polarity_reversed", *names) else 1.0
        ends = self.wiring.pair(port)
        if ends is None or self.fault("lead_shorted", *names):
            return sign * self._ladder(node, port)[1]
        load, lead = self.input_ohm(port), 0.5 * sum(self.lead_ohm(end, port) for end in ends)
        return sign * load / (load + lead)

    # What too low a load does

    def overloaded(self, peaks: dict[Node, float]) -> frozenset[str]:
        """Return the amplifiers, chassis and sources that switch themselves off, given the peak voltage of each output alone.

        One that limits its current instead doesn't.
        """
        found = set()
        for node, peak in peaks.items():
            stage = self.job.stages[node.stage]
            lowest_a = 4.0
            if isinstance(stage, Amplifier):
                loads = [(r.load.nominal, self.truth[f"{node.stage}.power.{i}"]) for i, r in enumerate(stage.power)]
                ohm, watts = min(loads)
                lowest_a = math.sqrt(2 * watts / ohm)
            unit = unit_of(self.job, node.stage)
            if peak / self.load_ohm(node) > TRIP_RATIO * lowest_a and unit not in self.limiting:
                found.add(unit)
        return frozenset(found)

    def power_nodes(self, targets: Any) -> list[Node]:
        """Return the outputs for speakers in every chassis that some nodes need, if a fault may overload them."""
        if not any(f.cause in OVERLOADING for f in self.faults):
            return []
        units = {unit_of(self.job, node.stage) for node in targets}
        stages = {stage for unit in units for stage in stages_of(self.job, unit)}
        power = [n for n in self.wiring.nodes if n.stage in stages and gives_power(self.job.stages[n.stage])]
        return [n for n in power if isinstance(self.job.stages[n.stage], Amplifier | HeadUnit)]
