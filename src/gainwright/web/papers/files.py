"""Files of papers, made at once or in the background."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.app.jobs.stored_jobs import job_file_name
from gainwright.app.papers.job_papers import MEDIA_TYPES, PaperRequest, job_paper
from gainwright.app.papers.papers import paper_bytes
from gainwright.model.case import Case
from gainwright.texts import say
from gainwright.web.diagnoses import diagnosis_of, dialogue_of
from gainwright.web.kept_charts import KeptCharts
from gainwright.web.music import scans
from gainwright.web.set_up.evaluation import job_run_evidence, run_hearing, text_as_set, volumes_found

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.diagnose import Diagnoser, Diagnosis
    from gainwright.model import Entry, Job
    from gainwright.solve.hearing_dose import DayHearing
    from gainwright.web.background import Work
    from gainwright.web.site import Site

KINDS = {
    "setup": (say("Set-up sheet"), say("the plan, with boxes for the readings")),
    "handover": (say("Handover"), say("what was installed, set and measured, for the customer")),
    "customer": (say("Customer's page"), say("one page that tells the customer what to check")),
    "power": (say("Power and heat"), say("cables, fuses, battery and speakers under the music")),
    "case": (say("Case"), say("the complete case, for your records")),
}
"""Kind of a paper -> its title, and its purpose."""


def made(site: Site, job: str, wanted: PaperRequest, suffix: str, work: Work | None = None) -> tuple[bytes, str]:
    """Return the file of a paper and its name.

    Raises
    ------
    GainwrightError : the job or case doesn't exist, or there is no such paper.
    """
    wanted.checked(suffix)
    stored = site.store.jobs.get(job)
    text = stored.text if wanted.kind == "setup" else text_as_set(site, stored)
    read = site.models.job(text)
    if work is not None:
        work.report(0.1, say("planning"))
    planned = wanted.kind in ("setup", "handover") or (wanted.kind == "customer" and not wanted.case)
    plan = site.models.plan(text) if planned else None
    if work is not None:
        work.report(0.4, say("collecting the contents"))
    entries = () if wanted.case or wanted.kind == "setup" else _read_in_run(site, stored, read)
    music = scans.of_job(site, job) if wanted.kind in ("handover", "power") else None
    volumes = volumes_found(site, stored) if wanted.kind == "handover" else ()
    paper = job_paper(
        site.store,
        job,
        wanted=wanted,
        read=read,
        plan=plan,
        entries=entries,
        music=music,
        volumes=volumes,
        hearing=_hearing(site, stored) if wanted.kind == "setup" else None,
        diagnosed=_diagnosed(site, stored, wanted, text) if wanted.kind in ("customer", "case") else None,
    )
    if work is not None:
        work.report(0.7, say("typesetting"))
    charts = KeptCharts(site.world.charts, site.models)
    content = paper_bytes(
        paper, suffix, charts=charts, printer=site.world.printer, code=wanted.language, size=wanted.size
    )
    return content, job_file_name(f"{stored.title} {wanted.kind}").removesuffix(".yaml") + suffix


def _diagnosed(site: Site, stored: StoredJob, wanted: PaperRequest, text: str) -> tuple[Diagnoser, Diagnosis]:
    """Return the diagnoser and the diagnosis of the case, or of what the run read; each is made once."""
    run = () if wanted.case else tuple(job_run_evidence(site, stored))
    dialogue = dialogue_of(
        site, site.store.cases.get(wanted.case).case if wanted.case else Case(job=text, evidence=run)
    )
    return dialogue.diagnoser, diagnosis_of(site.models, dialogue)


def _hearing(site: Site, stored: StoredJob) -> DayHearing | None:
    """Return the hearing dose of a run's last day with a tone heard; None, so that papers stay the same every day, before one."""
    found = run_hearing(site, stored)
    return found if found.of_job.tones or found.gone else None


def _read_in_run(site: Site, stored: StoredJob, read: Job) -> tuple[Entry, ...]:
    from gainwright.jobfile import read_entry

    return tuple(read_entry(dict(entry), read) for entry in job_run_evidence(site, stored))


def start(site: Site, job: str, wanted: PaperRequest, suffix: str) -> Work:
    """Start making a paper in the background; the work has the file.

    Raises
    ------
    CallError : there is no such job or paper.
    """
    wanted.checked(suffix)
    title = site.store.jobs.get(job).title

    def do(work: Work) -> None:
        content, name = made(site, job, wanted, suffix, work)
        work.keep_file(content, name=name, media_type=MEDIA_TYPES[suffix])

    return site.background.start(
        say("{paper} ({form}) of {title}", paper=KINDS[wanted.kind][0], form=suffix[1:], title=title),
        do,
        back=f"/jobs/{job}/papers",
    )
