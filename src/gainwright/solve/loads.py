"""What loads an output, and what of its voltage arrives: sources, leads, inputs, speakers with their impedance at the tone.

Dividers are computed with complex impedances; the chain takes their sizes, at the tone, for all harmonics
(docs/decisions/0023-speaker-impedance.md).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.solve.alteration import UNALTERED
from gainwright.solve.impedance_curves import MIDDLE, curve_path

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Node, Port, Wiring
    from gainwright.solve.alteration import Alteration
    from gainwright.solve.impedance_curves import ImpedanceCurve

    Values = Mapping[str, Any]

LINK_CUT_OHM = 1e6
"""A digital link doesn't fade: with more than this in its way there is no signal (common practice, no published source)."""
SHORTED_SHARE = 0.15
"""A load that is less than this of what it should be is a short, which is a resistance (common practice, no published source)."""
LOWEST_SHARE = 0.8
"""Lowest modulus of a speaker's impedance over the rated one (IEC 60268-5, rated impedance; clause from memory)."""


def lead_names(wiring: Wiring) -> dict[tuple[Node, Port], str]:
    """Return the name of the lead from each node to each port that it feeds."""
    return {(node, port): str(run) for run, pairs in wiring.leads.items() for node, port in pairs}


class Loading:
    """Node and port voltages from source, lead and load resistances.

    Parameters
    ----------
    wiring : the chain's connections.
    values : fact path -> value.
    unloaded : disconnected speakers.
    probes : node -> input resistance of the instrument there, ohm.
    grounded : nodes at which a grounded instrument is connected.
    alter : deviations from the job.
    curves : speaker -> its impedance over frequency; one without is a resistance of its nominal impedance.
    tone_hz : frequency at which they count, scalar or (cases,).
    leads : see `lead_names`; made anew by default.
    """

    def __init__(
        self,
        wiring: Wiring,
        values: Values,
        *,
        unloaded: frozenset[str] = frozenset(),
        probes: Mapping[Node, float],
        grounded: frozenset[Node] = frozenset(),
        alter: Alteration = UNALTERED,
        curves: Mapping[str, ImpedanceCurve] | None = None,
        tone_hz: Any = 1000.0,
        leads: Mapping[tuple[Node, Port], str] | None = None,
    ) -> None:
        self._wiring = wiring
        self._lead = lead_names(wiring) if leads is None else leads
        self._values = values
        self._unloaded = unloaded
        self._probes = probes
        self._grounded = grounded
        self._alter = alter
        self._curves = curves or {}
        self._tone_hz = tone_hz
        self._ratios: dict[str, Any] = {}
        self._loads: dict[tuple[Node, bool], Any] = {}

    def input_ohm(self, port: Port, *, at_tone: bool = True) -> Any:
        """Return the input resistance of a port, ohm; of a speaker its impedance at the tone, complex, or the nominal one."""
        key = f"{port.stage}.input_impedance"
        ohm = self._values[key] if key in self._values else self._values[f"{port.stage}.impedance"]
        changed = self._alter.load.get(port, 1.0)
        if not at_tone or port.stage not in self._curves:
            return ohm * changed
        return ohm * np.where(np.asarray(changed) < SHORTED_SHARE, changed, changed * self._ratio(port.stage))

    def _ratio(self, speaker: str) -> Any:
        if speaker not in self._ratios:
            chosen = self._values.get(curve_path(speaker), MIDDLE)
            self._ratios[speaker] = self._curves[speaker].ratio(self._tone_hz, chosen)
        return self._ratios[speaker]

    def lead_ohm(self, node: Node, port: Port) -> Any:
        """Return the resistance of a lead, both conductors together, ohm."""
        ohm = 0.0 if node in self._wiring.digital else self._values[f"{self._lead[node, port]}.resistance"]
        return ohm + self._alter.series_ohm.get((node, port), 0.0)

    def conductance(self, node: Node) -> Any:
        """Return the conductance that loads a node, siemens, its speakers as resistances of their nominal impedance."""
        return self._loaded(node, at_tone=False)

    def admittance(self, node: Node) -> Any:
        """Return the admittance that loads a node at the tone, siemens; complex where speakers have curves."""
        return self._loaded(node, at_tone=True)

    def rated_siemens(self, node: Node) -> Any:
        """Return the load on a node as ratings of amplifiers count it, siemens.

        Its size at the tone; of what is more than speakers of this nominal impedance take, up to a quarter doesn't count,
        since the modulus may fall to 80 % of the rated impedance (IEC 60268-5), so that an amplifier for such speakers has
        the current for it (common practice, no published source).
        """
        size, nominal = np.abs(self.admittance(node)), self.conductance(node)
        return np.where(size > nominal, np.maximum(nominal, LOWEST_SHARE * size), size)

    def _loaded(self, node: Node, *, at_tone: bool) -> Any:
        if (node, at_tone) not in self._loads:
            self._loads[node, at_tone] = self._load(node, at_tone=at_tone)
        return self._loads[node, at_tone]

    def _load(self, node: Node, *, at_tone: bool) -> Any:
        total: Any = 0.0
        if node in self._wiring.digital:
            return total
        for port in self._wiring.ports_fed_by(node):
            if port.stage not in self._unloaded:
                lead_ohm, halves = self.lead_ohm(node, port), 1
                if (pair := self._wiring.pair(port)) is not None:  # each of the two sees half of the loop
                    lead_ohm, halves = sum(self.lead_ohm(each, port) for each in pair) / 2, 2
                total = total + halves * self._seen(node, port, lead_ohm, at_tone=at_tone)
        if node in self._probes:
            total = total + 1 / self._probes[node]
        return total

    def _seen(self, node: Node, port: Port, lead_ohm: Any, *, at_tone: bool) -> Any:
        """Return the admittance of a lead with the port at its end: the two in series, and where its conductors touch."""
        wire, input_ohm = (node, port), self.input_ohm(port, at_tone=at_tone)
        if wire not in self._alter.shorted:
            return 1 / (input_ohm + lead_ohm)
        before, behind = self._about_short(wire, lead_ohm, input_ohm)
        touching = self._alter.shorted[wire] + 1 / behind
        return touching / (1 + before * touching)

    def _about_short(self, wire: tuple[Node, Port], lead_ohm: Any, input_ohm: Any) -> tuple[Any, Any]:
        """Return the resistances before and behind the place where a lead's conductors touch."""
        place = self._alter.short_place.get(wire, 0.5)
        return place * lead_ohm, (1 - place) * lead_ohm + input_ohm

    def node_factor(self, node: Node) -> Any:
        """Return the size of node voltage over EMF: the divider of output impedance and load; a digital output has none.

        With one leg of a balanced output on ground, half of its EMF and of its output impedance are left.
        """
        if node in self._wiring.digital:
            return 1.0
        legs = self.leg_share(node)
        source_ohm = legs * self._values[f"{node.stage}.output_impedance"]
        return legs / np.abs(1 + source_ohm * self.admittance(node))

    def leg_share(self, node: Node) -> Any:
        """Return which share of a balanced output is used: 0.5 where an input or an instrument grounds one leg, else 1."""
        if f"{node.stage}.balanced" not in self._values:
            return 1.0
        if node in self._grounded:
            return 0.5
        legs: Any = 1.0
        for port in self._wiring.ports_fed_by(node):
            balanced = np.asarray(self._values.get(f"{port.stage}.balanced_input", 0.0)) > 0.5
            legs = np.where(balanced, legs, 0.5)
        return legs

    def port_factor(self, node: Node, port: Port) -> Any:
        """Return the size of the voltage at a port over the node's before its lead, with its sign; a digital link passes all or nothing."""
        wire = (node, port)
        if node in self._wiring.digital:
            return np.where(np.asarray(self.lead_ohm(node, port)) > LINK_CUT_OHM, 0.0, 1.0)
        input_ohm, lead_ohm = self.input_ohm(port), self.lead_ohm(node, port)
        if wire in self._alter.shorted:
            before, behind = self._about_short(wire, lead_ohm, input_ohm)
            found = np.abs(input_ohm / (behind * (1 + before * (self._alter.shorted[wire] + 1 / behind))))
        else:
            found = np.abs(input_ohm / (input_ohm + lead_ohm))
        return found * self._alter.sign[wire] if wire in self._alter.sign else found
