"""Ensembles with the observations of entries that they were asked for, and beliefs over some of their hypotheses."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.belief import SPAN_DB, Belief, Observation, weigh, with_mistake
from gainwright.diagnose.calling import nothing_heard
from gainwright.diagnose.causes import PRIOR_UNKNOWN
from gainwright.diagnose.observations import observe
from gainwright.diagnose.outside import log_evidence
from gainwright.model import as_mapping

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.diagnose.answers import AnswerModel
    from gainwright.diagnose.causes import Cause
    from gainwright.model import Entry

    Floats = npt.NDArray[np.float64]
    Rows = npt.NDArray[np.intp]
    Hypothesis = tuple[Cause, ...]

FITS = 0.3
"""An answer fits a sound chain if it gives it so often, relative to the cause that gives it most often."""
ODD = 0.06
"""An answer less likely than this under a cause counts as a mistake under it."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Entries with their texts, by which what follows from them is cached.

    Attributes
    ----------
    entries : as given.
    texts : of each; equal texts mean the same.
    order : indices in the order of the texts, so that sums don't depend on the order of the entries.
    past : indices of entries about a fault that is mended since; they say nothing of what is left.
    as_sound : whether all of them are as a sound chain gives them.
    """

    entries: tuple[Entry, ...]
    texts: tuple[str, ...]
    order: tuple[int, ...]
    past: frozenset[int] = frozenset()
    as_sound: bool = False

    @classmethod
    def of(cls, entries: Sequence[Entry]) -> Evidence:
        """Return the evidence of entries."""
        texts = tuple(json.dumps(as_mapping(e), sort_keys=True, default=str) for e in entries)
        return cls(tuple(entries), texts, tuple(sorted(range(len(texts)), key=texts.__getitem__)))

    def without(self, index: int) -> Evidence:
        """Return the evidence without one entry."""
        past = frozenset(i - (i > index) for i in self.past if i != index)
        return replace(Evidence.of(self.entries[:index] + self.entries[index + 1 :]), past=past, as_sound=self.as_sound)


@dataclass(frozen=True, slots=True)
class WeighedEnsemble:
    """An ensemble with the belief over some of its hypotheses.

    Attributes
    ----------
    answer_model : the ensemble, as seen through instruments and answers.
    belief : over the hypotheses in play.
    rows : their indices in the ensemble.
    """

    answer_model: AnswerModel
    belief: Belief
    rows: Rows

    @property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """The hypotheses in play, in order."""
        known = self.answer_model.ensemble.hypotheses
        return tuple(known[int(i)] for i in self.rows)


@dataclass
class Pool:
    """An ensemble whose observations are cached: what an entry says of its hypotheses doesn't depend on other entries."""

    answer_model: AnswerModel
    _observed: dict[str, list[Observation]] = field(default_factory=dict, repr=False)
    _alone: dict[str, Floats] = field(default_factory=dict, repr=False)
    _outside: tuple[object, float | None] = field(default=((), None), repr=False)
    _left_out: tuple[object, list[Belief]] = field(default=((), []), repr=False)

    @property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """All hypotheses, in order."""
        return self.answer_model.ensemble.hypotheses

    def observations(self, evidence: Evidence, index: int) -> list[Observation]:
        """Return the observations of one entry under every hypothesis."""
        text = evidence.texts[index]
        if text not in self._observed:
            self._observed[text] = observe(index, evidence.entries[index], self.answer_model)
        return [replace(o, entry=index) for o in self._observed[text]]

    def likelihoods(self, evidence: Evidence) -> Floats:
        """Return the log likelihood of each entry by itself under each hypothesis, shape (entries, hypotheses); 0 of past ones."""
        found = np.zeros((len(evidence.entries), len(self.hypotheses)))
        for i in (i for i in range(len(found)) if i not in evidence.past):
            text = evidence.texts[i]
            if text not in self._alone:
                each = [np.log(np.maximum(alone(o), 1e-12)) for o in self.observations(evidence, i)]
                self._alone[text] = np.sum(each, axis=0)
            found[i] = self._alone[text]
        return found

    def rows(self, hypotheses: Sequence[Hypothesis]) -> Rows | None:
        """Return the indices of hypotheses, None if one isn't there."""
        place = {h: i for i, h in enumerate(self.hypotheses)}
        found = [place.get(h, -1) for h in hypotheses]
        return None if -1 in found else np.array(found, dtype=np.intp)

    def left_out(self, prior: Floats, evidence: Evidence, *, unknown: float = PRIOR_UNKNOWN) -> list[Belief]:
        """Return the belief over all hypotheses without each of the entries; that of the last evidence is cached."""
        if self._left_out[0] != (evidence.texts, evidence.past):
            each = range(len(evidence.texts))
            found = [self.weighed(prior, evidence.without(i), unknown=unknown).belief for i in each]
            self._left_out = ((evidence.texts, evidence.past), found)
        return self._left_out[1]

    def _elsewhere(self, evidence: Evidence) -> float | None:
        """Return the log likelihood of evidence under a fault outside the model; that of the last evidence is cached."""
        if self._outside[0] != (evidence.texts, evidence.past):
            kept = (i for i in evidence.order if i not in evidence.past)
            told = [(evidence.entries[i], self.observations(evidence, i)) for i in kept]
            self._outside = ((evidence.texts, evidence.past), log_evidence(told, self.answer_model))
        return self._outside[1]

    def weighed(
        self, prior: Floats, evidence: Evidence, rows: Rows | None = None, *, unknown: float = PRIOR_UNKNOWN
    ) -> WeighedEnsemble:
        """Return the belief over some hypotheses, all by default; `prior` is theirs, `unknown` that of a fault outside the model."""
        here = np.arange(len(self.hypotheses)) if rows is None else rows
        found = [
            _of_rows(o, rows) for i in evidence.order if i not in evidence.past for o in self.observations(evidence, i)
        ]
        left = [e for i, e in enumerate(evidence.entries) if i not in evidence.past]
        found += [_of_rows(o, rows) for o in nothing_heard(left, self.answer_model, as_sound=evidence.as_sound)]
        elsewhere = self._elsewhere(evidence)
        belief = weigh(prior, found, draws=self.answer_model.ensemble.draws, unknown=unknown, elsewhere=elsewhere)
        return WeighedEnsemble(self.answer_model, belief, here)


def _of_rows(o: Observation, rows: Rows | None) -> Observation:
    """Return an observation for some hypotheses only."""
    if rows is None:
        return o
    if o.volts is not None:
        return replace(o, volts=replace(o.volts, predicted_db=o.volts.predicted_db[rows], alive=o.volts.alive[rows]))
    assert o.chance is not None  # noqa: S101  an observation is one or the other
    return replace(o, chance=o.chance[rows], mistaken=None if o.mistaken is None else o.mistaken[rows])


def alone(o: Observation) -> Floats:
    """Return an observation's likelihood under each hypothesis, with all draws alike."""
    if o.chance is not None:
        return np.asarray(np.mean(with_mistake([o]) if o.source else o.chance, axis=1))
    assert o.volts is not None  # noqa: S101  an observation is one or the other
    v = o.volts
    alive = np.mean(v.alive, axis=1)
    weight = v.alive / np.maximum(v.alive.sum(axis=1, keepdims=True), 1)
    mean = np.sum(weight * v.predicted_db, axis=1)
    variance = np.sum(weight * (v.predicted_db - mean[:, None]) ** 2, axis=1) + v.sd_db**2 + 0.25
    density = np.exp(-0.5 * (v.reads_db - mean) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
    return np.asarray((1 - v.wrong) * (alive * density + (1 - alive) * v.stray) + v.wrong / SPAN_DB)


def fits_sound(likelihood: Floats, sound: int) -> npt.NDArray[np.bool_]:
    """Return whether each entry is as a sound chain gives it, shape (entries,).

    Parameters
    ----------
    likelihood : log, of each entry under each single cause, shape (entries, causes).
    sound : the column of a sound chain.
    """
    best = np.max(likelihood, axis=1, initial=-np.inf)
    return np.asarray(likelihood[:, sound] - best > np.log(FITS))


def mistaken(likelihood: Floats, probability: Floats, wrong: Mapping[int, float]) -> list[float]:
    """Return the probability that each entry is a mistake: that of the causes under which its answer would be one.

    Parameters
    ----------
    likelihood : log, of each entry under each single cause, shape (entries, causes).
    probability : of hypotheses, the single causes first.
    wrong : entry -> probability that its volts are wrong, where it has some.
    """
    belief = probability[: likelihood.shape[1]]
    # of a few millivolts the chance of just that reading is small under every cause
    beside = np.exp(likelihood - np.max(likelihood, axis=1, keepdims=True, initial=-np.inf))
    shares = (beside < ODD) @ belief / max(float(belief.sum()), 1e-12)
    return [wrong.get(i, float(share)) for i, share in enumerate(shares)]
