"""A diagnosis in words for a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from gainwright.report.text import WIDTH

if TYPE_CHECKING:
    from gainwright.diagnose import Diagnosis, NextTest, RankedCause

SHOWN = 5
LEAST_SHOWN = 0.02


def diagnosis_text(found: Diagnosis, *, shown: int = SHOWN) -> str:
    """Return a diagnosis: the evidence, what is likely and why, and what to do next."""
    lines: list[str] = []
    if found.evidence:
        lines += ["What was found", *_evidence(found), ""]
    lines += ["What is likely", *_causes(found, shown)]
    if found.contradiction:
        lines += ["", *_wrapped(found.contradiction, "! ")]
    if found.repair is not None:
        lines += ["", "What to do", *_wrapped(found.repair.do, "  "), *_wrapped(found.repair.prove, "  ")]
    if found.next and not found.done:
        lines += ["", "Next test", *next_lines(found.next[0])]
        others = [f"{n.test.replace('_', ' ')} {n.where} ({n.minutes:g} min)" for n in found.next[1:4]]
        lines += _wrapped(f"Or: {'; '.join(others)}.", "  ") if others else []
    elif not found.done and not found.next:
        lines += ["", "No test that can be made here would tell more."]
    return "\n".join(lines)


def _evidence(found: Diagnosis) -> list[str]:
    lines = []
    for e in found.evidence:
        doubt = f" Doubtful ({100 * e.doubt:.0f} %)." if e.doubt >= 0.3 else ""
        expected = f" [{e.expected}]" if e.expected else ""
        lines += _wrapped(f"{e.said}{expected}{doubt}", f"  {e.number}. ")
    return lines


def _causes(found: Diagnosis, shown: int) -> list[str]:
    lines = []
    listed = [c for c in found.causes if c.probability >= LEAST_SHOWN][:shown]
    for c in listed or found.causes[:1]:
        error = f" ± {100 * c.error:.0f}" if c.error >= 0.005 else ""
        lines += _wrapped(f"{_words(c)}. {c.why}", f"{100 * c.probability:>4.0f}{error} %  ")
    rest = 1 - sum(c.probability for c in listed)
    if listed and rest > LEAST_SHOWN:
        lines.append(f"{100 * rest:>4.0f} %  anything else, each less likely")
    if found.surprise >= 0.1:
        lines.append(f"{100 * found.surprise:>4.0f} %  that it is something not modelled here at all")
    for group in found.groups:
        if group.probability >= LEAST_SHOWN:
            names = [_words(found.causes[i]) for i in group.causes]
            lines += _wrapped(f"No test here tells these apart: {'; '.join(names)}.", "      ")
    for pair in found.pairs[:2]:
        if pair.probability >= LEAST_SHOWN:
            lines += _wrapped(f"{100 * pair.probability:.0f} % both at once: {' and '.join(pair.causes)}.", "      ")
    return lines


def _words(c: RankedCause) -> str:
    return f"{c.cause} at {c.where}" if c.where else c.cause


def next_lines(test: NextTest) -> list[str]:
    """Return a test: what to do, how long, what outcomes would mean, cautions."""
    lines = _wrapped(f"{test.ask} ({test.minutes:g} min)", "  ")
    if test.expect:
        lines += [line for part in test.expect.split("; ") for line in _wrapped(part, "    - ")]
    return lines + [line for c in test.cautions for line in _wrapped(f"Caution: {c}", "  ")]


def _wrapped(text: str, first: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first)) or [first.rstrip()]
