"""Troubleshooting problems and what they cost: exact dynamic programming, a policy's tree, a published problem.

Exact dynamic programming runs over what is known, which is the set of acts with their outcomes; it shares nothing with
`gainwright.diagnose.choosing` but the description of a problem. It holds where no repair draws a state anew.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.choosing import Act, Choosing, Closer

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Known = frozenset[tuple[int, int]]
    Policy = Callable[[Choosing, Floats, frozenset[int], frozenset[int]], int | None]

PARTS = ("battery", "oil", "tank", "fuel", "starter")
REPAIRS = (200.0, 75.0, 50.0, 150.0, 40.0)
EXACT = {0: 20.0, 1: 50.0, 3: 60.0, 4: 10.0}
"""Part -> cost of a test that shows for certain whether it is bad."""
SERVICE = 500.0


def outcomes(
    problem: Choosing, mass: Floats, act: int, opened: frozenset[int]
) -> tuple[float, list[tuple[int, Floats]]]:
    """Return the expected cost of an act, panels included, and the masses of states after each outcome to go on from."""
    a = problem.acts[act]
    cost = mass.sum() * (a.cost + sum(problem.panels[q] for q in a.panels if q not in opened))
    after = []
    for k in range(a.chance.shape[1]):
        left = mass * a.chance[:, k]
        cost += left.sum() * (0.0 if a.extra is None else a.extra[k])
        if (a.closes and k == 0) or left.sum() < 1e-12:
            continue
        if a.moves is not None and k == 1:
            moved = np.zeros_like(left)
            np.add.at(moved, a.moves, left)
            left = moved
        after.append((k, left))
    return float(cost), after


def optimum(problem: Choosing, prior: Floats) -> float:
    """Return the expected cost of the cheapest tree of acts, by dynamic programming."""
    known: dict[Known, float] = {}

    def best(mass: Floats, done: Known) -> float:
        if done in known:
            return known[done]
        used = {a for a, _ in done}
        opened = frozenset(q for a in used for q in problem.acts[a].panels)
        found = float(mass.sum()) * problem.give_up
        for act in range(len(problem.acts)):
            if act in used:
                continue
            cost, after = outcomes(problem, mass, act, opened)
            for k, left in after:
                if cost >= found:
                    break
                cost += best(left, done | {(act, k)})
            found = min(found, cost)
        known[done] = found
        return found

    return best(prior, frozenset())


def cost_of(
    problem: Choosing, prior: Floats, choose: Callable[[Choosing, Floats, frozenset[int], frozenset[int]], int | None]
) -> float:
    """Return the expected cost of a policy, exactly: `choose` gets belief, open panels and acts done; None gives up."""

    def go(mass: Floats, opened: frozenset[int], used: frozenset[int]) -> float:
        act = choose(problem, mass / mass.sum(), opened, used)
        if act is None:
            return float(mass.sum()) * problem.give_up
        cost, after = outcomes(problem, mass, act, opened)
        open_then, used_then = opened | set(problem.acts[act].panels), used | {act}
        return cost + sum(go(left, open_then, used_then) for _, left in after)

    return go(prior, frozenset(), frozenset())


def chosen(problem: Choosing, belief: Floats, opened: frozenset[int], used: frozenset[int]) -> int | None:
    """Choose as the product does."""
    flags = np.array([q in opened for q in range(len(problem.panels))], dtype=bool)
    done = np.array([a in used for a in range(len(problem.acts))])
    found = problem.values(belief, flags, done)
    act = int(np.argmin(found))
    return act if found[act] < problem.give_up else None


def car(*, persists: bool, acts: str = "all") -> tuple[Choosing, Floats, tuple[str, ...]]:
    """Return the published problem of a car that doesn't start, its states' probabilities, and the names of its acts.

    Parameters
    ----------
    persists : whether what keeps a car without a fault from starting stays after a repair, or is drawn anew.
    acts : `all`; `repairs` for repairs alone; `published` for those of the published tree.
    """
    flat = 1 - (1 - (0.98 * 0.01 + 0.02 * 0.99)) * (1 - (1 - 0.998 * 0.999 * 0.999))
    shares = [flat, 0.01, 0.006, 0.004, 0.002, *([0.001] if persists else [])]
    states = list(itertools.product([0, 1], repeat=len(shares)))
    bad = np.array(states, dtype=float)
    prior = np.prod(np.where(bad == 1, shares, 1 - np.array(shares)), axis=1)
    stands = np.where(bad.any(axis=1), 1.0, 0.0 if persists else 0.001)
    prior = prior * stands / (prior @ stands)
    found: dict[str, Act] = {}
    if acts != "repairs":
        found["lights"] = _yes(2.0, 0.98 * (1 - bad[:, 0]))
        found["dipstick"] = _yes(7.0, np.where(bad[:, 1] == 1, 0.001, 0.999))
    if acts == "all":
        found["oil lamp"] = _yes(1.0, (1 - bad[:, 0]) * np.where(bad[:, 1] == 1, 0.98, 0.001))
    closers = []
    for k, name in enumerate(PARTS):
        moves = np.array([states.index((*s[:k], 0, *s[k + 1 :])) for s in states])
        plays = 1 - stands[moves]
        if acts == "published" and name == "fuel":
            continue
        looked = acts == "published" and k in EXACT
        if looked:  # repaired only if the test has shown it to be bad
            chance = np.stack([bad[:, k] * plays, bad[:, k] * (1 - plays), 1 - bad[:, k]], axis=1)
            extra = np.array([REPAIRS[k], REPAIRS[k], 0.0])
            found[f"look at {name}"] = Act(EXACT[k], chance, closes=True, moves=moves, extra=extra)
        else:
            found[f"repair {name}"] = Act(REPAIRS[k], np.stack([plays, 1 - plays], axis=1), closes=True, moves=moves)
            if acts == "all" and k in EXACT:
                found[f"test {name}"] = _yes(EXACT[k], bad[:, k])
        alone = np.array([float(s == tuple(int(j == k) for j in range(len(s)))) for s in states])
        cost, repair = (EXACT[k], REPAIRS[k]) if looked else (REPAIRS[k], 0.0)
        closers.append(Closer(cost, alone * plays, repair=repair))
    return Choosing(list(found.values()), closers, give_up=SERVICE), prior, tuple(found)


def _yes(cost: float, chance: Floats) -> Act:
    return Act(cost, np.stack([chance, 1 - chance], axis=1))


def published_tree(problem: Choosing, prior: Floats, names: tuple[str, ...]) -> float:
    """Return the expected cost of the published tree: lights, battery if dark, dipstick, oil if low, starter, tank."""
    index = {name: i for i, name in enumerate(names)}

    def after(name: str, mass: Floats) -> tuple[float, dict[int, Floats]]:
        cost, found = outcomes(problem, mass, index[name], frozenset())
        return cost, dict(found)

    def serviced(mass: Floats | None) -> float:
        return 0.0 if mass is None else float(mass.sum()) * SERVICE

    def from_starter(mass: Floats) -> float:
        cost, found = after("look at starter", mass)
        tank, left = after("repair tank", found[2])
        return cost + serviced(found.get(1)) + tank + serviced(left.get(1))

    def from_dipstick(mass: Floats) -> float:
        cost, found = after("dipstick", mass)
        oil, left = after("look at oil", found[1])
        return cost + from_starter(found[0]) + oil + serviced(left.get(1)) + from_starter(left[2])

    cost, found = after("lights", prior)
    battery, left = after("look at battery", found[1])
    return cost + from_dipstick(found[0]) + battery + serviced(left.get(1)) + from_dipstick(left[2])


def small_problem(seed: int, *, most: int = 5) -> tuple[Choosing, Floats]:
    """Return a random problem: three to `most` causes, two to `most` tests, up to two panels; repairs last."""
    rng = np.random.default_rng(seed)
    causes, tests, panels = int(rng.integers(3, most + 1)), int(rng.integers(2, most + 1)), int(rng.integers(0, 3))
    prior = rng.dirichlet(np.ones(causes))
    opening = rng.uniform(2, 20, panels)

    def behind() -> tuple[int, ...]:
        return (int(rng.integers(panels)),) if panels and rng.random() < 0.6 else ()

    acts = []
    for _ in range(tests):
        sure = rng.choice([0.98, 0.9, 0.75])
        shows = rng.random(causes) < 0.5
        yes = np.where(shows, sure, 1 - sure)
        acts.append(Act(float(rng.uniform(0.5, 8)), np.stack([yes, 1 - yes], axis=1), behind()))
    closers = []
    for k in range(causes):
        cost, there = float(rng.uniform(2, 30)), behind()
        own = (np.arange(causes) == k).astype(float)
        acts.append(Act(cost, np.stack([own, 1 - own], axis=1), there, closes=True, moves=np.arange(causes)))
        closers.append(Closer(cost, own, there))
    give_up = float(rng.uniform(40, 150))
    return Choosing(acts, closers, panels=opening, give_up=give_up), prior
