"""Observations with a few possible answers: the probability of each answer under every hypothesis.

Probabilities have shape (answers, hypotheses, draws or 1). Thresholds and shares are common practice, no published source.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose.ensemble import Stimulus
from gainwright.diagnose.observer import normal_cdf
from gainwright.diagnose.played_paths import played_paths
from gainwright.diagnose.unit_answers import LEAD_OPEN_OHM, SURE, Answers, UnitAnswers, certain
from gainwright.jobfile import DC_SHARES
from gainwright.model import Played, Speaker, leads_by_name, link_place
from gainwright.solve import Alteration, Conditions, good_lead_ohm

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.changes import Change
    from gainwright.diagnose.ensemble import Ensemble
    from gainwright.diagnose.observer import Observer
    from gainwright.model import Node, Port
    from gainwright.solve import Wire

    Floats = npt.NDArray[np.float64]

TOUCHING_OHM = 1e5
AUDIBLE_V, PLAIN_V = 0.02, 0.5
"""Volts at a speaker: below the first it is silent, below the second faint."""
HEARD_EDGE_DB = 3.0
HEARD_THD = 0.05
HUM_HEARD_V, HUM_BESIDE = 0.03, 0.05
HUM_HZ, WHINE_HZ = 100.0, 700.0
ENGINE_HZ = 40.0
"""Within what noise cancelling plays against an idling engine (common practice, no published source)."""
SIDES_DIFFER_DB = 3.0
SPEAKERS = ("short", "low", "right", "high", "open")
WORDS = ("silent", "faint", "normal", "distorted", "hum", "whine")

INSPECTED: dict[str, tuple[str, ...]] = {
    "source_muted": ("mute",),
    "tone_level_wrong": ("player",),
    "balance_over": ("balance",),
    "level_control_down": ("level", "at", "volume", "remote_level", "gain"),
    "gain_muted": ("gain",),
    "gain_low": ("gain",),
    "gain_high": ("gain",),
    "input_range_wrong": ("input_range",),
    "low_pass_in_the_way": ("low_pass", "out.low_pass"),
    "high_pass_in_the_way": ("high_pass", "out.high_pass"),
    "boost_on": ("boost", "equaliser"),
    "output_muted": ("mute",),
    "output_misrouted": ("routing",),
    "leads_swapped": ("inputs",),
}
"""Cause -> what to inspect at its place."""


class AnswerModel(UnitAnswers):
    """The answers that each hypothesis of an observer's ensemble gives."""

    def __init__(self, observer: Observer) -> None:
        self.observer = observer
        self.ensemble: Ensemble = observer.ensemble
        self.chain = observer.chain
        self.changes = self.ensemble.changes
        self.leads = leads_by_name(self.chain.wiring)
        self._usual: dict[str, tuple[float, float]] = {}
        self._kept: dict[tuple[object, ...], Answers] = {}
        self._noise: dict[tuple[str, Node, float], float] = {}
        self._arriving: dict[Wire, Floats] = {}
        self._looks = [
            {p for cause in h for p in inspected_places(cause.id, cause.where)} for h in self.ensemble.hypotheses
        ]
        links = {str(run): link_place(run) for run in self.chain.wiring.leads if self.chain.wiring.is_digital(run)}
        for looks, h in zip(self._looks, self.ensemble.hypotheses, strict=True):
            looks |= {links[cause.where] for cause in h if cause.where in links}
        self._about: dict[Wire | Port, list[int]] = {}
        for i, c in enumerate(self.changes):
            places: set[Any] = {*c.series_ohm, *c.shorted, *c.sign, *c.load}
            for place in places:
                self._about.setdefault(place, []).append(i)
        self._speakers: dict[str, list[Wire]] = {}
        for node in self.chain.nodes:
            for port in self.chain.wiring.ports_fed_by(node):
                self._speakers.setdefault(port.stage, []).append((node, port))

    # ---- inspected, and measured with everything off ------------------------------------------------------------

    def check(self, place: str, aspect: str = "", *, running: bool = True) -> Answers:
        """Return the answers of a check.

        Parameters
        ----------
        aspect : of a lead `resistance` or `between_conductors`, both if empty.
        """
        key = ("check", place, aspect, running)
        if key not in self._kept:
            self._kept[key] = self._check(place, aspect, running=running)
        return self._kept[key]

    def _check(self, place: str, aspect: str, *, running: bool) -> Answers:
        stage, _, what = place.rpartition(".")
        if place in self.leads:
            return self._lead(self.leads[place], aspect)
        if place in self.observer.instruments:
            return self._measuring_lead(place, aspect)
        makers = {
            "cone": self._cone,
            "function": self._function,
            "power_lamp": self._power,
            "protection_lamp": self._protection,
            "turn_on_voltage": self._turn_on,
            "resistance": self._speaker,
        }
        if what == "supply_voltage":
            return self._supply(stage, running=running)
        return makers[what](stage) if what in makers else self._inspection(place)

    def _function(self, name: str) -> Answers:
        which = [int(c.instrument.get(name) == "function") for c in self.changes]
        return certain(("right", "wrong"), which, SURE["look"])

    def _lead(self, pairs: tuple[Wire, ...], aspect: str) -> Answers:
        shape = (len(self.changes), self.ensemble.draws)
        touching, ohm = np.zeros((shape[0], 1), dtype=bool), np.zeros(shape)
        for i in self._affecting(pairs):
            c = self.changes[i]
            touching[i] = any(wire in c.shorted for wire in pairs)
            for wire in pairs:
                ohm[i] = np.maximum(ohm[i], c.series_ohm.get(wire, 0.0))
        if aspect == "between_conductors":
            return certain(("open", "shorted"), touching.astype(int), SURE["lead"])
        which = np.where(ohm >= LEAD_OPEN_OHM, 2, np.where(ohm > self.good_ohm(pairs), 1, 0))
        if aspect == "resistance":
            return certain(("good", "high", "open"), which, SURE["lead"])
        return certain(("good", "high", "open", "shorted"), np.where(touching, 3, which), SURE["lead"])

    def _affecting(self, pairs: Sequence[Wire]) -> list[int]:
        """Return the hypotheses that affect leads or the ports at their ends."""
        return sorted({i for wire in pairs for place in (wire, wire[1]) for i in self._about.get(place, ())})

    def good_ohm(self, pairs: tuple[Wire, ...]) -> float:
        """Return the largest end-to-end resistance of a good lead, ohm."""
        return good_lead_ohm(self.chain, pairs)

    def _measuring_lead(self, name: str, aspect: str) -> Answers:
        labels = {"resistance": ("good", "open"), "between_conductors": ("open", "shorted")}
        how = [c.instrument.get(name, "") for c in self.changes]
        if aspect:
            wrong = "open" if aspect == "resistance" else "shorted"
            return certain(labels[aspect], [int(h == wrong) for h in how], SURE["lead"])
        return certain(
            ("good", "open", "shorted"), [1 if h == "open" else 2 if h == "shorted" else 0 for h in how], SURE["lead"]
        )

    def _cone(self, name: str) -> Answers:
        """Return how a cone moves; without a side, that of the abnormal side."""
        pairs = self._speaker_wires(name)
        moves = np.zeros((len(self.changes), self.ensemble.draws), dtype=np.intp)
        for i in {*self._affecting(pairs), *(k for k, c in enumerate(self.changes) if c.coil)}:
            c = self.changes[i]
            for wire in pairs:
                still = np.asarray(c.load.get(wire[1], 1.0)) > 1e6
                still = still | (np.asarray(c.series_ohm.get(wire, 0.0)) >= LEAD_OPEN_OHM)
                still = still | (wire in c.shorted or wire[1].stage in c.coil)
                turned = np.asarray(c.sign.get(wire, 1.0)) < 0
                moves[i] = np.maximum(moves[i], np.where(still, 2, np.where(turned, 1, 0)))
        return certain(("out", "in", "still"), moves, SURE["look"])

    def _speaker_wires(self, name: str) -> list[Wire]:
        speaker, _, side = name.partition(".")
        return [wire for wire in self._speakers[speaker] if not side or wire[1].side == side]

    def _speaker(self, name: str) -> Answers:
        """Return the class of a speaker's resistance at the end of its lead; without a side, that of the more unusual side."""
        speaker = name.split(".", maxsplit=1)[0]
        pairs = self._speaker_wires(name)
        usual_ohm, coil = self.usual_coil_ohm(speaker), self._coil(speaker)
        found = np.tile(coil, (len(self.changes), 1))
        for i in self._affecting(pairs):
            c = self.changes[i]
            ratios = [
                (np.zeros(1) if w in c.shorted else coil * np.asarray(c.load.get(w[1], 1.0)))
                + np.asarray(c.series_ohm.get(w, 0.0)) / usual_ohm
                for w in pairs
            ]
            each = np.stack([np.broadcast_to(np.maximum(r, 1e-3), (self.ensemble.draws,)) for r in ratios])
            most = np.argmax(np.abs(np.log(each)), axis=0)
            found[i] = each[most, np.arange(each.shape[1])]
        return certain(SPEAKERS, speaker_class(found), SURE["ohms"])

    def usual_coil_ohm(self, speaker: str) -> float:
        """Return a speaker's DC resistance as the job gives it, else that of the median of measured drivers, ohm."""
        nominal = self.chain.nominal()
        return nominal.get(f"{speaker}.re", DC_SHARES[1] * nominal[f"{speaker}.impedance"])

    def _coil(self, speaker: str) -> Floats:
        """Return a sound coil's DC resistance over the usual one in each draw: spread as measured unless the job gives it.

        Between the measured 5, 50 and 95 % on straight lines of the probability, and as straight beyond them.
        """
        draws = self.ensemble.draws
        if f"{speaker}.re" in self.chain.nominal():
            return np.ones(draws)
        order = np.random.default_rng(zlib.crc32(speaker.encode())).permutation(draws)
        low, middle, high = DC_SHARES
        ends = low - (middle - low) / 9, high + (high - middle) / 9
        shares = np.interp((order + 0.5) / draws, [0.0, 0.05, 0.5, 0.95, 1.0], [ends[0], low, middle, high, ends[1]])
        return np.asarray(shares / middle)

    def _inspection(self, place: str) -> Answers:
        """Return whether a control, or every control of a stage, is as in the job: wrong if a cause affects it."""
        if place.endswith(".settings"):
            stage = place.removesuffix("settings")
            seen = [any(p.startswith(stage) and not p.endswith(".inputs") for p in found) for found in self._looks]
        else:
            seen = [place in found for found in self._looks]
        return certain(("right", "wrong"), [int(s) for s in seen], SURE["look"])

    # ---- heard -------------------------------------------------------------------------------------------------

    def heard(self, speaker: str, stimulus: Stimulus | None, *, side: str = "both", running: bool = True) -> Answers:
        """Return the probability of each of `WORDS` for a speaker; without a stimulus no tone is played."""
        key = ("heard", speaker, stimulus, side, running)
        if key not in self._kept:
            self._kept[key] = self._heard_answers(speaker, stimulus, side=side, running=running)
        return self._kept[key]

    def usual(self, speaker: str, played: Played) -> Stimulus:
        """Return a tone that represents ordinary music at a speaker: one that its path passes."""
        if not self._usual:
            for path in played_paths(self.chain.job, self.chain, self.observer.instruments, ()):
                self._usual |= dict.fromkeys(path.speakers, (path.tone_hz, path.level_dbfs))
        tone_hz, level_dbfs = self._usual[speaker]
        sets = tuple(sorted(played.set.items()))
        return Stimulus(tone_hz, level_dbfs, sets, running=played.engine == "on", speakers=played.speakers == "on")

    def _heard_answers(self, speaker: str, stimulus: Stimulus | None, *, side: str, running: bool) -> Answers:
        pairs = self._speakers[speaker]
        shape = (len(self.changes), self.ensemble.draws)
        loudest, thd, hum, whine = np.zeros(shape), np.zeros(shape), np.zeros(shape), np.zeros(shape)
        nodes = tuple(node for node, _ in pairs)
        for node, port in pairs:
            arriving = self.arriving(node, port)
            ends = self.chain.wiring.pair(port)
            if ends is not None and node != ends[0]:
                continue
            if side in ("both", port.side) or port.side == "mono":
                if stimulus is not None:
                    volts, bent = self.observer.level_v(stimulus, node, nodes)
                    volts = volts * arriving if ends is None else self._across(stimulus, ends, port, nodes)
                    louder = volts > loudest
                    loudest = np.where(louder, volts, loudest)
                    thd = np.where(louder, np.nan_to_num(bent), thd)
                hum = np.maximum(hum, np.hypot(self._hum_v("hum", node), self._engine_v(node) * running) * arriving)
                whine = np.maximum(whine, self._hum_v("whine", node) * arriving * running)
        noisy = np.maximum(hum, whine)
        noise = normal_cdf(_db_over(noisy, np.maximum(HUM_HEARD_V, HUM_BESIDE * loudest)) / HEARD_EDGE_DB)
        alive = normal_cdf(_db_over(loudest, AUDIBLE_V) / HEARD_EDGE_DB)
        plain = normal_cdf(_db_over(loudest, PLAIN_V) / HEARD_EDGE_DB)
        bent_share = normal_cdf(np.log(np.maximum(thd, 1e-6) / HEARD_THD) / 0.4)
        tone = [1 - alive, alive * (1 - plain), alive * plain * (1 - bent_share), alive * plain * bent_share]
        whining = (whine > hum).astype(np.float64)
        parts = np.stack([*(t * (1 - noise) for t in tone), noise * (1 - whining), noise * whining])
        return Answers(WORDS, SURE["heard"] * parts + (1 - SURE["heard"]) / len(WORDS))

    def _across(self, stimulus: Stimulus, ends: tuple[Node, Node], port: Port, nodes: tuple[Node, ...]) -> Floats:
        """Return the voltage across a load between a strapped pair, volts rms: none where either lead is open."""
        plus, minus = (self.observer.phasor_v(stimulus, end, nodes) * self.arriving(end, port) for end in ends)
        cut = [any(np.min(c.series_ohm.get((end, port), 0.0)) >= LEAD_OPEN_OHM for end in ends) for c in self.changes]
        return np.where(np.array(cut)[:, None], 0.0, np.abs(plus - minus))

    def arriving(self, node: Node, port: Port) -> Floats:
        """Return the share of a node's voltage that moves the cone at the end of a lead, shape (hypotheses, draws)."""
        if (node, port) not in self._arriving:
            self._arriving[node, port] = self._moving(node, port)
        return self._arriving[node, port]

    def _moving(self, node: Node, port: Port) -> Floats:
        speaker_ohm = self.chain.nominal()[f"{port.stage}.impedance"]
        found = np.ones((len(self.changes), self.ensemble.draws))
        for i in {*self._affecting([(node, port)]), *(k for k, c in enumerate(self.changes) if c.coil)}:
            c = self.changes[i]
            load = np.asarray(c.load.get(port, 1.0))
            # an open or shorted coil doesn't move, whatever its voltage
            works = np.where((load > 1e6) | (load < 0.12), 0.0, 1.0) * c.coil.get(port.stage, 1.0)
            series = np.asarray(c.series_ohm.get((node, port), 0.0))
            found[i] = 0.0 if (node, port) in c.shorted else works * speaker_ohm / (speaker_ohm + series)
        return found

    def _hum_v(self, kind: str, node: Node) -> Floats:
        """Return hum or whine at a node, volts rms, shape (hypotheses, draws)."""
        found = np.zeros((len(self.changes), self.ensemble.draws))
        for i, change in enumerate(self.changes):
            for lead, volts in getattr(change, kind).items():
                found[i] = np.hypot(found[i], volts * self._gain(lead, node, HUM_HZ if kind == "hum" else WHINE_HZ))
        return found

    def _engine_v(self, node: Node) -> Floats:
        """Return what sources with noise cancelling play at a node while the engine idles, volts rms, as `_hum_v`."""
        found = np.zeros((len(self.changes), self.ensemble.draws))
        passing = [self._passes(change, node) for change in self.changes]
        for run in self.chain.wiring.leads:
            level = self.ensemble.values.get(f"{run.source_stage}.factory.cancelling_level")
            if level is not None:
                found = np.hypot(found, level * self._gain(str(run), node, ENGINE_HZ) * np.array(passing)[:, None])
        return found

    def _passes(self, change: Change, node: Node) -> float:
        """Return 0 where a change cuts the way to a node, 1 elsewhere."""
        way = {node, *self.chain.wiring.upstream(node.stage)}
        cut = any(np.max(np.abs(gain)) == 0 for at, gain in change.gain.items() if at in way)
        cut = cut or any(np.min(ohm) >= LEAD_OPEN_OHM for (at, _), ohm in change.series_ohm.items() if at in way)
        return 0.0 if cut or any(at in way for at, _ in change.shorted) else 1.0

    def _gain(self, lead: str, node: Node, tone_hz: float) -> float:
        """Return the gain from a lead to a node, with all numbers at their nominal values and far below any ceiling."""
        key = (lead, node, tone_hz)
        if key not in self._noise:
            ports = {port for _, port in self.leads[lead]}
            fed = dict.fromkeys(self.chain.wiring.feeds, 0.0) | dict.fromkeys(ports, 1.0)
            alter = Alteration(fed_v=fed)
            if ("output", node) not in self.chain.needed([node], alter) or not self._reaches(ports, node):
                self._noise[key] = 0.0
            else:
                solved = self.chain.solve(
                    Conditions(tone_hz, -60.0, alter=Alteration(fed_v=dict.fromkeys(ports, 1.0))), targets=[node]
                )
                self._noise[key] = float(solved.rms_v[0, solved.index(node)]) * 1e3
        return self._noise[key]

    def _reaches(self, ports: set[Port], node: Node) -> bool:
        keys = self.chain.needed([node])
        return any(("port", port) in keys for port in ports)

    # ---- sides exchanged ---------------------------------------------------------------------------------------------

    def swapped(self, entry_swap: str, before: Stimulus, after: Stimulus) -> Answers:
        """Return whether a difference between the sides moves, stays, or isn't there."""
        key = ("swap", entry_swap, before)
        if key not in self._kept:
            self._kept[key] = self._exchange(entry_swap, before, after)
        return self._kept[key]

    def _exchange(self, entry_swap: str, before: Stimulus, after: Stimulus) -> Answers:
        sided = self._sided_speakers(entry_swap)
        shape = (len(self.changes), self.ensemble.draws)
        difference, changed = np.zeros(shape), np.zeros(shape)
        lead = self.leads.get(entry_swap, ())
        in_lead = np.array([[any(w in c.series_ohm or w in c.shorted for w in lead)] for c in self.changes])
        for left, right in sided:
            b = self._sides_db(left, right, before)
            a = np.where(in_lead, -b, b) if lead else self._sides_db(left, right, after)
            bigger = np.abs(b) > np.abs(difference)
            difference, changed = np.where(bigger, b, difference), np.where(bigger, a, changed)
        seen = np.abs(difference) > SIDES_DIFFER_DB
        moved = seen & (np.sign(changed) == -np.sign(difference)) & (np.abs(changed) > SIDES_DIFFER_DB)
        return certain(("moved", "stayed", "none"), np.where(~seen, 2, np.where(moved, 0, 1)), SURE["swap"])

    def _sides_db(self, left: Wire, right: Wire, stimulus: Stimulus) -> Floats:
        both = (left[0], right[0])
        volts = [self.observer.level_v(stimulus, n, both)[0] * self.arriving(n, p) for n, p in (left, right)]
        return np.asarray(20 * np.log10((volts[0] + 1e-4) / (volts[1] + 1e-4)))

    def _sided_speakers(self, swap: str) -> list[tuple[Wire, Wire]]:
        """Return the left and right lead of every speaker behind a stage or lead."""
        ports = {p for _, p in self.leads[swap]} if swap in self.leads else set(self.chain.wiring.ports(swap))
        found: dict[str, dict[str, Wire]] = {}
        for node in self.chain.nodes:
            for port in self.chain.wiring.ports_fed_by(node):
                if isinstance(self.chain.job.stages[port.stage], Speaker) and (
                    port in ports or self._reaches(ports, node)
                ):
                    found.setdefault(port.stage, {})[port.side] = (node, port)
        return [(s["left"], s["right"]) for s in found.values() if {"left", "right"} <= s.keys()]


def inspected_places(cause: str, where: str) -> tuple[str, ...]:
    """Return the controls and places to inspect for a cause."""
    return tuple(f"{where}.{what}" for what in INSPECTED.get(cause, ()))


def speaker_class(ratio: Any) -> npt.NDArray[np.intp]:
    """Return which of `SPEAKERS` a speaker's resistance over the expected one is."""
    return np.asarray(np.digitize(np.asarray(ratio), [0.15, 0.72, 1.4, 50.0]))


def _db_over(value: Any, bound: Any) -> Floats:
    return np.asarray(20 * np.log10(np.maximum(value, 1e-9) / bound))
