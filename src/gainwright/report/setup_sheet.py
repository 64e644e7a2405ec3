"""The set-up sheet for the workshop: the plan with boxes for readings, its cautions, its tones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.plan import Plan, full_scale_text
from gainwright.report.figures import volts
from gainwright.report.paper import BlankLines, Block, BulletList, Heading, Paper, Paragraph, StepBlock, Table, subtitle
from gainwright.report.text import BLOCKED, PHASES, expected, tone_text
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.plan import Finding, Step

UNITS = {"v_rms": "V", "supply_v": "V DC", "ohm": "ohm", "step": "step"}


@dataclass(frozen=True, slots=True)
class SetupData:
    """The data of a set-up sheet."""

    plan: Plan
    customer: str
    vehicle: str


def setup_sheet(job: Job, plan: Plan, *, date: str = "") -> Paper:
    """Return the sheet of a plan."""
    blocks: list[Block] = []
    if plan.findings:
        blocks.append(Heading(say("Before you begin")))
        blocks += [Paragraph(_finding(f), f.severity == "blocker") for f in plan.findings]  # fmt: skip
    blocks += [Heading(say("Throughout")), BulletList(plan.cautions)] if plan.cautions else []
    blocks += [Heading(say("Tones")), _tones(plan)]
    phase = ""
    for number, step in enumerate(plan.steps, start=1):
        if step.phase != phase:
            phase = step.phase
            blocks.append(Heading(say(PHASES[phase])))
        blocks.append(_step(number, step))
    blocks += [Paragraph(BLOCKED, strong=True)] if plan.blocked else []
    blocks += [Heading(say("Targets")), _targets(plan)]
    blocks += [Paragraph(text) for text in map(full_scale_text, plan.full_scale) if text]
    blocks += [BlankLines((say("Done by"), say("Date"), say("Remarks")))]
    return Paper(
        "setup",
        job.title or say("Set-up sheet"),
        subtitle(job.customer, job.vehicle.description, date),
        tuple(blocks),
        SetupData(plan, job.customer, job.vehicle.description),
        date,
    )


def _finding(f: Finding) -> str:
    if not f.remedy:
        return say("{where}: {message}.", where=f.where, message=f.message)
    return say("{where}: {message}; {remedy}.", where=f.where, message=f.message, remedy=f.remedy)


def _step(number: int, step: Step) -> StepBlock:
    box = UNITS.get(step.expect.quantity, "") if step.expect is not None else ""
    expect = "" if step.expect is None else say("Expect {reading}.", reading=expected(step.expect))
    if not step.visible:
        expect = say("These instruments can't show this: see above.")
    if step.file:
        expect = joined([text for text in (expect, tone_text(step)) if text], by="{a} {b}")
    return StepBlock(number, step.do, "", expect, box, step.cautions)


def _tones(plan: Plan) -> Table:
    used: dict[tuple[float, float], list[str]] = {}
    for step in plan.steps:
        if step.tone_hz is not None and step.level_dbfs is not None:
            used.setdefault((step.tone_hz, step.level_dbfs), []).append(step.stage)
    rows = tuple(
        (f"{hz:g} Hz", f"{level:g} dBFS", ", ".join(dict.fromkeys(s for s in stages if s)))
        for (hz, level), stages in sorted(used.items())
    )
    return Table((say("Tone"), say("Level"), say("For")), rows, right=(0, 1))


def _targets(plan: Plan) -> Table:
    rows = tuple((t.stage, volts(t.v_rms), say(SET_BY[t.set_by]), "") for t in plan.targets)
    return Table((say("Amplifier"), say("Target"), say("Set by"), say("Reached")), rows, right=(1,))


SET_BY = {
    "amplifier": "its rating",
    "speaker": "the speaker's rating",
    "clip": "where it begins to clip",
    "source": "the highest level from the source",
}
