"""Figures of the third world as text: ranks, reliability, tests and minutes, and every wrong declaration with its seed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from blind_tables import reliability, share

if TYPE_CHECKING:
    from collections.abc import Sequence

    from third_world.cases import Case

IN_POINTS = 30
"""Cases from which a bin counts."""


def at_once_table(cases: Sequence[Case]) -> str:
    """Return the figures of evidence given at once."""
    shown, decided = [c for c in cases if c.shows], [c for c in cases if c.decidable]
    lines = [
        f"evidence at once: {len(cases)} cases, in {len(shown)} the fault shows, {len(decided)} can be decided",
        f"true cause first {share([c.rank == 0 for c in decided])}, its group {share([c.group == 0 for c in decided])}",
        f"among three {share([c.rank < 3 for c in decided])}, its group {share([c.group < 3 for c in decided])}",
        *_bins(cases, "at the end"),
        "wrong (seed, truth, first):",
        *(f"  {c.seed}: {c.truth} (amount {c.fault.amount:.3g}): {c.leading[0]}" for c in decided if c.group),
    ]
    return "\n".join(lines)


def dialogue_table(cases: Sequence[Case]) -> str:
    """Return the figures of dialogues test by test."""
    declared = [c for c in cases if c.declared]
    wrong = [c for c in declared if not c.right]
    lines = [
        f"dialogues: {len(cases)} cases, declared in {len(declared)}, of these right {share([c.right for c in declared])}",
        f"said {np.mean([c.best for c in declared]):.3f} when declared" if declared else "none declared",
        f"tests median {_median([c.tests for c in declared])}, minutes median {_median([c.minutes for c in declared])}",
        *(line for when in ("after the call", "at some step", "at the end") for line in _bins(cases, when)),
        "declared wrongly (seed, truth, declared):",
        *(f"  {c.seed}: {c.truth} (amount {c.fault.amount:.3g}): {c.leading[0]}" for c in wrong),
    ]
    return "\n".join(lines)


def _median(values: Sequence[float]) -> str:
    return f"{np.median(values):.0f} (mean {np.mean(values):.1f})" if values else "-"


def _bins(cases: Sequence[Case], when: str) -> list[str]:
    brier, rows = reliability(cases, when)  # type: ignore[arg-type]
    lines = [f"reliability {when}: Brier score {brier:.4f}"]
    for low, high, n, said, true in rows:
        few = "" if n >= IN_POINTS else " (few)"
        lines.append(f"  said {low:.2f} to {min(high, 1):.2f}: {n:5d} times, mean {said:.3f}, true {true:.3f}{few}")
    return lines
