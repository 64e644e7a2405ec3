"""The public functions: the whole job in Python, from a job file to the papers."""

from __future__ import annotations

from contextlib import closing, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.diagnose import Diagnosis
    from gainwright.metering import Knee, Measurement
    from gainwright.model import Entry, Job
    from gainwright.plan import Finding, Plan
    from gainwright.programme.music_result import MusicResult
    from gainwright.solve import Levels


def load_job(path: Path | str) -> Job:
    """Read a job file.

    Raises
    ------
    JobError : it isn't there or is no job; `where` names file, line, column and key.
    """
    from gainwright.jobfile import read_job

    return read_job(path).job


def check_job(job: Job) -> tuple[Finding, ...]:
    """Return what a careful person would say of a job before any work; a blocker has the severity `blocker`."""
    from gainwright.plan import check_job as check

    return check(job)


def levels(job: Job, *, tone_hz: float, level_dbfs: float = 0.0, settings: Mapping[str, str] | None = None) -> Levels:
    """Return the level, floor and ceiling of a tone at every node, each with its 95 % interval.

    Parameters
    ----------
    tone_hz : 1 Hz to 100 kHz.
    level_dbfs : -150 to 0 dBFS (AES17: 0 dBFS is a full-scale sine).
    settings : controls that stand elsewhere than the job says, as `{"head.volume": "30", "amp.gain": "20 %"}`.

    Raises
    ------
    CallError : an impossible tone, level or setting.
    """
    from gainwright.app.jobs.corridor import solve_corridor

    return solve_corridor(job, settings or {}, tone_hz=tone_hz, level_dbfs=level_dbfs)


def make_plan(job: Job, *, evidence: Path | str | Sequence[Mapping[str, Any]] = ()) -> Plan:
    """Return the plan of a job: its steps in order, the targets in V rms, and the findings.

    Parameters
    ----------
    evidence : readings so far, a file or entries as mappings; what they taught is in what the steps expect.

    Raises
    ------
    JobError : the evidence doesn't fit this job.
    """
    from gainwright import plan

    entries = _entries(job, evidence)
    if not entries:
        return plan.make_plan(job)
    from gainwright.diagnose import Diagnoser, learn_values

    draws, _ = learn_values(Diagnoser(job), entries)
    return plan.make_plan(job, learned=draws)


def write_tones(
    plan: Plan, folder: Path | str, *, seconds: float = 60.0, rate_hz: int = 44_100, bits: int = 16, flac: bool = False
) -> list[Path]:
    """Write every tone that a plan plays, and a list of them, into a folder; return the files.

    Parameters
    ----------
    seconds : length of each steady tone.
    rate_hz : 44100, 48000, 88200 or 96000.
    bits : 16 (dithered) or 24.

    Raises
    ------
    CallError : an impossible length, rate or depth, a folder that can't be written, or a plan that a blocker stops.
    """
    from gainwright.adapters.files import make_folder, write_file
    from gainwright.app.tones import plan_tones
    from gainwright.signals import number_tones, set_files

    entries = number_tones(plan_tones(plan, seconds=seconds, rate_hz=rate_hz, bits=bits), flac=flac)
    folder = Path(folder)
    make_folder(folder)
    written = []
    for name, content in set_files(entries, title=plan.title):
        write_file(folder / name, content)
        written.append(folder / name)
    return written


def measure(
    recording: Path | str,
    *,
    calibrate_v: float | None = None,
    expect_hz: float | None = None,
    limit_percent: float = 1.0,
) -> Measurement:
    """Measure a recording of a steady tone, channel by channel.

    Parameters
    ----------
    recording : a WAV, FLAC, OGG, MP3 or AIFF file.
    calibrate_v : V rms that a full-scale sine in the file stands for; levels are in dBFS only without it.
    expect_hz : the frequency played, to look only near it.
    limit_percent : THD up to which a tone is clean.

    Raises
    ------
    RecordingError : it can't be read, or holds samples that aren't numbers.
    CallError : an option out of its bounds.
    """
    from gainwright import metering

    with metering.opened_recording(recording) as opened:
        return metering.measure(opened, calibrate_v=calibrate_v, expect_hz=expect_hz, limit_percent=limit_percent)


def find_knee(
    steps: Sequence[float],
    readings_v: Sequence[float],
    *,
    meter: Literal["true-rms", "average", "unknown"] = "unknown",
    accuracy_percent: float = 1.0,
    limit_percent: float = 1.0,
    lower: tuple[Sequence[float], Sequence[float]] | None = None,
    lower_db: float = 10.0,
) -> Knee:
    """Return where clipping begins, from a meter's readings at steps of one control.

    Parameters
    ----------
    steps, readings_v : one place of the control and one reading in V rms each; the lengths are equal.
    meter, accuracy_percent : how the meter responds (`unknown` weighs both), and its accuracy of the reading.
    limit_percent : THD up to which a sine is clean.
    lower, lower_db : steps and readings of the same control once more, with the tone lower by that many dB: they show the
        control's own steps. `Knee.lower_steps` names the steps when that would decide.

    Raises
    ------
    ReadingError : lengths that differ, readings that aren't positive numbers, a second column that isn't 3 to 40 dB lower.
    CallError : an accuracy outside 0.01 to 20 %.
    """
    from gainwright import metering
    from gainwright.app.measuring.knee import meter_kind

    kind = meter_kind(meter=meter, accuracy_percent=accuracy_percent)
    second = None if lower is None else metering.LowerColumn(*lower, lower_db)
    return metering.find_knee(steps, readings_v, meter=kind, limit_thd=limit_percent / 100, lower=second)


def find_fault(
    job: Job,
    evidence: Path | str | Sequence[Mapping[str, Any]] = (),
    *,
    unreachable: Sequence[str] = (),
    closed_by_cause: Mapping[str, int] | None = None,
) -> Diagnosis:
    """Return what is probably wrong with a chain, why, and the next test; the causes' probabilities sum to 1.

    Parameters
    ----------
    evidence : what was read, looked at and heard: a file or entries as mappings.
    unreachable : stages and leads that can't be got at.
    closed_by_cause : how many of the workshop's cases were closed with each cause; they sharpen the priors.

    Raises
    ------
    JobError : the evidence doesn't fit this job.
    CallError : a place that the job doesn't have.
    """
    from gainwright.app.cases.diagnosis import diagnose

    entries = _entries(job, evidence)
    return diagnose(job, entries, unreachable=unreachable, counted=closed_by_cause or {})


def scan_music(
    paths: Sequence[Path | str], *, job: Job | None = None, workers: int | None = None, keep: bool = True
) -> MusicResult:
    """Scan music and return how far below full scale the set-up tones may sit for it, band by band.

    Parameters
    ----------
    paths : folders, searched to the bottom, and files.
    job : whose outputs are the bands; without one they are usual ones.
    workers : how many processes; one for each core when left out.
    keep : whether results are kept in the person's cache folder and reused.

    Raises
    ------
    CallError : nothing is there at a path, or no recording could be read.
    """
    from gainwright.app.music.allowances import allowances, job_bands
    from gainwright.app.music.scan import scan
    from gainwright.composition import compose

    world = compose()
    bands, _ = job_bands(job)
    names = [str(path) for path in paths]
    with closing(world.music_cache()) if keep else nullcontext() as cache:
        found = scan(names, bands=bands, files=world.music_files, workers=world.music_workers(workers), cache=cache)
    return allowances(found, job)


def write_paper(
    job: Job,
    out: Path | str,
    *,
    kind: Literal["setup", "handover", "customer", "case", "power"] = "setup",
    evidence: Path | str | Sequence[Mapping[str, Any]] = (),
    date: str = "",
    language: Literal["en", "de"] = "en",
    size: Literal["a4", "letter"] = "a4",
) -> Path:
    """Write a paper about a job as .pdf, .html, .json or .csv; return the file.

    Parameters
    ----------
    kind : the set-up sheet, the handover, the customer's page or the case.
    evidence : what was read or found: a file or entries as mappings.
    date : as YYYY-MM-DD; none stands on it when empty.

    Raises
    ------
    JobError : the evidence doesn't fit this job.
    CallError : an unknown kind, suffix or language, an invalid date, or the file can't be written.
    """
    from gainwright.adapters.files import write_file
    from gainwright.app.papers.papers import PaperMaterial, make_paper, paper_bytes
    from gainwright.composition import compose

    out, world = Path(out), compose()
    paper = make_paper(job, kind=kind, material=PaperMaterial(_entries(job, evidence), date=date))
    content = paper_bytes(paper, out.suffix, charts=world.charts, printer=world.printer, code=language, size=size)
    write_file(out, content)
    return out


def _entries(job: Job, evidence: Path | str | Sequence[Mapping[str, Any]]) -> tuple[Entry, ...]:
    from gainwright.jobfile import read_entry, read_evidence

    if isinstance(evidence, Path | str):
        return read_evidence(evidence, job)
    return tuple(read_entry(dict(entry), job) for entry in evidence)
