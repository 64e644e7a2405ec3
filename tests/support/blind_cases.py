"""Blind cases: a chain and a fault drawn at random on the rig, a caller who reports what is heard, tests asked for one by one.

The diagnosis knows nothing about the fault. The caller makes mistakes as people do: now and then a word, a lamp, a lead or a
whole reading is wrong, as often as the diagnosis assumes (common practice, no published source).
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from random_jobs import random_job
from third_world.people import NEIGHBOURS

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.played_paths import played_paths
from gainwright.diagnose.unknown_gains import unknown_gains
from gainwright.jobfile import example_text, examples, read_entry, read_job_text, with_settings
from gainwright.model import Amplifier, HeardSpeaker, Job, Speaker, resolve
from gainwright.simulated import Fault, Rig, answer

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gainwright.diagnose import CauseProbabilities, RankedTests
    from gainwright.model import Entry

ERRS = {"word": 0.05, "slip": 0.01, "reading": 0.015, "check": 0.01}
"""How often an answer of a kind is wrong; a slip is any word, the other wrong words are neighbours."""
AMOUNTS = {
    "lead_resistive": (100.0, 200e3),
    "source_low": (6.0, 35.0),
    "tone_level_wrong": (5.0, 25.0),
    "level_control_down": (6.0, 38.0),
    "low_pass_in_the_way": (30.0, 120.0),
    "high_pass_in_the_way": (200.0, 3000.0),
    "gain_low": (0.01, 0.18),
    "gain_high": (0.5, 1.0),
    "boost_on": (4.0, 13.0),
    "load_too_low": (0.2, 0.55),
    "supply_sagging": (0.5, 0.8),
    "lead_shorted": (0.01, 1.0),
    "speaker_shorted": (0.1, 1.0),
    "ground_loop": (3e-3, 0.08),
    "alternator_whine": (3e-3, 0.08),
    "source_ground_bad": (3e-3, 0.08),
}
"""Spans of what is hidden, on the rig's own scale."""
SPEAKER_LEAD_OHM = (3.0, 5000.0)
NO_PLACE = ("wrong_tone_for_path", "indicator_below_threshold")


@dataclass
class Case:
    """How one blind case went.

    Attributes
    ----------
    said : after each piece of evidence, probability of every cause that has one to speak of, and whether it is the true one.
    rank, group : place of the true cause at the end, and of its group; 0 is first.
    best : belief in the leading group at the end.
    tests, minutes : asked for after the call.
    silent : whether the caller heard no sound of one speaker or more.
    symptom : whether anything at all was out of what a sound chain gives.
    """

    seed: int
    job: str
    cause: Cause
    fault: Fault
    said: list[list[tuple[float, bool]]] = field(default_factory=list)
    rank: int = 99
    group: int = 99
    best: float = 0.0
    tests: int = 0
    minutes: float = 0.0
    symptom: bool = False
    silent: bool = False
    seconds: list[float] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


def draw_job(seed: int, *, said: bool = True) -> tuple[str, Job, Job]:
    """Return a shipped example (one in three) or a random chain, and it as it stands, its gains as after a set-up.

    With gains that aren't said they stand anywhere in their travel, and the first job says nothing of them.
    """
    names = list(examples())
    name = names[(seed // 3) % len(names)] if seed % 3 == 0 else f"random {seed}"
    job = read_job_text(example_text(name)).job if seed % 3 == 0 else random_job(seed)
    if said:
        gains = [n for n, s in job.stages.items() if isinstance(s, Amplifier) and not s.gain.fixed]
        job = with_settings(job, {f"{n}.gain": "30 %" for n in gains})
        return name, job, job
    rng = np.random.default_rng(5000 + seed)
    places = {gain: f"{100 * rng.uniform():.0f} %" for gain in unknown_gains(job)}
    return name, job, with_settings(job, places)


def draw_fault(diagnoser: Diagnoser, rng: np.random.Generator) -> tuple[Cause, Fault]:
    """Return a cause drawn from the priors, and the rig's fault of a hidden amount."""
    job = diagnoser.job
    cause = diagnoser.causes[rng.choice(len(diagnoser.causes), p=diagnoser.priors)]
    amount = None
    if cause.id in AMOUNTS:
        span = AMOUNTS[cause.id]
        target = cause.where.rpartition("-")[2].split(".")[0]
        if cause.id == "lead_resistive" and isinstance(job.stages[target], Speaker):
            span = SPEAKER_LEAD_OHM
        amount = float(np.exp(rng.uniform(math.log(span[0]), math.log(span[1]))))
    ports = resolve(job).ports(cause.where) if cause.id in ("speaker_open", "speaker_shorted") else ()
    side = str(rng.choice(["left", "right", "both", "both"])) if len(ports) > 1 else "both"
    return cause, Fault(cause.id, cause.where, amount, side)


def err(said: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """Return an answer as a person may give it."""
    chance = rng.random()
    if "heard" in said and chance < ERRS["word"]:
        near = NEIGHBOURS[said["is"]] if chance >= ERRS["slip"] else tuple(NEIGHBOURS)
        return said | {"is": str(rng.choice(near))}
    if "reads" in said and "at" in said and chance < ERRS["reading"]:
        return said | {"reads": f"{10 ** rng.uniform(-2.5, 1.5):.3g} V"}
    if chance < ERRS["check"]:
        flips = {"on": "off", "off": "on", "right": "wrong", "wrong": "right", "moved": "stayed", "stayed": "moved"}
        return {k: flips.get(v, v) if k in ("is", "fault") and isinstance(v, str) else v for k, v in said.items()}
    return said


def by_the_model(tests: RankedTests, asked: Sequence[Entry]) -> int | None:
    """Choose the test that the diagnosis puts first."""
    del asked
    return 0 if tests.ranked else None


def run_case(
    seed: int,
    *,
    most: int = 12,
    said: bool = True,
    choose: Callable[[RankedTests, Sequence[Entry]], int | None] = by_the_model,
    watch: Callable[[CauseProbabilities, RankedTests, Entry | None], None] | None = None,
    made: Callable[[Job], Diagnoser] = Diagnoser,
) -> Case:
    """Run one case until one group is believed enough, nothing is worth its time, or `most` tests were made.

    `made` gives the diagnoser of a job: a new one, or one that has answered before.
    """
    rng = np.random.default_rng(1000 + seed)
    name, job, stands = draw_job(seed, said=said)
    diagnoser = made(job)
    cause, fault = draw_fault(diagnoser, rng)
    rig = Rig(stands, seed=seed, faults=() if cause.id == "nothing_wrong" else (fault,))
    case = Case(seed, name, cause, fault)
    entries = [read_entry(err(told, rng), job) for told in _call(diagnoser, rig)]
    if all(getattr(e, "is_", "") == "normal" for e in entries):
        entries.append(_anything(diagnoser, rig, rng))
    for step in range(most + 1):
        start = time.perf_counter()
        state = diagnoser.weigh(entries)
        tests = diagnoser.tests(state)
        case.seconds.append(time.perf_counter() - start)
        _note(case, state, tests)
        pick = choose(tests, entries)
        if case.best >= 0.9 or pick is None or step == most:
            break
        candidate = tests.ranked[pick].outcomes.candidate
        case.tests, case.minutes = case.tests + 1, case.minutes + candidate.minutes
        case.asked.append(f"{candidate.test} {candidate.where}")
        entries.append(read_entry(err(answer(rig, candidate.entry), rng), job))
        if watch is not None:
            watch(state, tests, entries[-1])
    case.silent = any(isinstance(e, HeardSpeaker) and e.is_ == "silent" for e in entries[: len(_speakers(job))])
    case.symptom = _has_symptom(diagnoser, entries)
    return case


def _speakers(job: Job) -> list[str]:
    return [name for name, stage in job.stages.items() if isinstance(stage, Speaker)]


def _call(diagnoser: Diagnoser, rig: Rig) -> list[dict[str, Any]]:
    """Return what the caller reports: what is heard from each speaker with a tone that its path passes."""
    job = diagnoser.job
    return [
        answer(rig, read_entry({"heard": speaker, **path.played()}, job, answered=False))
        for path in played_paths(job, diagnoser.chain, diagnoser.instruments, ())
        for speaker in path.speakers
    ]


def _anything(diagnoser: Diagnoser, rig: Rig, rng: np.random.Generator) -> Entry:
    """Return what a caller read who hears nothing wrong: the meter somewhere."""
    tests = diagnoser.tests(diagnoser.weigh(()))
    entries = [c for c in tests.catalogue.all() if c.test in ("measure", "record", "indicate")]
    return read_entry(err(answer(rig, entries[int(rng.integers(len(entries)))].entry), rng), diagnoser.job)


def _note(case: Case, state: CauseProbabilities, tests: RankedTests) -> None:
    causes, probability, _ = state.of_causes()
    case.said.append([(float(p), c == case.cause) for c, p in zip(causes, probability, strict=True) if p > 0.01])
    case.rank = [int(i) for i in np.argsort(-probability)].index(causes.index(case.cause))
    members = [[cause for i in g for cause in state.active.hypotheses[i]] for g in tests.groups]
    belief = [sum(float(probability[causes.index(c)]) for c in m) for m in members]
    order = [int(i) for i in np.argsort([-b for b in belief])]
    case.best = belief[order[0]]
    case.group = next((k for k, g in enumerate(order) if case.cause in members[g]), 99)


def _has_symptom(diagnoser: Diagnoser, entries: Sequence[Entry]) -> bool:
    """Whether what was found is far likelier under some fault than in a sound chain."""
    state = diagnoser.weigh(entries)
    causes, probability, _ = state.of_causes()
    sound = float(probability[[c.id for c in causes].index("nothing_wrong")])
    return bool(sound < 0.25 * diagnoser.priors[0])
