"""The chooser of the next test against exact dynamic programming: expected costs as ratios.

    python3 tasks.py bench choosing [PROBLEMS]

Random small problems with noisy tests, repairs and panels, and the published problem of tests/truth/test_choosing.py.
The exit status is 1 if a problem costs more than 1.02 times its optimum.
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

import numpy as np
from troubleshooting import car, chosen, cost_of, optimum, small_problem

PROBLEMS, MOST_OVER = 300, 1.02


def ratio(seed: int) -> float:
    """Return the expected cost of the chooser over the optimum's in one problem."""
    problem, prior = small_problem(seed)
    return cost_of(problem, prior, chosen) / optimum(problem, prior)


def main() -> None:
    """Run everything."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else PROBLEMS
    with ProcessPoolExecutor() as pool:
        found = np.array(list(pool.map(ratio, range(count), chunksize=8)))
    print(f"{count} small problems, cost over optimum: mean {found.mean():.4f}, worst {found.max():.4f}")
    for persists in (False, True):
        for acts in ("published", "all"):
            problem, prior, _ = car(persists=persists, acts=acts)
            print(
                f"car, {acts} acts, other cause {'persists' if persists else 'drawn anew'}: {cost_of(problem, prior, chosen):.2f}"
            )
    met = bool(found.max() <= MOST_OVER)
    print(f"target {MOST_OVER}: {'met' if met else 'missed'}")
    sys.exit(0 if met else 1)


if __name__ == "__main__":
    main()
