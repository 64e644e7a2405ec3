"""What every request needs: adapters, store, cached models, background work, network access."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, cast

from fastapi import Depends
from starlette.requests import HTTPConnection

from gainwright.app.store import StoredCase, StoredJob
from gainwright.errors import GainwrightError
from gainwright.web.background import Background
from gainwright.web.models import Models
from gainwright.web.network.access import THIS_COMPUTER, NetworkAccess
from gainwright.web.running_measurements import RunningMeasurements
from gainwright.web.upload_turns import UploadTurns

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.store import Store
    from gainwright.composition import Adapters


@dataclass
class Site:
    """One running web app.

    Attributes
    ----------
    network : access from the local network.
    where : location of the store as it was given; empty for the default.
    music : folders that may be scanned.
    downloads : reads what is large for a download, one after another.
    open_lan : lets devices of the local network connect; None where the app isn't served by a program that can.
    """

    world: Adapters
    store: Store
    network: NetworkAccess = field(default_factory=NetworkAccess)
    where: str = ""
    music: tuple[str, ...] = ()
    open_lan: Callable[[], None] | None = None
    models: Models = field(default_factory=Models)
    background: Background = field(default_factory=Background)
    measurements: RunningMeasurements = field(default_factory=RunningMeasurements)
    uploads: UploadTurns = field(default_factory=UploadTurns)
    downloads: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="downloads"))

    def close(self) -> None:
        """Stop background work and close the store."""
        self.background.close()
        self.downloads.shutdown(cancel_futures=True)
        self.store.close()


def of_request(connection: HTTPConnection) -> Site:
    """Return the site that a request came to."""
    return cast("Site", connection.app.state.site)


def device_of(connection: HTTPConnection) -> str:
    """Return the name of the device that a request came from."""
    return str(connection.scope.get("gainwright.device", THIS_COMPUTER))


def job_of_path(site: Annotated[Site, Depends(of_request)], job: str) -> StoredJob:
    """Return the job that the path names. CallError: there is none."""
    return site.store.jobs.get(job)


def case_of_path(site: Annotated[Site, Depends(of_request)], name: str) -> StoredCase:
    """Return the case that the path names. CallError: there is none."""
    return site.store.cases.get(name)


def job_or_none(site: Site, job: str) -> StoredJob | None:
    """Return a job; None when none is named, or it no longer exists."""
    try:
        return site.store.jobs.get(job) if job else None
    except GainwrightError:
        return None


CurrentSite = Annotated[Site, Depends(of_request)]
CurrentJob = Annotated[StoredJob, Depends(job_of_path)]
"""The job that the path names; a handler that takes it is refused with 404 when there is none."""
CurrentCase = Annotated[StoredCase, Depends(case_of_path)]
"""The case that the path names, in the same way."""
Actor = Annotated[str, Depends(device_of)]
