"""Writing tones: one by options, or the whole set a job's plan plays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.plan import Plan
    from gainwright.signals import Tone

STEPPED_RANGE_DB, STEPPED_BY_DB, STEPPED_SECONDS = 20, 1, 2.0


@dataclass(frozen=True, slots=True)
class WrittenTone:
    """A file with a tone, and what it is for; of a run of levels the first."""

    file: str
    what: str
    tone_hz: float
    level_dbfs: float
    seconds: float
    rate_hz: int


def tones(
    job: Path | None,
    *,
    out: Path | None,
    tone_hz: float | None,
    level_dbfs: float,
    seconds: float,
    rate_hz: int,
    bits: int,
    sides: str,
    flac: bool,
) -> list[WrittenTone]:
    """Write a job's tones into a folder, or one tone into a file; return what was written.

    Raises
    ------
    JobError : the file is no job.
    CallError : options that don't fit together, a tone that can't be, a place that can't be written.
    """
    if (job is None) == (tone_hz is None):
        raise CallError(
            "it is not said which tones",
            code="bad_call",
            rule="name a job for its whole set, or a frequency for one",
            where="tone",
        )
    if out is None:
        raise CallError(
            "it is not said where to",
            code="bad_call",
            where="output",
            rule="it is a folder for a job, a file for one tone",
        )
    common = {"seconds": seconds, "rate_hz": rate_hz, "bits": bits}
    if job is not None:
        return _job_tones(job, out, flac=flac, common=common)
    from gainwright.signals import Tone, write_tone

    tone = Tone(float(tone_hz or 0.0), (level_dbfs,), sides=sides, **common)  # type: ignore[arg-type]
    write_tone(out, tone)
    return [_written(str(out), tone, f"{tone.frequency_hz:g} Hz at {level_dbfs:g} dBFS")]


def _written(file: str, tone: Tone, what: str) -> WrittenTone:
    return WrittenTone(file, what, tone.frequency_hz, tone.levels_dbfs[0], tone.seconds, tone.rate_hz)


def _job_tones(job: Path, out: Path, *, flac: bool, common: dict[str, Any]) -> list[WrittenTone]:
    from gainwright.jobfile import read_job
    from gainwright.plan import make_plan
    from gainwright.signals import numbered, write_set

    read = read_job(job).job
    entries = numbered(plan_tones(make_plan(read), **common), flac=flac)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CallError(
            f"can't be made: {error.strerror}", code="not_written", where=str(out), remedy="choose another folder"
        ) from None
    write_set(out, entries, title=read.title)
    return [_written(str(out / e.file), e.tone, e.what) for e in entries]


def plan_tones(plan: Plan, *, seconds: float, rate_hz: int, bits: int) -> list[tuple[Tone, str]]:
    """Return the tones that a plan plays, each once, in the order of first use, and a stepped run for each frequency."""
    from gainwright.signals import Tone

    uses: dict[tuple[float, float], list[str]] = {}
    for step in plan.steps:
        if step.tone_hz is not None and step.level_dbfs is not None:
            uses.setdefault((step.tone_hz, step.level_dbfs), []).append(step.stage)
    found = [
        (Tone(hz, (level,), seconds, rate_hz, bits), f"for {', '.join(dict.fromkeys(stages))}")
        for (hz, level), stages in uses.items()
    ]
    levels = tuple(float(v) for v in range(-STEPPED_RANGE_DB, 1, STEPPED_BY_DB))
    for hz in dict.fromkeys(hz for hz, _ in uses):
        what = f"a run of levels in steps of {STEPPED_BY_DB} dB, to hear or see where something begins to clip"
        found.append((Tone(hz, levels, STEPPED_SECONDS, rate_hz, bits), what))
    return found
