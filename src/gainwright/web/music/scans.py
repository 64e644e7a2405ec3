"""Scans of music in the background, and their stored results."""

from __future__ import annotations

import contextlib
import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.app.music.folders import chosen_folders
from gainwright.errors import CallError
from gainwright.harmless import without_folders
from gainwright.programme.music_result import MusicResult
from gainwright.results import from_json, to_json
from gainwright.texts import say
from gainwright.web.background import WorkStopped
from gainwright.web.set_up.evaluation import job_as_set

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.music.scan import ScanProgress
    from gainwright.web.background import Work
    from gainwright.web.set_up.evaluation import JobAsSet
    from gainwright.web.site import Site

KIND = "music"
"""Kind of the stored documents with results."""


@dataclass(frozen=True, slots=True)
class KeptScan:
    """A stored result: names of the folders, the job it is for (empty for none), the result itself, and whether it follows from what that job's run set and read."""

    folders: str
    job_id: str
    found: MusicResult
    as_run: bool = False


def start(site: Site, folders: Sequence[str], job: str) -> Work:
    """Start a scan of folders, for a job or for none.

    Raises
    ------
    CallError : no folder is chosen, or a folder or the job doesn't exist.
    """
    wanted = chosen_folders(site.world.music_folders.list(site.music), folders)
    stored = site.store.jobs.get(job) if job else None
    named = ", ".join(folder.name for folder in wanted[:3]) + (", ..." if len(wanted) > 3 else "")
    paths = [folder.path for folder in wanted]

    def do(work: Work) -> None:
        as_set = job_as_set(site, stored) if stored is not None else None
        music = _named(site, _scan(site, work, paths, as_set))
        key = secrets.token_hex(8)
        as_run = as_set is not None and as_set.from_run
        site.store.documents.put(KIND, key, to_json(KeptScan(named, job, music, as_run=as_run)))
        work.result = {"music": key}

    return site.background.start(say("music in {folders}", folders=named), do, back="/music", long=True)


def _scan(site: Site, work: Work, paths: list[str], as_set: JobAsSet | None) -> MusicResult:
    from gainwright.app.music.allowances import allowances, job_bands
    from gainwright.app.music.scan import scan

    job = None if as_set is None else as_set.job
    bands, _ = job_bands(job)

    def on_progress(progress: ScanProgress) -> None:
        done, total = progress.done, progress.total
        if progress.left_s is None:
            work.report(progress.share, say("{done} of {total} files", done=done, total=total))
        else:
            left = f"{progress.left_s:.0f}"
            words = say("{done} of {total} files, about {left} s left", done=done, total=total, left=left)
            work.report(progress.share, words)

    with contextlib.ExitStack() as opened:
        cache = None
        with contextlib.suppress(CallError):  # without a writable folder nothing is cached
            cache = opened.enter_context(contextlib.closing(site.world.music_cache()))
        library = scan(
            paths,
            bands=bands,
            files=site.world.music_files,
            workers=site.world.music_workers(),
            cache=cache,
            on_progress=on_progress,
            should_stop=lambda: work.stopping,
        )
    if library.stopped:
        raise WorkStopped
    return allowances(library, job, reached=None if as_set is None else as_set.reached)


def _named(site: Site, result: MusicResult) -> MusicResult:
    """Return a result with paths relative to their root, since other devices may see it."""

    def shown(file: str) -> str:
        return site.world.music_folders.shown(file, site.music)

    return replace(
        result,
        tracks=tuple(replace(track, file=shown(track.file)) for track in result.tracks),
        skipped=tuple(replace(one, file=shown(one.file), why=without_folders(one.why)) for one in result.skipped),
        choice={
            band: replace(choice, tracks=tuple(shown(file) for file in choice.tracks))
            for band, choice in result.choice.items()
        },
        speakers=tuple(replace(s, coil_track=shown(s.coil_track) if s.coil_track else "") for s in result.speakers),
    )


def result(site: Site, music: str) -> KeptScan:
    """Return a stored result.

    Raises
    ------
    CallError : there is none.
    """
    document = site.store.documents.get(KIND, music)
    if document is None:
        raise CallError(say("there is no such result"), code="no_such_music", remedy=say("scan again"))
    return from_json(KeptScan, document)


def of_job(site: Site, job: str) -> MusicResult | None:
    """Return the result of the last scan for a job, None without one."""
    for _, kept in site.store.documents.list(KIND):
        if kept["job_id"] == job:
            return from_json(KeptScan, kept).found
    return None
