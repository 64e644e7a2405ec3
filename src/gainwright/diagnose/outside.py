"""A fault outside the model: at some stage; what is told of it or behind it may be anything, all else is as in a sound chain.

So a chain in which most is found in order speaks neither for nor against such a fault, and it gains where every known
cause needs mistakes to explain what is left.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.belief import SPAN_DB, Observation, weigh
from gainwright.diagnose.causes import NOTHING, Cause
from gainwright.model import Check, HeardSpeaker, Reading, stages_at, stages_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.answers import AnswerModel
    from gainwright.model import Entry

    Bools = npt.NDArray[np.bool_]

ANYWHERE_DB = SPAN_DB / float(np.sqrt(2 * np.pi))
"""Standard deviation of a normal that is as dense in its middle as a level that may be anywhere."""


def stages_told(entry: Entry, answer_model: AnswerModel) -> frozenset[str]:
    """Return the stages of which an entry tells: those that a signal passed, or the one that is looked at."""
    wiring, job = answer_model.chain.wiring, answer_model.chain.job
    if isinstance(entry, Reading):
        stage = entry.at.split(".")[0]
        found = {stage, *(n.stage for n in wiring.upstream(stage))}
        return frozenset(
            found - ({n.stage for n in wiring.upstream(entry.feed.into)} if entry.feed is not None else set())
        )
    if isinstance(entry, Check):
        return frozenset(s for place in stages_at(entry.check) for s in stages_of(job, place) if s in job.stages)
    if isinstance(entry, HeardSpeaker):
        return frozenset({entry.heard, *(n.stage for n in wiring.upstream(entry.heard))})
    return frozenset(job.stages)


def log_evidence(told: Sequence[tuple[Entry, Sequence[Observation]]], answer_model: AnswerModel) -> float | None:
    """Return the log likelihood of entries under a fault outside the model, which is as likely at each stage.

    Parameters
    ----------
    told : the entries with their observations under the hypotheses of an ensemble.

    Returns
    -------
    None where the ensemble has no sound chain.
    """
    sound = (Cause(NOTHING, ""),)
    if sound not in answer_model.ensemble.hypotheses:
        return None
    row = answer_model.ensemble.hypotheses.index(sound)
    about = [stages_told(entry, answer_model) for entry, _ in told]
    at: dict[tuple[bool, ...], int] = {}
    for stage in answer_model.chain.job.stages:
        touched = tuple(stage in stages for stages in about)
        at[touched] = at.get(touched, 0) + 1
    which = np.array(list(at), dtype=bool).reshape(len(at), len(told))
    share = np.array(list(at.values()), dtype=np.float64)
    found = [_touched(o, row, which[:, k]) for k, (_, each) in enumerate(told) for o in each]
    # the prior that it starts from is counted by who asks
    belief = weigh(share / share.sum(), found, draws=answer_model.ensemble.draws, unknown=0.5)
    top = float(np.max(belief.log_evidence))
    return top + float(np.log(np.sum(np.exp(belief.log_evidence - top))))


def _touched(o: Observation, row: int, touched: Bools) -> Observation:
    """Return an observation of a sound chain, or of anything, by whether the fault touches it; shape (faults,)."""
    there = touched[:, None]
    if o.volts is not None:
        v = o.volts
        predicted = np.repeat(v.predicted_db[row : row + 1], len(touched), axis=0)
        alive = v.alive[row : row + 1] | there
        wide = np.where(touched, ANYWHERE_DB, 0.0)
        return replace(o, volts=replace(v, predicted_db=predicted, alive=alive, also_db=wide))
    assert o.chance is not None  # noqa: S101  an observation is one or the other
    chance = np.where(there, o.elsewhere, o.chance[row : row + 1])
    mistaken = None if o.mistaken is None else np.where(there, o.elsewhere, o.mistaken[row : row + 1])
    return replace(o, chance=chance, mistaken=mistaken)
