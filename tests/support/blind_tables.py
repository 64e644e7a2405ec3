"""Statistics of blind cases: ranks, reliability, Brier score, tests and minutes, compared with fixed orders of the same tests."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from blind_cases import Case

    from gainwright.diagnose import RankedTests
    from gainwright.model import Entry

BINS = (0.01, 0.1, 0.2, 0.4, 0.6, 0.75, 0.85, 0.95, 1.001)
FIXED: dict[str, tuple[str, ...]] = {
    "front to back": (
        *("look_at_meter", "check_measuring_lead", "measure", "record", "indicate", "look_at_lamp", "measure_supply"),
        *("look_at_settings", "look_at_control", "read_off_gain", "check_lead", "measure_speaker", "listen"),
    ),
    "easy first": (
        *("listen", "look_at_lamp", "look_at_settings", "look_at_control", "read_off_gain"),
        *("look_at_inputs", "look_at_meter"),
        *("check_measuring_lead", "measure_supply", "measure", "record", "indicate", "measure_speaker", "check_lead"),
    ),
    "back to front": (
        *("listen", "look_at_lamp", "record", "indicate", "measure", "look_at_settings", "look_at_control"),
        *("read_off_gain", "measure_supply", "measure_speaker", "check_lead"),
    ),
}
"""Orders in which tests are usually made (common practice, no published source)."""


def fixed_order(name: str) -> Callable[[RankedTests, Sequence[Entry]], int | None]:
    """Return a chooser that makes the tests in a fixed order, leaving out those that could show nothing."""
    kinds = FIXED[name]
    sign = -1 if name == "back to front" else 1

    def key(tests: RankedTests, i: int) -> tuple[int, int, str]:
        candidate = tests.ranked[i].outcomes.candidate
        kind = kinds.index(candidate.test) if candidate.test in kinds else len(kinds)
        order = list(tests.catalogue.chain.wiring.order)
        stage = candidate.where.removeprefix("lead:").split("-")[0].split(".")[0]
        return kind, sign * (order.index(stage) if stage in order else 0), candidate.where

    def choose(tests: RankedTests, asked: Sequence[Entry]) -> int | None:
        del asked
        return min(range(len(tests.ranked)), key=lambda i: key(tests, i), default=None)

    return choose


def telling(cases: Sequence[Case]) -> list[Case]:
    """Return the cases with a fault that shows in what was read."""
    return [c for c in cases if c.symptom and c.cause.id != "nothing_wrong"]


def reliability(cases: Sequence[Case], when: str) -> tuple[float, list[tuple[float, float, int, float, float]]]:
    """Return the Brier score, and for each bin its ends, the number, the mean stated probability and the share that was true."""
    rng = np.random.default_rng(1)
    moments: dict[str, Callable[[Case], list[tuple[float, bool]]]] = {
        "after the call": lambda c: c.said[0],
        "at some step": lambda c: c.said[int(rng.integers(len(c.said)))],
        "at the end": lambda c: c.said[-1],
    }
    pairs: Any = np.array([p for c in cases for p in moments[when](c)], dtype=np.float64)
    rows = []
    for low, high in itertools.pairwise(BINS):
        inside = (pairs[:, 0] >= low) & (pairs[:, 0] < high)
        if np.any(inside):
            rows.append((low, high, int(inside.sum()), float(pairs[inside, 0].mean()), float(pairs[inside, 1].mean())))
    return float(np.mean((pairs[:, 0] - pairs[:, 1]) ** 2)), rows


def share(values: Sequence[bool]) -> str:
    """Return a share in per cent."""
    return f"{100 * float(np.mean(values)):.1f} %" if values else "-"


def table(cases: Sequence[Case]) -> str:
    """Return everything as text."""
    shown = telling(cases)
    reached = [c for c in shown if c.best >= 0.9]
    silent = [c for c in reached if c.silent]

    def spent(of: Sequence[Case]) -> str:
        tests, minutes = [c.tests for c in of], [c.minutes for c in of]
        return (
            f"tests median {np.median(tests):.0f} (mean {np.mean(tests):.1f}), "
            f"minutes median {np.median(minutes):.1f} (mean {np.mean(minutes):.1f})"
        )

    lines = [
        f"{len(cases)} cases, {len(shown)} of them with a fault that shows in what was read",
        f"true cause first {share([c.rank == 0 for c in shown])}, its group {share([c.group == 0 for c in shown])}",
        f"among the first three {share([c.rank < 3 for c in shown])}, its group {share([c.group < 3 for c in shown])}",
        f"90 % belief in {share([c.best >= 0.9 for c in shown])}: {spent(reached)}",
        f"of these {len(silent)} began with no sound: {spent(silent)}",
    ]
    for when in ("after the call", "at some step", "at the end"):
        brier, rows = reliability(cases, when)
        lines += ["", f"reliability {when}: Brier score {brier:.4f}"]
        for low, high, n, said, true in rows:
            lines.append(
                f"  said {low:.2f} to {min(high, 1):.2f}: {n:5d} times, mean {said:.3f}, true {true:.3f} "
                f"(± {2 * np.sqrt(said * (1 - said) / n):.3f})"
            )
    return "\n".join(lines)
