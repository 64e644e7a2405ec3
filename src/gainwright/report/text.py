"""A plan and a corridor as plain text for a terminal of eighty columns or more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import describe_marks
from gainwright.report.corridor import margin_text
from gainwright.report.figures import volts, wrapped
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.plan import Expect, Finding, Plan, Step
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
BLOCKED = say("The plan ends here: nothing is switched on before the blockers above are changed.")
_UNITS = {"v_rms": "V", "supply_v": "V DC", "ohm": "ohm"}


def expected(expect: Expect) -> str:
    """Return an expected reading with its interval; for an indicator the lit marks, with the level they imply."""
    if expect.lit is not None:
        low, high = volts(expect.low), volts(expect.high)
        return say("{marks}, behind it {low} to {high}", marks=describe_marks(expect.lit), low=low, high=high)
    if expect.quantity == "v_rms":
        low, high = volts(expect.low), volts(expect.high)
        return say("{value} ({low} to {high})", value=volts(expect.value), low=low, high=high)
    if expect.quantity == "step":
        low, high = f"{expect.low:.0f}", f"{expect.high:.0f}"
        return say("step {value} ({low} to {high})", value=f"{expect.value:.0f}", low=low, high=high)
    unit = _UNITS[expect.quantity]
    value = f"{expect.value:.3g} {unit}"
    return say("{value} ({low} to {high})", value=value, low=f"{expect.low:.3g}", high=f"{expect.high:.3g}")


def tone_text(step: Step) -> str:
    """Return a step's tone file and how long it may play; empty without a tone."""
    if not step.file:
        return ""
    if step.seconds_at_most is None:
        return say("Tone {file}.", file=step.file)
    return say("Tone {file}, at most {seconds} s at a time.", file=step.file, seconds=f"{step.seconds_at_most:g}")


def plan_text(plan: Plan) -> str:
    """Return the whole plan: findings, steps by phase, targets, and what full scale does."""
    from gainwright.plan import full_scale_text

    lines = [plan.title or "Plan", ""]
    lines += findings_text(plan.findings)
    lines += ["", "Throughout", "----------", *(wrapped(c, 2, "- ") for c in plan.cautions)]
    phase = ""
    for number, step in enumerate(plan.steps, start=1):
        if step.phase != phase:
            phase = step.phase
            lines += ["", PHASES[phase], "-" * len(PHASES[phase])]
        lines += _step(number, step)
    if plan.blocked:
        lines += ["", wrapped(BLOCKED, 0)]
    lines += ["", "Targets", "-------"]
    lines += [f"  {t.stage}: {volts(t.v_rms)}, set by {t.set_by}" for t in plan.targets]
    said_then = [text for text in map(full_scale_text, plan.full_scale) if text]
    if said_then:
        title = "At full scale and the highest clean volume"
        lines += ["", title, "-" * len(title), *(wrapped(text, 4, "  - ") for text in said_then)]
    return "\n".join(lines)


def learned_text(rows: Iterable[tuple[str, float, float, float, float]]) -> str:
    """Return the values that readings made more precise, a line each: path, 95 % interval now and before, in SI."""
    lines = [f"  {path:<36} {low:.4g} to {high:.4g}   (was {was:.4g} to {to:.4g})" for path, low, high, was, to in rows]
    return "\n".join(["", "Known better from the readings", "-------------------------", *(lines or ["  nothing yet"])])


def findings_text(findings: Iterable[Finding]) -> list[str]:
    """Return findings as lines, one paragraph each."""
    lines = []
    for f in findings:
        lines += [
            wrapped(f"{f.where}: {f.message}.", 10, f"{f.severity:<9} "),
            wrapped(f"{f.remedy}. [{f.code}]" if f.remedy else f"[{f.code}]", 10),
        ]
    return lines or ["No findings."]


def _step(number: int, step: Step) -> list[str]:
    lines = [wrapped(step.do, 4, f"{number:>2}. "), wrapped(step.why, 4)]
    if step.expect is not None:
        lines.append(wrapped(f"Expect {expected(step.expect)}. {step.outside}".strip(), 4))
    if step.file:
        lines.append(wrapped(tone_text(step), 4))
    if not step.visible:
        lines.append(wrapped("These instruments can't show this: see the findings.", 4))
    lines += [wrapped(f"Caution: {caution}", 4) for caution in step.cautions]
    return lines


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
