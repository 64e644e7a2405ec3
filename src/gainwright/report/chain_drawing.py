"""The chain with its wiring and the suspected places, as data for a drawing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.diagnose import cause_name
from gainwright.model import checked_words, name_words, resolve, stage_title, stages_at, stages_of
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.diagnose import Diagnosis, NextTest
    from gainwright.model import Job

MARKED_FROM = 0.1
"""Least probability of a fault at which a place is marked."""


@dataclass(frozen=True, slots=True)
class StageBox:
    """A stage: its key, kind, position (column, row), note, and the name that it was given."""

    name: str
    kind: str
    column: int
    row: float
    words: str
    given_name: str = ""

    @property
    def called(self) -> str:
        """What it is called: its given name, else its key."""
        return self.given_name or self.name


@dataclass(frozen=True, slots=True)
class LeadLine:
    """A lead between two stages: its ends, notes, the source's outputs where these have names, and its own name in words."""

    source: str
    target: str
    words: str
    outputs: tuple[str, ...] = ()
    shown: str = ""


@dataclass(frozen=True, slots=True)
class ChainDrawing:
    """A chain: boxes in signal order from left to right, the leads between them."""

    title: str
    subtitle: str
    boxes: tuple[StageBox, ...]
    lines: tuple[LeadLine, ...]
    description: str


def chain_drawing(job: Job, *, title: str, marks: Mapping[str, str] | None = None) -> ChainDrawing:
    """Return the drawing of a chain.

    Parameters
    ----------
    marks : stage, output or lead -> note; an output marks its stage, one side of a lead the whole lead.
    """
    wiring = resolve(job)
    before: dict[str, set[str]] = {name: set() for name in wiring.order}
    for run in wiring.leads:
        before[run.target].add(run.source_stage)
    column: dict[str, int] = {}
    for name in wiring.order:
        column[name] = max((column[b] + 1 for b in before[name]), default=0)
    rows = _rows(wiring.order, before, column)
    stage_words: dict[str, list[str]] = {}
    lead_words: dict[tuple[str, str], list[str]] = {}
    for place, words in (marks or {}).items():
        if place.startswith("lead:"):
            source, target = stages_at(place)
            lead_words.setdefault((source, target), []).append(words)
        else:
            for stage in stages_of(job, place.split(".")[0]):
                stage_words.setdefault(stage, []).append(words)
    boxes = tuple(
        StageBox(
            name,
            job.stages[name].kind.replace("_", " "),
            column[name],
            rows[name],
            joined(stage_words.get(name, []), by="{a}; {b}"),
            stage_title(job, name),
        )
        for name in wiring.order
    )
    outputs: dict[tuple[str, str], list[str]] = {}
    for run in wiring.leads:
        here = outputs.setdefault((run.source_stage, run.target), [])
        here += [name_words(run.source_output)] if run.source_output != "out" else []
    lines = tuple(
        LeadLine(
            s, t, joined(lead_words.get((s, t), []), by="{a}; {b}"), tuple(names), checked_words(job, f"lead:{s}-{t}")
        )
        for (s, t), names in outputs.items()
    )
    text = joined(
        [say("{place}: {words}", place=b.called, words=b.words) for b in boxes if b.words]
        + [say("{place}: {words}", place=x.shown, words=x.words) for x in lines if x.words],
        by="{a}; {b}",
    )
    if not text:
        text = say("as wired")
    return ChainDrawing(title, text, boxes, lines, say("{place}: {words}", place=title, words=text))


def _rows(order: tuple[str, ...], before: dict[str, set[str]], column: dict[str, int]) -> dict[str, float]:
    """Return stage -> row: each last stage has its own row, a stage that feeds several is centred on them."""
    after: dict[str, list[str]] = {name: [t for t in order if name in before[t]] for name in order}
    rows: dict[str, float] = {}
    free = 0
    for name in order:
        if not after[name]:
            rows[name] = float(free)
            free += 1
    for name in reversed(order):
        if after[name]:
            rows[name] = sum(rows[t] for t in after[name]) / len(after[name])
    taken: dict[int, list[float]] = {}
    for name in order:
        while any(abs(rows[name] - other) < 0.9 for other in taken.get(column[name], [])):
            rows[name] += 0.5
        taken.setdefault(column[name], []).append(rows[name])
    return rows


def suspected_places(diagnosis: Diagnosis) -> dict[str, str]:
    """Return place -> its likely causes with their probabilities, for marks on a drawing."""
    marks: dict[str, list[str]] = {}
    for c in diagnosis.causes:
        if c.probability >= MARKED_FROM and c.where:
            words = say("{cause} {percent} %", cause=cause_name(c.cause), percent=f"{100 * c.probability:.0f}")
            marks.setdefault(c.where, []).append(words)
    return {place: joined(words) for place, words in marks.items()}


def asked_of_customer(diagnosis: Diagnosis, most: int) -> tuple[NextTest, ...]:
    """Return the next tests at different devices, best first; none once the cause is known. Few customers have a recorder."""
    found: dict[str, NextTest] = {}
    for test in () if diagnosis.done else sorted(diagnosis.next, key=lambda t: t.test == "record"):
        found.setdefault(test.where if test.where.startswith("lead:") else test.where.split(".")[0], test)
    return tuple(found.values())[:most]


def places_to_check(diagnosis: Diagnosis, asked: Sequence[NextTest]) -> dict[str, str]:
    """Return place -> mark for the customer's page: the numbers of its checks."""
    marks: dict[str, list[str]] = {}
    for i, test in enumerate(asked, start=1):
        marks.setdefault(test.where, []).append(say("check {number}", number=i))
    if diagnosis.done and diagnosis.causes[0].where:
        marks[diagnosis.causes[0].where] = [say("here")]
    return {place: joined(words) for place, words in marks.items()}
