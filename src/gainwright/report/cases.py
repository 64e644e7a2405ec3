"""Totals over a shop's cases, as text and as a chart."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.model.case import Outcome
from gainwright.report.closing import OUTCOMES


@dataclass(frozen=True, slots=True)
class CauseCount:
    """One cause among closed cases.

    Attributes
    ----------
    cases : number of cases.
    tests, minutes : medians over these cases.
    missed : cases in which another cause was more probable in the end.
    """

    cause: str
    cases: int
    tests: float
    minutes: float
    missed: int


@dataclass(frozen=True, slots=True)
class WrongBelief:
    """A case that ended with the wrong cause most probable: its name, that cause, and the true one."""

    case: str
    believed: str
    was: str


@dataclass(frozen=True, slots=True)
class OutcomeCount:
    """The number of closed cases that ended in one way."""

    outcome: Outcome
    cases: int


@dataclass(frozen=True, slots=True)
class NamedCount:
    """Something else that a person named, and in how many cases."""

    words: str
    cases: int


@dataclass(frozen=True, slots=True)
class CaseCounts:
    """Totals over a shop's cases.

    Attributes
    ----------
    cases, closed : number of all cases, and of closed ones.
    causes : causes of the closed cases, the most common first; of two faults at once each counts.
    wrong : cases that ended with the wrong cause most probable.
    outcomes : how the closed cases ended, in a fixed order.
    others : what was named as something else, the most common first.
    """

    cases: int
    closed: int
    causes: tuple[CauseCount, ...]
    wrong: tuple[WrongBelief, ...]
    outcomes: tuple[OutcomeCount, ...] = ()
    others: tuple[NamedCount, ...] = ()


@dataclass(frozen=True, slots=True)
class CasesChart:
    """Closed cases by cause: name, number, label."""

    title: str
    subtitle: str
    bars: tuple[tuple[str, int, str], ...]
    description: str


def cases_text(counts: CaseCounts) -> str:
    """Return the tally of the closed cases."""
    lines = [f"{counts.cases} cases, {counts.closed} of them closed"]
    if counts.causes:
        lines += ["", f"{'cause':<26}{'cases':>6}{'share':>8}{'tests':>8}{'minutes':>9}{'missed':>8}"]
        for c in counts.causes:
            share = 100 * c.cases / counts.closed
            lines.append(f"{c.cause:<26}{c.cases:>6}{share:>6.0f} %{c.tests:>8g}{c.minutes:>9.3g}{c.missed:>8}")
        lines.append("tests and minutes are medians; missed: another cause was more probable in the end")
    ways = [f"{OUTCOMES[o.outcome]}: {o.cases}" for o in counts.outcomes if o.outcome != "found"]
    lines += ["; ".join(ways)] if ways else []
    lines += [f"something else: {other.words} ({other.cases})" for other in counts.others]
    lines += [f"{wrong.case}: diagnosed {wrong.believed}, it was {wrong.was}" for wrong in counts.wrong]
    return "\n".join(lines)


def cases_chart(counts: CaseCounts) -> CasesChart:
    """Return the chart of closed cases by cause."""
    bars = tuple((c.cause.replace("_", " "), c.cases, f"{c.cases}, median {c.minutes:.3g} min") for c in counts.causes)
    text = f"{counts.closed} closed cases of {counts.cases}"
    listed = ", ".join(f"{name} {count}" for name, count, _ in bars)
    return CasesChart("Tally of closed cases", text, bars, f"{text}: {listed}")
