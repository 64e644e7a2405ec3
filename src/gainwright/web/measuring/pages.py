"""Pages of live measurement, with the recordings of a job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Form, Query, Request, UploadFile
from starlette.responses import Response

from gainwright.app.measuring.level_check import level_tones
from gainwright.app.measuring.recording_limits import USUAL_CHANNELS, USUAL_RATE_HZ, longest_s
from gainwright.app.measuring.stored_recordings import import_recording, list_recordings, mark_recording
from gainwright.errors import GainwrightError
from gainwright.report.processing import processing_words
from gainwright.texts import say
from gainwright.web.measuring.recordings_api import What
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.set_up.evaluation import current_run, expected
from gainwright.web.site import CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.ports import InputDevice
    from gainwright.app.set_up.run import StepState
    from gainwright.app.store import StoredJob
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

From = Literal["here", "server"]
CAME = {"recorded here": say("recorded here"), "uploaded": say("uploaded")}
"""Where a recording comes from, as stored -> as shown."""
VERDICTS = {
    "clean": ("fits", say("clean")),
    "clipped": ("high", say("clipped")),
    "distorted": ("high", say("distorted")),
    "overloaded_input": ("stop", say("input full")),
    "no_tone": ("unknown", say("no tone")),
    "other_tone": ("unknown", say("other tone")),
    "too_short": ("unknown", say("too short")),
}
"""Verdict of a measurement -> kind of state on the sheet, and its words."""


@dataclass(frozen=True, slots=True)
class ForStep:
    """The step of the set-up run that a reading is taken for.

    Attributes
    ----------
    asked : kind of reading of the step, empty for none; only `volts` and `column` can be taken here.
    expects : the expected voltage in words, empty for none.
    name : of a recording for it: the place in words.
    seen : the number of its last entry.
    """

    id: str
    do: str
    asked: str
    expects: str
    tone: str
    name: str
    seen: int


@router.get("/live")
def alone(request: Request, site: CurrentSite, source: Annotated[From, Query(alias="from")] = "here") -> Response:
    """Show a measurement without a job."""
    return _live(request, site, None, source=source)


@router.get("/jobs/{job}/live")
def live(
    request: Request,
    site: CurrentSite,
    job: CurrentJob,
    source: Annotated[From, Query(alias="from")] = "here",
    step: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """Show the live measurement of a job, for a step of its set-up run if one is given, and its recordings."""
    return _live(request, site, job, source=source, step=step)


def _live(
    request: Request,
    site: Site,
    job: StoredJob | None,
    *,
    source: From,
    step: str = "",
    error: GainwrightError | None = None,
) -> Response:
    from gainwright.metering.tone_search import hertz
    from gainwright.model import RECORDER_VOLTS

    inputs: tuple[InputDevice, ...] = ()
    no_inputs: GainwrightError | None = None
    if source == "server":
        try:
            inputs = site.world.sound.devices()
        except GainwrightError as reason:
            no_inputs = reason
    recordings = [] if job is None else list_recordings(site.store, job.id)
    planned = None if job is None or not step else _planned(site, job, step)
    return page(
        request,
        "live.html",
        job=job,
        here="live",
        source=source,
        inputs=inputs,
        no_inputs=no_inputs,
        step=None if job is None or planned is None else _for_step(site, job, planned),
        check=level_tones(None if planned is None else planned.step),
        notes=[RECORDER_VOLTS],
        kept=[(k, _verdict(k.recording.measured)) for k in recordings if not k.removed],
        removed=[k for k in recordings if k.removed],
        verdicts=VERDICTS,
        came=CAME,
        hertz=hertz,
        processing_words=processing_words,
        microphone=job is not None and _has_microphone(site, job),
        longest=longest_s(USUAL_RATE_HZ, USUAL_CHANNELS),
        error=error,
    )


def _has_microphone(site: Site, job: StoredJob) -> bool:
    """Return whether a recorder of the job has a measuring microphone of known full scale."""
    from gainwright.model import Recorder

    try:
        instruments = site.models.job(job.text).instruments.values()
    except GainwrightError:  # a file that this version can't read
        return False
    return any(isinstance(i, Recorder) and i.full_scale_sound is not None for i in instruments)


def _planned(site: Site, job: StoredJob, wanted: str) -> StepState | None:
    return next((state for state in current_run(site, job).steps if state.step.id == wanted), None)


def _for_step(site: Site, job: StoredJob, state: StepState) -> ForStep:
    from gainwright.report.sheet import expected as expected_words

    step = state.step
    expect = expected(site, job, current_run(site, job), state, None) if state.asked in ("volts", "column") else None
    expects = "" if expect is None else expected_words(expect)
    tone = ""
    if step.tone_hz and step.level_dbfs is not None:
        tone = say("{hz} Hz at {level} dBFS", hz=f"{step.tone_hz:g}", level=f"{step.level_dbfs:g}")
    return ForStep(step.id, step.do, state.asked or "", expects, tone, step.where_text or step.id, state.seen)


def _verdict(measured: Any) -> str:
    """Return the worst verdict of a recording's channels."""
    from gainwright.metering.live import SEVERITY

    verdicts = [channel.get("verdict") for channel in measured.get("channels", [])]
    return max((verdict for verdict in verdicts if verdict in SEVERITY), key=SEVERITY.index, default="no_tone")


@router.post("/jobs/{job}/recordings")
def upload(request: Request, site: CurrentSite, job: CurrentJob, file: UploadFile) -> Response:
    """Import a sound file; if it can't be read, show why and store nothing."""

    def do() -> str:
        with site.uploads.turn():
            import_recording(site.store, job.id, file.file, name=file.filename or "", files=site.world.sound_files)
        return f"/jobs/{job.id}/live#recordings"

    return done_or_shown(do, lambda error: _live(request, site, job, source="here", error=error))


@router.post("/jobs/{job}/recordings/{recording}")
def change(site: CurrentSite, job: str, recording: str, what: Annotated[What, Form()]) -> Response:
    """Remove or restore a recording, add it to the handover or leave it out."""
    mark_recording(site.store, job, recording, what)
    return go_to(f"/jobs/{job}/live#recordings")
