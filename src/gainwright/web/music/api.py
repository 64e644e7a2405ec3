"""Scans of music over HTTP."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel, Field

from gainwright.programme.music_result import MusicResult
from gainwright.web.background import WorkProgress
from gainwright.web.music import scanning as music_scanning
from gainwright.web.site import CurrentSite

router = APIRouter(prefix="/api/music", tags=["music"])


class Shelf(BaseModel):
    """A folder that may be scanned."""

    id: str
    name: str


class NewScan(BaseModel):
    """What is to be scanned, and for which job; for none when empty."""

    folders: list[str] = Field(max_length=500)
    job: str = Field(default="", max_length=80)


class ScanListed(BaseModel):
    """A result: its id, what was scanned, the job it is for."""

    id: str
    folders: str
    job_id: str
    recommended_db: dict[str, float]


@router.get("/folders")
def list_folders(site: CurrentSite) -> list[Shelf]:
    """Return the folders that may be scanned."""
    return [Shelf(id=folder.id, name=folder.name) for folder in site.world.music_folders.list(site.music)]


@router.post("", status_code=202)
def scan(site: CurrentSite, wanted: NewScan) -> WorkProgress:
    """Begin a scan; the answer is work to be followed at /api/work, its result names the music."""
    return music_scanning.start(site, wanted.folders, wanted.job).progress


@router.get("")
def list_music(site: CurrentSite) -> list[ScanListed]:
    """Return what scans gave, last first."""
    return [
        ScanListed(
            id=key, folders=kept["folders"], job_id=kept["job_id"], recommended_db=kept["found"]["recommended_db"]
        )
        for key, kept in site.store.documents.list(music_scanning.KIND)
    ]


@router.get("/{music}")
def get_music(site: CurrentSite, music: str) -> MusicResult:
    """Return one result: the object of `gainwright music --json`, files named from their folder on."""
    return music_scanning.result(site, music).found
