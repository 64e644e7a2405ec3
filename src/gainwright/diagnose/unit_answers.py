"""What is seen and measured of an amplifier or a chassis: its lamps, its supply, its turn-on. Each hypothesis gives its answers.

Probabilities have shape (answers, hypotheses, draws or 1). Thresholds and shares are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Multimeter, Played, Powered, stages_of, supply_path, unit_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.diagnose.change import Change
    from gainwright.diagnose.ensemble import Ensemble, Stimulus
    from gainwright.diagnose.observer import Observer
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

LEAD_OPEN_OHM = 1e7
LOW_SUPPLY_V, LOW_RESTING_V, NO_SUPPLY_V = 12.5, 11.5, 2.0
"""With the engine running a generator holds more than the first, a battery at rest more than the second (common practice)."""
USUAL_SUPPLY_V = 13.8
"""The vehicle's supply for which those are."""
SUPPLIES = ("none", "low", "right")
SURE = {
    "lead": 0.99,
    "lamp": 0.99,
    "look": 0.985,
    "glance": 0.9,
    "volts": 0.99,
    "heard": 0.95,
    "swap": 0.97,
    "ohms": 0.99,
}
"""Kind of an answer -> how often it is right."""


@dataclass(frozen=True, slots=True)
class Answers:
    """The possible answers of an observation, and their probabilities, shape (answers, hypotheses, draws or 1)."""

    labels: tuple[str, ...]
    chance: Floats


def certain(labels: tuple[str, ...], which: Any, sure: float) -> Answers:
    """Return answers where each hypothesis determines one, wrong answers aside."""
    which = np.asarray(which)
    if which.ndim == 1:
        which = which[:, None]
    wrong = (1 - sure) / (len(labels) - 1)
    return Answers(labels, np.stack([np.where(which == i, sure, wrong) for i in range(len(labels))]))


class UnitAnswers:
    """The part of the answers that concerns supply and turn-on; a place is a stage or its chassis."""

    observer: Observer
    ensemble: Ensemble
    chain: Chain
    changes: list[Change]

    def usual(self, speaker: str, played: Played) -> Stimulus:
        """Return a tone that stands for ordinary music at a speaker; see the answers."""
        raise NotImplementedError

    def _power(self, name: str) -> Answers:
        unit = unit_of(self.chain.job, name)
        on = np.array([[c.dead.get(unit) not in ("turn_on", "supply")] for c in self.changes])
        for stage in stages_of(self.chain.job, unit):
            woken = self._woken(stage)
            on = on if woken is None else on & woken
        return certain(("off", "on"), on.astype(int), SURE["lamp"])

    def _woken(self, name: str) -> npt.NDArray[np.bool_] | None:
        """Return whether what is usually played turns a stage on, shape (hypotheses, draws); None if no signal does."""
        stage = self.chain.job.stages.get(name)
        if not isinstance(stage, Powered) or stage.turn_on != "signal":
            return None
        path = next(p for p in self.chain.wiring.paths if name in {node.stage for node in p.nodes})
        stimulus = self.usual(path.speaker, Played())
        arrives = np.zeros((len(self.changes), self.ensemble.draws))
        for port in self.chain.wiring.ports(name):
            for feed in self.chain.wiring.feeds[port]:
                volts, _ = self.observer.level_v(stimulus, feed.node)
                wire = (feed.node, port)
                cut = [wire in c.shorted or np.min(c.series_ohm.get(wire, 0.0)) >= LEAD_OPEN_OHM for c in self.changes]
                arrives = np.maximum(arrives, np.where(np.array(cut)[:, None], 0.0, volts))
        return np.asarray(arrives >= self.ensemble.values[f"{name}.turn_on_level"])

    def _turn_on(self, name: str) -> Answers:
        unit = unit_of(self.chain.job, name)
        which = np.array([[int(c.dead.get(unit) != "turn_on")] for c in self.changes])
        found = certain(("none", "right"), self.through_lead(which, opened=0, shorted=0), SURE["volts"])
        before = [n.stage for stage in stages_of(self.chain.job, unit) for n in self.chain.wiring.upstream(stage)]
        if not any(
            isinstance(self.chain.job.stages[s], Powered) and unit_of(self.chain.job, s) != unit for s in before
        ):
            return found
        # a box before it without supply may be where its turn-on comes from
        lost = [any(cause.id == "shared_no_supply" for cause in h) for h in self.ensemble.hypotheses]
        return Answers(found.labels, np.where(np.array(lost)[None, :, None], 0.5, found.chance))

    def _protection(self, name: str) -> Answers:
        """Return whether the protection lamp is lit: that of a dead amplifier, or of one that protects itself from its load."""
        unit = unit_of(self.chain.job, name)
        lit = np.full((len(self.changes), self.ensemble.draws), 0.02)
        for i, c in enumerate(self.changes):
            lit[i] = np.where(c.dead.get(unit) == "protecting" or c.protecting.get(unit, False), 0.97, 0.02)
        return Answers(("off", "on"), np.stack([1 - lit, lit]))

    def _supply(self, name: str, *, running: bool) -> Answers:
        unit = unit_of(self.chain.job, name)
        path = self.supply_path(name, running=running)
        volts = np.broadcast_to(self.ensemble.values[path], (self.ensemble.draws,))
        rows = [
            np.zeros(self.ensemble.draws) if c.dead.get(unit) == "supply" else volts * c.supply.get(unit, 1.0)
            for c in self.changes
        ]
        which = self.supply_class(name, np.stack(rows), running=running)
        return certain(SUPPLIES, self.through_lead(which, opened=0, shorted=0), SURE["volts"])

    def through_lead(self, which: npt.NDArray[Any], *, opened: int, shorted: int) -> npt.NDArray[Any]:
        """Return classes as the meter shows them: under a broken or shorted measuring lead it shows the same everywhere."""
        meter = next((n for n, i in self.observer.instruments.items() if isinstance(i, Multimeter)), "")
        found = np.array(which)
        for i, c in enumerate(self.changes):
            how = c.instrument.get(meter, "")
            if how in ("open", "shorted"):
                found[i] = opened if how == "open" else shorted
        return found

    def supply_path(self, name: str, *, running: bool) -> str:
        """Return the path of the fact of the supply of a stage or a chassis."""
        member = stages_of(self.chain.job, name)[0]
        return supply_path(self.chain.job, member, "running" if running else "resting")

    def supply_class(self, name: str, volts: Any, *, running: bool) -> npt.NDArray[np.intp]:
        """Return which of `SUPPLIES` a voltage is at a stage or a chassis; one of its own is compared with its own figure."""
        path = self.supply_path(name, running=True)
        own = 1.0 if path.startswith("vehicle.") else USUAL_SUPPLY_V / self.chain.nominal()[path]
        return supply_class(np.asarray(volts) * own, running=running)


def supply_class(volts: Any, *, running: bool) -> npt.NDArray[np.intp]:
    """Return which of `SUPPLIES` a supply voltage is."""
    return np.asarray(np.digitize(volts, [NO_SUPPLY_V, LOW_SUPPLY_V if running else LOW_RESTING_V]))
