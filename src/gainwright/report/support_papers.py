"""The customer's page, which the support desk sends, and the case paper, which it files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.diagnose import Cause, Diagnoser, Diagnosis, describe_cause, repair_text, short_name
from gainwright.model import Closure, DialogueStep
from gainwright.plan import GENERAL
from gainwright.report.belief_chart import belief_chart
from gainwright.report.chain_drawing import chain_drawing, places_to_check, suspected_places
from gainwright.report.full_volume import at_full_volume
from gainwright.report.paper import Block, BulletList, Figure, Heading, Paper, Paragraph, StepBlock, Table, subtitle
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Case, Entry, Job
    from gainwright.plan import FullScale

STEPS = 3
LIKELY = 0.1


@dataclass(frozen=True, slots=True)
class CustomerData:
    """The data of a customer's page."""

    diagnosis: Diagnosis


@dataclass(frozen=True, slots=True)
class CaseData:
    """The data of a case paper: the diagnosis, how the case was closed, its dialogue."""

    diagnosis: Diagnosis
    closed: Closure | None = None
    dialogue: tuple[DialogueStep, ...] = ()


def customer_paper(
    job: Job,
    diagnosis: Diagnosis,
    *,
    date: str = "",
    steps: int = STEPS,
    full_scale: Sequence[FullScale] = (),
) -> Paper:
    """Return the page sent to a customer: what to check, in order, with the places marked.

    Parameters
    ----------
    full_scale : what recordings at full scale do at the highest clean volume, of the job's plan.
    """
    blocks: list[Block] = []
    if diagnosis.repair is not None:
        blocks += [
            Heading(say("What to do")),
            Paragraph(diagnosis.repair.do, strong=True),
            Paragraph(diagnosis.repair.prove),
            *([BulletList(diagnosis.repair.cautions)] if diagnosis.repair.cautions else []),
        ]
    asked = () if diagnosis.done else diagnosis.next[:steps]
    if asked or diagnosis.repair is not None:
        blocks += [Heading(say("Throughout")), BulletList(GENERAL)]
    if asked:
        blocks.append(Heading(say("What to check, in this order")))
        for i, test in enumerate(asked, start=1):
            minutes = say("{minutes} minutes", minutes=f"{test.minutes:g}")
            blocks.append(StepBlock(i, test.ask, test.expect, minutes, " ", test.cautions))
    drawing = chain_drawing(job, title=say("Where"), marks=places_to_check(diagnosis, steps=steps))
    blocks += [Heading(say("Where")), Figure(drawing, drawing.description)]
    if diagnosis.evidence:
        blocks += [Heading(say("What was found")), BulletList(tuple(e.said for e in diagnosis.evidence))]
    likely = tuple(c.why for c in diagnosis.causes if c.probability >= LIKELY)[:3]
    if likely:
        blocks += [Heading(say("Likely causes")), BulletList(likely)]
    loud = at_full_volume(full_scale)
    blocks += (
        [Heading(say("The loudest recordings at the highest clean volume")), Paragraph(joined(loud, by="{a} {b}"))]
        if loud
        else []
    )
    title = job.title or say("What to check")
    return Paper("customer", title, date, tuple(blocks), CustomerData(diagnosis), date)


def case_paper(
    job: Job, diagnoser: Diagnoser, entries: Sequence[Entry], diagnosis: Diagnosis, case: Case | None, *, date: str = ""
) -> Paper:
    """Return the case paper: the outcome, the likely causes, the evidence, the probabilities after each entry, the chain."""
    blocks: list[Block] = []
    if case is not None and case.closed is not None:
        cause = Cause(case.closed.cause, case.closed.where)
        text = say(
            "It was {cause}: {says}. {repair}",
            cause=short_name(cause),
            says=describe_cause(cause),
            repair=repair_text(cause),
        )
        blocks += [Heading(say("Outcome")), Paragraph(text, strong=True)]
        blocks += [Paragraph(case.closed.note)] if case.closed.note else []
    else:
        blocks += [Heading(say("Outcome")), Paragraph(say("The case is open."))]
    blocks += [Heading(say("Likely causes")), _causes(diagnosis)]
    if diagnosis.contradiction:
        blocks.append(Paragraph(diagnosis.contradiction, strong=True))
    blocks += [Heading(say("What was found")), _evidence(diagnosis)]
    if entries:
        chart = belief_chart(diagnoser, entries, title=say("How the probabilities changed"))
        blocks.append(Figure(chart, chart.description))
    if case is not None and case.dialogue:
        blocks += [Heading(say("The dialogue")), _dialogue(case)]
    drawing = chain_drawing(job, title=say("The chain"), marks=suspected_places(diagnosis))
    blocks += [Heading(say("The chain")), Figure(drawing, drawing.description)]
    data = CaseData(diagnosis) if case is None else CaseData(diagnosis, case.closed, case.dialogue)
    below = subtitle(job.customer, job.vehicle.description, case.opened if case is not None else "", date)
    return Paper("case", (case.title if case else "") or job.title or say("Case"), below, tuple(blocks), data, date)


def _causes(diagnosis: Diagnosis) -> Table:
    shown = [c for c in diagnosis.causes if c.probability >= 0.02][:8] or list(diagnosis.causes[:1])
    rows = [
        (
            f"{c.cause} {c.where}".strip(),
            f"{100 * c.probability:.0f} % ± {100 * c.error:.0f}",
            describe_cause(Cause(c.cause, c.where)),
        )
        for c in shown
    ]
    rows.append((say("something not modelled"), f"{100 * diagnosis.surprise:.0f} %", ""))
    return Table((say("Cause"), say("Probability"), say("Meaning")), tuple(rows), right=(1,))


def _evidence(diagnosis: Diagnosis) -> Table:
    rows = tuple((str(e.number), e.said, e.expected, f"{100 * e.doubt:.0f} %") for e in diagnosis.evidence)
    return Table((say("No."), say("Found"), say("In a healthy chain"), say("Doubtful")), rows, right=(3,))


def _dialogue(case: Case) -> Table:
    rows = []
    for i, step in enumerate(case.dialogue, start=1):
        believed = step.believed
        held = "" if believed is None else f"{believed.cause} {believed.where} {100 * believed.probability:.0f} %"
        rows.append(
            (str(i), step.ask or say("entered without a question"), say(step.answer), f"{step.minutes:g}", held)
        )
    columns = (say("No."), say("Asked"), say("Answer"), say("Minutes"), say("Likeliest cause then"))
    return Table(columns, tuple(rows), right=(3,))
