"""A diagnosis in words for a terminal, and the page for a customer as data."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.report.text import WIDTH

if TYPE_CHECKING:
    from gainwright.diagnose import CauseTold, Diagnosis, NextTest

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
    for p, members in found.groups:
        if p >= LEAST_SHOWN:
            names = [_words(found.causes[i]) for i in members]
            lines += _wrapped(f"No test here tells these apart: {'; '.join(names)}.", "      ")
    for p, names_ in found.pairs[:2]:
        if p >= LEAST_SHOWN:
            lines += _wrapped(f"{100 * p:.0f} % both at once: {' and '.join(names_)}.", "      ")
    return lines


def _words(c: CauseTold) -> str:
    return f"{c.cause} at {c.where}" if c.where else c.cause


def next_lines(test: NextTest) -> list[str]:
    """Return a test: what to do, how long, what outcomes would mean, cautions."""
    lines = _wrapped(f"{test.ask} ({test.minutes:g} min)", "  ")
    if test.expect:
        lines += [line for part in test.expect.split("; ") for line in _wrapped(part, "    - ")]
    return lines + [line for c in test.cautions for line in _wrapped(f"Caution: {c}", "  ")]


def _wrapped(text: str, first: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first)) or [first.rstrip()]


@dataclass(frozen=True, slots=True)
class CustomerStep:
    """One thing for a customer to check: what, how long, what it would mean, cautions."""

    ask: str
    minutes: float
    means: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CustomerPage:
    """What a customer is sent: what is known, what to check in order, with the drawing of where.

    Attributes
    ----------
    known : what was found so far.
    likely : in plain words.
    do : the repair and its proof, when it is known.
    """

    title: str
    known: tuple[str, ...]
    likely: tuple[str, ...]
    steps: tuple[CustomerStep, ...]
    do: tuple[str, ...]


def customer_page(found: Diagnosis, *, title: str, steps: int = 3) -> CustomerPage:
    """Return the customer's page of a diagnosis."""
    likely = [c.why for c in found.causes if c.probability >= 0.1][:3]
    asked = () if found.done else found.next[:steps]
    return CustomerPage(
        title,
        tuple(e.said for e in found.evidence),
        tuple(likely),
        tuple(CustomerStep(n.ask, n.minutes, tuple(n.expect.split("; ")), n.cautions) for n in asked),
        () if found.repair is None else (found.repair.do, found.repair.prove),
    )


def customer_html(page: CustomerPage, drawing: str) -> str:
    """Return the page as HTML that needs nothing else; whatever a job or a person wrote is escaped.

    Parameters
    ----------
    drawing : the chain as SVG.
    """
    from html import escape

    def items(lines: tuple[str, ...]) -> str:
        return "".join(f"<li>{escape(line)}</li>" for line in lines)

    steps = "".join(
        f"<li><p>{escape(s.ask)} <small>({s.minutes:g} min)</small></p><ul>{items(s.means)}</ul>"
        f"{''.join(f'<p class=caution>Caution: {escape(c)}</p>' for c in s.cautions)}</li>"
        for s in page.steps
    )
    parts = [
        f"<h2>What to check, in this order</h2><ol>{steps}</ol>" if steps else "",
        f"<h2>What to do</h2>{''.join(f'<p>{escape(d)}</p>' for d in page.do)}" if page.do else "",
        f"<h2>Where</h2><figure>{drawing}</figure>",
        f"<h2>What is known</h2><ul>{items(page.known)}</ul>" if page.known else "",
        f"<h2>What is likely</h2><ul>{items(page.likely)}</ul>" if page.likely else "",
    ]
    style = (
        "body{font:17px/1.45 Georgia,serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#1c1c1c;background:#fff}"
        "h1{font-size:1.5rem}h2{font-size:1.1rem;border-bottom:1px solid #1c1c1c;margin-top:1.6rem}"
        ".caution{border-left:4px double #1c1c1c;padding-left:.6rem}figure{margin:0;overflow-x:auto}svg{max-width:100%;height:auto}"
        "@media print{body{margin:0}}"
    )
    title = escape(page.title or "What to check")
    return (
        f"<!doctype html><html lang=en><head><meta charset=utf-8><meta name=viewport content='width=device-width'>"
        f"<title>{title}</title><style>{style}</style></head><body><h1>{title}</h1>{''.join(parts)}</body></html>\n"
    )
