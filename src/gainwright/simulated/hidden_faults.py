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
"""Mistakes of a person rather than faults of the chain, which a rig can't hide."""


class SimulatedHiddenRig:
    """A rig with one fault."""

    def __init__(self, job: Job, fault: Fault, *, seed: int) -> None:
        self.cause, self.where = fault.cause, fault.where
        self._rig = Rig(job, seed=seed, faults=(fault,))

    def answer(self, entry: Entry) -> dict[str, Any]:
        """Return an entry's mapping with its result."""
        return answer(self._rig, entry)


class SimulatedHiddenRigs:
    """Makes rigs with hidden faults."""

    def hidden(self, job: Job, *, seed: int, cause: str = "", where: str = "") -> SimulatedHiddenRig:
        """Return a rig with a fault of the given cause and place, else one drawn by the seed.

        Raises
        ------
        CallError : a fault that can't occur in this chain.
        """
        if cause:
            return SimulatedHiddenRig(job, Fault(cause, where), seed=seed)
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
