"""The customer's page, which the support desk sends, and the case paper, which it files."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.diagnose import Cause, Diagnoser, Diagnosis, actions_of, describe_cause, short_name
from gainwright.jobfile import read_entry
from gainwright.model.case import Closure, DialogueStep
from gainwright.plan import GENERAL
from gainwright.report.belief_chart import belief_chart
from gainwright.report.chain_drawing import asked_of_customer, chain_drawing, places_to_check, suspected_places
from gainwright.report.closing import closure_words
from gainwright.report.full_volume import at_full_volume
from gainwright.report.paper import Block, BulletList, Figure, Heading, Paper, Paragraph, StepBlock, Table, subtitle
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gainwright.diagnose import NextTest, Repair
    from gainwright.model import Entry, Job
    from gainwright.model.case import Case
    from gainwright.plan import FullScale

STEPS = 2


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
    """Return the page sent to a customer: what to check, one action a line, in order, with the places marked.

    Parameters
    ----------
    full_scale : what recordings at full scale do at the highest clean volume, of the job's plan.
    """
    number = itertools.count(1)
    asked = asked_of_customer(diagnosis, steps)
    said = dict[str, int]()
    blocks: list[Block] = []
    if asked or diagnosis.repair is not None:
        blocks += [Heading(say("Throughout")), BulletList(GENERAL)]
    blocks += _repair(diagnosis.repair, number) if diagnosis.repair is not None else []
    for i, test in enumerate(asked, start=1):
        blocks += _check(job, test, i, number, said)
    drawing = chain_drawing(job, title=say("Where"), marks=places_to_check(diagnosis, asked))
    blocks.append(Figure(drawing, drawing.description, 0.65))
    if diagnosis.evidence:
        blocks += [Heading(say("What was found")), BulletList(tuple(sentence(e.said) for e in diagnosis.evidence))]
    loud = at_full_volume(full_scale)
    blocks += (
        [Heading(say("The loudest recordings at the highest clean volume")), Paragraph(joined(loud, by="{a} {b}"))]
        if loud
        else []
    )
    title = job.title or say("What to check")
    below = subtitle(say("What to check") if job.title else "", date)
    return Paper("customer", title, below, tuple(blocks), CustomerData(diagnosis), date)


def _repair(repair: Repair, number: Iterator[int]) -> list[Block]:
    """Return the repair as numbered actions, and how it is proved."""
    box = " " if repair.v_rms_low is None else "V"
    return [
        Heading(say("What to do")),
        StepBlock(next(number), repair.do, cautions=repair.cautions),
        StepBlock(next(number), repair.prove, box=box),
    ]


def _check(job: Job, test: NextTest, which: int, number: Iterator[int], said: dict[str, int]) -> list[Block]:
    """Return one check: its actions, one a line, without settings already `said`, the outcome to expect, what each outcome means."""
    head = say(
        "Check {number}: {where} ({minutes} min)",
        number=which,
        where=test.where_text,
        minutes=f"{test.minutes:g}",
    )
    entry = read_entry(dict(test.entry), job, answered=False)
    actions = actions_of(test.test, entry, job, test.cautions)
    expected = say("When nothing is wrong: {outcome}.", outcome=test.healthy) if test.healthy else ""
    blocks: list[Block] = [Heading(head)]
    for action in actions:
        if action.do.startswith("Set ") and action.do in said:
            continue
        said[action.do] = 0
        box = "" if action.box is None else action.box or " "
        expect = expected if action.box is not None else ""
        expected = "" if expect else expected
        n = next(number)
        blocks.append(StepBlock(n, action.do, "", expect, box, _cautions(action.cautions, n, said)))
    rows = tuple((sentence(o.found), o.meaning) for o in test.outcomes)
    return [*blocks, Table((say("If you find"), say("it points to")), rows)] if rows else blocks


def _cautions(cautions: tuple[str, ...], number: int, said: dict[str, int]) -> tuple[str, ...]:
    """Return the cautions of a line; where all of them stand at one line above, its number."""
    above = {said.get(c, 0) for c in cautions}
    for caution in cautions:
        said.setdefault(caution, number)
    if len(above) == 1 and 0 not in above:
        return (say("as at step {number}.", number=above.pop()),)
    return cautions


def case_paper(
    job: Job, diagnoser: Diagnoser, entries: Sequence[Entry], diagnosis: Diagnosis, case: Case | None, *, date: str = ""
) -> Paper:
    """Return the case paper: the outcome, the likely causes, the evidence, the probabilities after each entry, the chain."""
    blocks: list[Block] = []
    if case is not None and case.closed is not None:
        ended = closure_words(case.closed, job)
        blocks += [Heading(say("Outcome")), Paragraph(sentence(ended.name), strong=True)]
        blocks += [Paragraph(ended.says)] if ended.says else []
        blocks += [Paragraph(case.closed.note)] if case.closed.note else []
    else:
        blocks += [Heading(say("Outcome")), Paragraph(say("The case is open."))]
    blocks += [Heading(say("Likely causes")), _causes(diagnosis, job)]
    if diagnosis.contradiction:
        blocks.append(Paragraph(diagnosis.contradiction, strong=True))
    blocks += [Heading(say("What was found")), _evidence(diagnosis)]
    if entries:
        chart = belief_chart(diagnoser, entries, title=say("How the probabilities changed"))
        blocks.append(Figure(chart, chart.description))
    if case is not None and case.dialogue:
        blocks += [Heading(say("The dialogue")), _dialogue(case, job)]
    drawing = chain_drawing(job, title=say("The chain"), marks=suspected_places(diagnosis))
    blocks += [Heading(say("The chain")), Figure(drawing, drawing.description)]
    data = CaseData(diagnosis) if case is None else CaseData(diagnosis, case.closed, case.dialogue)
    below = subtitle(say("Case"), job.customer, job.vehicle.description, case.opened if case is not None else "", date)
    return Paper("case", (case.title if case else "") or job.title or say("Case"), below, tuple(blocks), data, date)


def _causes(diagnosis: Diagnosis, job: Job) -> Table:
    shown = [c for c in diagnosis.causes if c.probability >= 0.02][:8] or list(diagnosis.causes[:1])
    rows = [
        (
            sentence(c.name),
            f"{100 * c.probability:.0f} % ± {100 * c.error:.0f}",
            describe_cause(Cause(c.cause, c.where), job),
        )
        for c in shown
    ]
    rows.append((say("something not modelled"), f"{100 * diagnosis.surprise:.0f} %", ""))
    return Table((say("Cause"), say("Probability"), say("Meaning")), tuple(rows), right=(1,))


def _evidence(diagnosis: Diagnosis) -> Table:
    rows = tuple((str(e.number), e.said, e.expected, f"{100 * e.doubt:.0f} %") for e in diagnosis.evidence)
    return Table((say("No."), say("Found"), say("In a healthy chain"), say("Doubtful")), rows, right=(3,))


def _dialogue(case: Case, job: Job) -> Table:
    rows = []
    for i, step in enumerate(case.dialogue, start=1):
        believed = step.believed
        held = (
            ""
            if believed is None
            else say(
                "{cause} {percent} %",
                cause=short_name(Cause(believed.cause, believed.where), job),
                percent=f"{100 * believed.probability:.0f}",
            )
        )
        rows.append(
            (str(i), step.ask or say("entered without a question"), say(step.answer), f"{step.minutes:g}", held)
        )
    columns = (say("No."), say("Asked"), say("Answer"), say("Minutes"), say("Likeliest cause then"))
    return Table(columns, tuple(rows), right=(3,))
