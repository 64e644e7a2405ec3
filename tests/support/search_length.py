"""How many examples a property test tries: its own number, in the short search no more than that search has."""

from __future__ import annotations

import hypothesis


def up_to(count: int) -> int:
    """Return a number of examples; the short search at random beside the fixed one is to stay short for every test."""
    short = hypothesis.settings.get_current_profile_name() == "short"
    return min(count, hypothesis.settings.get_profile("short").max_examples) if short else count
