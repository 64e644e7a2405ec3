"""What a plan is: steps, targets, findings, as data. Wording for people is in the fields; rendering is elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

Phase = Literal["prepare", "leads", "controls", "source", "processor", "amplifier", "restore", "verify"]
Severity = Literal["blocker", "caution", "note"]
SetBy = Literal["amplifier", "speaker", "clip", "source"]


@dataclass(frozen=True, slots=True)
class Expect:
    """A reading to expect: its quantity, middle, and 95 % interval with the instrument's doubt."""

    quantity: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Adjust:
    """What the hand turns, and until when.

    Attributes
    ----------
    control : `head.volume`, `amp.gain`, `knob.level`.
    until : "last_clean" (highest place without visible clipping) or "v_rms" (a reading is reached).
    target : the reading for "v_rms", else NaN.
    """

    control: str
    until: Literal["last_clean", "v_rms"]
    target: float = math.nan


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    stage : the stage it is about, or an instrument, or empty.
    do, why : sentences.
    tone_hz, level_dbfs : the tone to play, None when none is.
    measure_at, instrument : where and with what, empty when nothing is read.
    outside : what a reading outside the interval suggests.
    visible : whether the instrument can see what the step is about.
    sets : controls to put somewhere, control -> text of the job file.
    adjust : what is turned until something is reached.
    speakers_off : speakers that are disconnected during the step.
    """

    id: str
    phase: Phase
    stage: str
    do: str
    why: str
    tone_hz: float | None = None
    level_dbfs: float | None = None
    measure_at: str = ""
    instrument: str = ""
    expect: Expect | None = None
    outside: str = ""
    visible: bool = True
    cautions: tuple[str, ...] = ()
    sets: dict[str, str] = field(default_factory=dict)
    adjust: Adjust | None = None
    speakers_off: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Target:
    """The voltage an amplifier step aims for, what sets it, and all that might have."""

    stage: str
    v_rms: float
    set_by: SetBy
    low_v: float
    high_v: float
    candidates: dict[str, float]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the job that a careful person would say."""

    severity: Severity
    code: str
    where: str
    message: str
    remedy: str

    def as_json(self) -> dict[str, str]:
        """Return the contract's object."""
        return {name: getattr(self, name) for name in ("severity", "code", "where", "message", "remedy")}


@dataclass(frozen=True, slots=True)
class Plan:
    """The work in order, the targets, the findings."""

    title: str
    steps: tuple[Step, ...]
    targets: tuple[Target, ...]
    findings: tuple[Finding, ...]

    @property
    def blocked(self) -> bool:
        """Whether something must be mended before the work can be done."""
        return any(finding.severity == "blocker" for finding in self.findings)

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        return {
            "title": self.title,
            "steps": [_step_json(step) for step in self.steps],
            "targets": [
                {
                    "stage": t.stage,
                    "v_rms": t.v_rms,
                    "set_by": t.set_by,
                    "v_rms_low": t.low_v,
                    "v_rms_high": t.high_v,
                    "candidates_v_rms": t.candidates,
                }
                for t in self.targets
            ],
            "findings": [finding.as_json() for finding in self.findings],
        }


def _step_json(step: Step) -> dict[str, Any]:
    plain = ("id", "phase", "stage", "do", "why", "tone_hz", "level_dbfs", "measure_at", "instrument")
    found: dict[str, Any] = {name: getattr(step, name) for name in plain}
    e = step.expect
    found["expect"] = e and {"quantity": e.quantity, "value": e.value, "low": e.low, "high": e.high}
    found |= {"outside": step.outside, "visible": step.visible, "cautions": list(step.cautions), "sets": step.sets}
    a = step.adjust
    target = None if a is None or math.isnan(a.target) else a.target
    found["adjust"] = a and {"control": a.control, "until": a.until, "target": target}
    found["speakers_off"] = list(step.speakers_off)
    return found
