"""A diagnosis as text for a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from gainwright.plan import MAKER_FIRST
from gainwright.report.figures import WIDTH
from gainwright.texts import sentence

if TYPE_CHECKING:
    from gainwright.diagnose import Diagnosis, NextTest

SHOWN = 5
LEAST_SHOWN = 0.02


def diagnosis_text(diagnosis: Diagnosis, *, shown: int = SHOWN) -> str:
    """Return a diagnosis as text: the evidence, the probable causes and why, and what to do next."""
    lines: list[str] = []
    if diagnosis.evidence:
        lines += ["What was found", *_evidence(diagnosis), ""]
    lines += ["Likely causes", *_causes(diagnosis, shown)]
    if diagnosis.contradiction:
        lines += ["", *_wrapped(diagnosis.contradiction, "! ")]
    if diagnosis.conclusion:
        lines += ["", *_wrapped(diagnosis.conclusion, "")]
    if diagnosis.repair is not None:
        lines += ["", "What to do", *_wrapped(diagnosis.repair.do, "  "), *_wrapped(diagnosis.repair.prove, "  ")]
        lines += [line for c in diagnosis.repair.cautions for line in _wrapped(f"Caution: {c}", "  ")]
    if diagnosis.next and not diagnosis.declared:
        lines += ["", "Next test", *next_test_lines(diagnosis.next[0])]
        others = [f"{n.test.replace('_', ' ')}, {n.where_text} ({n.minutes:g} min)" for n in diagnosis.next[1:4]]
        lines += _wrapped(f"Or: {'; '.join(others)}.", "  ") if others else []
    elif not diagnosis.done and not diagnosis.next:
        lines += ["", "No test available here would tell more."]
    if diagnosis.repair is not None or diagnosis.next:
        lines += ["", MAKER_FIRST]
    return "\n".join(lines)


def _evidence(diagnosis: Diagnosis) -> list[str]:
    lines = []
    for e in diagnosis.evidence:
        doubt = f" Doubtful ({100 * e.doubt:.0f} %)." if e.doubt >= 0.3 else ""
        expected = f" [{e.expected}]" if e.expected else ""
        lines += _wrapped(f"{e.said}{expected}{doubt}", f"  {e.number}. ")
    return lines


def _causes(diagnosis: Diagnosis, shown: int) -> list[str]:
    lines = []
    listed = [c for c in diagnosis.causes if c.probability >= LEAST_SHOWN][:shown]
    for c in listed or diagnosis.causes[:1]:
        error = f" ± {100 * c.error:.0f}" if c.error >= 0.005 else ""
        lines += _wrapped(f"{sentence(c.name)}. {c.why}", f"{100 * c.probability:>4.0f}{error} %  ")
    rest = 1 - sum(c.probability for c in listed)
    if listed and rest > LEAST_SHOWN:
        lines.append(f"{100 * rest:>4.0f} %  other causes, each less likely")
    if diagnosis.surprise >= 0.1:
        lines.append(f"{100 * diagnosis.surprise:>4.0f} %  something that isn't modelled here")
    for group in diagnosis.groups:
        if group.probability >= LEAST_SHOWN:
            names = [diagnosis.causes[i].name for i in group.causes]
            lines += _wrapped(f"No test here tells these apart: {'; '.join(names)}.", "      ")
    for pair in diagnosis.pairs[:2]:
        if pair.probability >= LEAST_SHOWN:
            lines += _wrapped(f"{100 * pair.probability:.0f} % both at once: {' and '.join(pair.names)}.", "      ")
    return lines


def next_test_lines(test: NextTest) -> list[str]:
    """Return a test as lines: what to do, its minutes, what each outcome would mean, cautions."""
    lines = _wrapped(f"{test.ask} ({test.minutes:g} min)", "  ")
    if test.expect:
        lines += [line for part in test.expect.split("; ") for line in _wrapped(part, "    - ")]
    return lines + [line for c in test.cautions for line in _wrapped(f"Caution: {c}", "  ")]


def _wrapped(text: str, first: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first)) or [first.rstrip()]
