"""Scans of music for pages and API: begun beside, stopped, their results kept and read back."""

from __future__ import annotations

import contextlib
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.app.music.folders import chosen
from gainwright.errors import CallError
from gainwright.web.background import Stopped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.music.scan import Progress
    from gainwright.report import MusicFound
    from gainwright.web.background import Work
    from gainwright.web.site import Site

KIND = "music"
"""Kind of the documents that hold results."""


def start(site: Site, folders: Sequence[str], job: str) -> Work:
    """Begin to scan folders, for a job or for none.

    Raises
    ------
    CallError : no folder is chosen, or there is no such folder or job.
    """
    wanted = chosen(site.music, folders)
    text = site.store.jobs.get(job).text if job else ""
    named = ", ".join(folder.name for folder in wanted[:3]) + (" and more" if len(wanted) > 3 else "")
    paths = [folder.path for folder in wanted]

    def do(work: Work) -> None:
        content = _scan(site, work, paths, text)
        key = secrets.token_hex(8)
        site.store.documents.put(KIND, key, {"folders": named, "job_id": job, "found": _named(content, site.music)})
        work.result = {"music": key}

    return site.background.start(f"music in {named}", do, back="/music")


def _scan(site: Site, work: Work, paths: list[Path], text: str) -> dict[str, Any]:
    from gainwright.app.music.allowances import allowances, job_bands
    from gainwright.app.music.scan import scan

    job = site.models.job(text) if text else None
    bands, _ = job_bands(job)
    cache = None
    with contextlib.suppress(CallError):  # a folder that can't be written only means that nothing is kept
        cache = site.world.music_cache()

    def told(progress: Progress) -> None:
        left = "" if progress.left_s is None else f", about {progress.left_s:.0f} s left"
        work.tell(progress.share, f"{progress.done} of {progress.total} files{left}")

    library = scan(
        paths,
        bands=bands,
        workers=site.world.music_workers(),
        cache=cache,
        on_progress=told,
        should_stop=lambda: work.stopping,
    )
    if library.stopped:
        raise Stopped
    return allowances(library, job).as_json()


def _named(content: dict[str, Any], roots: Sequence[Path]) -> dict[str, Any]:
    """Return a result with files named from their root on: what is shown on other devices needs no whole path."""

    def short(file: str) -> str:
        for root in roots:
            with contextlib.suppress(ValueError):
                return str(Path(root.name) / Path(file).relative_to(root))
        return file

    told = dict(content)
    told["tracks"] = [{**track, "file": short(track["file"])} for track in content["tracks"]]
    told["skipped"] = [{**one, "file": short(one["file"])} for one in content["skipped"]]
    told["choice"] = {
        band: {**choice, "tracks": [short(file) for file in choice["tracks"]]}
        for band, choice in content["choice"].items()
    }
    return told


def result(site: Site, music: str) -> dict[str, Any]:
    """Return a kept result: `folders`, `job_id`, `found`.

    Raises
    ------
    CallError : there is none.
    """
    found = site.store.documents.get(KIND, music)
    if found is None:
        raise CallError("there is no such result", code="no_such_music", remedy="scan again")
    return found


def of_job(site: Site, job: str) -> MusicFound | None:
    """Return what the last scan for a job gave, None when there was none."""
    from gainwright.app.music.result import music_found

    for _, kept in site.store.documents.list(KIND):
        if kept["job_id"] == job:
            return music_found(kept["found"])
    return None
