"""Which action next: tests, repairs tried and panels opened, by the expected cost until the fault is closed.

Costs are minutes, or any other unit. Finding the cheapest tree of actions is NP-hard; here each action is valued by a few
plies of expectation, and what remains after them by the best sequence of closing actions, which stops where giving up
is cheaper: without panels, in increasing order of cost over probability (Kadane & Simon, Annals of Statistics 5, 237,
1977; Heckerman, Breese & Rommelse, Communications of the ACM 38(3), 49, 1995). A panel's cost is shared, for that
order, by the causes behind it in proportion to their probabilities, and paid once. The plies grow while the problem
is small (docs/decisions/0005).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

MOST_ELEMENTS = 2e4
"""Outcomes to the power of the plies, times states: more plies are tried only up to this number."""
MOST_PLIES = 4
AHEAD = 4
"""In a larger problem, this number of best actions is valued with as many others to follow."""
LIKELY, FEW_OUTCOMES = 4e-3, 6
"""There, only states at least so likely, and so many outcomes of each act, are looked at."""
LEAST = 1e-9
MOST_AT_ONCE, MOST_IN_CACHE = 1_000_000, 60_000
"""Cases times closing actions that are valued in one go, and of which the order is worked out in one go."""


@dataclass(frozen=True, slots=True)
class Act:
    """A test, a repair that is tried, or a look with the repair of what it finds.

    Attributes
    ----------
    cost : without panels.
    chance : of each outcome in each state, shape (states, outcomes).
    panels : those that it needs open, as indices of the problem's.
    closes : whether its first outcome ends the search, as when it plays again.
    moves : of a repair: the state that each state becomes where it was repaired and still doesn't play, the second
        outcome, shape (states,); None if nothing is repaired.
    extra : further cost of each outcome, as of the repair of what was found, shape (outcomes,); None for none.
    """

    cost: float
    chance: Floats
    panels: tuple[int, ...] = ()
    closes: bool = False
    moves: npt.NDArray[np.intp] | None = None
    extra: Floats | None = None


@dataclass(frozen=True, slots=True)
class Closer:
    """A direct check and repair of some states.

    Attributes
    ----------
    cost : of the check, without panels, or of a repair without one.
    closes : probability that it ends the search in each state, shape (states,).
    repair : further cost where it does.
    """

    cost: float
    closes: Floats
    panels: tuple[int, ...] = ()
    repair: float = 0.0


class Choosing:
    """A problem of choosing.

    Parameters
    ----------
    acts : what can be done next.
    closers : what ends the search one after another when nothing else is tested; no state is closed by two of them.
    panels : cost of opening each, shape (panels,).
    give_up : cost of having everything done by somebody else; infinite for never.
    enough : probability of one state from which nothing more is needed; infinite if its repair is still to be paid.
    """

    def __init__(
        self,
        acts: Sequence[Act],
        closers: Sequence[Closer],
        *,
        panels: Sequence[float] | Floats = (),
        give_up: float = np.inf,
        enough: float = np.inf,
    ) -> None:
        self.acts, self.closers, self.give_up, self.enough = tuple(acts), tuple(closers), give_up, enough
        self.first_ply: Floats | None = None
        """Of a larger problem, what `values` found for each act with nothing but closing actions after it."""
        self.panels: Floats = np.asarray(panels, dtype=np.float64)
        sizes = [a.chance.shape[1] for a in acts]
        self._cost = np.array([a.cost for a in acts])
        self._opens = _flags([a.panels for a in acts], len(self.panels))
        self._chance = np.hstack([a.chance for a in acts]) if acts else np.zeros((0, 0))
        self._starts = np.cumsum([0, *sizes])[:-1].astype(np.intp)
        self._act_of = np.repeat(np.arange(len(acts)), sizes)
        self._ends = np.zeros(sum(sizes), dtype=bool)
        self._ends[self._starts[[a.closes for a in acts]]] = True
        self._extra = np.zeros(sum(sizes))
        for a, start in zip(acts, self._starts, strict=True):
            if a.extra is not None:
                self._extra[start : start + len(a.extra)] = a.extra
        self._closer_cost = np.array([c.cost for c in closers], dtype=np.float64)
        self._repair = np.array([c.repair for c in closers])
        self._repairs = bool(np.any(self._repair))
        self._closes = np.stack([c.closes for c in closers], axis=1)
        self._each_its_own = np.array_equal(self._closes, np.eye(len(self._closes)))
        self._behind = _flags([c.panels for c in closers], len(self.panels)).astype(np.float64)
        self._behind_each = [np.flatnonzero(flags) for flags in self._behind.T]

    # ---- what remains when nothing else is tested -------------------------------------------------------------------

    def to_go(self, belief: Floats, opened: Flags) -> Floats:
        """Return the expected cost of closing actions alone, shape (cases,).

        Parameters
        ----------
        belief : of each state, shape (cases, states), each row summing to 1.
        opened : panels that are open, shape (cases, panels).
        """
        at_once = max(1, MOST_AT_ONCE // max(1, len(self.closers)))  # a long chain would take gigabytes
        parts = [slice(begin, begin + at_once) for begin in range(0, max(1, len(belief)), at_once)]
        return np.concatenate([self._to_go(belief[part], opened[part]) for part in parts])

    def _to_go(self, belief: Floats, opened: Flags) -> Floats:
        p = belief if self._each_its_own else belief @ self._closes
        base = self._closer_cost
        unpaid = np.where(opened, 0.0, self.panels)
        weight = base
        if len(self.panels):
            weight = (unpaid / np.maximum(p @ self._behind, LEAST)) @ self._behind.T
            weight *= p
            weight += base
        weight = -p / np.maximum(weight, LEAST)
        some = max(1, MOST_IN_CACHE // p.shape[1])
        parts = [slice(begin, begin + some) for begin in range(0, max(1, len(p)), some)]
        found = np.concatenate([self._spent(p[part], weight[part], unpaid[part]) for part in parts])
        return np.asarray(np.where(np.max(belief, axis=1) >= self.enough - 1e-12, 0.0, found))

    def _spent(self, p: Floats, key: Floats, unpaid: Floats) -> Floats:
        """Return the expected cost of closing actions in the order of a key, shape (cases,)."""
        order = np.argsort(key, axis=1, kind="stable")
        flat = order + np.arange(0, order.size, max(order.shape[1], 1))[:, None]
        p, cost = np.take(p, flat), self._closer_cost[order]
        if len(self.panels):
            every, turn = np.arange(len(p)), np.empty_like(order)
            np.put(turn, flat, np.broadcast_to(np.arange(order.shape[1]), order.shape))
            for q, those in enumerate(self._behind_each):
                if len(those):
                    cost[every, turn[:, those].min(axis=1)] += unpaid[:, q]
        left = np.cumsum(p, axis=1)
        np.maximum(np.subtract(1, left, out=left), 0.0, out=left)
        before = np.ones_like(left)
        before[:, 1:] = left[:, :-1]
        before[before < LEAST] = 0.0
        spent = np.multiply(before, cost, out=cost)
        if self._repairs:
            spent += p * self._repair[order]
        if np.isinf(self.give_up):
            found = spent.sum(axis=1)
        else:
            found = left[:, -1] * self.give_up
            for j in range(p.shape[1] - 1, -1, -1):
                found = np.minimum(before[:, j] * self.give_up, spent[:, j] + found)
        return np.asarray(found)

    # ---- plies ------------------------------------------------------------------------------------------------------

    def values(
        self,
        belief: Floats,
        opened: Flags | None = None,
        used: Flags | None = None,
        *,
        followers: Sequence[int] = (),
        known: Floats | None = None,
    ) -> Floats:
        """Return the expected cost of everything when each act comes first, shape (acts,); infinite for a used one.

        Parameters
        ----------
        belief : of each state, shape (states,).
        opened, used : panels that are open, acts that were done; none by default.
        followers : acts that are valued as following the best ones in a larger problem, beside these.
        known : `first_ply` of each act, where it is known, NaN elsewhere.
        """
        row = np.asarray(belief, dtype=np.float64)[None]
        open_now = np.zeros((1, len(self.panels)), dtype=bool) if opened is None else np.asarray(opened)[None]
        done = np.zeros((1, len(self.acts)), dtype=bool) if used is None else np.asarray(used)[None]
        outcomes = max(int((~done[0][self._act_of]).sum()), 2)
        plies = 1
        while plies < MOST_PLIES and float(outcomes) ** (plies + 1) * row.shape[1] <= MOST_ELEMENTS:
            plies += 1
        if plies > 1 or not self.acts:
            return np.asarray(self._valued(row, open_now, done, plies)[0])
        found = self._first_ply(row, open_now, done, known)
        self.first_ply = found.copy()
        leading = [int(i) for i in np.argsort(found, kind="stable")[:AHEAD]]
        best = list(dict.fromkeys([*leading, *followers]))
        some, likely = self._simplified(best, row[0])
        after = some._valued(likely[None], open_now, done[:, best], 2)[0]
        once = some._valued(likely[None], open_now, done[:, best], 1)[0]
        found[best] = found[best] - np.where(done[0, best], 0.0, np.maximum(once - after, 0.0))
        return np.asarray(found)

    def _first_ply(self, row: Floats, opened: Flags, used: Flags, known: Floats | None) -> Floats:
        """Return the value of each act with nothing but closing actions after it, shape (acts,)."""
        if known is None or np.all(np.isnan(known)):
            return np.asarray(self._valued(row, opened, used, 1)[0])
        new, found = np.flatnonzero(np.isnan(known)), known.copy()
        if len(new):
            some = Choosing(
                [self.acts[i] for i in new], self.closers, panels=self.panels, give_up=self.give_up, enough=self.enough
            )
            found[new] = some._valued(row, opened, used[:, new], 1)[0]
        return found

    def _simplified(self, kept: Sequence[int], belief: Floats) -> tuple[Choosing, Floats]:
        """Return the problem with some acts of few outcomes and the likely states, and the belief over these."""
        if any(self.acts[i].closes for i in kept):  # repairs need every state
            acts = [self.acts[i] for i in kept]
            return Choosing(acts, self.closers, panels=self.panels, give_up=self.give_up, enough=self.enough), belief
        states = np.flatnonzero(belief >= min(LIKELY, float(np.max(belief))))
        likely = belief[states] / belief[states].sum()
        acts = [replace(self.acts[i], chance=_coarse(self.acts[i].chance[states], likely)) for i in kept]
        closing = self._closes[states].sum(axis=0) > 0
        closers = [replace(c, closes=c.closes[states]) for c, some in zip(self.closers, closing, strict=True) if some]
        problem = Choosing(acts, closers, panels=self.panels, give_up=self.give_up, enough=self.enough)
        return problem, likely

    def _valued(self, belief: Floats, opened: Flags, used: Flags, plies: int) -> Floats:
        """Return the value of each act as the next one, shape (cases, acts)."""
        joint = belief[:, None, :] * self._chance.T[None]
        weight = joint.sum(axis=2)
        case, column = np.nonzero((weight > LEAST) & ~self._ends & ~used[:, self._act_of])
        act = self._act_of[column]
        after = joint[case, column] / weight[case, column][:, None]
        for a, moved in enumerate(self.acts):
            if moved.moves is not None:
                rows = np.flatnonzero(column == self._starts[a] + 1)
                into = np.eye(belief.shape[1])[moved.moves]
                after[rows] = after[rows] @ into
        then_used = used[case]
        then_used[np.arange(len(case)), act] = True
        to_go = np.zeros_like(weight)
        to_go[case, column] = self._best(after, opened[case] | self._opens[act], then_used, plies - 1)
        found = np.add.reduceat(weight * (to_go + self._extra), self._starts, axis=1) + self._cost
        if len(self.panels):
            found = found + np.where(~opened[:, None] & self._opens, self.panels, 0.0).sum(axis=2)
        return np.asarray(np.where(used, np.inf, found))

    def _best(self, belief: Floats, opened: Flags, used: Flags, plies: int) -> Floats:
        found = self.to_go(belief, opened)
        searching = np.flatnonzero(found > 0)
        if plies > 0 and len(searching):
            following = self._valued(belief[searching], opened[searching], used[searching], plies)
            found[searching] = np.minimum(found[searching], following.min(axis=1))
        return found


def _flags(members: Sequence[tuple[int, ...]], width: int) -> Flags:
    found = np.zeros((len(members), width), dtype=bool)
    for row, indices in zip(found, members, strict=True):
        row[list(indices)] = True
    return found


def _coarse(chance: Floats, belief: Floats) -> Floats:
    """Return chances with neighbouring outcomes as one, so that few of about equal probability are left."""
    if chance.shape[1] <= FEW_OUTCOMES:
        return chance
    expected = belief @ chance
    middle = np.cumsum(expected) - expected / 2
    share = np.minimum((middle * FEW_OUTCOMES).astype(np.intp), FEW_OUTCOMES - 1)
    return np.asarray(np.add.reduceat(chance, np.flatnonzero(np.diff(share, prepend=-1)), axis=1))
