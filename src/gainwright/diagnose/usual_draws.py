"""How many draws an ensemble of all single causes has: fewer where causes and outputs are many."""

from __future__ import annotations

DRAWS = 64
MOST_CASES, MOST_LEVELS, LEAST_DRAWS = 40_000, 1_000_000, 16
"""Causes times draws, and these times outputs with their sides; a larger chain (one of 25 stages has about 500 causes) has fewer draws,
so that an answer takes neither minutes nor gigabytes."""


def usual_draws(causes: int, outputs: int) -> int:
    """Return the number of draws for so many causes of a chain with so many outputs, each side counted."""
    return min(DRAWS, max(LEAST_DRAWS, min(MOST_CASES, MOST_LEVELS // max(1, outputs)) // causes))
