"""What could be decided: whether somebody who knows a car's numbers could name its fault from what was told.

Every cause that the car can have is put into its circuit, with amounts all over their spans; the circuit says what it
would answer. The fault can be decided if no other cause contradicts as few of the answers. What the product believes
plays no part.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Check, HeardSpeaker, Reading, SwapTest, leads_by_name, stages_at, stages_of
from third_world.faults import HEALTHY, SPANS, Fault, comes_and_goes, draw_fault
from third_world.trying import World3
from third_world.world import world_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gainwright.diagnose import Cause
    from gainwright.model import Entry
    from third_world.car import Car

AMOUNTS_TRIED = 6
LEVEL_DB, OHMS_DB = 1.5, 4.0
"""Readings, and resistances, that differ by less than this are the same for somebody who compares."""
FLOOR_V, FLOOR_OHM = 8e-3, 0.5
"""What is picked up by any lead; what the leads of an ohmmeter add."""


def judged(
    car: Car, truth: Fault, causes: Sequence[Cause], entries: Sequence[Entry], told: Sequence[Mapping[str, Any]]
) -> tuple[bool, bool]:
    """Return whether a fault shows in the evidence, and whether it could be decided.

    Parameters
    ----------
    causes : every cause that the car can have.
    entries, told : the evidence as asked, and as it was told.
    """
    faults = () if truth.cause in HEALTHY else (truth,)
    if faults:
        before, after = (answers(car, f, entries) for f in ((), faults))
        if all(same(a, b) for a, b in zip(before, after, strict=True)):
            return False, False
    own = contradicted(car, faults, entries, told, most=len(entries))
    return True, not any(_explains(car, c, entries, told, own) for c in causes if not _is(c, truth))


def _is(cause: Cause, truth: Fault) -> bool:
    healthy = cause.id in HEALTHY and truth.cause in HEALTHY
    return healthy or (cause.id, cause.where) == (truth.cause, truth.where)


def _explains(car: Car, rival: Cause, entries: Sequence[Entry], told: Sequence[Mapping[str, Any]], most: int) -> bool:
    """Return whether a cause, with some amount, contradicts no more of the answers than that."""
    if rival.id in HEALTHY:
        return rival.id == "nothing_wrong" and contradicted(car, (), entries, told, most=most) <= most
    if _out_of_reach(car, rival, told) > most:
        return False
    return any(contradicted(car, (f,), entries, told, most=most) <= most for f in amounts(car, rival))


def amounts(car: Car, rival: Cause) -> Iterator[Fault]:
    """Yield a fault with amounts all over its span, the middle ones first; without an amount, with each of its forms."""
    rng = np.random.default_rng([car.seed, 11, zlib.crc32(str(rival).encode())])
    drawn = [draw_fault(rival.id, rival.where, car.job, car.wiring, rng) for _ in range(AMOUNTS_TRIED)]
    if rival.id not in SPANS:
        yield from {(f.side, int(3 * f.other)): f for f in drawn}.values()
        return
    ends = sorted(f.amount for f in drawn)
    low, high = math.log(ends[0]), math.log(ends[-1])
    places = sorted(np.linspace(0, 1, AMOUNTS_TRIED), key=lambda x: abs(x - 0.5))
    for fault, at in zip(drawn, places, strict=True):
        yield replace(fault, amount=math.exp(low + at * (high - low)))


def _out_of_reach(car: Car, rival: Cause, told: Sequence[Mapping[str, Any]]) -> int:
    """Return how many loudspeakers sound wrong though the cause lies on no way to them."""
    if not rival.where or rival.where not in _places(car):
        return 0
    stages = {s for place in stages_at(rival.where) for s in stages_of(car.job, place)}
    wrong = {t["heard"] for t in told if "heard" in t and t["is"] != "normal" and t.get("tone") != "off"}
    return sum(not stages & {s, *(n.stage for n in car.wiring.upstream(s))} for s in wrong)


def _places(car: Car) -> set[str]:
    """Return the places whose stages are on ways of the signal; a shared supply or an instrument isn't."""
    outputs = {f"{n.stage}.{n.output}" for n in car.wiring.nodes} | {str(n) for n in car.wiring.nodes}
    return {*car.job.stages, *leads_by_name(car.wiring), *outputs}


def contradicted(
    car: Car, faults: tuple[Fault, ...], entries: Sequence[Entry], told: Sequence[Mapping[str, Any]], *, most: int
) -> int:
    """Return how many answers are other than the circuit's; beyond `most` it stops counting.

    What comes and goes contradicts an answer only if that is neither one with it nor one without it.
    """
    oracles = [World3(car, faults, quiet=True)]
    if any(comes_and_goes(f) for f in faults):
        oracles = [Always(car, faults, quiet=True), World3(car, (), quiet=True)]
    found = 0
    for i in sorted(range(len(entries)), key=lambda i: _runs(entries[i])):
        found += not any(same(told[i], o.answer(entries[i])) for o in oracles)
        if found > most:
            break
    return found


class Always(World3):
    """Answers while what comes and goes is there."""

    def answer(self, entry: Entry) -> dict[str, Any]:
        """Return an entry's mapping with its result."""
        self.world, self.faults = world_of(self.car, self.every), self.every
        return self.answered(entry)


def _runs(entry: Entry) -> int:
    """Return how dear an answer is: what is looked at needs no run of the circuit, a supply one with large signals."""
    if isinstance(entry, Check):
        what = entry.check.rpartition(".")[2]
        return 3 if what in ("power_lamp", "protection_lamp", "supply_voltage", "unloaded", "travel") else 0
    return {Reading: 1, HeardSpeaker: 2, SwapTest: 2}[type(entry)]


def answers(car: Car, faults: tuple[Fault, ...], entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """Return the answers without small errors."""
    oracle = World3(car, faults, quiet=True)
    return [oracle.answer(e) for e in entries]


def same(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    """Return whether two answers are the same for somebody who compares."""
    for key in ("is", "fault", "shows", "resistance", "between_conductors", "reads", "thd"):
        one, two = a.get(key), b.get(key)
        if one == two:
            continue
        try:
            x, y = (float(str(v).split()[0]) for v in (one, two))
        except ValueError:
            return False
        floor = FLOOR_V if str(one).endswith("V") else FLOOR_OHM
        if abs(20 * math.log10(max(x, floor) / max(y, floor))) > (LEVEL_DB if key == "reads" else OHMS_DB):
            return False
    return True
