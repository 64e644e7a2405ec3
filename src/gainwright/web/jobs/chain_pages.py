"""The chain of a job: its drawing, forms for every key, undo and redo."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import Response

from gainwright.app.jobs import chain_edits, job_start
from gainwright.app.store import ConflictError
from gainwright.errors import GainwrightError, JobError
from gainwright.web.form_fields import MOST_SEEN, Sent, seen_of
from gainwright.web.jobs import chain_view as view
from gainwright.web.jobs import picked_values
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.jobfile.forms import Field
    from gainwright.plan import Finding
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{job}/chain")
def chain(
    request: Request, site: CurrentSite, job: CurrentJob, check: Annotated[str, Query(max_length=5)] = ""
) -> Response:
    """Show the chain as wired, with the findings at its stages once it is checked."""
    try:
        site.models.read(job.text)
    except JobError:  # only begun, or stored by an older version, for example; its text can still be corrected
        return go_to(f"/jobs/{job.id}/start" if job_start.is_unfinished(job.text) else f"/jobs/{job.id}/chain/text")
    if check:
        site.models.plan(job.text)
    return show_chain(request, site, job)


def show_chain(request: Request, site: Site, stored: StoredJob, *, error: GainwrightError | None = None) -> Response:
    """Show the chain, and an error."""
    read = site.models.read(stored.text)
    forms = view.forms_of(site, stored.text)
    findings = view.findings_by_place(site, stored.text)
    shown: dict[str, Any] = {
        "findings": findings,
        "grave": _only(findings, grave=True),
        "notes": _only(findings, grave=False),
        "drawn": view.drawn(site, stored.text, stored.title),
        "sections": [(key, title, _values(forms, key)) for key, title in view.SECTIONS.items()],
        "instruments": [f for f in forms if f.path[:1] == ("instruments",)],
        "cables": [f for f in forms if f.path[:1] == ("supply",)],
        "stages": read.job.stages,
        "gravity": view.GRAVITY,
        "error": view.without_file_place(error, stored.text),
    }
    return page(request, "chain.html", job=stored, here="chain", **shown)


def _only(findings: dict[str, list[Finding]] | None, *, grave: bool) -> dict[str, list[Finding]]:
    """Return the findings that need attention, or the notes."""
    chosen = {name: [f for f in here if (f.severity != "note") == grave] for name, here in (findings or {}).items()}
    return {name: here for name, here in chosen.items() if here}


def _values(forms: tuple[Any, ...], section: str) -> str:
    """Return the values that a section gives, in one line."""
    form = next(f for f in forms if f.path == (() if section == "job" else (section,)))
    given = [
        f.present.replace("\n", " ") if section in ("job", "vehicle") else f"{f.label} {f.present}"
        for f in form.fields
        if f.present and f.type.name != "fixed"
    ]
    return ", ".join(given)


def _form_of_path(request: Request) -> tuple[str, str]:
    """Return the section of the form that a path names, and the name of the stage or instrument."""
    named = request.path_params
    kind = next(kind for kind in ("section", "stage", "instrument", "cable") if kind in named)
    return (named[kind], "") if kind == "section" else (kind, named[kind])


FormOfPath = Annotated[tuple[str, str], Depends(_form_of_path)]


@router.get("/jobs/{job}/chain/section/{section}")
@router.get("/jobs/{job}/chain/stage/{stage}")
@router.get("/jobs/{job}/chain/instrument/{instrument}")
@router.get("/jobs/{job}/chain/cable/{cable}")
def form(
    request: Request,
    site: CurrentSite,
    job: CurrentJob,
    place: FormOfPath,
    saved: Annotated[int | None, Query(ge=0, le=MOST_SEEN)] = None,
) -> Response:
    """Show the form of a section, a stage or an instrument; after it was saved it says so."""
    return show_form(request, site, job, *place, saved=saved if saved in (0, job.revision) else None)


def show_form(
    request: Request,
    site: Site,
    stored: StoredJob,
    section: str,
    name: str = "",
    *,
    given: dict[str, str] | None = None,
    error: GainwrightError | None = None,
    saved: int | None = None,
) -> Response:
    """Show the form of a section, a stage or an instrument, with what was typed and its error.

    Parameters
    ----------
    saved : the revision it was just saved as, 0 when nothing was changed, None otherwise.
    """
    forms = view.forms_at(site, stored.text, section, name)
    fields = view.fields_of(forms)
    stages = site.models.job(stored.text).stages
    typed = {} if given is None else {key: text for key, text in view.typed_of(given).items() if key in fields}
    stale = isinstance(error, ConflictError)
    shown: dict[str, Any] = {
        "section": section,
        "called": name,
        "heading": (stages[name].name if section == "stage" else "") or name or view.SECTIONS.get(section, section),
        "called_of": {key: stage.name or key for key, stage in stages.items()},
        "parts": _parts(fields, typed, given or {}),
        "choices": picked_values.PICKER_CHOICES,
        "saved": saved,
        "forms": forms,
        "typed": typed,
        "wrong": view.place_of(error.where, fields) if error else "",
        "was": view.was_of(forms) if stale or given is None or "was" not in given else given["was"],
        "differences": view.differences(given, fields) if stale and given else [],
        "error": view.without_file_place(error, stored.text),
        "findings": view.findings_at(view.findings_of(site, stored.text), name) if name else [],
        "checked": view.findings_of(site, stored.text) is not None,
        "gravity": view.GRAVITY,
        "around": view.place_in_chain(stored, site, name) if section == "stage" else None,
        "address": address_of(stored.id, section, name),
    }
    return page(request, "chain_form.html", job=stored, here="chain", **shown)


def _parts(fields: dict[str, Field], typed: dict[str, str], given: dict[str, str]) -> dict[str, list[str]]:
    """Return what the pickers of each field show; fields without pickers are left out."""
    found = {name: picked_values.parts_of(f, typed.get(name, f.present), given) for name, f in fields.items()}
    return {name: parts for name, parts in found.items() if parts is not None}


def address_of(job: str, section: str, name: str = "") -> str:
    """Return the address of a section, stage or instrument."""
    if section in ("text", "add"):
        return f"/jobs/{job}/chain/{section}"
    return f"/jobs/{job}/chain/{section}/{quote(name)}" if name else f"/jobs/{job}/chain/section/{quote(section)}"


@router.post("/jobs/{job}/chain/undo")
@router.post("/jobs/{job}/chain/redo")
def undo_or_redo(request: Request, site: CurrentSite, job: str, given: Sent) -> Response:
    """Go one version back, or forward again."""

    def do() -> str:
        seen = seen_of(given)
        undo = request.url.path.endswith("/undo")
        stored = site.store.jobs.undo(job, seen=seen) if undo else site.store.jobs.redo(job, seen=seen)
        return _back(site, stored, given.get("back", ""))

    return done_or_shown(do, lambda error: show_chain(request, site, site.store.jobs.get(job), error=error))


def _back(site: Site, stored: StoredJob, back: str) -> str:
    """Return the address of the form that a request came from, of the chain if that form no longer exists."""
    section, _, name = back.partition("/")
    if section == "start":
        return _start_page(stored, name)
    try:
        if section and section not in ("text", "add"):
            view.forms_at(site, stored.text, section, name)
    except GainwrightError:
        section = ""
    return address_of(stored.id, section, name) if section else f"/jobs/{stored.id}/chain"


def _start_page(stored: StoredJob, name: str) -> str:
    """Return the address of a page of the job's start, of the place where it stands if that page shows nothing any more."""
    page, _, stage = name.partition("/")
    unfinished = job_start.is_unfinished(stored.text)
    if page in job_start.PAGES and not stage and (page in ("car", "instruments", "devices") or not unfinished):
        return f"/jobs/{stored.id}/start/{page}"
    known = not unfinished and page == "figures" and stage in job_start.stages_begun(stored.text)
    return f"/jobs/{stored.id}/start" + (f"/figures/{quote(stage)}" if known else "")


@router.post("/jobs/{job}/chain/section/{section}")
@router.post("/jobs/{job}/chain/stage/{stage}")
@router.post("/jobs/{job}/chain/instrument/{instrument}")
@router.post("/jobs/{job}/chain/cable/{cable}")
def fill(request: Request, site: CurrentSite, actor: Actor, job: str, place: FormOfPath, given: Sent) -> Response:
    """Store the form of a section, of a stage with its outputs, or of an instrument."""

    def do() -> str:
        texts, seen = view.typed_of(given, strict=True), seen_of(given)
        saved = 0
        if texts or site.store.jobs.get(job).revision != seen:
            changed = chain_edits.change_job(
                site.store, job, lambda text: chain_edits.fill_in_fields(text, texts), seen=seen, by=actor
            )
            saved = changed.revision
        return f"{address_of(job, *place)}?saved={saved}"

    def show(error: GainwrightError) -> Response:
        return show_form(request, site, site.store.jobs.get(job), *place, given=given, error=error)

    return done_or_shown(do, show)
