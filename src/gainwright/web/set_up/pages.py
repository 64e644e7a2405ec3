"""The set-up run: all steps with their state, and one step a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, cast, get_args

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from gainwright.app.set_up.advice import advice
from gainwright.app.set_up.run import LONGEST_KEY, Run, RunLine, StepState, add_entry, expected_place
from gainwright.app.set_up.unanswered import answered, keep_unanswered, unanswered
from gainwright.app.store import ConflictError, RunKind
from gainwright.app.tones import tone_archive
from gainwright.errors import DoubtfulReadingError, GainwrightError
from gainwright.model import describe_marks, instrument_title
from gainwright.web.form_fields import Fields, seen_of
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.set_up.evaluation import (
    current_run,
    evaluation_or_work,
    evaluation_shown,
    expected,
    follows,
    run_changes,
    run_hearing,
)
from gainwright.web.set_up.wording import (
    ENTRY_WORDS,
    PHASES,
    RESULTS,
    VERDICTS,
    ShownStep,
    entered,
    gauge,
    knee_of,
    quantity_words,
    reading_words,
    typed_words,
)
from gainwright.web.shown_errors import shown, status_of
from gainwright.web.site import Actor, CurrentJob, CurrentSite, device_of

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.metering import Knee
    from gainwright.web.background import Work
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

NONE = "-"
"""Names no entry that waits for an answer."""
WORDS: dict[str, Any] = {
    "reading_words": reading_words,
    "describe_marks": describe_marks,
    "entry_words": ENTRY_WORDS,
    "verdicts": VERDICTS,
}
"""How the pages say what was entered."""
TONE_SECONDS = 30.0
"""Default length of downloaded tones."""
UNSEEN = "kept"
"""Header `x-swap` of an entry that a device had kept: nobody looks at its answer, so nothing is worked out for it."""


@router.get("/jobs/{job}/setup")
def overview(
    request: Request, site: CurrentSite, actor: Actor, job: CurrentJob, tones: str = "", short: bool = False
) -> Response:
    """Show the lines of the sheet with their state, in full or in short, and the next step."""
    run = current_run(site, job)
    from gainwright.report.figures import volts
    from gainwright.report.sheet import expected as expected_words

    phases: dict[str, list[RunLine]] = {}
    for line in run.lines:
        phases.setdefault(PHASES[line.line.phase] if line.line.number else RESULTS, []).append(line)
    return page(
        request,
        "setup.html",
        job=job,
        here="setup",
        run=run,
        phases=list(phases.items()),
        short=short,
        expected=lambda s: expected_words(expected(site, job, run, s, None) or s.step.expect),
        **WORDS,
        volts=volts,
        outside=[s for s in run.steps if s.verdict in ("low", "high", "off")],
        waiting=[s for s in run.steps if s.step.id in {w.step for w in unanswered(site.store, job.id, by=actor)}],
        changes=run_changes(site, job, run),
        **_hearing(site, job, run),
        work=_work(site, tones),
        seconds=TONE_SECONDS,
    )


def _hearing(site: Site, job: StoredJob, run: Run) -> dict[str, Any]:
    """Return the hearing dose so far, in words, and the steps with a tone that is heard; nothing for a plan without one."""
    from gainwright.report.hearing_dose import dose_rows, remarks, verdict
    from gainwright.report.sheet import ear_text

    heard = [(s, ear_text(s.step.ear)) for s in run.steps if s.step.ear is not None]
    found = run_hearing(site, job)
    return {
        "heard": heard,
        "hearing": found,
        "dose_rows": dose_rows(found),
        "dose_verdict": verdict(found.of_day),
        "dose_remarks": remarks(found, site.models.job(job.text)),
    }


def _work(site: Site, work: str) -> Work | None:
    try:
        return site.background.get(work) if work else None
    except GainwrightError:
        return None


@router.post("/jobs/{job}/setup/tones")
def tones(
    site: CurrentSite, job: CurrentJob, seconds: Annotated[float, Form()] = TONE_SECONDS, flac: str = ""
) -> Response:
    """Write all tones of the plan to one archive, in the background."""
    plan = site.models.plan(job.text)

    def do(work: Work) -> None:
        content = tone_archive(plan, seconds=seconds, flac=bool(flac), on_progress=work.report)
        work.keep_file(content, name="tones.zip", media_type="application/zip")

    work = site.background.start("Tones for a USB stick", do, back=f"/jobs/{job.id}/setup")
    return go_to(f"/jobs/{job.id}/setup?tones={work.id}#stick")


@router.get("/jobs/{job}/setup/{step}")
def show(request: Request, site: CurrentSite, job: CurrentJob, step: str) -> Response:
    """Show one step: what to do, what to expect, and its entries."""
    return step_page(request, site, job, step)


def step_page(
    request: Request,
    site: Site,
    stored: StoredJob,
    step: str,
    *,
    error: GainwrightError | None = None,
    mine: str = "",
    kind: RunKind | None = None,
    note: str = "",
    note_error: GainwrightError | None = None,
) -> Response:
    """Return the page of a step.

    Parameters
    ----------
    error, mine, kind : why an entry wasn't taken, what was typed, and as what.
    note, note_error : the same of a note.
    """
    run = current_run(site, stored)
    state = run.of(step)
    swap = request.headers.get("x-swap")
    learned, work = (None, None) if swap == UNSEEN else evaluation_or_work(site, stored, run)
    expect = expected(site, stored, run, state, learned)
    entry, step_expect = state.entry, state.step.expect
    shown_expect = {"look": None, "column": expected_place(run, state), "place": expected_place(run, state)}.get(
        state.asked or "", expect
    )
    knee, knee_work = _knee(site, stored, state, swap)
    by_now: dict[str, Any] = {"learned": learned, "work": work, "expect": expect}
    by_now["follows"] = follows(site, stored, run, state)
    by_now |= {"note": note, "note_error": None if note_error is None else shown(note_error)}
    by_now |= _kept(site, stored.id, state, by=device_of(request), mine=mine)
    return page(
        request,
        "setup_step.html",
        job=stored,
        here="setup",
        run=run,
        it=state,
        shown=ShownStep(state, run, site.models.job(stored.text)),
        gauge=gauge(shown_expect, state.value if state.state == "done" and entry is not None else {}),
        volts_there=step_expect if shown_expect is not step_expect and state.asked == "column" else None,
        knee=knee,
        knee_work=knee_work,
        **_lower_column(state),
        before=run.steps[state.number - 2] if state.number > 1 else None,
        next=run.after(step),
        error=None if isinstance(error, (ConflictError, DoubtfulReadingError)) else error,
        status=200 if (wrong := error or note_error) is None else status_of(wrong),
        called=instrument_title,
        typed_words=lambda text: typed_words(text, state.asked or ""),
        advice=advice(state.step, state.verdict, state.value),
        kind=kind,
        quantity=lambda value: quantity_words(value, "v_rms"),
        fresh_cautions=_fresh(run, state),
        **WORDS,
        **by_now,
    )


def _kept(site: Site, job: str, state: StepState, *, by: str, mine: str) -> dict[str, Any]:
    """Return what is kept of a step besides its entries: the notes, and what a device has typed that waits for an answer."""
    waiting = [w for w in unanswered(site.store, job, by=by) if w.step == state.step.id]
    return {
        "notes": [n for n in site.store.notes.of(job) if n.step == state.step.id],
        "conflicts": [w for w in waiting if w.why == "conflict"],
        "asked": [w for w in waiting if w.why == "asked"],
        "mine": mine or next((w.text for w in waiting if w.kind == "reading"), ""),
    }


def _lower_column(state: StepState) -> dict[str, Any]:
    """Return whether the last row was read with the tone lower, and the step that follows it there."""
    last = next((e for e in reversed(state.history) if e.kind == "reading"), None)
    reads_lower = last is not None and bool(last.value.get("lower_db")) and bool(state.column.lower)
    return {"reads_lower": reads_lower, "next_lower": state.column.next_lower if reads_lower else None}


def _knee(
    site: Site, stored: StoredJob, state: StepState, swap: str | None
) -> tuple[tuple[Knee | None, str], Work | None]:
    """Return the knee of a column so far; for a swapped part of a page, the work that finds it unless it is cached."""
    if state.asked != "column" or not state.rows or swap == UNSEEN:
        return (None, ""), None
    job = site.models.job(stored.text)
    key = f"{stored.text}\n{state.step.id}{state.column}"
    if swap is None or site.models.has("knee", key):
        return site.models.kept("knee", key, lambda: knee_of(state, job)), None

    def do(work: Work) -> None:
        work.report(None, "finding where clipping begins")
        site.models.kept("knee", key, lambda: knee_of(state, job))

    return (None, ""), site.background.start(
        "Where clipping begins", do, back=f"/jobs/{stored.id}/setup/{state.step.id}"
    )


def _fresh(run: Run, state: StepState) -> bool:
    """Return whether a step has a caution that no finished step before it had."""
    read = {words for s in run.steps[: state.number - 1] if s.state == "done" for words in s.step.cautions}
    return state.state == "open" and not read.issuperset(state.step.cautions)


@router.post("/jobs/{job}/setup/{step}")
def enter(request: Request, site: CurrentSite, actor: Actor, job: CurrentJob, step: str, given: Fields) -> Response:
    """Store an entry of a step: a reading, done, skipped with a reason, or taken back."""
    run = current_run(site, job)
    state = run.of(step)
    kind = cast("RunKind", given["kind"]) if given.get("kind") in get_args(RunKind) else "reading"
    text = entered(state, given) if kind == "reading" else given.get("text", "")
    learned = evaluation_shown(site, given.get("basis", ""))
    answer = given.get("answers", "")
    if given.get("kind") == "dropped":
        answered(site.store, job.id, by=actor, step=step, entry=answer or NONE)
        return go_to(f"/jobs/{job.id}/setup/{step}")

    def do() -> str:
        try:
            add_entry(
                site.store,
                job.id,
                run,
                step,
                kind=kind,
                text=text,
                by=actor,
                seen=seen_of(given),
                expect=expected(site, job, run, state, learned),
                key=given.get("key", "")[:LONGEST_KEY],
                sure=given.get("sure") == "yes",
            )
        except GainwrightError as error:
            if answer:
                answered(site.store, job.id, by=actor, step=step, entry=answer)
            keep_unanswered(site.store, job.id, error, step=step, kind=kind, text=text, by=actor)
            raise
        # a row of a column answers for itself only, another entry for all of its step
        answered(site.store, job.id, by=actor, step=step, entry=answer or (NONE if state.asked == "column" else ""))
        if kind in ("reading", "taken_back"):
            return f"/jobs/{job.id}/setup/{step}"
        following = current_run(site, job).after(step)
        return f"/jobs/{job.id}/setup/{following.step.id}" if following else f"/jobs/{job.id}/setup"

    return done_or_shown(do, lambda error: step_page(request, site, job, step, error=error, mine=text, kind=kind))
