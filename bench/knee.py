"""The knee on independent columns: even and tapered controls, several ceilings and meters, the last clean step against the truth.

Run: `PYTHONPATH=src:tests/support python bench/knee.py [COLUMNS] [FIRST_SEED]`, that many of each taper (20), from seeds that
nothing was tuned on, and as many of all tapers on a ceiling that the fit has no curve of. Each column is read once, and once
more with the tone lower where that is asked for.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from tapered_columns import REPORTING, TAPERS, UNLIKE, found_with_lower, scored, tapered


def main(columns: int, first: int) -> None:
    """Print a line for each taper."""
    began = time.process_time()
    print(
        f"{'taper':10} {'right':>6} {'low':>5} {'1 high':>6} {'higher':>6} {'refused':>7} {'asked':>6} {'suspicious':>10}"
    )
    for taper in (*TAPERS, UNLIKE):
        counts: Counter[str] = Counter()
        for seed in range(first, first + columns):
            column = (
                tapered(seed, TAPERS[seed % len(TAPERS)], ceiling=UNLIKE) if taper == UNLIKE else tapered(seed, taper)
            )
            found, asked = found_with_lower(column)
            counts[scored(found, column)] += 1
            counts["asked"] += asked
            counts["suspicious"] += len(found.outliers)
        keys = ("right", "low", "one_high", "high", "refused", "asked", "suspicious")
        widths = (6, 5, 6, 6, 7, 6, 10)
        print(f"{taper:10} " + " ".join(f"{counts[key]:{width}}" for key, width in zip(keys, widths, strict=True)))
    print(f"{(time.process_time() - began) / columns / (len(TAPERS) + 1):.2f} s of processor time a column")


if __name__ == "__main__":
    main(*(int(sys.argv[i]) if len(sys.argv) > i else usual for i, usual in ((1, 20), (2, REPORTING))))
