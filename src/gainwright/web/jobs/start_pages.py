"""A job begun without a file: car, instruments, devices, wiring, figures, check; each page is stored when one goes on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from gainwright.app.jobs import job_start
from gainwright.jobfile.starting import at_hand, devices
from gainwright.jobfile.starting.leads import Stages, stages_of_text
from gainwright.web.form_fields import Sent, seen_of
from gainwright.web.jobs import chain_view
from gainwright.web.jobs import start_view as view
from gainwright.web.page_language import language_of, page_language, translated
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gainwright.app.store import StoredJob
    from gainwright.errors import GainwrightError
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

Page = Literal["car", "instruments", "devices", "wiring", "check"]


@router.get("/jobs/start")
def start(request: Request) -> Response:
    """Ask for the car and the customer."""
    return _shown(request, "car", None, {"typed": {"title": "", "customer": ""}})


@router.post("/jobs/start")
def begin(request: Request, site: CurrentSite, given: Sent) -> Response:
    """Store a new job."""
    return done_or_shown(
        lambda: view.address(job_start.begin_job(site.store, given).id, "instruments"),
        lambda error: _shown(request, "car", None, {"typed": given}, error=error),
    )


@router.get("/jobs/{job}/start")
def resume(job: CurrentJob) -> Response:
    """Go to the page where the job's start stands."""
    if not stages_of_text(job.text):
        return go_to(view.address(job.id, "devices"))
    return go_to(view.address(job.id, "wiring" if job_start.is_unfinished(job.text) else "check"))


@router.get("/jobs/{job}/start/figures")
def first_figures(job: CurrentJob) -> Response:
    """Go to the figures of the first device."""
    return go_to(view.page_before_and_after(job.id, "wiring", stages_of_text(job.text))[1])


@router.get("/jobs/{job}/start/figures/{stage}")
def figures(request: Request, site: CurrentSite, job: CurrentJob, stage: str) -> Response:
    """Show the figures of a device."""
    job_start.device_of(job.text, stage)
    if stage not in view.devices_with_figures(stages_of_text(job.text)):
        return go_to(view.address(job.id, "check"))
    return _show_figures(_Asked(request, site, job, stage=stage))


@router.post("/jobs/{job}/start/figures/{stage}")
def store_figures(request: Request, site: CurrentSite, actor: Actor, job: str, stage: str, given: Sent) -> Response:
    """Store the figures of a device, and go on to the next."""

    def do() -> str:
        stored = job_start.set_figures(site.store, job, stage, given, seen=seen_of(given), by=actor)
        return view.page_before_and_after(job, "figures", stages_of_text(stored.text), stage)[1]

    return done_or_shown(
        do, lambda error: _show_figures(_Asked(request, site, site.store.jobs.get(job), given, error, stage))
    )


@router.get("/jobs/{job}/start/{name}")
def show_page(
    request: Request, site: CurrentSite, job: CurrentJob, name: Page, check: Annotated[str, Query(max_length=5)] = ""
) -> Response:
    """Show a page of the start."""
    if name == "check" and job_start.is_unfinished(job.text):
        return go_to(view.address(job.id, "wiring" if stages_of_text(job.text) else "devices"))
    if name == "wiring" and not stages_of_text(job.text):
        return go_to(view.address(job.id, "devices"))
    if name == "check" and check:
        site.models.plan(job.text)
    return _SHOW[name](_Asked(request, site, job))


@router.post("/jobs/{job}/start/{name}")
def store_page(request: Request, site: CurrentSite, actor: Actor, job: str, name: Page, given: Sent) -> Response:
    """Store a page of the start, and go on to the next; the devices page is shown again until one goes on."""

    def do() -> str:
        seen = seen_of(given)
        if name == "devices":
            with page_language(language_of(request)):
                stored = job_start.change_devices(site.store, job, given, seen=seen, into=translated, by=actor)
            if "next" not in given:
                return view.address(job, "devices")
        else:
            stored = _STORE[name](site.store, job, given, seen=seen, by=actor)
        return view.page_before_and_after(job, name, stages_of_text(stored.text))[1]

    return done_or_shown(do, lambda error: _SHOW[name](_Asked(request, site, site.store.jobs.get(job), given, error)))


_STORE: dict[str, Callable[..., StoredJob]] = {
    "car": job_start.set_car,
    "instruments": job_start.set_at_hand,
    "wiring": job_start.set_leads,
}


@dataclass(frozen=True, slots=True)
class _Asked:
    """A page that was asked for; `given` and `error` are what was typed there, and why it can't be stored."""

    request: Request
    site: Site
    stored: StoredJob
    given: Mapping[str, str] | None = None
    error: GainwrightError | None = None
    stage: str = ""


def _shown(
    request: Request,
    name: str,
    stored: StoredJob | None,
    context: dict[str, Any],
    *,
    error: GainwrightError | None = None,
    stage: str = "",
) -> Response:
    """Show a page, with its errors at their fields; any other error is shown above them."""
    stages: Stages = stages_of_text(stored.text) if stored else {}
    fields = _fields_of(error)
    back, _ = view.page_before_and_after(stored.id, name, stages, stage) if stored else ("/", "")
    shared = {
        "titles": view.TITLES,
        "at": name,
        "here": "start",
        "stage": stage,
        "stages": stages,
        "back": back,
        "wrong": {field: view.error_at_field(found) for field, found in fields.items()},
        "error": None if fields else error,
        "choices": view.CHOICES,
        "unfinished": stored is None or job_start.is_unfinished(stored.text),
    }
    status = 422 if fields else 200
    return page(request, f"start_{name}.html", job=stored, status=status, **shared, **context)


def _fields_of(error: GainwrightError | None) -> Mapping[str, GainwrightError]:
    return error.fields if isinstance(error, job_start.FieldsError) else {}


def _show_car(asked: _Asked) -> Response:
    from gainwright.jobfile.editing import TextDraft

    stored = asked.stored
    held = TextDraft(stored.text).plain
    typed = asked.given or {key: str(held.get(key, "")) for key in ("title", "customer")}
    return _shown(asked.request, "car", stored, {"typed": typed}, error=asked.error)


def _show_instruments(asked: _Asked) -> Response:
    stored, given = asked.stored, asked.given
    typed = at_hand.shown_at_hand(stored.text) if given is None else given
    known = {a.key for a in at_hand.AT_HAND}
    others = [key for key in at_hand.ticked(stored.text) if key not in known]
    return _shown(
        asked.request,
        "instruments",
        stored,
        {"typed": typed, "at_hand": at_hand.AT_HAND, "others": others},
        error=asked.error,
    )


def _show_devices(asked: _Asked) -> Response:
    stored, given = asked.stored, asked.given
    stages = stages_of_text(stored.text)
    context = {
        "groups": devices.GROUPS,
        "counts": view.counted_devices(stages),
        "named": [
            (key, (given or {}).get(f"name:{key}", view.title_of(key, s)), s["kind"]) for key, s in stages.items()
        ],
    }
    return _shown(asked.request, "devices", stored, context, error=asked.error)


def _show_wiring(asked: _Asked) -> Response:
    stored, given = asked.stored, asked.given
    stages = stages_of_text(stored.text)
    chosen = None if given is None else job_start.leads_given(given)
    context = {
        "wired": view.device_ports(stages, chosen, _fields_of(asked.error)),
        "sources": view.sources_in_words(stages),
    }
    return _shown(asked.request, "wiring", stored, context, error=asked.error)


def _show_figures(asked: _Asked) -> Response:
    site, stored, stage = asked.site, asked.stored, asked.stage
    stages = stages_of_text(stored.text)
    job_start.device_of(stored.text, stage)
    listed = view.devices_with_figures(stages)
    context = {
        "called": view.title_of(stage, stages[stage]),
        "figures": view.figures_shown(site, stored, stages, stage, asked.given, _fields_of(asked.error)),
        "number": listed.index(stage) + 1,
        "of": len(listed),
    }
    return _shown(asked.request, "figures", stored, context, error=asked.error, stage=stage)


def _show_check(asked: _Asked) -> Response:
    site, stored = asked.site, asked.stored
    stages = stages_of_text(stored.text)
    findings = chain_view.findings_by_place(site, stored.text)
    names = {key: view.title_of(key, stage) for key, stage in stages.items()}
    here = {
        grave: [(key, f) for key, found in (findings or {}).items() for f in found if (f.severity != "note") == grave]
        for grave in (True, False)
    }
    context = {
        "checked": findings is not None,
        "grave": here[True],
        "notes": here[False],
        "gravity": chain_view.GRAVITY,
        "with_figures": view.devices_with_figures(stages),
        "names": names,
        "unknown": view.unknown_figures(stages),
        "drawn": chain_view.drawn(site, stored.text, stored.title),
    }
    return _shown(asked.request, "check", stored, context, error=asked.error)


_SHOW: dict[str, Callable[[_Asked], Response]] = {
    "car": _show_car,
    "instruments": _show_instruments,
    "devices": _show_devices,
    "wiring": _show_wiring,
    "check": _show_check,
}
