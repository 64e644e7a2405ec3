"""Totals over a shop's cases, as text and as a chart."""

from __future__ import annotations

from dataclasses import dataclass


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
class CaseCounts:
    """Totals over a shop's cases.

    Attributes
    ----------
    cases, closed : number of all cases, and of closed ones.
    causes : causes of the closed cases, the most common first.
    wrong : cases that ended with the wrong cause most probable.
    """

    cases: int
    closed: int
    causes: tuple[CauseCount, ...]
    wrong: tuple[WrongBelief, ...]


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
    lines += [f"{wrong.case}: diagnosed {wrong.believed}, it was {wrong.was}" for wrong in counts.wrong]
    return "\n".join(lines)


def cases_chart(counts: CaseCounts) -> CasesChart:
    """Return the chart of closed cases by cause."""
    bars = tuple((c.cause.replace("_", " "), c.cases, f"{c.cases}, median {c.minutes:.3g} min") for c in counts.causes)
    text = f"{counts.closed} closed cases of {counts.cases}"
    listed = ", ".join(f"{name} {count}" for name, count, _ in bars)
    return CasesChart("Tally of closed cases", text, bars, f"{text}: {listed}")
