"""The chain of a job: its drawing, forms for every key, undo and redo."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from gainwright.app.jobs import chain_edits
from gainwright.app.store import ConflictError
from gainwright.errors import GainwrightError, JobError
from gainwright.web.form_fields import Sent, seen_of
from gainwright.web.jobs import chain_view as view
from gainwright.web.rendering import go_to, page
from gainwright.web.site import Actor, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.plan import Finding
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{job}/chain")
def chain(request: Request, site: CurrentSite, job: str, check: Annotated[str, Query(max_length=5)] = "") -> Response:
    """Show the chain as wired, with the findings at its stages once it is checked."""
    stored = site.store.jobs.get(job)
    try:
        site.models.read(stored.text)
    except JobError:  # stored by an older version, for example; its text can still be corrected
        return go_to(f"/jobs/{job}/chain/text")
    if check:
        site.models.plan(stored.text)
    return show_chain(request, site, stored)


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
        "sections": [(key, title, _said(forms, key)) for key, title in view.SECTIONS.items()],
        "instruments": [f for f in forms if f.path[:1] == ("instruments",)],
        "stages": read.job.stages,
        "gravity": view.GRAVITY,
        "error": error,
    }
    return page(request, "chain.html", job=stored, here="chain", **shown)


def _only(findings: dict[str, list[Finding]] | None, *, grave: bool) -> dict[str, list[Finding]]:
    """Return the findings that need attention, or the notes."""
    chosen = {name: [f for f in here if (f.severity != "note") == grave] for name, here in (findings or {}).items()}
    return {name: here for name, here in chosen.items() if here}


def _said(forms: tuple[Any, ...], section: str) -> str:
    """Return the contents of a section in one line."""
    form = next(f for f in forms if f.path == (() if section == "job" else (section,)))
    said = [
        f.present.replace("\n", " ") if section in ("job", "vehicle") else f"{f.label} {f.present}"
        for f in form.fields
        if f.present and f.type.name != "fixed"
    ]
    return ", ".join(said)


@router.get("/jobs/{job}/chain/section/{section}")
def section(request: Request, site: CurrentSite, job: str, section: str) -> Response:
    """Show the form of a section."""
    return show_form(request, site, site.store.jobs.get(job), section)


@router.get("/jobs/{job}/chain/stage/{name}")
def stage(request: Request, site: CurrentSite, job: str, name: str) -> Response:
    """Show the form of a stage."""
    return show_form(request, site, site.store.jobs.get(job), "stage", name)


@router.get("/jobs/{job}/chain/instrument/{name}")
def instrument(request: Request, site: CurrentSite, job: str, name: str) -> Response:
    """Show the form of an instrument."""
    return show_form(request, site, site.store.jobs.get(job), "instrument", name)


def show_form(
    request: Request,
    site: Site,
    stored: StoredJob,
    section: str,
    name: str = "",
    *,
    given: dict[str, str] | None = None,
    error: GainwrightError | None = None,
) -> Response:
    """Show the form of a section, a stage or an instrument, with what was typed and its error."""
    forms = view.forms_at(site, stored.text, section, name)
    fields = view.fields_of(forms)
    typed = {} if given is None else {key: text for key, text in view.typed_of(given).items() if key in fields}
    stale = isinstance(error, ConflictError)
    shown: dict[str, Any] = {
        "section": section,
        "called": name,
        "title": name or view.SECTIONS.get(section, section),
        "forms": forms,
        "typed": typed,
        "wrong": view.place_of(error.where, fields) if error else "",
        "was": view.was_of(forms) if stale or given is None or "was" not in given else given["was"],
        "differences": view.differences(given, fields) if stale and given else [],
        "error": error,
        "findings": view.findings_at(view.findings_of(site, stored.text), name) if name else [],
        "checked": view.findings_of(site, stored.text) is not None,
        "gravity": view.GRAVITY,
        "standing": view.standing(stored, site, name) if section == "stage" else None,
        "address": address_of(stored.id, section, name),
    }
    return page(request, "chain_form.html", job=stored, here="chain", **shown)


def address_of(job: str, section: str, name: str = "") -> str:
    """Return the address of a section, stage or instrument."""
    if section in ("text", "add"):
        return f"/jobs/{job}/chain/{section}"
    return f"/jobs/{job}/chain/{section}/{quote(name)}" if name else f"/jobs/{job}/chain/section/{quote(section)}"


@router.post("/jobs/{job}/chain/undo")
def undo(request: Request, site: CurrentSite, job: str, given: Sent) -> Response:
    """Go one version back."""
    return _step(request, site, job, given, "undo")


@router.post("/jobs/{job}/chain/redo")
def redo(request: Request, site: CurrentSite, job: str, given: Sent) -> Response:
    """Go one version forward again."""
    return _step(request, site, job, given, "redo")


def _step(request: Request, site: Site, job: str, given: dict[str, str], way: str) -> Response:
    try:
        seen = seen_of(given)
        site.store.jobs.undo(job, seen=seen) if way == "undo" else site.store.jobs.redo(job, seen=seen)
    except GainwrightError as error:
        return show_chain(request, site, site.store.jobs.get(job), error=error)
    back = given.get("back", "")
    section, _, name = back.partition("/")
    if section:
        try:
            if section not in ("text", "add"):
                view.forms_at(site, site.store.jobs.get(job).text, section, name)
        except GainwrightError:
            return go_to(f"/jobs/{job}/chain")
        return go_to(address_of(job, section, name))
    return go_to(f"/jobs/{job}/chain")


@router.post("/jobs/{job}/chain/section/{section}")
def fill_section(request: Request, site: CurrentSite, actor: Actor, job: str, section: str, given: Sent) -> Response:
    """Store the form of a section."""
    return _fill(request, site, actor, job, section, "", given)


@router.post("/jobs/{job}/chain/stage/{name}")
def fill_stage(request: Request, site: CurrentSite, actor: Actor, job: str, name: str, given: Sent) -> Response:
    """Store the form of a stage and its outputs."""
    return _fill(request, site, actor, job, "stage", name, given)


@router.post("/jobs/{job}/chain/instrument/{name}")
def fill_instrument(request: Request, site: CurrentSite, actor: Actor, job: str, name: str, given: Sent) -> Response:
    """Store the form of an instrument."""
    return _fill(request, site, actor, job, "instrument", name, given)


def _fill(
    request: Request, site: Site, actor: str, job: str, section: str, name: str, given: dict[str, str]
) -> Response:
    try:
        texts = view.typed_of(given)
        seen = seen_of(given)
        if not texts and site.store.jobs.get(job).revision == seen:
            return go_to(address_of(job, section, name))
        chain_edits.change_job(
            site.store, job, lambda text: chain_edits.fill_in_fields(text, texts), seen=seen, by=actor
        )
    except GainwrightError as error:
        stored = site.store.jobs.get(job)
        return show_form(request, site, stored, section, name, given=given, error=error)
    return go_to(address_of(job, section, name))
