"""What is seen on a stage, and measured with everything off or at the supply."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gainwright.jobfile import controls
from gainwright.model import leads_by_name, link_place, stages_of, supply_path, unit_of
from third_world.faults import coil_open_factor, units_off
from third_world.lead_circuit import State
from third_world.oracle import LOOKS, MOVES, Oracle

if TYPE_CHECKING:
    from gainwright.model import Check

WORDED = (
    *("fuse", "main_fuse", "ground", "heat", "unplugged", "unloaded"),
    *("other_source", "substitute", "travel", "moved", "one_side_reversed", "sounds"),
)
"""What is tried rather than looked at or measured."""
METER_LEADS_OHM = (0.1, 0.4)
"""What the leads of an ohmmeter add, which few people take off."""
DEAD = {
    "amplifier_no_turn_on": "turn_on",
    "amplifier_no_supply": "supply",
    "amplifier_protecting": "protecting",
    "amplifier_hot": "protecting",
    "box_no_power": "supply",
    "shared_no_supply": "supply",
    "shared_no_turn_on": "turn_on",
}


class Checks(Oracle):
    """The part of the answers that is seen, and measured with everything off or at the supply."""

    def _check(self, entry: Check) -> dict[str, Any]:
        place = entry.check
        stage, _, what = place.rpartition(".")
        if place in self.instruments:
            return self._measuring_lead(place)
        if place in leads_by_name(self.wiring):
            return self._lead(place)
        if what in ("supply_voltage", "turn_on_voltage"):
            return {"reads": self._dc_text(self._terminal_v(stage, what, running=entry.engine == "on"))}
        if what == "resistance":
            return {"reads": self._ohm_text(self._speaker_ohm(*_side_of(stage)))}
        return {"is": self._word(place, stage, what)}

    def _word(self, place: str, stage: str, what: str) -> str:
        if what in ("power_lamp", "protection_lamp"):
            return self._lamp(stage, what)
        if what == "cone":
            return self._cone(*_side_of(stage))
        if what == "function":
            return "wrong" if self._has("meter_wrong_function", stage) else "right"
        if what == "link":
            runs = [str(run) for run in self.wiring.leads if link_place(run) == place]
            return "wrong" if any(self._has("lead_open", run) for run in runs) else "right"
        if what in WORDED:
            return self.tried(stage, what)
        return self._look(place, stage, what)

    def tried(self, place: str, what: str) -> str:
        """Return the word for something that is tried; see `trying`."""
        raise NotImplementedError

    def _has(self, cause: str, *wheres: str) -> bool:
        return any(f.cause == cause and f.where in wheres for f in self.faults)

    # ---- measuring leads and ohms ------------------------------------------------------------------------------

    def _measuring_lead(self, name: str) -> dict[str, Any]:
        return {
            "resistance": "open" if self._has("measuring_lead_open", name) else "0.3 ohm",
            "between_conductors": "0.2 ohm" if self._has("measuring_lead_shorted", name) else "open",
        }

    def _meter_lead(self) -> str:
        """Return how the measuring lead of the meter is broken, for ohms and DC volts."""
        name = next((n for n, i in self.instruments.items() if i.kind == "multimeter"), "")
        if self._has("measuring_lead_open", name):
            return "open"
        return "shorted" if self._has("measuring_lead_shorted", name) else ""

    def _ohm_text(self, ohm: float) -> str:
        """Return a resistance as the meter shows it: with its own leads, however they are."""
        how = self._meter_lead()
        added = METER_LEADS_OHM[0] if self.quiet else float(self.car.rng(41).uniform(*METER_LEADS_OHM))
        shown = math.inf if how == "open" else added if how == "shorted" else ohm + added
        return "open" if shown > 2e7 else f"{shown:.3g} ohm"

    def _dc_text(self, volts: float) -> str:
        return f"{0.0 if self._meter_lead() else volts:.3g} V"

    def _lead(self, place: str) -> dict[str, Any]:
        wires = leads_by_name(self.wiring)[place]
        mine = [f for f in self.faults if {*leads_by_name(self.wiring).get(f.where, ())} & {*wires}]
        ohm = max(
            self.car.values[f"{run}.resistance"] for run, pairs in self.wiring.leads.items() if {*pairs} & {*wires}
        )
        ohm /= 2
        for fault in mine:
            ohm = math.inf if fault.cause in ("lead_open", "lead_loose") else ohm
            ohm += fault.amount if fault.cause == "lead_resistive" else 0.0
        touching = [f.amount for f in mine if f.cause == "lead_shorted"]
        return {
            "resistance": self._ohm_text(ohm),
            "between_conductors": self._ohm_text(touching[0] if touching else math.inf),
        }

    def _speaker_ohm(self, speaker: str, side: str) -> float:
        """Return the DC resistance at the amplifier's end of a speaker's lead, of the more unusual side."""
        found = []
        for port in self.wiring.ports(speaker):
            if side not in ("both", port.side) and port.side != "mono":
                continue
            coil = self.car.coils[speaker].re_ohm
            before = {feed.node.stage for feed in self.wiring.feeds[port]}
            for fault in self.faults:
                if fault.cause == "load_too_low" and fault.where in before:
                    coil *= fault.amount
                if fault.cause == "coil_open" and fault.where == speaker:
                    coil *= coil_open_factor(port, self.job, self.wiring)
                if fault.where == speaker and fault.side in ("both", port.side):
                    coil = math.inf if fault.cause == "speaker_open" else coil
                    coil = fault.amount if fault.cause == "speaker_shorted" else coil
            for feed in self.wiring.feeds[port]:
                run = next(str(r) for r, pairs in self.wiring.leads.items() if (feed.node, port) in pairs)
                lead = self.car.values[f"{run}.resistance"]
                mine = [f for f in self.faults if (feed.node, port) in leads_by_name(self.wiring).get(f.where, ())]
                for fault in mine:
                    lead += math.inf if fault.cause in ("lead_open", "lead_loose") else 0.0
                    lead += fault.amount if fault.cause == "lead_resistive" else 0.0
                touching = [f.amount for f in mine if f.cause == "lead_shorted"]
                found.append(self.car.values[f"{run}.resistance"] / 2 + touching[0] if touching else coil + lead)
        usual = self.car.coils[speaker].re_ohm
        return max(found, key=lambda ohm: abs(math.log(min(ohm, 1e12) / usual)))

    def _cone(self, speaker: str, side: str) -> str:
        """Return how a cone moves at a cell, the unusual side if they differ."""
        moves = []
        for port in self.wiring.ports(speaker):
            if side not in ("both", port.side) and port.side != "mono":
                continue
            ohm = self._speaker_ohm(speaker, port.side)
            share = self.car.coils[speaker].re_ohm / max(ohm, self.car.coils[speaker].re_ohm)
            share *= self._moves(port)
            signs = [
                -1
                for feed in self.wiring.feeds[port]
                for f in self.faults
                if f.cause == "polarity_reversed" and (feed.node, port) in leads_by_name(self.wiring).get(f.where, ())
            ]
            shorted = ohm < 0.3 * self.car.coils[speaker].re_ohm and not self._has("load_too_low", *self._before(port))
            moves.append("still" if share < MOVES or shorted else "in" if signs else "out")
        return next((m for m in ("still", "in") if m in moves), "out")

    def _before(self, port: Any) -> tuple[str, ...]:
        return tuple({feed.node.stage for feed in self.wiring.feeds[port]})

    # ---- a chassis ---------------------------------------------------------------------------------------------

    def _dead(self, unit: str) -> set[str]:
        return {DEAD[f.cause] for f in self.faults if f.cause in DEAD and unit in units_off(f, self.job)}

    def _usual(self, unit: str, *, running: bool = True) -> State:
        """Return the state while what is usually played at a chassis plays."""
        members = set(stages_of(self.job, unit))
        path = next((p for p in self.wiring.paths if members & {n.stage for n in p.nodes}), self.wiring.paths[0])
        return self.world.music(path.speaker, running=running)

    def _lamp(self, stage: str, what: str) -> str:
        unit = unit_of(self.job, stage)
        dead, parts = self._dead(unit), self.car.units[unit]
        waves = self.world.waves(self._usual(unit))
        tripped = unit in waves.tripped
        if what == "protection_lamp":
            return "on" if "protecting" in dead or (tripped and parts.lamp_in_short) else "off"
        members = stages_of(self.job, unit)
        woken = any(getattr(self.job.stages[m], "turn_on", "") != "signal" or self._woken(m, waves) for m in members)
        return "off" if dead & {"turn_on", "supply"} or not woken else "on"

    def _woken(self, stage: str, waves: Any) -> bool:
        level = self.car.values[f"{stage}.turn_on_level"]
        before = [feed.node for port in self.wiring.ports(stage) for feed in self.wiring.feeds[port]]
        cut = any(
            {*leads_by_name(self.wiring).get(f.where, ())} & {(n, p) for p in self.wiring.ports(stage) for n in before}
            for f in self.faults
            if f.cause in ("lead_open", "lead_shorted")
        )
        return not cut and any(float((waves.node[n] ** 2).mean()) ** 0.5 >= level for n in before)

    def _terminal_v(self, stage: str, what: str, *, running: bool) -> float:
        unit = unit_of(self.job, stage)
        if what == "turn_on_voltage":
            key = "vehicle.running" if running else "vehicle.resting"
            return 0.0 if "turn_on" in self._dead(unit) else self.car.values[key] - 0.4
        if "supply" in self._dead(unit):
            return 0.02
        assert supply_path(self.job, stages_of(self.job, unit)[0], "running")
        return self.world.supplies(self._usual(unit, running=running))[unit]

    # ---- looked at ---------------------------------------------------------------------------------------------

    def _look(self, place: str, stage: str, what: str) -> str:
        if what == "settings":
            seen = {c for key, causes in LOOKS.items() if key not in ("inputs", "leads") for c in causes}
            wrong = [f for f in self.faults if f.cause in seen and f.where.split(".")[0] == stage]
            return "wrong" if any(self._seen(f) for f in wrong) else "right"
        if what not in LOOKS and place not in controls(self.job):
            raise LookupError(f"the third world has no answer at {place}")
        wheres = {stage, stage.removesuffix(".out")}
        wrong = [f for f in self.faults if f.cause in LOOKS.get(what, ()) and f.where in wheres]
        return "wrong" if any(self._seen(f) for f in wrong) else "right"

    def _seen(self, fault: Any) -> bool:
        """Return whether a control stands far enough from where it should to be noticed."""
        if fault.cause in ("gain_low", "gain_high"):
            moved = self._turned[f"{fault.where}.gain"]
            return abs(moved - self._stands[f"{fault.where}.gain"]) > self.person.place
        return True


def _side_of(stage: str) -> tuple[str, str]:
    speaker, _, side = stage.partition(".")
    return speaker, side or "both"
