"""A shop's closed cases, counted by cause, complaint and kind of chain, and the priors that follow from them.

The prior of the causes is a Dirichlet distribution whose mean is the table's and whose total count is `WEIGHT_OF_TABLE`
(Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.4: multinomial counts with a conjugate prior). Cases that are
less alike count with a weight below one, as in a power prior (Ibrahim & Chen, Stat. Sci. 15, 46, 2000).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import HEALTHY, NOTHING, PRIOR_TWO, PRIOR_UNKNOWN, WEIGHT_OF_TABLE
from gainwright.model import HeardSpeaker

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.model import Entry

    Floats = npt.NDArray[np.float64]

OTHER_CHAIN = 0.5
"""Weight of a case of another kind of chain, or of one that nobody noted (common practice, no published source)."""
OTHER_COMPLAINT = 0.5
"""Weight of a case with another complaint (common practice, no published source)."""
SOMETHING_ELSE = "something_else"
"""What cases are counted as that had a fault outside the causes of the model."""
TWO_FAULTS = "two_faults"
"""What cases with two faults are counted as beside both of their causes."""
COMPLAINTS = ("silent", "distorted", "hum", "whine", "faint", "normal")
"""Complaints, the gravest first; of several, the first of these is the complaint."""
_LEAST = 1e-12

Weights = defaultdict[str, float]
"""Cause -> weighted number of cases."""


@dataclass(frozen=True, slots=True)
class ClosedCount:
    """How many cases of one sort were closed with a cause; complaint and chain are empty where nobody noted them."""

    cause: str
    cases: int
    complaint: str = ""
    chain: str = ""


@dataclass(frozen=True, slots=True)
class ClosedCases:
    """The closed cases of a shop, counted."""

    rows: tuple[ClosedCount, ...] = ()

    @classmethod
    def of(cls, counted: ClosedCases | Mapping[str, int] | None) -> ClosedCases:
        """Return counted cases, also from plain counts by cause."""
        if isinstance(counted, ClosedCases):
            return counted
        return cls(tuple(ClosedCount(cause, cases) for cause, cases in sorted((counted or {}).items())))

    @property
    def by_cause(self) -> dict[str, int]:
        """How many cases were closed with each cause."""
        found: dict[str, int] = {}
        for row in (row for row in self.rows if row.cause != TWO_FAULTS):
            found[row.cause] = found.get(row.cause, 0) + row.cases
        return found

    def weighed(self, chain: str, complaint: str) -> tuple[Weights, Weights]:
        """Return cause -> weighted number of cases: those with this complaint, and all others.

        A healthy chain counts as `nothing_wrong`, whatever name was given to it. Without a complaint all cases count as
        if they had the same.
        """
        alike, others = Weights(float), Weights(float)
        for row in (row for row in self.rows if row.cause != TWO_FAULTS):
            weight = row.cases * (1.0 if row.chain == chain else OTHER_CHAIN)
            same = not complaint or row.complaint == complaint
            cause = NOTHING if row.cause in HEALTHY else row.cause
            (alike if same else others)[cause] += weight if same else OTHER_COMPLAINT * weight
        return alike, others


def learned_prior(prior: Floats, after: Floats, causes: Sequence[str], alike: Weights, others: Weights) -> Floats:
    """Return the prior of causes that includes counted cases, shape (causes,).

    After the complaint alone, the belief in a cause (at all its places together) is then the mean of the Dirichlet
    posterior, (W p + n) / (W + sum of n): p is the belief after the complaint without any cases, so that the complaint
    isn't counted twice, in the cases and in the likelihood. A case counts as far as its cause explains the present
    complaint: by its likelihood at its likeliest place, relative to that of the cause that explains it best. A healthy
    chain explains none, so a case with the same complaint at which nothing was wrong counts in full. The evidence of the
    complaint over all causes together stays the same, so what is outside the model is as probable as before.

    Parameters
    ----------
    prior : of each cause at each place, by the table; sums to 1, shape (causes,).
    after : belief in each after the complaint, by the table; `prior` itself without a complaint.
    causes : id of each.
    alike, others : cause -> weighted number of cases, see `ClosedCases.weighed`.
    """
    ids = list(dict.fromkeys(causes))
    of = np.array([ids.index(cause) for cause in causes])
    p = np.bincount(of, after)
    likelihood = np.divide(after, prior, out=np.zeros_like(after), where=prior > 0)
    explains = np.array([likelihood[of == i].max() for i in range(len(ids))]) / max(float(likelihood.max()), _LEAST)
    counted = explains * np.array([alike[cause] + others[cause] for cause in ids])
    if NOTHING in ids:
        i = ids.index(NOTHING)
        counted[i] = alike[NOTHING] + explains[i] * others[NOTHING]
    counted[np.bincount(of, prior) <= 0] = 0.0
    mean = (WEIGHT_OF_TABLE * p + counted) / (WEIGHT_OF_TABLE + counted.sum())
    factor = np.divide(mean, p, out=np.ones_like(p), where=p > _LEAST)
    return np.asarray(prior * factor[of])


def with_cases(
    prior: Floats,
    causes: Sequence[Cause],
    counted: ClosedCases,
    chain: str,
    complaint: str = "",
    after: Floats | None = None,
) -> Floats:
    """Return the prior of causes that includes a shop's cases, shape (causes,).

    Parameters
    ----------
    prior : by the table, shape (causes,).
    chain, complaint : of the present case, see `chain_kind` and `complaint_kind`.
    after : belief after the complaint, by the table; None without a complaint.
    """
    if not counted.rows:
        return prior
    alike, others = counted.weighed(chain, complaint)
    return learned_prior(prior, prior if after is None else after, [c.id for c in causes], alike, others)


def unknown_with_cases(
    counted: ClosedCases, chain: str, complaint: str = "", after: float = PRIOR_UNKNOWN, *, table: float = PRIOR_UNKNOWN
) -> float:
    """Return the prior of a fault outside the model that includes a shop's cases.

    After the complaint alone, the belief in it is then the mean of a beta posterior, (W u + n) / (W + N): u is the belief
    after the complaint by the table, n the weighted number of cases that were something else, N that of all. It is right
    for every complaint alike, so a case with the same complaint counts in full and any other as `OTHER_COMPLAINT`.

    Parameters
    ----------
    chain, complaint : of the present case, as in `with_cases`.
    after : belief in it after the complaint, by the table; the table's own without a complaint.
    table : its prior by the table.
    """
    if not counted.rows:
        return table
    alike, others = counted.weighed(chain, complaint)
    number = alike[SOMETHING_ELSE] + others[SOMETHING_ELSE]
    mean = (WEIGHT_OF_TABLE * after + number) / (WEIGHT_OF_TABLE + sum(alike.values()) + sum(others.values()))
    odds = _odds(table) * _odds(mean) / _odds(after)
    return odds / (1 + odds)


def two_with_cases(counted: ClosedCases, chain: str) -> float:
    """Return the prior of two faults at once that includes a shop's cases: the mean of a beta posterior, (W t + n) / (W + N).

    t is its prior by the table, n the weighted number of cases with two faults, N that of all. It is one for all
    complaints: of two faults it may be either's.
    """
    alike, _ = counted.weighed(chain, "")
    both = sum(r.cases * (1.0 if r.chain == chain else OTHER_CHAIN) for r in counted.rows if r.cause == TWO_FAULTS)
    # a case with two faults is counted for each of them
    return (WEIGHT_OF_TABLE * PRIOR_TWO + both) / (WEIGHT_OF_TABLE + sum(alike.values()) - both)


def _odds(share: float) -> float:
    return max(share, _LEAST) / max(1 - share, _LEAST)


def complaint_kind(entries: Sequence[Entry]) -> str:
    """Return the complaint in what is heard in normal use, without a test tone: the gravest word, empty without any."""
    words = {e.is_ for e in complaint_entries(entries)}
    return next((word for word in COMPLAINTS if word in words), "")


def complaint_entries(entries: Sequence[Entry]) -> list[HeardSpeaker]:
    """Return the entries of what is heard in normal use."""
    heard = [e for e in entries if isinstance(e, HeardSpeaker) and e.is_ is not None]
    return [e for e in heard if e.tone is None and not e.silence]
