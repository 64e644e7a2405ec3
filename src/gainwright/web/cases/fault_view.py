"""What the page of a case shows of a diagnosis: causes with bars, the next test, balloons of the drawing."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.answer_forms import AnswerForm, answer_form
from gainwright.app.cases.dialogue import WITH_INSTRUMENT
from gainwright.app.cases.test_settings import ConditionsOfTest, conditions_of
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.diagnose import Diagnosis, NextTest, RankedCause
    from gainwright.model import Job

SHOWN, MOST_SHOWN = 6, 24
LEAST = 0.01
MARKED_FROM = 0.05
DOUBTFUL = 0.3
SURPRISING = 0.1
OTHERS = 5


@dataclass(frozen=True, slots=True)
class CauseRow:
    """A cause in the list: number in the drawing, name, probability, reason, repair."""

    number: int
    name: str
    share: str
    width: float
    why: str
    repair: str
    where: str
    like: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutcomeMeaning:
    """What one outcome of a test would mean."""

    found: str
    meaning: str


@dataclass(frozen=True, slots=True)
class ShownTest:
    """A test as a page shows it."""

    ask: str
    minutes: str
    saved: str
    outcomes: tuple[OutcomeMeaning, ...]
    cautions: tuple[str, ...]
    form: AnswerForm
    entry: str
    conditions: ConditionsOfTest
    measured: bool


@dataclass(frozen=True, slots=True)
class CauseList:
    """The causes of a diagnosis, for a page.

    Attributes
    ----------
    rows, more : the likeliest causes, and those shown on demand.
    rest, surprise : probability in words of all others, and of what isn't modelled; empty when small.
    pairs : two simultaneous causes, in words.
    groups : names of causes that no test distinguishes.
    """

    rows: tuple[CauseRow, ...]
    more: tuple[CauseRow, ...]
    rest: str
    surprise: str
    pairs: tuple[str, ...]
    groups: tuple[str, ...]

    @property
    def marks(self) -> dict[str, list[int]]:
        """Place -> numbers of its balloons."""
        by_place: dict[str, list[int]] = {}
        for row in self.rows:
            if row.where and row.width >= 100 * MARKED_FROM:
                by_place.setdefault(row.where, []).append(row.number)
        return by_place


def share(probability: float) -> str:
    """Return a probability in words, without false precision."""
    if probability < LEAST:
        return say("under 1 %")
    return say("over 99 %") if probability > 0.99 else f"{100 * probability:.0f} %"


def cause_list(diagnosis: Diagnosis) -> CauseList:
    """Return the causes of a diagnosis, for a page."""
    listed = [c for c in diagnosis.causes if c.probability >= LEAST][:MOST_SHOWN] or list(diagnosis.causes[:1])
    alike = {i: g.causes for g in diagnosis.groups if g.probability >= LEAST for i in g.causes}
    names = [c.name for c in diagnosis.causes]
    rows = [_row(i, c, names, alike.get(i, ())) for i, c in enumerate(listed)]
    rest = 1 - sum(c.probability for c in listed[:SHOWN])
    groups = tuple(
        joined([names[i] for i in g.causes], by="{a}; {b}")
        for g in diagnosis.groups
        if g.probability >= 2 * LEAST and len(g.causes) > 1
    )
    pairs = tuple(
        say("{causes}: {share}", causes=joined(p.names, by="{a} and {b}"), share=share(p.probability))
        for p in diagnosis.pairs[:2]
        if p.probability >= 2 * LEAST
    )
    return CauseList(
        tuple(rows[:SHOWN]),
        tuple(rows[SHOWN:]),
        share(rest) if rest > 2 * LEAST else "",
        share(diagnosis.surprise) if diagnosis.surprise >= SURPRISING else "",
        pairs,
        groups,
    )


def _row(index: int, c: RankedCause, names: list[str], like: tuple[int, ...]) -> CauseRow:
    from gainwright.diagnose import Cause, repair_text

    others = tuple(names[i] for i in like if i != index)
    mend = repair_text(Cause(c.cause, c.where))
    return CauseRow(
        index + 1, names[index], share(c.probability), round(100 * c.probability, 1), c.why, mend, c.where, others
    )


def shown_test(test: NextTest, job: Job) -> ShownTest:
    """Return a test as a page shows it."""
    outcomes = tuple(OutcomeMeaning(o.found, o.meaning) for o in test.outcomes)
    saved = f"{test.saved_minutes:.0f}" if test.saved_minutes >= 1 else ""
    return ShownTest(
        test.ask,
        f"{test.minutes:g}",
        saved,
        outcomes,
        test.cautions,
        answer_form(test.entry, job),
        json.dumps(test.entry),
        conditions_of(test.entry, job),
        test.test in WITH_INSTRUMENT,
    )


def causes_to_choose(diagnosis: Diagnosis) -> dict[str, list[tuple[str, str]]]:
    """Return form options (value, name) of every cause: the likeliest first, then all by kind."""

    def option(c: RankedCause) -> tuple[str, str]:
        return f"{c.cause}|{c.where}", c.name

    ordered = sorted(diagnosis.causes, key=lambda c: (c.cause, c.where))
    return {
        say("Most likely"): [option(c) for c in diagnosis.causes[:OTHERS]],
        say("All causes"): [option(c) for c in ordered],
    }


def evidence_rows(diagnosis: Diagnosis, dialogue: Any) -> list[dict[str, Any]]:
    """Return the rows of the evidence list: each entry with what was expected and whether it is doubtful."""
    rows = []
    for result, entry in zip(diagnosis.evidence, dialogue.entries, strict=True):
        doubtful = result.doubt >= DOUBTFUL
        rows.append({"result": result, "doubtful": doubtful, "doubt": share(result.doubt), "entry": entry})
    return rows
