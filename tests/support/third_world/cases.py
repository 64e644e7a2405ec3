"""Cases of the third world: a car, a fault, a caller; evidence given at once, or a dialogue test by test."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose import Cause, Diagnoser, make_diagnosis
from gainwright.diagnose.candidates import Candidate, Catalogue
from gainwright.jobfile import read_entry
from gainwright.model import RESULTS, Check, Reading, Speaker, stages_at, stages_of
from third_world.cars_set_up import draw_job, set_up
from third_world.deciding import judged
from third_world.faults import HEALTHY, Fault, draw_fault
from third_world.people import told
from third_world.trying import World3
from third_world.world import World

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.diagnose import Diagnosis
    from gainwright.model import Entry, Job
    from third_world.car import Car

TRIES = 8
"""Faults that are drawn until one is heard: who hears nothing wrong doesn't call."""
OF_INSTRUMENTS = ("measuring_lead_open", "measuring_lead_shorted", "meter_wrong_function")
"""Causes for which one calls because of what an instrument shows."""
UNHEARD = ("leads_swapped", "polarity_reversed")
"""Causes for which one may call though no loudspeaker sounds wrong by itself; by ear alone one couldn't say it."""
MOST_TESTS = 20
BY_KIND = 0.6
"""Share of cases whose cause is drawn evenly among the kinds of causes; the others evenly among all places."""
HEALTHY_SHARE = 0.08


@dataclass
class Case:
    """One case.

    Attributes
    ----------
    said : after each piece of evidence, probabilities above 1 % and whether each cause is the true one.
    rank, group : place of the true cause at the end, and of its group; 0 is first.
    declared : whether a cause or group was declared.
    """

    seed: int
    job_name: str
    truth: Cause
    fault: Fault
    entries: list[dict[str, Any]] = field(default_factory=list)
    said: list[list[tuple[float, bool]]] = field(default_factory=list)
    leading: list[tuple[str, float]] = field(default_factory=list)
    rank: int = 99
    group: int = 99
    best: float = 0.0
    declared: bool = False
    tests: int = 0
    minutes: float = 0.0
    surprise: float = 0.0
    decidable: bool = True
    shows: bool = True
    seconds: float = 0.0
    contradiction: str = ""

    @property
    def right(self) -> bool:
        """Whether the true cause is in the leading group."""
        return self.group == 0


class Caller:
    """The one who has the car: answers what is asked, with a person's mistakes."""

    def __init__(self, car: Car, fault: Fault, seed: int) -> None:
        self.car, self.fault, self.job = car, fault, car.job
        faults = () if fault.cause in HEALTHY else (fault,)
        self.oracle = World3(car, faults)
        self.rng = np.random.default_rng([seed, 5])

    def say(self, entry: Entry) -> dict[str, Any]:
        """Return the answer as told."""
        return told(self.oracle.answer(entry), self.rng)

    def complaint(self) -> list[dict[str, Any]]:
        """Return why one calls: what is heard of each loudspeaker with ordinary music, or what an instrument shows."""
        heard = [{"heard": name} for name in _speakers(self.job)]
        found = [self.oracle.answer(read_entry(e, self.job, answered=False)) for e in heard]
        if self.fault.cause in OF_INSTRUMENTS:
            diagnoser = Diagnoser(self.job)
            tests = diagnoser.tests(diagnoser.weigh(())).catalogue.all()
            with_it = [c.entry for c in tests if isinstance(c.entry, Reading) and c.entry.with_ == self.fault.where]
            found += [self.say(with_it[int(self.rng.integers(len(with_it)))])] if with_it else []
        return found


def _speakers(job: Job) -> list[str]:
    return [name for name, stage in job.stages.items() if isinstance(stage, Speaker)]


def draw_case(seed: int, *, by_ear: bool = False) -> tuple[Case, Car, Diagnoser]:
    """Return a case by its seed, with a fault that somebody would notice.

    Parameters
    ----------
    by_ear : whether every fault must be heard, or be one of an instrument.
    """
    name, job = draw_job(seed)
    car = set_up(job, seed)
    diagnoser = Diagnoser(car.job)
    rng = np.random.default_rng([seed, 3])
    cause, fault = Cause("nothing_wrong", ""), Fault("nothing_wrong", "")
    if rng.random() >= HEALTHY_SHARE:
        for _ in range(TRIES):
            cause = draw_cause(diagnoser, rng)
            fault = draw_fault(cause.id, cause.where, car.job, car.wiring, rng)
            if _unheard(cause, car, by_ear=by_ear) or _noticed(car, fault):
                break
    return Case(seed, name, cause, fault), car, diagnoser


def draw_cause(diagnoser: Diagnoser, rng: np.random.Generator) -> Cause:
    """Return a cause, drawn evenly by kind or by place."""
    found = [c for c in diagnoser.causes if c.id not in HEALTHY]
    if rng.random() < BY_KIND:
        kinds = sorted({c.id for c in found})
        kind = kinds[int(rng.integers(len(kinds)))]
        found = [c for c in found if c.id == kind]
    return found[int(rng.integers(len(found)))]


def _unheard(cause: Cause, car: Car, *, by_ear: bool) -> bool:
    """Return whether one calls for a cause though no loudspeaker sounds wrong by itself; a lone reversed lead isn't noticed."""
    if by_ear or cause.id in OF_INSTRUMENTS:
        return cause.id in OF_INSTRUMENTS
    if cause.id == "polarity_reversed":
        return cause.where not in {str(run) for run in car.wiring.leads}
    return cause.id in UNHEARD


def _noticed(car: Car, fault: Fault) -> bool:
    """Return whether a fault is heard, or seen by a meter that shows nothing."""
    oracle = World3(car, (fault,), quiet=True)
    heard = [oracle.answer(read_entry({"heard": s}, car.job, answered=False))["is"] for s in _speakers(car.job)]
    return any(word != "normal" for word in heard)


# ---- evidence at once ------------------------------------------------------------------------------------------


def at_once(seed: int) -> Case:
    """Run one case with evidence as a support desk gets it: the call, readings along the way, a few looks."""
    case, car, diagnoser = draw_case(seed)
    caller = Caller(car, case.fault, seed)
    case.entries = evidence(case, caller, diagnoser)
    entries = [read_entry(e, car.job) for e in case.entries]
    start = time.perf_counter()
    found = make_diagnosis(diagnoser, entries)
    case.seconds = time.perf_counter() - start
    note(case, found)
    case.shows, case.decidable = judged(
        car, case.fault, diagnoser.causes, as_asked(case.entries, car.job), case.entries
    )
    return case


def as_asked(told: Sequence[Mapping[str, Any]], job: Job) -> list[Entry]:
    """Return entries as they were asked, without what was told."""
    results = {"note", *(key for keys in RESULTS.values() for key in keys)}
    return [read_entry({k: v for k, v in e.items() if k not in results}, job, answered=False) for e in told]


def evidence(case: Case, caller: Caller, diagnoser: Diagnoser) -> list[dict[str, Any]]:
    """Return the call and eight to twelve tests: along the path of the complaint, and some others by chance."""
    rng = np.random.default_rng([case.seed, 7])
    found = caller.complaint()
    job = caller.job
    catalogue = Catalogue(job, diagnoser.chain, diagnoser.instruments, [read_entry(e, job) for e in found])
    tests = [c for c in catalogue.all() if c.test not in ("feed",)]
    odd = next(
        (e["heard"] for e in found if e.get("is", "normal") != "normal"),
        _speakers(job)[int(rng.integers(len(_speakers(job))))],
    )
    path = next(p for p in diagnoser.chain.wiring.paths if p.speaker == odd)
    along = {n.stage for n in path.nodes} | {odd}
    about = {s for place in stages_at(case.truth.where) for s in stages_of(job, place)} if case.truth.where else set()

    def near(c: Any) -> bool:
        return bool({s for place in stages_at(c.where) for s in stages_of(job, place)} & (along | about))

    readings = [c for c in tests if c.test == "measure" and near(c)]
    kept: dict[str, Candidate] = {}
    for c in readings:
        kept.setdefault(c.where, c)
    chosen = list(kept.values())[:8]
    looks = [c for c in tests if isinstance(c.entry, Check) and near(c)]
    lamps = [c for c in looks if c.test == "look_at_lamp"][:2]
    own = [c for c in looks if c.where.split(".")[0] in about or c.where == case.truth.where]
    picked = [own[i] for i in rng.permutation(len(own))[:4]]
    others = [looks[i] for i in rng.permutation(len(looks))[:3]]
    every = [tests[i] for i in rng.permutation(len(tests))[:2]]
    asked = {id(c.entry): c for c in [*chosen, *lamps, *picked, *others, *every]}
    return found + [caller.say(c.entry) for c in asked.values()]


def note(case: Case, found: Diagnosis) -> None:
    """Write down what a diagnosis says of the true cause."""
    causes = found.causes
    true = [c.cause == case.truth.id and c.where == case.truth.where for c in causes]
    if case.truth.id == "nothing_wrong":
        true = [c.cause in HEALTHY and c.probability > 0 for c in causes]
        true = [t and not any(true[:i]) for i, t in enumerate(true)]
    case.said.append([(c.probability, t) for c, t in zip(causes, true, strict=True) if c.probability > 0.01])
    case.rank = true.index(True) if True in true else 99
    groups = [set(g.causes) for g in found.groups]
    ordered: list[set[int]] = []
    for i in range(len(causes)):
        if any(i in g for g in ordered):
            continue
        ordered.append(next((g for g in groups if i in g), {i}))
    weights = [sum(causes[i].probability for i in g) for g in ordered]
    order = [int(k) for k in np.argsort([-w for w in weights], kind="stable")]
    case.best = weights[order[0]]
    case.group = next((k for k, g in enumerate(order) if case.rank in ordered[g]), 99)
    case.leading = [(f"{c.cause} at {c.where}", round(c.probability, 3)) for c in causes[:4]]
    case.surprise, case.contradiction = found.surprise, found.contradiction


# ---- dialogues -------------------------------------------------------------------------------------------------


def dialogue(seed: int, *, most: int = MOST_TESTS) -> Case:
    """Run one case test by test, as the product asks, until it says that it is done."""
    case, car, diagnoser = draw_case(seed, by_ear=True)
    caller = Caller(car, case.fault, seed)
    case.entries = caller.complaint()
    declined: list[Entry] = []
    start = time.perf_counter()
    for step in range(most + 1):
        found = make_diagnosis(diagnoser, [read_entry(e, car.job) for e in case.entries], declined=tuple(declined))
        note(case, found)
        if found.declared or not found.next or step == most:
            case.declared = found.declared
            break
        asked = found.next[0]
        entry = read_entry(asked.entry, car.job, answered=False)
        case.tests, case.minutes = case.tests + 1, case.minutes + asked.minutes
        try:
            case.entries.append(caller.say(entry))
        except LookupError:
            declined.append(entry)
    case.seconds = time.perf_counter() - start
    case.shows = any(e.get("is") != "normal" for e in case.entries if "heard" in e and "tone" not in e)
    return case


__all__ = ["Case", "World", "at_once", "dialogue", "draw_case"]
