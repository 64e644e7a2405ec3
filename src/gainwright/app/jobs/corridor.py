"""The corridor of a stored job as controls are moved: the controls, the levels that follow, and storing the settings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.errors import CallError
from gainwright.quantities import read_plain_number
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.app.store import Store, StoredJob
    from gainwright.jobfile import JobFile
    from gainwright.model import Job
    from gainwright.solve import Levels

LOWEST_DB, HIGHEST_DB = -40.0, 12.0
"""Ends of a slider for a level whose range the job doesn't give; a typed number may go further."""
LONGEST_TEXT = 2000
HIDDEN = ("delay", "polarity")
"""Controls that don't change any level along a path."""
TEXTS = {"low_pass": "off", "high_pass": "off", "tone": "flat", "equaliser": "flat", "boost": "flat"}
"""Controls that are written as text in the job file -> the text of their neutral setting."""


@dataclass(frozen=True, slots=True)
class Control:
    """One control as it can be moved.

    Attributes
    ----------
    name : as in the job, `amp.gain`.
    kind : a number with a slider, a switch, or text of the job file (a filter, bands of an equaliser).
    unit : of the number.
    low, high, by : range and step of the slider.
    text : the present setting, without its unit.
    job_text : the setting in the job, without its unit.
    """

    name: str
    kind: Literal["number", "switch", "text"]
    unit: str
    low: float
    high: float
    by: float
    text: str
    job_text: str

    @property
    def stage(self) -> str:
        """The stage it belongs to."""
        return self.name.split(".")[0]

    @property
    def label(self) -> str:
        """Its name within its stage."""
        return " ".join(self.name.split(".")[1:]).replace("_", " ")

    @property
    def bands(self) -> bool:
        """Whether it takes bands of an equaliser."""
        from gainwright.jobfile import takes_bands

        return takes_bands(self.name)

    @property
    def moved(self) -> bool:
        """Whether its setting differs from the job's."""
        return self.text != self.job_text

    @property
    def setting(self) -> str:
        """Its setting as the job file writes it."""
        return f"{self.text} {self.unit}" if self.unit in ("%", "dB") else self.text


def controls_of(job: Job, typed: Mapping[str, str]) -> tuple[Control, ...]:
    """Return a job's controls, at the settings that were typed where there are any.

    Raises
    ------
    CallError : not a number, or a text that is too long; `where` is the control.
    """
    from gainwright.jobfile import controls, settings

    numbers = settings(job)
    result = []
    aliases = {f"{n}.at" for n in job.stages} | {f"{n}.out.{k}" for n in job.stages for k in ("low_pass", "high_pass")}
    for name, text in controls(job).items():
        last = name.rsplit(".", 1)[1]
        if last in HIDDEN or name in aliases:
            continue
        if last == "input_range":
            in_job = in_use(job, name)
            result.append(Control(name, "text", "", 0, 0, 0, _plain(typed.get(name, ""), name) or in_job, in_job))
        elif name in numbers:
            result.append(_number(job, name, numbers[name], typed.get(name)))
        elif last == "mute":
            in_job = "on" if text == "True" else "off"
            result.append(Control(name, "switch", "", 0, 1, 1, typed.get(name) or in_job, in_job))
        elif last in TEXTS:
            in_job = " ".join(text.split()) or TEXTS[last]
            setting = (_plain(typed[name], name) or TEXTS[last]) if name in typed else in_job
            result.append(Control(name, "text", "", 0, 0, 0, setting, in_job))
    return tuple(result)


def in_use(job: Job, control: str) -> str:
    """Return the position of an input range switch."""
    from gainwright.jobfile import input_range
    from gainwright.model import Amplifier

    stage = job.stages[control.split(".", maxsplit=1)[0]]
    return input_range(stage) if isinstance(stage, Amplifier) else ""


def _plain(text: str, control: str) -> str:
    if len(text) > LONGEST_TEXT:
        raise CallError(
            say("over {LONGEST_TEXT} characters", LONGEST_TEXT=LONGEST_TEXT),
            code="too_long",
            where=control,
            remedy=say("use fewer bands"),
        )
    return " ".join(text.split())


def _number(job: Job, name: str, in_job: float, typed: str | None) -> Control:
    from gainwright.jobfile import remote_top_db, volume_steps
    from gainwright.model import Amplifier, LevelControl, LineDriver, volume_of

    stage = job.stages[name.split(".", maxsplit=1)[0]]
    volume = volume_of(stage)
    if name.endswith(".volume") and volume is not None:
        unit, low, high, by = "step", 0.0, float(volume_steps(volume)), 1.0
    elif isinstance(stage, LineDriver):
        ends = stage.range
        unit, low, high, by = "dB", ends.low if ends else LOWEST_DB, ends.high if ends else HIGHEST_DB, 0.5
    elif name.endswith(".gain"):
        unit, low, high, by, in_job = "%", 0.0, 100.0, 1.0, 100 * in_job
    elif name.endswith(".remote_level") and isinstance(stage, Amplifier):
        ends = stage.remote_level.range if stage.remote_level is not None else None
        unit, low, high, by = "dB", ends.low if ends is not None else LOWEST_DB, remote_top_db(stage), 0.5
    elif isinstance(stage, LevelControl):
        lowest = stage.range.low if stage.range is not None else LOWEST_DB
        unit, low, high, by = "dB", lowest, 0.0, 0.5
    else:
        unit, low, high, by = "dB", LOWEST_DB, HIGHEST_DB, 0.5
    job_text = f"{in_job:.6g}"
    if typed is None or not typed.strip():
        return Control(name, "number", unit, low, high, by, job_text, job_text)
    try:
        value = read_plain_number(typed, unit)
    except ValueError:
        raise CallError(
            say("{typed} is not a number", typed=repr(typed.strip()[:30])),
            code="bad_setting",
            where=name,
            remedy=say("write, for example, {job_text}", job_text=job_text),
        ) from None
    return Control(name, "number", unit, low, high, by, f"{value:.6g}", job_text)


def moved_settings(controls: tuple[Control, ...]) -> dict[str, str]:
    """Return the controls whose settings differ from the job's, as the job file writes them."""
    return {
        c.name: c.setting if c.kind != "switch" else ("yes" if c.text == "on" else "no") for c in controls if c.moved
    }


def solve_corridor(job: Job, settings: Mapping[str, str], *, tone_hz: float, level_dbfs: float) -> Levels:
    """Return the corridor with controls at the given settings.

    Raises
    ------
    CallError : an invalid tone, level or setting.
    """
    from gainwright.jobfile import with_settings
    from gainwright.solve import Chain, levels

    check_tone(tone_hz=tone_hz, level_dbfs=level_dbfs)
    return levels(Chain(with_settings(job, settings)), tone_hz=tone_hz, level_dbfs=level_dbfs)


def check_tone(*, tone_hz: float, level_dbfs: float) -> None:
    """Refuse an invalid tone.

    Raises
    ------
    CallError : its frequency or its level is out of bounds.
    """
    if not (math.isfinite(tone_hz) and 1 <= tone_hz <= 100_000):
        raise CallError(
            say("a tone of {tone_hz} Hz is out of range", tone_hz=f"{tone_hz:g}"),
            code="bad_tone",
            rule=say("a tone is 1 Hz to 100 kHz"),
        )
    if not (math.isfinite(level_dbfs) and -150 <= level_dbfs <= 0):
        raise CallError(
            say("a level of {level_dbfs} dBFS is out of range", level_dbfs=f"{level_dbfs:g}"),
            code="bad_level",
            rule=say("a level is -150 to 0 dBFS (full scale is 0)"),
        )


def parse_settings(sets: Sequence[str]) -> Mapping[str, str]:
    """Read `NODE.CONTROL=VALUE` texts.

    Raises
    ------
    CallError : a text without `=`, or a control named twice.
    """
    settings: dict[str, str] = {}
    for text in sets:
        control, equals, value = text.partition("=")
        if not equals or not control.strip() or not value.strip():
            raise CallError(
                say("{text} isn't a setting", text=repr(text)),
                code="bad_setting",
                rule=say("a setting is CONTROL=VALUE"),
                remedy=say("write head.volume=30"),
            )
        if control.strip() in settings:
            raise CallError(
                say("{control} is set twice", control=control.strip()), code="bad_setting", remedy=say("set it once")
            )
        settings[control.strip()] = value.strip()
    return settings


def path_tones(job: Job) -> dict[str, tuple[float, float]]:
    """Return path -> (Hz, dBFS) of the tone that it is set up with, in signal order."""
    from gainwright.plan.context import PlanContext

    context = PlanContext(job)
    found = {}
    for path in context.chain.wiring.paths:
        stages = {node.stage for node in path.nodes}
        for end in context.ends:
            if end.stage in stages and path.speaker in end.speakers:
                found[path.name] = (end.tone_hz, -end.allowance_db)
    return found


def keep_settings(
    store: Store, job: str, read: JobFile, settings: Mapping[str, str], *, seen: int, by: str
) -> StoredJob:
    """Store the settings of controls as a new version of the job.

    Raises
    ------
    CallError, JobError : an invalid setting; nothing was written.
    ConflictError : somebody changed the job since.
    """
    from gainwright.app.jobs.stored_jobs import write_job
    from gainwright.app.jobs.written_settings import with_settings_written

    if not settings:
        raise CallError(say("no control was moved"), code="nothing_moved", remedy=say("move one, then save"))
    return write_job(store, job, with_settings_written(read, settings), seen=seen, by=by)
