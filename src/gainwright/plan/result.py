"""A plan as data: steps, targets, findings, with their sentences; rendering is elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from gainwright.results import Number
from gainwright.solve.ear_level import EarLevel

Phase = Literal["prepare", "leads", "controls", "source", "processor", "amplifier", "restore", "verify"]
Severity = Literal["blocker", "caution", "note"]
System = Literal["off", "on", "running"]
Volume = Literal["", "lowest", "rising", "clean_limit"]
SetBy = Literal["amplifier", "speaker", "clip", "source"]


@dataclass(frozen=True, slots=True)
class Expect:
    """An expected reading: quantity, nominal value, and its ends with the instrument's uncertainty.

    Attributes
    ----------
    interval_95 : whether the ends bound the central 95 % of the draws; else they are limits of what is right.
    lit : marks of an indicator that are lit at the nominal value; None if the reading is a number.
    may_be_lit : marks that are lit in a part of the 95 % interval only.
    costs_level_over : of a lead, the reading above which it takes level away; None for other readings.
    """

    quantity: str
    value: float
    low: float
    high: float
    lit: tuple[str, ...] | None = None
    may_be_lit: tuple[str, ...] = ()
    interval_95: bool = False
    costs_level_over: float | None = None


@dataclass(frozen=True, slots=True)
class Adjust:
    """A control to turn, and the condition at which to stop.

    Attributes
    ----------
    control : `head.volume`, `amp.gain`, `knob.level`.
    until : "last_clean" (highest setting without visible clipping) or "v_rms" (a reading is reached).
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
    stage : the stage or instrument concerned, or empty.
    do, why : sentences.
    tone_hz, level_dbfs : the tone to play, None if there is none.
    measure_at, instrument : node and instrument, empty if nothing is read.
    outside : what a reading outside the interval suggests, on either side.
    if_low, if_high : the same for one side, without the word for it; empty where both sides suggest the same.
    visible : whether the instrument can show the result of the step.
    sets : controls to set, control -> setting as the job file writes it.
    adjust : a control to turn until a condition is met.
    speakers_off : speakers that are disconnected during the step.
    proves : the control whose place the reading proves, empty for any other reading.
    system : off, on with the engine off, or running (the engine or a charger).
    volume : where the source's volume stands; empty while the system is off.
    seconds_at_most : how long its tone may play at a time; None where nothing plays at full level.
    load_tone_hz, load_tone_dbfs : tone into connected speakers, where it is another than that of the set-up; else None.
    pause_seconds : the least pause until its tone plays again, so that no coil overheats; None where none is needed.
    ear : how loud its tone is at the ear; None where no speaker is connected, or the tone isn't known.
    file : name of its tone in the plan's set of tones.
    where_text : where it is read, or the control that is set, in words.
    note : a few words beside the reading or setting where several steps stand in one line.
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
    proves: str = ""
    system: System = "off"
    volume: Volume = ""
    seconds_at_most: float | None = None
    pause_seconds: float | None = None
    file: str = ""
    where_text: str = ""
    note: str = ""
    if_low: str = ""
    if_high: str = ""
    ear: EarLevel | None = None
    load_tone_hz: float | None = None
    load_tone_dbfs: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the sheet: a step, or several that are one piece of work.

    Attributes
    ----------
    number : from 1, the same on every screen and paper; 0 for a result that is only written down.
    group : `leads`, `coils`, `gains`, ...; the step's id where it stands alone.
    do, short : a sentence, and the same in a few words.
    steps : ids, in order.
    """

    number: int
    group: str
    phase: Phase
    do: str
    short: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Target:
    """The target voltage of an amplifier, its 95 % interval, what sets it, and all candidates; `where_text` names it in words."""

    stage: str
    v_rms: float
    set_by: SetBy
    v_rms_low: float
    v_rms_high: float
    candidates_v_rms: dict[str, float]
    where_text: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A problem or remark about the job, with its remedy.

    Attributes
    ----------
    remedy : what to do, empty if there is nothing to do.
    remedy_sets : the same as changes of the job, as `with_changes` takes them; empty where it can't be said so.
    where_text : the place in words.
    """

    severity: Severity
    code: str
    where: str
    message: str
    remedy: str
    remedy_sets: dict[str, str] = field(default_factory=dict)
    where_text: str = ""


@dataclass(frozen=True, slots=True)
class CleanVolume:
    """The highest volume of a source at which nothing before the amplifiers clips, at every frequency.

    Attributes
    ----------
    step, low, high : at nominal values, and its 95 % interval, in steps.
    limited_by : the node that clips first.
    clean_to_dbfs : 0, or the level up to which programme is clean at `clean_to_hz`: the source's own boost clips louder
        programme there at any volume.
    """

    stage: str
    step: float
    low: float
    high: float
    limited_by: str
    clean_to_dbfs: float
    clean_to_hz: float | None


@dataclass(frozen=True, slots=True)
class FullScale:
    """An amplifier under programme at full scale, at the highest clean volume and at the frequency that drives it most.

    Attributes
    ----------
    over_db : how far it is past its ceiling; negative while it is clean.
    v_rms, watts : at its terminals, and into the speaker that reaches its rating first; None without a speaker.
    rating_w : of that speaker, None if unknown.
    allowance_db : what its set-up tone lay below full scale.
    where_text, speaker_text : amplifier and speaker in words.
    """

    stage: str
    tone_hz: float
    over_db: float
    v_rms: float
    watts: float | None
    speaker: str
    rating_w: float | None
    allowance_db: float
    where_text: str = ""
    speaker_text: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """The work in order, the targets, the findings, what holds at the highest clean volume, the cautions that hold throughout, the numbered lines.

    With a blocker the steps end before the first that needs power.
    """

    title: str
    steps: tuple[Step, ...]
    targets: tuple[Target, ...]
    findings: tuple[Finding, ...]
    volumes: tuple[CleanVolume, ...] = ()
    full_scale: tuple[FullScale, ...] = ()
    cautions: tuple[str, ...] = ()
    lines: tuple[Line, ...] = ()

    @property
    def blocked(self) -> bool:
        """Whether something must be repaired before the work can be done."""
        return any(finding.severity == "blocker" for finding in self.findings)
