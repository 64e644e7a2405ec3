"""A rig with a hidden fault, for practice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import HeardSpeaker, Speaker
from gainwright.simulated.answering import answer
from gainwright.simulated.faults import Fault, possible_faults
from gainwright.simulated.rig import Rig

if TYPE_CHECKING:
    from gainwright.model import Entry, Job

MAX_DRAWS = 12
"""Most faults drawn until one is audible; an inaudible one wouldn't make a customer call."""
NOT_HIDDEN = ("wrong_tone_for_path", "indicator_below_threshold", "nothing_wrong")
"""Mistakes of a person rather than faults of the chain; the rig is healthy, and what the person did is for others to make up."""
HEALTHY_SHARE = 0.15
"""Share of calls about a healthy chain (common practice, no published source)."""


class SimulatedHiddenRig:
    """A rig with one fault."""

    def __init__(self, job: Job, fault: Fault, *, seed: int) -> None:
        self.cause, self.where = fault.cause, fault.where
        self._rig = Rig(job, seed=seed, faults=() if fault.cause in NOT_HIDDEN else (fault,))
        self._repaired = Rig(job, seed=seed)

    def answer(self, entry: Entry) -> dict[str, Any]:
        """Return an entry's mapping with its result."""
        return answer(self._rig, entry)

    def levels_v(self, tone_hz: float, level_dbfs: float) -> dict[str, tuple[float, float]]:
        """Return node -> volts rms of a tone with the fault, and when it is repaired; the controls stand as in the job."""
        found = []
        for rig in (self._rig, self._repaired):
            rig.play(tone_hz, level_dbfs)
            found.append({node: float(np.std(wave)) for node, wave in rig.periods().items()})
        return {node: (volts, found[1][node]) for node, volts in found[0].items()}


class SimulatedHiddenRigs:
    """Makes rigs with hidden faults."""

    def hidden(self, job: Job, *, seed: int, cause: str = "", where: str = "") -> SimulatedHiddenRig:
        """Return a rig with a fault of the given cause and place, else one drawn by the seed, at times none (`nothing_wrong`).

        Raises
        ------
        CallError : a fault that can't occur in this chain.
        """
        if cause:
            return SimulatedHiddenRig(job, Fault(cause, where), seed=seed)
        if np.random.default_rng([seed, 1]).random() < HEALTHY_SHARE:
            return SimulatedHiddenRig(job, Fault("nothing_wrong", ""), seed=seed)
        possible = [place for place in possible_faults(job) if place[0] not in NOT_HIDDEN]
        by_cause: dict[str, list[str]] = {}
        for name, at in possible:
            by_cause.setdefault(name, []).append(at)
        rng = np.random.default_rng(seed)
        speakers = [name for name, stage in job.stages.items() if isinstance(stage, Speaker)]
        for _ in range(MAX_DRAWS):
            drawn = str(rng.choice(sorted(by_cause)))
            rig = SimulatedHiddenRig(job, Fault(drawn, str(rng.choice(by_cause[drawn]))), seed=seed)
            heard = [rig.answer(HeardSpeaker.model_validate({"heard": name}))["is"] for name in speakers]
            if any(word != "normal" for word in heard):
                break
        return rig
