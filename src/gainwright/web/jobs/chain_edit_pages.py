"""Forms that add, move, wire, rename and remove stages, outputs, inputs and instruments."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from gainwright.app.jobs import chain_edits
from gainwright.errors import GainwrightError
from gainwright.web.form_fields import Sent, seen_of
from gainwright.web.jobs import chain_view as view
from gainwright.web.jobs.chain_pages import address_of, show_chain, show_form
from gainwright.web.rendering import done_or_shown, page
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

KINDS = {
    "processor": "inputs, routing, filters, equaliser, delay, level",
    "line_driver": "raises a line-level signal",
    "level_control": "a control within the driver's reach; it only attenuates",
    "converter": "from speaker level to line level",
    "amplifier": "one or more sides, bridged or not",
    "speaker": "one, or several identical ones in parallel on each side",
    "head_unit": "another source, added to an input of a stage",
}
OF_A_CABLE = ("length", "wire", "fuse", "back")
"""Keys that the form of a new cable asks for."""
INSTRUMENTS = {
    "multimeter": "a handheld meter",
    "recorder": "an audio interface and the circuit before its input",
    "indicator": "anything that shows only yes or no",
}


@router.get("/jobs/{job}/chain/add")
def add(
    request: Request,
    site: CurrentSite,
    job: CurrentJob,
    kind: Annotated[str, Query(max_length=40)] = "",
    place: Annotated[str, Query(max_length=300)] = "",
) -> Response:
    """Show what can be added, and where."""
    return show_add(request, site, job, {"kind": kind, "place": place})


def show_add(
    request: Request, site: Site, stored: StoredJob, given: dict[str, str], *, error: GainwrightError | None = None
) -> Response:
    """Show what can be added, with what was typed and its error."""
    from gainwright.jobfile import editing
    from gainwright.model import WITH_NAMED_OUTPUTS

    def made() -> dict[str, Any]:
        draft = editing.Draft(stored.text, read=site.models.read(stored.text))
        stages = draft.plain["stages"]
        return {
            "places": editing.places(draft),
            "sources": view.sources_of(draft),
            "many": [s for s, says in stages.items() if says["kind"] in WITH_NAMED_OUTPUTS],
            "inputs": {s: list(says["inputs"]) for s, says in stages.items() if says["kind"] == "processor"},
        }

    known: dict[str, Any] = site.models.kept("add", stored.text, made)
    shown = {
        "kinds": KINDS,
        "instrument_kinds": INSTRUMENTS,
        "given": given,
        "error": view.without_file_place(error, stored.text),
        **known,
    }
    return page(request, "chain_add.html", job=stored, here="chain", **shown)


@router.post("/jobs/{job}/chain/edit/{what}")
def edit(request: Request, site: CurrentSite, actor: Actor, job: str, what: str, given: Sent) -> Response:
    """Make one change to the chain and show its result."""
    if what == "move" and given.get("way"):
        given["place"] = given["way"]

    def do() -> str:
        before = site.store.jobs.get(job)
        done = chain_edits.change_job(
            site.store,
            job,
            lambda text: chain_edits.apply_edit(text, what, _given(given)),
            seen=seen_of(given),
            by=actor,
        )
        return _end(job, what, given, _new_keys(before.text, done.text))

    return done_or_shown(do, lambda error: _refused(request, site, site.store.jobs.get(job), given, error))


def _given(given: dict[str, str]) -> dict[str, Any]:
    """Return the arguments of a change: lists from check boxes, values of a new stage from their fields."""
    from gainwright.jobfile.editing import REQUIRED
    from gainwright.jobfile.forms import parse_marks

    ticked = [part for part in given.get("feeding", "").split(",") if part]
    values = {key.removeprefix("values."): text for key, text in given.items() if key.startswith("values.")}
    lines = [line.strip() for line in values.get("power", "").splitlines() if line.strip()]
    values |= {"power": lines if len(lines) > 1 else "".join(lines)}  # type: ignore[dict-item]
    values |= {"marks": parse_marks(values.get("marks", ""))}
    return {
        **given,
        "feeding": ticked,
        "feeds": [part for part in given.get("feeds", "").split(",") if part],
        "values": {key: values.get(key, "") for key in REQUIRED.get(given.get("kind", ""), OF_A_CABLE)},
    }


def _refused(
    request: Request, site: Site, stored: StoredJob, given: dict[str, str], error: GainwrightError
) -> Response:
    """Show the page that the change was requested from, with the error."""
    section, _, name = given.get("back", "").partition("/")
    if section == "power":
        from gainwright.web.jobs.power_pages import show_power

        return show_power(request, site, stored, error=error)
    if section == "add":
        return show_add(request, site, stored, given, error=error)
    try:
        return show_form(request, site, stored, section, name, error=error)
    except GainwrightError:
        return show_chain(request, site, stored, error=error)


def _new_keys(before: str, after: str) -> list[str]:
    """Return the keys of stages and instruments that are new, in the order of the file."""
    from gainwright.jobfile.editing import TextDraft

    known, now = TextDraft(before).plain, TextDraft(after).plain
    sections = ("stages", "instruments", "supply")
    return [key for s in sections for key in now.get(s) or {} if key not in (known.get(s) or {})]


def _end(job: str, what: str, given: dict[str, str], new: list[str]) -> str:
    """Return the address that shows the result of a change."""
    kind = what.partition("_")[2]
    if kind == "cable":
        return f"/jobs/{job}/power" if what != "rename_cable" else address_of(job, "cable", (new or [""])[0])
    if what in ("remove_stage", "remove_branch", "remove_instrument"):
        return f"/jobs/{job}/chain"
    if kind == "instrument":
        return address_of(job, "instrument", new[0] if new else given.get("instrument", ""))
    if what in ("add_stage", "rename_stage", "add_branch") and new:
        return address_of(job, "stage", new[0])
    return address_of(job, "stage", given.get("stage", ""))
