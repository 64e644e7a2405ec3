"""Whether a search for a clean step had a signal at all: without one, clean says nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.plan import Step

HARDLY = 0.05
"""Below this share of the least that is expected there is hardly a signal (common practice, no published source)."""


def hardly_a_signal(step: Step, volts: float) -> bool:
    """Whether a reading is so far below what a step expects that the source doesn't arrive there."""
    return step.expect is not None and step.expect.quantity == "v_rms" and volts < HARDLY * step.expect.low


def ends_without_signal(step: Step, rows: Sequence[tuple[float, float | None]], limit: float) -> bool:
    """Whether there was hardly a signal at the last clean step of a search.

    Parameters
    ----------
    rows : (step of the volume, volts), in order of the steps; None over range.
    limit : the last clean step.
    """
    under = [volts for place, volts in rows if place <= limit]
    return bool(under) and under[-1] is not None and hardly_a_signal(step, under[-1])
