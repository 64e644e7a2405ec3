"""The direct checks of a cause: the looks and readings at its own place, and what has to be opened for them."""

from __future__ import annotations

from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from gainwright.diagnose.answers import inspected_places
from gainwright.diagnose.candidates import MINUTES
from gainwright.diagnose.ranking import Access
from gainwright.model import Powered, mended_place, stages_at, stages_of, unit_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.candidates import Candidate, Catalogue
    from gainwright.diagnose.causes import Cause
    from gainwright.model import Job
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

_OWN: WeakKeyDictionary[Chain, dict[Cause, tuple[str, ...]]] = WeakKeyDictionary()
"""Own places of the causes of chains in use."""
AT_A_UNIT = (
    *("power_lamp", "protection_lamp", "supply_voltage", "turn_on_voltage", "resistance", "cone", "function"),
    *("fuse", "ground", "heat", "unloaded", "other_source", "substitute", "travel", "moved"),
)


def own_places(cause: Cause, job: Job) -> frozenset[str]:
    """Return the places of evidence at which a cause itself is seen or measured."""
    if not cause.where:  # what devices share is seen at each of them
        units = {unit_of(job, name) for name, stage in job.stages.items() if isinstance(stage, Powered)}
        what = {"shared_no_supply": "supply_voltage", "shared_no_turn_on": "turn_on_voltage"}.get(cause.id, "")
        return frozenset({"vehicle.main_fuse", *(f"{unit}.{what}" for unit in units)} if what else ())
    looks = inspected_places(cause.id, cause.where)
    settings = {f"{place.split('.', maxsplit=1)[0]}.settings" for place in looks}
    sides = {f"{cause.where}.{side}.{what}" for side in ("left", "right") for what in ("resistance", "cone")}
    mended = mended_place(cause.id, cause.where)
    found = {cause.where, mended, *looks, *settings, *sides, *(f"{cause.where}.{what}" for what in AT_A_UNIT)}
    return frozenset(found)


def _own(cause: Cause, catalogue: Catalogue) -> tuple[str, ...]:
    """Return the own places of a cause in order, found once for each chain."""
    known = _OWN.setdefault(catalogue.chain, {})
    if cause not in known:
        known[cause] = tuple(sorted(own_places(cause, catalogue.job)))
    return known[cause]


def direct_checks(
    hypotheses: Sequence[tuple[Cause, ...]], candidates: Sequence[Candidate], catalogue: Catalogue
) -> tuple[Floats, Access]:
    """Return the minutes of the shortest direct check of each hypothesis's first cause, and what has to be opened for what."""
    job = catalogue.job
    at: dict[str, list[int]] = {}
    for i, c in enumerate(candidates):
        at.setdefault(c.where, []).append(i)
    closed = {stage: catalogue.access(stage) for stage in job.stages}
    panels = [stage for stage, minutes in closed.items() if minutes > 0]
    index = {stage: i for i, stage in enumerate(panels)}

    def opened(stages: set[str]) -> tuple[int, ...]:
        return tuple(sorted(index[s] for s in stages if s in index))

    tests = [opened(catalogue.entered(c.entry)) for c in candidates]
    minutes, checks = [], []
    for cause, *_ in hypotheses:
        there = [i for place in _own(cause, catalogue) for i in at.get(place, ())]
        if there:
            best = min(there, key=lambda i: candidates[i].minutes)
            minutes.append(candidates[best].minutes)
            checks.append(tests[best])
            continue
        stage = stages_of(job, stages_at(cause.where)[0])[0]
        minutes.append(MINUTES["measure"] + closed.get(stage, 0.0))
        checks.append(opened({stage}))
    return np.array(minutes), Access(np.array([closed[s] for s in panels]), tests, checks)
