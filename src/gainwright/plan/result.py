"""What a plan is: steps, targets, findings, as data. Wording for people is in the fields; rendering is elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from gainwright.results import Number

Phase = Literal["prepare", "leads", "controls", "source", "processor", "amplifier", "restore", "verify"]
Severity = Literal["blocker", "caution", "note"]
SetBy = Literal["amplifier", "speaker", "clip", "source"]


@dataclass(frozen=True, slots=True)
class Expect:
    """A reading to expect: its quantity, middle, and 95 % interval with the instrument's doubt.

    Attributes
    ----------
    lit : marks that an indicator shows at the middle; None when the reading is a number.
    may_be_lit : marks that are lit in some of the 95 % and dark in others.
    """

    quantity: str
    value: float
    low: float
    high: float
    lit: tuple[str, ...] | None = None
    may_be_lit: tuple[str, ...] = ()


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
    target: Number = math.nan


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
    """The voltage an amplifier step aims for, its 95 % interval, what sets it, and all that might have."""

    stage: str
    v_rms: float
    set_by: SetBy
    v_rms_low: float
    v_rms_high: float
    candidates_v_rms: dict[str, float]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the job that a careful person would say."""

    severity: Severity
    code: str
    where: str
    message: str
    remedy: str


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
