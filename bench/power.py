"""Random supplies of a job: is anything said to carry that doesn't by direct arithmetic?

    python bench/power.py [CASES] [SEED]

Ends with an error at the first one; not a measurement of speed.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "support"))

from supply_cases import brute_force


def main() -> None:
    """Judge the cases and say how many carry."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 7
    carried = brute_force(np.random.default_rng(seed), cases)
    print(f"{cases} random supplies, seed {seed}: {carried} carry by both, none is said to carry that does not")


if __name__ == "__main__":
    main()
