"""Scans of music over HTTP."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel, Field

from gainwright.programme.music_result import MusicResult
from gainwright.web.background import WorkProgress
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.music import scans
from gainwright.web.site import CurrentSite

router = APIRouter(prefix="/api/music", tags=["music"], responses=ERROR_RESPONSES)


class ListedFolder(BaseModel):
    """A folder that may be scanned."""

    id: str
    name: str


class NewScan(BaseModel):
    """Folders to scan, and the job they are for; empty for none."""

    folders: list[str] = Field(max_length=500)
    job: str = Field(default="", max_length=80)


class ScanListed(BaseModel):
    """A result: its id, the folders, the job it is for."""

    id: str
    folders: str
    job_id: str
    recommended_db: dict[str, float]


@router.get("/folders")
def list_folders(site: CurrentSite) -> list[ListedFolder]:
    """Return the folders that may be scanned."""
    folders = site.world.music_folders.list(site.music)
    return [ListedFolder.model_validate(folder, from_attributes=True) for folder in folders]


@router.post("", status_code=202)
def scan(site: CurrentSite, wanted: NewScan) -> WorkProgress:
    """Start a scan; the answer is work to follow at /api/work, its result gives the id of the music."""
    return scans.start(site, wanted.folders, wanted.job).progress


@router.get("")
def list_music(site: CurrentSite) -> list[ScanListed]:
    """Return the results of scans, latest first."""
    return [
        ScanListed(
            id=key, folders=kept["folders"], job_id=kept["job_id"], recommended_db=kept["found"]["recommended_db"]
        )
        for key, kept in site.store.documents.list(scans.KIND)
    ]


@router.get("/{music}")
def get_music(site: CurrentSite, music: str) -> MusicResult:
    """Return one result, as `gainwright music --json` does, with files relative to their folder."""
    return scans.result(site, music).found
