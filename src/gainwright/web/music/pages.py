"""Pages of music: folders, scans with progress, results, and their transfer to the job."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import Response

from gainwright.errors import GainwrightError
from gainwright.results import to_json
from gainwright.texts import say
from gainwright.web.music import added_folders, scans
from gainwright.web.network.access import from_own_machine, only_from_own_machine
from gainwright.web.page_language import language_of
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import Actor, CurrentSite, job_or_none
from gainwright.web.work_api import attachment

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

MOST_TRACKS = 300
"""Tracks shown on the page; the file has all."""


@router.get("/music")
def music(request: Request, site: CurrentSite, job: str = "") -> Response:
    """Show the folders, running scans, and results."""
    return _music(request, site, job)


def _music(
    request: Request, site: Site, chosen: str, error: GainwrightError | None = None, typed: str = ""
) -> Response:
    return page(
        request,
        "music.html",
        folders=site.world.music_folders.list(site.music),
        jobs=site.store.jobs.list(most=200),
        chosen=chosen,
        works=[work for work in site.background.list() if work.back == "/music"],
        results=site.store.documents.list(scans.KIND),
        own=from_own_machine(request.scope),
        added=added_folders.added(site),
        typed=typed,
        error=error,
    )


@router.post("/music")
def scan(
    request: Request,
    site: CurrentSite,
    folder: Annotated[list[str] | None, Form(max_length=500)] = None,
    job: Annotated[str, Form(max_length=80)] = "",
) -> Response:
    """Start a scan."""

    def do() -> str:
        scans.start(site, folder or [], job)
        return "/music"

    return done_or_shown(do, lambda error: _music(request, site, job, error))


@router.post("/music/folders")
def add_folder(
    request: Request,
    site: CurrentSite,
    path: Annotated[str, Form(max_length=2000)] = "",
    remove: Annotated[str, Form(max_length=40)] = "",
) -> Response:
    """Add a folder to those that may be scanned, or leave an added one out; on the machine itself only."""
    only_from_own_machine(request)

    def do() -> str:
        if remove:
            added_folders.remove(site, remove)
        else:
            added_folders.add(site, path)
        return "/music"

    return done_or_shown(do, lambda error: _music(request, site, "", error, typed=path))


@router.post("/music/stop")
def stop(site: CurrentSite, work: Annotated[str, Form(max_length=40)]) -> Response:
    """Stop a scan; what it has read so far is kept."""
    site.background.stop(work)
    return go_to("/music")


@router.get("/music/{music}")
def result(
    request: Request, site: CurrentSite, music: str, saved: Annotated[int, Query(ge=0, le=2**31)] = 0
) -> Response:
    """Show the result of a scan; after its allowances were saved in the job it says so."""
    return _result(request, site, music, saved=saved)


def _result(
    request: Request, site: Site, music: str, error: GainwrightError | None = None, *, saved: int = 0
) -> Response:
    from gainwright.report.music import choice_text, crest_text, duration_text, music_table
    from gainwright.report.music_speakers import speaker_notes, speaker_table

    kept = scans.result(site, music)
    columns, rows = music_table(kept.found)
    shown = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    speaker_columns, speaker_rows = speaker_table(kept.found)
    return page(
        request,
        "music_result.html",
        music=music,
        kept=kept,
        result=kept.found,
        about=job_or_none(site, kept.job_id),
        saved=saved,
        length=duration_text(kept.found.seconds),
        columns=[columns[i] for i in shown],
        rows=[[row[i] for i in shown] for row in rows],
        choices=[choice_text(a, kept.found.limits) for a in kept.found.bands],
        crests=[words for a in kept.found.bands if (words := crest_text(a, kept.found.choice[a.band].tone_hz))],
        speaker_columns=speaker_columns,
        speaker_rows=speaker_rows,
        speaker_notes=speaker_notes(kept.found),
        tracks=kept.found.tracks[:MOST_TRACKS],
        error=error,
    )


@router.get("/music/{music}/chart.svg")
def chart(request: Request, site: CurrentSite, music: str) -> Response:
    """Draw how long each band exceeds a level, and how much each allowance clips."""
    from gainwright.report.languages import Language
    from gainwright.report.music_chart import music_chart

    result, into = scans.result(site, music).found, Language(language_of(request))
    drawn = site.world.charts.render(music_chart(result, title=say("What this music allows")), ".svg", into)
    return Response(drawn, media_type="image/svg+xml")


@router.get("/music/{music}/music.json")
def file(site: CurrentSite, music: str) -> Response:
    """Return the whole result as a file."""
    content = json.dumps(to_json(scans.result(site, music).found), ensure_ascii=False, indent=1, allow_nan=False)
    return attachment((content + "\n").encode(), name="music.json", media_type="application/json")


@router.post("/music/{music}/write")
def write(
    request: Request, site: CurrentSite, actor: Actor, music: str, seen: Annotated[int, Form(ge=0, le=2**31)]
) -> Response:
    """Store the recommended allowances in the job, as a new version."""
    from gainwright.app.jobs.stored_jobs import write_job
    from gainwright.app.music.allowances import with_allowances

    kept = scans.result(site, music)

    def do() -> str:
        job = site.store.jobs.get(kept.job_id)
        text = with_allowances(job.text, kept.found.recommended_db)
        written = write_job(site.store, job.id, text, seen=seen, by=actor)
        return f"/music/{music}?saved={written.revision}"

    return done_or_shown(do, lambda error: _result(request, site, music, error))


@router.post("/music/{music}/remove")
def remove(site: CurrentSite, music: str) -> Response:
    """Remove a result; another scan of the same files is quick."""
    site.store.documents.remove(scans.KIND, music)
    return go_to("/music")
