"""Fault finding on blind cases: accuracy, calibration, tests and minutes; then speed and scaling.

    python3 tasks.py bench diagnosing
    python bench/diagnosing.py [CASES [CIRCUITS]]

Cases are drawn at random on the simulated rig (tests/support/blind_cases.py); then as circuits in ngspice that share
nothing with it (tests/support/third_world), with the evidence at once and test by test. Minutes are compared with fixed orders of
the same tests. Speed: weighing all causes in one batched solve against a Python loop that solves each cause and draw
separately, in the same run; then scaling with draws, causes and stages. The exit status is 1 if a ratio misses its
target.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

import numpy as np
from blind_cases import Case, run_case
from blind_tables import FIXED, fixed_order, table, telling
from third_world.cases import at_once, dialogue
from third_world.tables import at_once_table, dialogue_table

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.diagnose.ensemble import Ensemble, Stimulus
from gainwright.jobfile import example_text, read_entry, read_job_text

CASES, FIXED_CASES = 200, 60
CIRCUITS, FIRST_CIRCUIT = 100, 17_000
"""Cases of the third world, and the first of their seeds: none of these was used while the model was made."""
LOOP_RATIO = 20
LOOP_DRAWS = 4


def in_order(seed: int, *, order: str) -> Case:
    """Run one case with tests in a fixed order."""
    return run_case(seed, choose=fixed_order(order), most=25)


def quality(count: int) -> None:
    """Print the tables of cases, and the minutes of fixed orders."""
    with ProcessPoolExecutor() as pool:
        cases = list(pool.map(run_case, range(count), chunksize=4))
        print(table(cases))
        some = min(FIXED_CASES, count)
        mine = float(np.mean([c.minutes for c in telling(cases[:some])]))
        print(f"\nminutes to the end, mean over the first {some} cases: the next best test {mine:.1f}")
        for name in FIXED:
            fixed = telling(list(pool.map(partial(in_order, order=name), range(some), chunksize=4)))
            print(f"  {name}: {np.mean([c.minutes for c in fixed]):.1f}, tests {np.mean([c.tests for c in fixed]):.1f}")


def circuits(count: int, first: int = FIRST_CIRCUIT) -> None:
    """Print the tables of the third world."""
    with ProcessPoolExecutor() as pool:
        print(at_once_table(list(pool.map(at_once, range(first, first + count)))))
        print()
        print(dialogue_table(list(pool.map(dialogue, range(first, first + count)))))


def speed() -> bool:
    """Print how fast a diagnosis is; return whether the target is met."""
    job = read_job_text(example_text("two_way_and_sub")).job
    entries = [
        read_entry({"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"}, job),
        read_entry({"check": "amp_sub.power_lamp", "is": "on"}, job),
        read_entry(
            {"at": "desk.sub.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS", "reads": "0.2 V"}, job
        ),
        read_entry(
            {"at": "amp_sub.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS", "reads": "0 V"}, job
        ),
    ]
    diagnoser = Diagnoser(job)
    for n in range(len(entries) + 1):
        start = time.perf_counter()
        make_diagnosis(diagnoser, entries[:n])
        print(f"answer after {n} entries: {1e3 * (time.perf_counter() - start):.0f} ms")
    batched, loop = against_a_loop(diagnoser)
    ratio = loop / batched
    print(
        f"{len(diagnoser.causes)} causes, 64 draws, one tone: batched {1e3 * batched:.1f} ms, loop {loop:.2f} s, ratio {ratio:.0f}"
    )
    print(f"memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    print(f"target {LOOP_RATIO}: {'met' if ratio >= LOOP_RATIO else 'missed'}")
    return ratio >= LOOP_RATIO


def against_a_loop(diagnoser: Diagnoser) -> tuple[float, float]:
    """Return the seconds of one batched solve, and of a Python loop over causes and draws (a few, scaled up)."""
    chain = diagnoser.chain
    targets = frozenset(n for n in chain.nodes if n.stage == "amp_sub")
    stimulus = Stimulus(40.0, -10.0)
    hypotheses = [(c,) for c in diagnoser.causes]
    ensemble = Ensemble(chain, hypotheses, draws=64, seed=1)
    start = time.perf_counter()
    ensemble.solve(stimulus, targets)
    batched = time.perf_counter() - start
    start = time.perf_counter()
    for hypothesis in hypotheses:
        for draw in range(LOOP_DRAWS):
            Ensemble(chain, [hypothesis], draws=1, seed=draw).solve(stimulus, targets)
    return batched, (time.perf_counter() - start) * 64 / LOOP_DRAWS


def growth() -> None:
    """Print how the first answer grows with draws, and with stages and causes."""
    job = read_job_text(example_text("two_way_and_sub")).job
    for draws in (32, 64, 128, 256):
        start = time.perf_counter()
        make_diagnosis(Diagnoser(job, draws=draws), ())
        print(f"{draws} draws: {1e3 * (time.perf_counter() - start):.0f} ms")
    for name in ("one_amplifier", "full_range", "two_way_and_sub", "active_three_way"):
        other: Any = read_job_text(example_text(name)).job
        diagnoser = Diagnoser(other)
        start = time.perf_counter()
        make_diagnosis(diagnoser, ())
        ms = 1e3 * (time.perf_counter() - start)
        print(f"{name}: {len(other.stages)} stages, {len(diagnoser.causes)} causes: {ms:.0f} ms")


def main() -> None:
    """Run everything."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    if count:
        quality(count)
        print()
    of_circuits = int(sys.argv[2]) if len(sys.argv) > 2 else CIRCUITS
    if of_circuits:
        circuits(of_circuits)
        print()
    met = speed()
    growth()
    sys.exit(0 if met else 1)


if __name__ == "__main__":
    main()
