"""Cases and diagnoses over HTTP."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Query, UploadFile
from pydantic import BaseModel, Field
from starlette.responses import Response

from gainwright.app.cases import stored_cases
from gainwright.app.cases.complaint_choices import Chosen, ComplaintKind, complaint_kinds, entries_of_complaint
from gainwright.app.cases.dialogue import check_has_job
from gainwright.app.cases.endings import Ending
from gainwright.app.cases.history import MOST_BYTES, write_history
from gainwright.app.cases.history_import import ImportedHistory, import_history
from gainwright.app.clock import today
from gainwright.diagnose.result import Diagnosis
from gainwright.errors import CallError
from gainwright.model import EntryMapping
from gainwright.model.case import Closure, DialogueStep, Outcome
from gainwright.report.cases import CaseCounts
from gainwright.web import diagnoses
from gainwright.web.cases import changes
from gainwright.web.diagnoses import diagnosis_of, diagnosis_of_evidence, dialogue_of
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.form_fields import Seen
from gainwright.web.set_up.evaluation import job_run_evidence, text_as_set
from gainwright.web.site import CurrentCase, CurrentJob, CurrentSite
from gainwright.web.work_api import attachment

if TYPE_CHECKING:
    from gainwright.app.store import StoredCase

router = APIRouter(prefix="/api", tags=["cases"], responses=ERROR_RESPONSES)

Mapping = dict[str, Any]
Name = Annotated[str, Field(max_length=80)]
Short = Annotated[str, Field(max_length=200)]
MOST_ENTRIES = 200


class CaseListed(BaseModel):
    """A case as a list shows it."""

    name: str
    title: str
    opened: str
    closed: Closure | None
    found: int
    revision: int
    changed: datetime


class CaseWhole(CaseListed):
    """A case with its evidence, declined tests, dialogue, and its job's text."""

    job: str
    evidence: list[EntryMapping]
    declined: list[EntryMapping]
    unreachable: list[str]
    dialogue: list[DialogueStep]


class ComplaintChosen(BaseModel):
    """A complaint by choices: its kind, and the answers that it takes; see `complaints` of a job or a case.

    What is empty takes the default of its question.
    """

    kind: Literal["nothing", "side", "speaker", "quiet", "distorts", "noise", "comes_and_goes", "knob"]
    which: Short = ""
    side: Literal["", "left", "right"] = ""
    sounds: Literal["", "silent", "faint", "distorted"] = ""
    rest: Literal["", "plays"] = ""
    volume: Annotated[str, Field(max_length=20)] = ""
    softly: Literal["", "clean", "same"] = ""
    noise: Literal["", "hum", "whine"] = ""
    engine: Literal["", "running", "always"] = ""
    provoked: Literal["", "bumps", "heat", "loud", "by_itself"] = ""
    knob: Short = ""

    def chosen(self) -> Chosen:
        """Return it as the dialogue takes it."""
        answers = self.model_dump(exclude={"kind"})
        return Chosen(self.kind, {key: value for key, value in answers.items() if value})


class NewCase(BaseModel):
    """A new case about a stored job, or without one about a typical `chain`, with the extras in `also`.

    `complaint` says in a sentence which speakers sound how, `chosen` by choices. Without a name, one is suggested. `readings` says whether what was read in the job's set-up run is evidence from
    the start.
    """

    job: str = Field(default="", max_length=80)
    chain: Name = ""
    also: list[Name] = Field(default_factory=list, max_length=20)
    complaint: str = Field(default="", max_length=300)
    chosen: ComplaintChosen | None = None
    name: Name = ""
    title: str = Field(default="", max_length=300)
    evidence: list[Mapping] = Field(default_factory=list, max_length=MOST_ENTRIES)
    readings: bool = True


class JobKept(BaseModel):
    """The job that a case is about."""

    job: str


class WithEntry(Seen):
    """An entry: a test is identified by its entry without a result; an observation is a whole one, as in an evidence file."""

    entry: Mapping


class Complaint(Seen):
    """A complaint, as it was said or as it was chosen."""

    text: str = Field(default="", max_length=300)
    chosen: ComplaintChosen | None = None


class TestAnswered(WithEntry):
    """The answer to a test, as typed.

    A reading that would be usual in a sound chain if its decimal point stood elsewhere is refused with `asked_about` and the
    probable `candidate`, unless `sure` is true.
    """

    text: Short
    second: Short = ""
    sure: bool = False


class Corrected(Seen):
    """Another result for an entry; the first is number 1."""

    number: int = Field(ge=1, le=10_000)
    text: Short
    second: Short = ""


class ClosedWith(Seen):
    """How the case ended: with a cause, two of them, something else in words (`named`), no fault, or unsolved."""

    cause: Name = ""
    where: Short = ""
    note: str = Field(default="", max_length=2000)
    outcome: Outcome = "found"
    second_cause: Name = ""
    second_where: Short = ""
    named: Short = ""


class EvidenceGiven(BaseModel):
    """Evidence so far, and places that can't be reached."""

    evidence: list[Mapping] = Field(default_factory=list, max_length=MOST_ENTRIES)
    unreachable: list[Short] = Field(default_factory=list, max_length=MOST_ENTRIES)


def _listed(kept: StoredCase) -> dict[str, Any]:
    case = kept.case
    listed = {"name": kept.name, "title": case.title, "opened": case.opened, "closed": case.closed}
    return listed | {"found": len(case.evidence), "revision": kept.revision, "changed": kept.changed}


def _whole(kept: StoredCase) -> CaseWhole:
    return CaseWhole(
        **_listed(kept),
        job=kept.case.job,
        evidence=[dict(e) for e in kept.case.evidence],
        declined=[dict(e) for e in kept.case.declined],
        unreachable=list(kept.case.unreachable),
        dialogue=list(kept.case.dialogue),
    )


@router.get("/cases")
def list_cases(site: CurrentSite, words: Annotated[str, Query(max_length=200)] = "") -> list[CaseListed]:
    """Return the cases that contain all of the words, last changed first."""
    return [CaseListed(**_listed(kept)) for kept in site.store.cases.find(words)]


@router.post("/cases", status_code=201)
def begin_case(site: CurrentSite, new: NewCase) -> CaseWhole:
    """Begin a case about a job as its run has set it, or about a typical chain, with the evidence so far."""
    chosen = None if new.chosen is None else new.chosen.chosen()
    if new.chain and not new.job:
        kept = stored_cases.begin_call(
            site.store,
            new.chain,
            new.also,
            title=new.title,
            complaint=new.complaint,
            chosen=chosen,
            entries=new.evidence,
        )
        return _whole(kept)
    job = site.store.jobs.get(new.job)
    name = new.name or stored_cases.suggested_name(site.store, job.title, on=today())
    read = [entry for entry in job_run_evidence(site, job) if entry not in new.evidence] if new.readings else []
    about = replace(job, text=text_as_set(site, job))
    entries = [*read, *entries_of_complaint(new.complaint, chosen, site.models.job(about.text)), *new.evidence]
    return _whole(stored_cases.begin_case(site.store, about, name=name, title=new.title, entries=entries))


@router.get("/tally")
def tally(site: CurrentSite) -> CaseCounts:
    """Return the counts of the shop's closed cases, as `gainwright cases --json` does."""
    return diagnoses.tally(site)


@router.get("/history.csv", response_class=Response, responses={200: {"content": {"text/csv": {}}}})
def history(site: CurrentSite) -> Response:
    """Return the shop's closed cases as a table of CSV, which can be imported again."""
    table = write_history(site.store.cases.find())
    return attachment(table.encode(), name="closed-cases.csv", media_type="text/csv; charset=utf-8")


@router.post("/history", status_code=201)
def add_history(site: CurrentSite, file: UploadFile) -> ImportedHistory:
    """Import a table of closed cases, all of it or nothing; an error names every wrong line."""
    return import_history(site.store.cases, file.file.read(MOST_BYTES + 1))


@router.get("/cases/{name}")
def get_case(case: CurrentCase) -> CaseWhole:
    """Return a case."""
    return _whole(case)


@router.get("/cases/{name}/diagnosis")
def diagnosis(site: CurrentSite, case: CurrentCase) -> Diagnosis:
    """Return the diagnosis of a case with the next tests, as `gainwright diagnose --json` does."""
    return diagnosis_of(site.models, dialogue_of(site, case.case))


@router.post("/cases/{name}/answer")
def answer(site: CurrentSite, name: str, given: TestAnswered) -> CaseWhole:
    """Add the answer to a test; 409 when somebody else changed the case since `seen`."""
    done = changes.answer(
        site, name, seen=given.seen, entry=given.entry, text=given.text, second=given.second, sure=given.sure
    )
    return _whole(done)


@router.post("/cases/{name}/add")
def add(site: CurrentSite, name: str, given: WithEntry) -> CaseWhole:
    """Add a whole entry, also one that no test asked for."""
    return _whole(changes.add(site, name, seen=given.seen, entry=given.entry))


@router.post("/cases/{name}/complaint")
def complain(site: CurrentSite, name: str, given: Complaint) -> CaseWhole:
    """Add what a complaint tells, in a sentence such as `no bass, the doors play`, or as it was chosen."""
    chosen = None if given.chosen is None else given.chosen.chosen()
    return _whole(changes.complain(site, name, seen=given.seen, text=given.text, chosen=chosen))


@router.get("/cases/{name}/complaints")
def complaints(site: CurrentSite, case: CurrentCase) -> list[ComplaintKind]:
    """Return what can be chosen as a complaint in the chain of a case, with the questions of each."""
    check_has_job(case.case)
    return list(complaint_kinds(site.models.job(case.case.job)))


@router.get("/jobs/{job}/complaints")
def complaints_of_job(site: CurrentSite, job: CurrentJob) -> list[ComplaintKind]:
    """Return what can be chosen as a complaint in the chain of a job, with the questions of each."""
    return list(complaint_kinds(site.models.job(job.text)))


@router.post("/cases/{name}/dont-know")
def dont_know(site: CurrentSite, name: str, given: WithEntry) -> CaseWhole:
    """Skip a test."""
    return _whole(changes.dont_know(site, name, seen=given.seen, entry=given.entry))


@router.post("/cases/{name}/cant-reach")
def cant_reach(site: CurrentSite, name: str, given: WithEntry) -> CaseWhole:
    """Skip all tests at the place of a test."""
    return _whole(changes.cant_reach(site, name, seen=given.seen, entry=given.entry))


@router.post("/cases/{name}/undo")
def undo(site: CurrentSite, name: str, given: Seen) -> CaseWhole:
    """Undo the last step."""
    return _whole(changes.undo(site, name, seen=given.seen))


@router.post("/cases/{name}/correct")
def correct(site: CurrentSite, name: str, given: Corrected) -> CaseWhole:
    """Change the result of an entry."""
    return _whole(
        changes.correct(site, name, seen=given.seen, number=given.number, text=given.text, second=given.second)
    )


@router.post("/cases/{name}/renew")
def renew(site: CurrentSite, name: str, given: Seen) -> CaseWhole:
    """Use the present version of the job; the evidence stays."""
    return _whole(changes.renew(site, name, seen=given.seen))


@router.post("/cases/{name}/close")
def close(site: CurrentSite, name: str, given: ClosedWith) -> CaseWhole:
    """Close a case: found, two faults, something else, no fault, or unsolved."""
    return _whole(changes.close(site, name, seen=given.seen, ending=Ending(**given.model_dump(exclude={"seen"}))))


@router.post("/cases/{name}/reopen")
def reopen(site: CurrentSite, name: str, given: Seen) -> CaseWhole:
    """Open a closed case again."""
    return _whole(changes.reopen(site, name, seen=given.seen))


@router.post("/cases/{name}/keep")
def keep(site: CurrentSite, case: CurrentCase) -> JobKept:
    """Keep the chain of a case that was begun without a job as one; return the job, also when there was one already."""
    return JobKept(job=stored_cases.keep_as_job(site.store, case.name).id)


@router.post("/jobs/{job}/diagnosis")
def diagnose_job(site: CurrentSite, job: CurrentJob, given: EvidenceGiven) -> Diagnosis:
    """Return the diagnosis of some evidence with the next tests, as `gainwright diagnose --json` does."""
    from gainwright.app.cases.dialogue import check_unreachable

    text = text_as_set(site, job)
    try:
        check_unreachable(given.unreachable, site.models.job(text))
    except CallError as error:
        raise error.with_place("unreachable") from None
    return diagnosis_of_evidence(site, text, given.evidence, given.unreachable)
