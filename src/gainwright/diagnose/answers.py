"""Observations with a few possible answers: the probability of each answer under every hypothesis.

Probabilities have shape (answers, hypotheses, draws or 1). Thresholds and shares are common practice, no published source.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose.ensemble import Stimulus
from gainwright.diagnose.kept_answers import KeptAnswers
from gainwright.diagnose.unit_answers import LEAD_OPEN_OHM, SURE, Answers, certain
from gainwright.diagnose.worded_answers import WordedAnswers
from gainwright.jobfile import DC_SHARES, at_hand
from gainwright.model import WORDED, Amplifier, Speaker, leads_by_name, link_place
from gainwright.solve import good_lead_ohm

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.diagnose.ensemble import Ensemble
    from gainwright.diagnose.observer import Observer
    from gainwright.model import Port
    from gainwright.solve import Wire

    Floats = npt.NDArray[np.float64]

TOUCHING_OHM = 1e5
STILL = 0.1
"""Coils that move a cone by less than this share work against each other."""
MOVES = (0.1, 0.5)
"""Share of its usual movement by a small battery from which a cone is seen to move; people differ (common practice)."""
METER_LEADS_OHM = (0.05, 0.2, 0.5)
"""What the leads of an ohmmeter and their contacts add to a coil: least, usual, most (common practice, no published source)."""
SIDES_DIFFER_DB = 3.0
SPEAKERS = ("short", "low", "right", "high", "open")
OPEN_RATIO = 3000.0
"""Resistance over a coil's from which it is open: about 10 kohm, more than a bad contact has; less than a finger across the leads."""

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
    "fader_over": ("balance",),
    "outputs_crossed": ("leads",),
    "output_switched_off": ("switch",),
    "input_mode_wrong": ("input_mode",),
    "player_equaliser_on": ("player",),
}
"""Cause -> what to inspect at its place."""


class AnswerModel(WordedAnswers):
    """The answers that each hypothesis of an observer's ensemble gives.

    Parameters
    ----------
    whole : the answers of the same draws of more hypotheses, and the rows of these there: what is known there isn't worked out again.
    """

    def __init__(self, observer: Observer, *, whole: tuple[AnswerModel, npt.NDArray[np.intp]] | None = None) -> None:
        self._whole = whole
        self.observer = observer
        self.ensemble: Ensemble = observer.ensemble
        self.chain = observer.chain
        self.changes = self.ensemble.changes
        self.leads = leads_by_name(self.chain.wiring)
        self._usual: dict[str, tuple[float, float, float]] = {}
        self._kept = KeptAnswers()
        self._drawn: dict[tuple[object, ...], Floats] = {}
        self._looks = [{p for cause in h for p in self._looked_at(cause)} for h in self.ensemble.hypotheses]
        links = {str(run): link_place(run) for run in self.chain.wiring.leads if self.chain.wiring.is_digital(run)}
        for looks, h in zip(self._looks, self.ensemble.hypotheses, strict=True):
            looks |= {links[cause.where] for cause in h if cause.where in links}
        self._about: dict[Wire | Port, list[int]] = {}
        for i, c in enumerate(self.changes):
            places: set[Any] = {*c.series_ohm, *c.shorted, *c.sign, *c.load}
            for place in places:
                self._about.setdefault(place, []).append(i)
        nominal = self.chain.nominal()
        self.lead_ohm = {
            wire: nominal.get(f"{run}.resistance", 0.0)
            for run, pairs in self.chain.wiring.leads.items()
            for wire in pairs
        }
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
        return self._answered(("check", place, aspect, running), lambda: self._check(place, aspect, running=running))

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
        if what in WORDED:
            return self.worded(stage, what)
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
            between = self.through_lead(touching.astype(int), opened=0, shorted=1)
            return certain(("open", "shorted"), between, SURE["lead"])
        which = np.where(ohm >= LEAD_OPEN_OHM, 2, np.where(ohm > self.good_ohm(pairs), 1, 0))
        if aspect == "resistance":
            which = self.through_lead(which, opened=2, shorted=0)
            return certain(("good", "high", "open"), which, SURE["lead"])
        which = self.through_lead(np.where(touching, 3, which), opened=2, shorted=3)
        return certain(("good", "high", "open", "shorted"), which, SURE["lead"])

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
        seen = MOVES[0] + (MOVES[1] - MOVES[0]) * self.ensemble.doubt[:, 4]
        for i in {*self._affecting(pairs), *(k for k, c in enumerate(self.changes) if c.coil)}:
            c = self.changes[i]
            for wire in pairs:
                still = np.asarray(c.load.get(wire[1], 1.0)) > 1e6
                # the battery is at the end of the lead: what is in series with the coil takes its share
                series = np.asarray(c.series_ohm.get(wire, 0.0)) / self.usual_coil_ohm(wire[1].stage)
                still = still | (1 / (1 + series) < seen)
                still = still | (wire in c.shorted or c.coil.get(wire[1].stage, 1.0) < STILL)
                still = still | np.asarray(c.burnt.get(wire[1], False))
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
                1 / (1 / (coil * np.asarray(c.load.get(w[1], 1.0))) + np.asarray(c.shorted.get(w, 0.0)) * usual_ohm)
                + np.asarray(c.series_ohm.get(w, 0.0)) / usual_ohm
                for w in pairs
            ]
            each = np.stack([np.broadcast_to(np.maximum(r, 1e-3), (self.ensemble.draws,)) for r in ratios])
            most = np.argmax(np.abs(np.log(each)), axis=0)
            found[i] = each[most, np.arange(each.shape[1])]
        low, middle, high = METER_LEADS_OHM
        beside = (np.interp(self.ensemble.doubt[:, 6], [0, 0.5, 1], [low, middle, high]) - middle) / usual_ohm
        which = self.through_lead(speaker_class(found + beside), opened=4, shorted=0)
        return certain(SPEAKERS, which, SURE["ohms"])

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

    def _looked_at(self, cause: Cause) -> tuple[str, ...]:
        """Return where a cause is seen; a knob on an amplifier's wire at the knob alone, not at the amplifier's gain."""
        knob = cause.id == "level_control_down" and isinstance(self.chain.job.stages.get(cause.where), Amplifier)
        return (f"{cause.where}.remote_level",) if knob else inspected_places(cause.id, cause.where)

    def _inspection(self, place: str) -> Answers:
        """Return whether a control, or every control of a stage, is as in the job: wrong if a cause affects it."""
        if place.endswith(".settings"):
            # a knob on a wire is elsewhere
            stage, elsewhere = place.removesuffix("settings"), (".inputs", ".remote_level")
            seen = [any(p.startswith(stage) and not p.endswith(elsewhere) for p in found) for found in self._looks]
        else:
            seen = [place in found for found in self._looks]
        # who has nothing to measure with compares nothing with a job either, but glances over all controls
        glanced = place.endswith(".settings") and not at_hand(self.chain.job)
        sure = SURE["glance" if glanced else "look"]
        return certain(("right", "wrong"), [int(s) for s in seen], sure)

    # ---- sides exchanged ---------------------------------------------------------------------------------------------

    def swapped(self, entry_swap: str, before: Stimulus, after: Stimulus) -> Answers:
        """Return whether a difference between the sides moves, stays, or isn't there."""
        return self._answered(("swap", entry_swap, before), lambda: self._exchange(entry_swap, before, after))

    def _exchange(self, entry_swap: str, before: Stimulus, after: Stimulus) -> Answers:
        sided = self._sided_speakers(entry_swap)
        shape = (len(self.changes), self.ensemble.draws)
        difference, changed = np.zeros(shape), np.zeros(shape)
        lead = self.leads.get(entry_swap, ())
        in_lead = np.array([[any(w in c.series_ohm or w in c.shorted for w in lead)] for c in self.changes])
        each = [self._sides_db(left, right, before) for left, right in sided]
        turned = [np.where(in_lead, -b, b) for b in each] if lead else self._after_exchange(sided, each, after)
        for b, a in zip(each, turned, strict=True):
            bigger = np.abs(b) > np.abs(difference)
            difference, changed = np.where(bigger, b, difference), np.where(bigger, a, changed)
        seen = np.abs(difference) > SIDES_DIFFER_DB
        moved = seen & (np.sign(changed) == -np.sign(difference)) & (np.abs(changed) > SIDES_DIFFER_DB)
        return certain(("moved", "stayed", "none"), np.where(~seen, 2, np.where(moved, 0, 1)), SURE["swap"])

    def _after_exchange(self, sided: list[tuple[Wire, Wire]], before_db: list[Floats], after: Stimulus) -> list[Floats]:
        """Return by how much pairs of sides differ after an exchange, solved where any did before: elsewhere it doesn't count."""
        differ = [np.any(np.abs(b) > SIDES_DIFFER_DB, axis=1) for b in before_db]
        rows = np.flatnonzero(np.any(differ, axis=0)) if differ else np.zeros(0, dtype=np.intp)
        observer, found = self.observer.of_some(rows), [b.copy() for b in before_db]
        for (left, right), here, a in zip(sided, differ, found, strict=True):
            if np.any(here):
                a[rows] = self._sides_db(left, right, after, (observer, rows))
        return found

    def _sides_db(
        self, left: Wire, right: Wire, stimulus: Stimulus, some: tuple[Observer, npt.NDArray[np.intp]] | None = None
    ) -> Floats:
        """Return by how much the left side is louder than the right, shape (hypotheses, draws); `some` sees those rows alone."""
        observer, rows = some or (self.observer, slice(None))
        both = (left[0], right[0])
        volts = [observer.level_v(stimulus, n, both)[0] * self.arriving(n, p)[rows] for n, p in (left, right)]
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
    return np.asarray(np.digitize(np.asarray(ratio), [0.15, 0.72, 1.4, OPEN_RATIO]))
