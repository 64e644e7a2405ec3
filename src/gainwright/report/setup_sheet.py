"""The set-up sheet for the workshop: the plan with boxes for readings, its cautions, its tones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.plan import Plan, full_scale_text
from gainwright.report.figures import volts
from gainwright.report.hearing_dose import dose_blocks
from gainwright.report.paper import BlankLines, Block, BulletList, Heading, Paper, Paragraph, StepBlock, Table, subtitle
from gainwright.report.sheet import SheetLine, sheet_lines
from gainwright.report.text import BLOCKED, PHASES, RESULTS, SET_BY, finding_texts
from gainwright.solve.hearing_dose import DayHearing
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.model import Job


SHORT_PAGES = 3
PLANNED_ROUND = ("tone_filtered", "below_threshold", "other_stage_first", "harmonics_filtered", "tone_out_of_band")
"""Notes that only say what the steps already avoid: they are on screens, and need no hand in the bay."""


@dataclass(frozen=True, slots=True)
class SetupData:
    """The data of a set-up sheet."""

    plan: Plan
    customer: str
    vehicle: str
    hearing: DayHearing | None = None


def setup_sheet(
    job: Job, plan: Plan, *, date: str = "", short: bool = False, hearing: DayHearing | None = None
) -> Paper:
    """Return the sheet of a plan, in full or with one line a step; with the hearing dose of its run, if it has begun."""
    blocks: list[Block] = []
    first = finding_texts(f for f in plan.findings if f.severity != "note")
    notes = finding_texts(f for f in plan.findings if f.severity == "note" and f.code not in PLANNED_ROUND)
    if first:
        blocks.append(Heading(say("Before you begin")))
        blocks += [Paragraph(text, f.severity == "blocker") for f, text in first]
    blocks += [Heading(say("Throughout")), BulletList(plan.cautions)] if plan.cautions else []
    title = ""
    for line in sheet_lines(plan, short=short):
        if title != (title := say(PHASES[line.phase] if line.number else RESULTS)):
            blocks.append(Heading(title))
        blocks.append(_step(line))
    blocks += [Paragraph(BLOCKED, strong=True)] if plan.blocked else []
    blocks += [Heading(say("Targets")), _targets(plan)] if plan.targets and not plan.blocked else []
    blocks += [Paragraph(text) for text in map(full_scale_text, plan.full_scale) if text]
    blocks += [Heading(say("Remarks")), BulletList(tuple(text for _, text in notes))] if notes and not short else []
    dose = dose_blocks(hearing, job) if hearing is not None else []
    blocks += [Heading(say("Hearing")), *dose] if dose else []
    blocks += [BlankLines((say("Done by"), say("Date"), say("Notes")))]
    return Paper(
        "setup",
        job.title or say("Set-up sheet"),
        subtitle(say("Set-up sheet") if job.title else "", job.customer, job.vehicle.description, date),
        tuple(blocks),
        SetupData(plan, job.customer, job.vehicle.description, hearing),
        date,
        SHORT_PAGES if short else None,
    )


def _step(line: SheetLine) -> StepBlock:
    below = joined([text for text in (line.expect, line.tone) if text], by="{a} {b}")
    return StepBlock(
        line.number,
        line.do,
        "",
        below,
        line.box or "",
        line.cautions,
        line.columns,
        tuple(row.texts for row in line.rows),
        tuple(row.boxes for row in line.rows),
    )


def _targets(plan: Plan) -> Table:
    rows = tuple((sentence(t.where_text), volts(t.v_rms), say(SET_BY[t.set_by]), "") for t in plan.targets)
    return Table((say("Amplifier"), say("Target"), say("Set by"), say("Reached")), rows, right=(1,))
