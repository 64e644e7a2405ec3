"""A plan, a corridor, a measurement as plain text for a terminal."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from gainwright.model import describe_marks
from gainwright.report.corridor import margin_text
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.metering import Measurement
    from gainwright.plan import Expect, Finding, Plan, Step
    from gainwright.solve import Levels

WIDTH = 96
PHASES = {
    "prepare": "Prepare",
    "leads": "Leads",
    "controls": "Controls to their starting places",
    "source": "The source's clean limit",
    "processor": "Processors and drivers",
    "amplifier": "Amplifiers to their targets",
    "restore": "Crossovers back",
    "verify": "Verify",
}
_UNITS = {"v_rms": "V", "supply_v": "V DC", "ohm": "ohm"}


def volts(value: float) -> str:
    """Return a voltage with three figures, in V, mV or µV."""
    if value == 0:
        return "0 V"
    if not math.isfinite(value):
        return "-"
    if value < 0.5e-6:
        return "< 1 µV"
    return f"{value * 1e6:.3g} µV" if value < 1e-3 else f"{value * 1e3:.3g} mV" if value < 1 else f"{value:.3g} V"


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


def _wrapped(text: str, indent: int, first: str = "") -> str:
    pad = " " * indent
    return textwrap.fill(text, WIDTH, initial_indent=first or pad, subsequent_indent=pad)


def plan_text(plan: Plan) -> str:
    """Return the whole plan: findings, steps by phase, targets."""
    lines = [plan.title or "Plan", ""]
    lines += findings_text(plan.findings)
    phase = ""
    said: set[str] = set()
    for number, step in enumerate(plan.steps, start=1):
        if step.phase != phase:
            phase = step.phase
            said = set()
            lines += ["", PHASES[phase], "-" * len(PHASES[phase])]
        lines += _step(number, step, [c for c in step.cautions if c not in said])
        said.update(step.cautions)
    lines += ["", "Targets", "-------"]
    lines += [f"  {t.stage}: {volts(t.v_rms)}, set by {t.set_by}" for t in plan.targets]
    return "\n".join(lines)


def learned_text(rows: Iterable[tuple[str, float, float, float, float]]) -> str:
    """Return what was learned from readings, a line each: path, its 95 % interval now and before, in SI."""
    lines = [f"  {path:<36} {low:.4g} to {high:.4g}   (was {was:.4g} to {to:.4g})" for path, low, high, was, to in rows]
    return "\n".join(["", "Learned from the readings", "-------------------------", *(lines or ["  nothing yet"])])


def findings_text(findings: Iterable[Finding]) -> list[str]:
    """Return findings as lines, one paragraph each."""
    lines = []
    for f in findings:
        lines += [
            _wrapped(f"{f.where}: {f.message}.", 10, f"{f.severity:<9} "),
            _wrapped(f"{f.remedy}. [{f.code}]", 10),
        ]
    return lines or ["No findings."]


def _step(number: int, step: Step, cautions: list[str]) -> list[str]:
    lines = [_wrapped(step.do, 4, f"{number:>2}. "), _wrapped(step.why, 4)]
    if step.expect is not None:
        lines.append(_wrapped(f"Expect {expected(step.expect)}. {step.outside}".strip(), 4))
    if not step.visible:
        lines.append(_wrapped("This can't be seen with these instruments: see the findings.", 4))
    # A caution is said in full once a phase, at the first step that needs it.
    lines += [_wrapped(f"Caution: {caution}", 4) for caution in cautions]
    return lines


def levels_text(levels: Levels) -> str:
    """Return the corridor as text, a table per path."""
    lines = [f"{levels.tone_hz:g} Hz at {levels.level_dbfs:g} dBFS"]
    for path in levels.paths:
        lines += ["", path.path]
        lines.append(f"  {'node':<24}{'level':>10} {' 95 % interval':<23}{'ceiling':>9}{'floor':>10}{'THD':>9}  margin")
        for node in path.nodes:
            interval = f" {volts(node.v_rms_low)} to {volts(node.v_rms_high)}"
            thd = f"{node.thd_percent:.2f} %" if math.isfinite(node.thd_percent) else "-"
            first = "  <- limits first" if node.node == path.limits_first else ""
            lines.append(
                f"  {node.node:<24}{volts(node.v_rms):>10} {interval:<23}{volts(node.ceiling_v_rms):>9}"
                f"{volts(node.noise_v_rms):>10}{thd:>9}  {margin_text(node)}{first}"
            )
    return "\n".join(lines)


def rounded(value: float, half: float | None) -> str:
    """Return a value with its ±: the ± with two figures, the value to the same decimal (JCGM 100:2008, 7.2.6)."""
    if not half or not math.isfinite(half) or not math.isfinite(value):
        return f"{value:.3g}"
    digits = max(0, 1 - math.floor(math.log10(half)))
    if digits > 4:  # more precise than needed
        return f"{value:.4f}".rstrip("0").rstrip(".") if abs(value) < 1000 else f"{value:.1f}"
    return f"{value:.{digits}f} ± {half:.{digits}f}"


def measurement_text(measurement: Measurement) -> str:
    """Return the measurement of a recording as text, a paragraph per channel."""
    lines = []
    for channel in measurement.channels:
        said = [f"channel {channel.channel}: {channel.verdict.replace('_', ' ')}"]
        if channel.frequency_hz is not None:
            said.append(f"{channel.frequency_hz:.3f} Hz")
        for key, unit, name in (
            ("rms_dbfs", "dBFS", "level"),
            ("thd_percent", "%", "THD"),
            ("thd_n_percent", "%", "THD+N"),
            ("noise_dbfs", "dBFS", "noise"),
            ("v_rms", "V", "voltage"),
            ("clip_depth_db", "dB over the ceiling", "clipped"),
        ):
            value: float | None = getattr(channel, key)
            if value is not None and math.isfinite(value):
                half = channel.within.get(key)
                if key == "v_rms":
                    half = channel.within.get("volts_percent", 0.0) / 100 * value
                said.append(f"{name} {rounded(value, half)} {unit}")
        lines.append(_wrapped(", ".join(said), 2, "  "))
        if channel.frequency_hz is None:
            lines += [_wrapped(why, 4) for why in dict.fromkeys(channel.why_not.values())]
    return "\n".join(lines)
