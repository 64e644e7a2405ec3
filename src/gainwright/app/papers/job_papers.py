"""Papers of stored jobs, with the case and the recordings that belong to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

from gainwright.app.papers.papers import SIZES, SUFFIXES, PaperMaterial, check_date, make_paper, measured_for_paper
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.store import Store
    from gainwright.diagnose import Diagnoser, Diagnosis
    from gainwright.model import Entry, Job
    from gainwright.plan import Plan
    from gainwright.programme.music_result import MusicResult
    from gainwright.report.clean_steps import FoundVolume
    from gainwright.report.handover import Measured
    from gainwright.report.paper import Paper
    from gainwright.report.photos import PaperNote
    from gainwright.solve.hearing_dose import DayHearing

MEDIA_TYPES = {
    ".pdf": "application/pdf",
    ".html": "text/html; charset=utf-8",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
}


@dataclass(frozen=True, slots=True)
class PaperRequest:
    """A request for a paper: kind, language, size, date, a case by name, recordings by id (those marked for it when None), whether the set-up sheet is short, and whether a handover shows the photos and notes."""

    kind: str = "setup"
    language: str = "en"
    size: str = "a4"
    date: str = ""
    case: str = ""
    recordings: tuple[str, ...] | None = None
    short: bool = False
    photos: bool = False

    def checked(self, suffix: str = ".pdf") -> PaperRequest:
        """Return the request if it is valid.

        Raises
        ------
        CallError : an unknown kind, language, size or suffix, or an invalid date.
        """
        from gainwright.report.languages import language
        from gainwright.report.paper import PaperKind

        for what, value, there in (
            ("kind", self.kind, get_args(PaperKind)),
            ("size", self.size, SIZES),
            ("form", suffix, SUFFIXES),
        ):
            if value not in there:
                raise CallError(
                    say("there is no paper of {what} {value}", what=what, value=repr(value[:40])),
                    code="bad_paper",
                    where=what,
                    rule=say("there is {there}", there=", ".join(there)),
                )
        language(self.language)
        check_date(self.date)
        return self


def job_paper(
    store: Store,
    job: str,
    *,
    wanted: PaperRequest,
    read: Job,
    plan: Plan | None,
    entries: Sequence[Entry],
    music: MusicResult | None = None,
    volumes: tuple[FoundVolume, ...] = (),
    diagnosed: tuple[Diagnoser, Diagnosis] | None = None,
    hearing: DayHearing | None = None,
) -> Paper:
    """Return a paper of a stored job.

    Parameters
    ----------
    read, plan : the job, and its plan if it was made already.
    entries : evidence from its set-up run.
    music : what the music allows that will be played.
    volumes : the highest clean volumes that its run found.
    diagnosed : the diagnoser and the diagnosis, if they were made already.
    hearing : the hearing dose of its run.

    Raises
    ------
    CallError, JobError, RecordingError : a part of it is missing or invalid.
    """
    from gainwright.jobfile import read_entry, read_job_text

    case = store.cases.get(wanted.case).case if wanted.case else None
    if case is not None and wanted.kind in ("customer", "case"):
        read = read_job_text(case.job, name=wanted.case).job
    evidence = tuple(entries) if case is None else tuple(read_entry(dict(e), read) for e in case.evidence)
    measured = _measured(store, job, wanted) if wanted.kind == "handover" else ()
    material = PaperMaterial(
        evidence,
        case,
        measured,
        date=wanted.date,
        music=music,
        counted=store.cases.counted(),
        short=wanted.short,
        volumes=volumes,
        diagnosed=diagnosed,
        hearing=hearing,
        notes=_notes(store, job, plan) if wanted.photos and wanted.kind == "handover" else (),
    )
    return make_paper(read, kind=wanted.kind, material=material, plan=plan)


def _notes(store: Store, job: str, plan: Plan | None) -> tuple[PaperNote, ...]:
    from gainwright.app.set_up.photos import read_photo
    from gainwright.plan import labels
    from gainwright.report.paper import Picture
    from gainwright.report.photos import PaperNote
    from gainwright.texts import say

    numbers = {} if plan is None else labels(plan.lines)
    found = []
    for note in store.notes.of(job):
        number, picture = numbers.get(note.step, ""), None
        if note.media_type:
            photo = read_photo(store.notes.photo(note.id), keep_orientation=False)
            size = (photo.width, photo.height, photo.orientation)
            shown = say("Photo: {text}", text=note.text) if note.text else say("Photo without a note")
            picture = Picture(photo.content, photo.media_type, *size, shown)
        found.append(PaperNote(number, note.text, picture))
    return tuple(found)


def _measured(store: Store, job: str, wanted: PaperRequest) -> tuple[Measured, ...]:
    from gainwright.app.measuring.stored_recordings import handover_recordings
    from gainwright.metering import read_recording_bytes

    chosen = handover_recordings(store, job) if wanted.recordings is None else wanted.recordings
    measured = []
    for kept in reversed(store.recordings.of(job)):
        if kept.id in chosen:
            recording = read_recording_bytes(store.recordings.content(kept.id), name=kept.name)
            measured.append(
                measured_for_paper(
                    recording,
                    calibrate_v=kept.measured.get("calibrate_v"),
                    expect_hz=next((c.get("asked_hz") for c in kept.measured.get("channels", [])), None),
                    processing=(kept.measured.get("about") or {}).get("processing") or (),
                )
            )
    return tuple(measured)
