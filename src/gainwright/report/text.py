"""A plan and a corridor as plain text for a terminal of eighty columns or more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.report.corridor import margin_text
from gainwright.report.figures import WIDTH, volts, wrapped
from gainwright.report.sheet import sheet_lines
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.plan import Finding, Plan
    from gainwright.report.sheet import SheetLine
    from gainwright.solve import Levels, NodeLevel

PHASES = {
    "prepare": "Prepare",
    "leads": "Leads",
    "controls": "Controls to their starting positions",
    "source": "The source's clean limit",
    "processor": "Processors and drivers",
    "amplifier": "Amplifiers to their targets",
    "restore": "Crossovers restored",
    "verify": "Verify",
}
SET_BY = {
    "amplifier": "its rating",
    "speaker": "the speaker's rating",
    "clip": "where it begins to clip",
    "source": "the highest level from the source",
}
FULL_SCALE = "At full scale and the highest clean volume"
REMARKS = "Remarks"
RESULTS = "Results to write down"
BLOCKED = say("The plan ends here: nothing is switched on before the blockers above are changed.")


def plan_text(plan: Plan, *, short: bool = False) -> str:
    """Return the whole plan: findings, cautions, its lines by phase, targets, what full scale does; in the short form without reasons."""
    from gainwright.plan import full_scale_text

    lines = [plan.title or "Plan", ""]
    lines += findings_text(f for f in plan.findings if f.severity != "note")
    lines += ["", "Throughout", "----------", *(wrapped(c, 2, "- ") for c in plan.cautions)]
    title = ""
    for line in sheet_lines(plan, short=short):
        if title != (title := PHASES[line.phase] if line.number else RESULTS):
            lines += ["", title, "-" * len(title)]
        lines += _line(line, short=short)
    if plan.blocked:
        lines += ["", wrapped(BLOCKED, 0)]
    targets = () if plan.blocked else plan.targets
    lines += ["", "Targets", "-------"] if targets else []
    lines += [f"  {sentence(t.where_text)}: {volts(t.v_rms)}, set by {SET_BY[t.set_by]}" for t in targets]
    then = [text for text in map(full_scale_text, plan.full_scale) if text]
    if then:
        lines += ["", FULL_SCALE, "-" * len(FULL_SCALE), *(wrapped(text, 4, "  - ") for text in then)]
    notes = [text for _, text in finding_texts(f for f in plan.findings if f.severity == "note")]
    if notes:
        lines += ["", REMARKS, "-" * len(REMARKS), *(wrapped(text, 2, "- ") for text in notes)]
    return "\n".join(lines)


def learned_text(rows: Iterable[tuple[str, float, float, float, float]]) -> str:
    """Return the values that readings made more precise, a line each: path, 95 % interval now and before, in SI."""
    lines = [f"  {path:<36} {low:.4g} to {high:.4g}   (was {was:.4g} to {to:.4g})" for path, low, high, was, to in rows]
    return "\n".join(["", "Known better from the readings", "-------------------------", *(lines or ["  nothing yet"])])


def finding_text(finding: Finding, *, where: str = "") -> str:
    """Return a finding as sentences: its place, what there is, and what to do.

    Parameters
    ----------
    where : its place in words; that of the finding unless given.
    """
    where, message = where or finding.where_text or finding.where, finding.message
    parts = {"where": sentence(where), "message": message, "remedy": sentence(finding.remedy)}
    if not where or message.lower().startswith(where.lower()):
        parts = {**parts, "message": sentence(message)}
        return say("{message}. {remedy}.", **parts) if finding.remedy else say("{message}.", **parts)
    return say("{where}: {message}. {remedy}.", **parts) if finding.remedy else say("{where}: {message}.", **parts)


def finding_texts(findings: Iterable[Finding]) -> list[tuple[Finding, str]]:
    """Return the findings as sentences, those that say the same of several places as one."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        alike.setdefault((finding.code, finding.message, finding.remedy), []).append(finding)
    return [(f[0], finding_text(f[0], where=joined([x.where_text or x.where for x in f]))) for f in alike.values()]


def findings_text(findings: Iterable[Finding]) -> list[str]:
    """Return findings as lines, one paragraph each."""
    lines = [wrapped(text, 10, f"{finding.severity:<9} ") for finding, text in finding_texts(findings)]
    return lines or ["No findings."]


def _line(line: SheetLine, *, short: bool) -> list[str]:
    first = f"{line.number:>2}. " if line.number else "    "
    said = [line.expect, line.outside] if not short else []
    if short:
        return [
            wrapped(" ".join(t for t in (line.do, line.expect, line.tone) if t), 4, first),
            *_row_lines(line),
            *(wrapped(f"Caution: {caution}", 4) for caution in line.cautions),
        ]
    lines = [wrapped(line.do, 4, first), wrapped(line.why, 4) if line.why else "", *_row_lines(line)]
    lines += [
        wrapped(" ".join(t for t in said if t), 4) if any(said) else "",
        wrapped(line.tone, 4) if line.tone else "",
    ]
    lines += [wrapped(f"Caution: {caution}", 4) for caution in line.cautions]
    return [text for text in lines if text]


def _row_lines(line: SheetLine) -> list[str]:
    """Return the rows of a line, a heading above them, in columns as wide as their longest text."""
    if not line.rows:
        return []
    texts = [line.columns[: len(line.rows[0].texts)], *(row.texts for row in line.rows)]
    widths = [max(len(row[i]) for row in texts) for i in range(len(texts[0]))]
    if sum(widths) + 2 * len(widths) > WIDTH - 6:  # too wide for a table: each row as a paragraph
        names = ["", "", *(f"{column.lower()}: " for column in line.columns[2:])]
        said = [[f"{name}{t}" for name, t in zip(names, row.texts, strict=False) if t] for row in line.rows]
        return [wrapped("; ".join(texts), 8, "      - ") for texts in said]
    return ["      " + "  ".join(t.ljust(w) for t, w in zip(row, widths, strict=True)).rstrip() for row in texts]


def levels_text(levels: Levels) -> str:
    """Return the corridor as text, a table per path."""
    lines = [f"{levels.tone_hz:g} Hz at {levels.level_dbfs:g} dBFS"]
    for path in levels.paths:
        lines += ["", path.path]
        lines.append(f"  {'node':<24}{'level':>10} {' 95 % interval':<23}{'ceiling':>9}{'floor':>10}{'THD':>9}  margin")
        for node in path.nodes:
            level, ceiling, floor, interval = _level_texts(node)
            thd = f"{node.thd_percent:.2f} %" if math.isfinite(node.thd_percent) else "-"
            first = "  <- limits first" if node.node == path.limits_first else ""
            lines.append(
                f"  {node.node:<24}{level:>10}  {interval:<22}{ceiling:>9}"
                f"{floor:>10}{thd:>9}  {margin_text(node)}{first}"
            )
    return "\n".join(lines)


def _level_texts(node: NodeLevel) -> tuple[str, str, str, str]:
    """Return level, ceiling, floor and interval as text: volts, at a digital node dBFS."""
    if math.isnan(node.dbfs):
        interval = f"{volts(node.v_rms_low)} to {volts(node.v_rms_high)}"
        return volts(node.v_rms), volts(node.ceiling_v_rms), volts(node.noise_v_rms), interval
    interval = f"{node.dbfs_low:.1f} to {node.dbfs_high:.1f} dBFS"
    return f"{node.dbfs:.1f} dBFS", "0 dBFS", f"{node.noise_dbfs:.0f} dBFS", interval
