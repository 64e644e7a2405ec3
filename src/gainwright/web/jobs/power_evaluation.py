"""The power and heat of a stored job, with its music and what its set-up run reached."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.web.music import scans
from gainwright.web.set_up.evaluation import job_as_set

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.power import PowerResult
    from gainwright.web.site import Site


def power_of(site: Site, stored: StoredJob) -> PowerResult:
    """Return the power and heat of a job as it is set, for the music that was last scanned for it; cached."""
    from gainwright.power import evaluate_power

    run, music = job_as_set(site, stored), scans.of_job(site, stored.id)
    played = None if music is None else (music.seconds, music.recommended_db, len(music.tracks))
    depends_on = f"{sorted(run.reached.items())} {played} {run.job!r}"
    return site.models.kept("power", depends_on, lambda: evaluate_power(run.job, music, reached=run.reached))
