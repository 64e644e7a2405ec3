"""Fault finding on blind cases: how often right, how honest, how many tests and minutes; then how fast and how it grows.

    python3 tasks.py bench diagnosing [CASES]

Cases are drawn at random on the simulated rig (tests/support/blind_cases.py). The fixed order to compare with is the best
of a few orders in which the same tests are usually made.
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

import numpy as np
from blind_cases import Case, run_case

CASES = 200
BINS = (0.01, 0.1, 0.2, 0.4, 0.6, 0.75, 0.85, 0.95, 1.001)


def table(cases: list[Case]) -> str:
    """Return the reliability table, the Brier score, ranks, tests and minutes of cases."""
    telling = [c for c in cases if c.symptom and c.cause.id != "nothing_wrong"]
    reached = [c for c in telling if c.best >= 0.9]
    lines = [
        f"{len(cases)} cases, {len(telling)} of them with a fault that shows in what was read",
        f"true cause first {np.mean([c.rank == 0 for c in telling]):.1%}, "
        f"its group first {np.mean([c.group == 0 for c in telling]):.1%}, "
        f"among the first three {np.mean([c.rank < 3 for c in telling]):.1%} "
        f"(groups {np.mean([c.group < 3 for c in telling]):.1%})",
        f"90 % belief in {len(reached) / max(len(telling), 1):.1%}, tests to it: median "
        f"{np.median([c.tests for c in reached]):.0f}, minutes: median {np.median([c.minutes for c in reached]):.1f}, "
        f"mean {np.mean([c.minutes for c in telling]):.1f}",
    ]
    silent = [c for c in reached if c.silent]
    lines.append(
        f"of these {len(silent)} began with no sound: tests median {np.median([c.tests for c in silent]):.0f} "
        f"(mean {np.mean([c.tests for c in silent]):.1f}), minutes median {np.median([c.minutes for c in silent]):.1f} "
        f"(mean {np.mean([c.minutes for c in silent]):.1f})"
    )
    rng = np.random.default_rng(1)
    for name, pick in (
        ("after the call", lambda c: c.said[0]),
        ("at some step", lambda c: c.said[int(rng.integers(len(c.said)))]),
        ("at the end", lambda c: c.said[-1]),
    ):
        pairs = np.array([p for c in cases for p in pick(c)], dtype=float)
        lines += ["", f"reliability {name}: Brier score {np.mean((pairs[:, 0] - pairs[:, 1]) ** 2):.4f}"]
        for low, high in zip(BINS[:-1], BINS[1:], strict=True):
            inside = (pairs[:, 0] >= low) & (pairs[:, 0] < high)
            if np.any(inside):
                n, said, true = int(inside.sum()), pairs[inside, 0].mean(), pairs[inside, 1].mean()
                error = np.sqrt(said * (1 - said) / n)
                lines.append(
                    f"  said {low:.2f} to {high:.2f}: {n:5d} times, mean {said:.3f}, true {true:.3f} (± {2 * error:.3f})"
                )
    return "\n".join(lines)


def main() -> None:
    """Run the cases on all cores and print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    with ProcessPoolExecutor() as pool:
        cases = list(pool.map(run_case, range(count), chunksize=4))
    print(table(cases))
    for c in cases:
        if c.symptom and c.cause.id != "nothing_wrong" and (c.group > 0 or c.tests > 8):
            print(
                f"  {c.seed} {c.job}: {c.cause}, rank {c.rank}, group {c.group}, {c.best:.2f}, {c.tests} tests, {c.minutes:.1f} min"
            )


if __name__ == "__main__":
    main()
