"""The verbs that read a job and answer from the model: check, plan, levels."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gainwright.app.ports import Charts
    from gainwright.diagnose import Learned
    from gainwright.model import Job
    from gainwright.plan import Attenuator, Finding, Plan
    from gainwright.solve import Levels

SERIES = (6, 12, 24, 48, 96, 192)


def check(path: Path) -> tuple[Job, tuple[Finding, ...]]:
    """Read a job and return it with its engineering findings.

    Raises
    ------
    JobError : the file is no job.
    """
    from gainwright.jobfile import read_job

    job = read_job(path).job
    from gainwright.plan import check_job

    return job, check_job(job)


def plan(path: Path) -> Plan:
    """Read a job and return its plan.

    Raises
    ------
    JobError : the file is no job.
    """
    from gainwright.jobfile import read_job

    job = read_job(path).job
    from gainwright.plan import make_plan

    return make_plan(job)


def plan_with(path: Path, evidence: Path) -> tuple[Plan, tuple[Learned, ...]]:
    """Read a job and its evidence; return the plan with what the readings taught, and what that is.

    Raises
    ------
    JobError : the job or the evidence can't be read.
    """
    from gainwright.jobfile import read_evidence, read_job

    job = read_job(path).job
    entries = read_evidence(evidence, job)
    from gainwright.diagnose import Diagnoser, learn
    from gainwright.plan import make_plan

    learned, told = learn(Diagnoser(job), entries)
    return make_plan(job, learned=learned), told


def attenuators(path: Path, *, recorder: str, series: int, tolerance_percent: float) -> list[Attenuator]:
    """Read a job and return the divider that each of its amplifiers needs before a recorder.

    Raises
    ------
    JobError : the file is no job.
    CallError : no recorder, no amplifier, another series or tolerance.
    """
    if series not in SERIES:
        raise CallError(
            f"a series E{series}", code="bad_option", where="series", rule=f"it is {', '.join(map(str, SERIES))}"
        )
    from gainwright.jobfile import read_job

    job = read_job(path).job
    from gainwright.plan import design_attenuators

    return design_attenuators(job, recorder=recorder, series=series, tolerance=tolerance_percent / 100)


def levels(path: Path, *, tone_hz: float, level_dbfs: float, sets: Sequence[str]) -> tuple[Job, Levels]:
    """Read a job, put controls where `sets` says (`head.volume=30`), and return the corridor.

    Raises
    ------
    JobError : the file is no job.
    CallError : a tone, level or setting that can't be.
    """
    check_tone(tone_hz=tone_hz, level_dbfs=level_dbfs)
    from gainwright.jobfile import read_job, with_settings

    job = with_settings(read_job(path).job, settings_from(sets))
    from gainwright import solve

    return job, solve.levels(solve.Chain(job), tone_hz=tone_hz, level_dbfs=level_dbfs)


def check_tone(*, tone_hz: float, level_dbfs: float) -> None:
    """Refuse a tone that can't be.

    Raises
    ------
    CallError : its frequency or its level can't be.
    """
    if not (math.isfinite(tone_hz) and 1 <= tone_hz <= 100_000):
        raise CallError(f"a tone of {tone_hz:g} Hz", code="bad_tone", rule="a tone is 1 Hz to 100 kHz")
    if not (math.isfinite(level_dbfs) and -150 <= level_dbfs <= 0):
        raise CallError(
            f"a level of {level_dbfs:g} dBFS", code="bad_level", rule="a level is -150 to 0 dBFS (full scale is 0)"
        )


def settings_from(sets: Sequence[str]) -> Mapping[str, str]:
    """Read `NODE.CONTROL=VALUE` texts.

    Raises
    ------
    CallError : a text without `=`, or a control named twice.
    """
    found: dict[str, str] = {}
    for text in sets:
        control, equals, value = text.partition("=")
        if not equals or not control.strip() or not value.strip():
            raise CallError(
                f"{text!r} sets nothing",
                code="bad_setting",
                rule="a setting is CONTROL=VALUE",
                remedy="write head.volume=30",
            )
        if control.strip() in found:
            raise CallError(f"{control.strip()} is set twice", code="bad_setting", remedy="give it once")
        found[control.strip()] = value.strip()
    return found


def draw_corridor(corridor: Levels, charts: Charts, *, title: str, path: Path) -> None:
    """Draw a corridor into a file.

    Raises
    ------
    CallError : the suffix is no picture, or the file can't be written.
    """
    from gainwright.report import corridor_chart

    picture = charts.render(corridor_chart(corridor, title=title), path.suffix.lower())
    write_bytes(path, picture)


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    CallError : it can't be written there.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise CallError(
            f"can't be written: {error.strerror}", code="not_written", where=str(path), remedy="choose another place"
        ) from None
