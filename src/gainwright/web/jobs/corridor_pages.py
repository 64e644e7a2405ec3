"""The corridor of a job, with controls to move."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from gainwright.app.jobs import corridor
from gainwright.errors import CallError, GainwrightError
from gainwright.model import control_words, place_words, the_place
from gainwright.quantities import read_plain_number
from gainwright.texts import say, sentence
from gainwright.web.form_fields import Fields, seen_of
from gainwright.web.jobs.corridor_drawing import passages
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.set_up.evaluation import texts_found
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.app.store import StoredJob
    from gainwright.web.jobs.corridor_drawing import Passage
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

SET = "set."
"""Prefix of the fields of controls."""
WAS = "was."
"""Prefix of their values in the job when the form was made."""
LONGEST = 200


def _typed(fields: Mapping[str, Any]) -> dict[str, str]:
    """Return the changed fields only: the job may have changed since the form was made."""
    typed = {k.removeprefix(SET): str(v) for k, v in fields.items() if k.startswith(SET)}
    return {k: v for k, v in typed.items() if v != str(fields.get(f"{WAS}{k}", ""))}


def _tone(tones: Mapping[str, tuple[float, float]], fields: Mapping[str, Any]) -> tuple[float, float]:
    """Return the tone that was typed, by default that of the chosen path, else of the first."""
    hz, dbfs = tones.get(str(fields.get("path", ""))) or next(iter(tones.values()), (1000.0, 0.0))
    numbers = []
    for name, unit, value in (("tone", "Hz", hz), ("level", "dBFS", dbfs)):
        typed = str(fields.get(name, "")).strip()[:LONGEST]
        try:
            numbers.append(read_plain_number(typed, unit) if typed else value)
        except ValueError:
            raise CallError(
                say(
                    "{typed} isn't a {name}",
                    typed=repr(typed[:30]),
                    name=say("tone") if name == "tone" else say("level"),
                ),
                code=f"bad_{name}",
                remedy=say("write a number"),
            ) from None
    return numbers[0], numbers[1]


def _chosen(
    drawn: Sequence[Passage], tones: Mapping[str, tuple[float, float]], tone: tuple[float, float], asked: str
) -> Passage | None:
    """Return the path to show: the one asked for, else the tightest of those that the tone is made for, else of all."""
    named = next((p for p in drawn if p.path == asked), None)
    own = [p for p in drawn if tones.get(p.path, (0.0, 0.0))[0] == tone[0]]
    return named or min(own or drawn, key=lambda p: p.tightest_db, default=None)


def _show(
    request: Request, site: Site, stored: StoredJob, fields: Mapping[str, Any], *, error: GainwrightError | None = None
) -> Response:
    """Show the corridor with the values of the fields; with an invalid one, its error and the corridor of the job.

    Without any, the controls stand as the run has set them.
    """
    read = site.models.job(stored.text)
    found = texts_found(site, stored)
    run = bool(found) and fields.get("as") != "job" and not any(name.startswith(SET) for name in fields)
    tones = site.models.kept("path tones", stored.text, lambda: corridor.path_tones(read))
    typed, tone, levels = found if run else _typed(fields), None, None
    try:
        tone = _tone(tones, fields)
        controls = corridor.controls_of(read, typed)
        levels = corridor.solve_corridor(read, corridor.moved_settings(controls), tone_hz=tone[0], level_dbfs=tone[1])
    except GainwrightError as invalid:
        error = error or invalid
        controls = corridor.controls_of(read, {})
    from gainwright.report.corridor import advice, corridor_chart, margin_text, sides_together
    from gainwright.report.figures import volts
    from gainwright.report.installed import control_label

    drawn = passages(corridor_chart(levels, read, title=stored.title)) if levels is not None else ()
    chosen = _chosen(drawn, tones, tone or (0.0, 0.0), str(fields.get("path", "")))
    shown = (
        [(n, p) for n, p in sides_together(levels.paths, read) if chosen and p.path == chosen.path] if levels else []
    )
    moved = [c for c in controls if c.moved]
    stay = {"as": "job", **{f"{SET}{c.name}": c.text for c in moved}} if moved or not run else {}
    context: dict[str, Any] = {
        "stages": [
            (sentence(the_place(read, stage)), stage, list(own))
            for stage, own in groupby(controls, key=lambda c: c.stage)
        ],
        "label": control_label,
        "words": lambda control: control_words(read, control),
        "place": lambda node: sentence(place_words(read, node)),
        "typed": typed,
        "tone": tone,
        "fields": fields,
        "usual": sorted(set(tones.values())),
        "advice": advice(replace(levels, paths=tuple(p for _, p in shown)), read) if levels is not None else "",
        "shown": shown,
        "ways": [(p.name, p.path, urlencode({"path": p.path, **stay})) for p in drawn],
        "chosen": chosen,
        "moved": moved,
        "as_run": run,
        "found": found,
        "kept": str(fields.get("kept", "")) == str(stored.revision),
        "error": error,
        "volts": volts,
        "margin": margin_text,
    }
    return page(request, "corridor.html", job=stored, here="corridor", **context)


@router.get("/jobs/{job}/corridor")
def show(request: Request, site: CurrentSite, job: CurrentJob) -> Response:
    """Show the corridor for the tone, the level and the controls in the query."""
    return _show(request, site, job, request.query_params)


@router.post("/jobs/{job}/corridor")
def keep(request: Request, site: CurrentSite, actor: Actor, job: CurrentJob, fields: Fields) -> Response:
    """Store the controls as a new version of the job."""
    read = site.models.read(job.text)
    seen = seen_of(fields)

    def do() -> str:
        settings = corridor.moved_settings(corridor.controls_of(read.job, _typed(fields)))
        kept = corridor.keep_settings(site.store, job.id, read, settings, seen=seen, by=actor)
        rest = {k: str(fields[k]) for k in ("tone", "level", "path") if fields.get(k)}
        return f"/jobs/{job.id}/corridor?{urlencode({**rest, 'kept': kept.revision, 'as': 'job'})}"

    return done_or_shown(do, lambda error: _show(request, site, site.store.jobs.get(job.id), fields, error=error))


@router.post("/jobs/{job}/corridor/undo")
def undo(site: CurrentSite, job: str, seen: Annotated[int, Form()]) -> Response:
    """Go back to the version before the controls were stored."""
    site.store.jobs.undo(job, seen=seen)
    return go_to(f"/jobs/{job}/corridor")
