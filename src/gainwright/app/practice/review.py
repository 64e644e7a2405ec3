"""The review of a practice after its end: what each result showed, and the chain's levels before and after the repair."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gainwright.app.ports import HiddenRig
    from gainwright.diagnose import Diagnoser
    from gainwright.model import Entry, Job

FLOOR_V = 1e-4
"""Levels below this are alike: silence."""
LEAST_DIFFERENCE_DB = 0.5


@dataclass(frozen=True, slots=True)
class ExplainedResult:
    """What a result changed in the belief, causes as (id, place).

    Attributes
    ----------
    ruled_out : causes that were likely and no longer are, the likeliest first.
    leading, share : the likeliest cause after it, and its probability.
    truth_before, truth_after : probability of what was hidden.
    moved : how much probability moved, 0 to 1 (total variation).
    """

    ruled_out: tuple[tuple[str, str], ...]
    leading: tuple[str, str]
    share: float
    truth_before: float
    truth_after: float
    moved: float


@dataclass(frozen=True, slots=True)
class RepairedLevels:
    """The levels of the path that a repair changes most, for a tone.

    Attributes
    ----------
    path, tone_hz, level_dbfs : the path, and its tone.
    volts : node -> volts rms with the fault, and when it is repaired.
    """

    path: str
    tone_hz: float
    level_dbfs: float
    volts: dict[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class PracticeReview:
    """The review: what each of the learner's tests showed, and the levels, None when the repair changes none."""

    told: tuple[ExplainedResult, ...]
    levels: RepairedLevels | None


LIKELY, UNLIKELY = 0.04, 0.01


def explain_results(
    diagnoser: Diagnoser,
    called: Sequence[Entry],
    tests: Sequence[Entry],
    truth: tuple[str, str],
    *,
    on_step: Callable[[int], None] | None = None,
) -> tuple[ExplainedResult, ...]:
    """Return what each test showed, after the call and the tests before it.

    Parameters
    ----------
    truth : cause and place of what was hidden; any name of a healthy chain counts as `nothing_wrong`.
    """
    from gainwright.model.case import NO_FAULT

    hidden = (NO_FAULT[0], "") if truth[0] in NO_FAULT else truth
    before = _belief(diagnoser, called)
    found = []
    for i in range(len(tests)):
        if on_step is not None:
            on_step(i)
        after = _belief(diagnoser, [*called, *tests[: i + 1]])
        leading = max(after, key=lambda cause: after[cause])
        gone = [c for c, p in before.items() if p >= LIKELY and after.get(c, 0.0) < UNLIKELY]
        gone.sort(key=lambda c: -before[c])
        moved = sum(abs(after.get(c, 0.0) - before.get(c, 0.0)) for c in {*before, *after}) / 2
        shares = before.get(hidden, 0.0), after.get(hidden, 0.0)
        found.append(ExplainedResult(tuple(gone), leading, after[leading], *shares, moved))
        before = after
    return tuple(found)


def _belief(diagnoser: Diagnoser, entries: Sequence[Entry]) -> dict[tuple[str, str], float]:
    with diagnoser.turn:
        causes, probability, _ = diagnoser.weigh(entries).of_causes()
    total = float(probability.sum())
    return {(c.id, c.where): float(p) / total for c, p in zip(causes, probability, strict=True)}


def repaired_levels(job: Job, rig: HiddenRig) -> RepairedLevels | None:
    """Return the levels of the path that the repair changes most, with the path's own tone; None when it changes none."""
    from gainwright.app.jobs.corridor import path_tones
    from gainwright.model import resolve

    wiring = resolve(job)
    tones, best, most_db = path_tones(job), None, LEAST_DIFFERENCE_DB
    levels = {tone: rig.levels_v(*tone) for tone in dict.fromkeys(tones.values())}
    for path in wiring.paths:
        if path.name not in tones:
            continue
        tone = tones[path.name]
        nodes = [str(node) for node in path.nodes if node not in wiring.digital]
        volts = {node: levels[tone][node] for node in nodes}
        changed_db = sum(_apart_db(*both) for both in volts.values())
        if changed_db > most_db:
            best, most_db = RepairedLevels(path.name, *tone, volts), changed_db
    return best


def _apart_db(faulty_v: float, repaired_v: float) -> float:
    return abs(20 * math.log10(max(faulty_v, FLOOR_V) / max(repaired_v, FLOOR_V)))
