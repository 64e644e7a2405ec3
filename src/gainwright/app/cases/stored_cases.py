"""Cases of the store: begun about a job, and listed with it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.complaint_choices import entries_of_complaint
from gainwright.app.cases.dialogue import Dialogue
from gainwright.app.clock import today
from gainwright.app.document_changes import change_document
from gainwright.app.jobs.stored_jobs import LONGEST_TITLE, listed_title
from gainwright.app.store import found_or_none, job_deleted
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping

    from gainwright.app.cases.complaint_choices import Chosen
    from gainwright.app.store import Store, StoredCase, StoredJob

LONGEST_STEM = 50
WORDS_TO_FIND_BY = 4
RESERVED = ("new", "tally")
"""Names with another meaning in the addresses of cases."""
_JOB_OF = "job of a case"


def suggested_name(store: Store, title: str, *, on: str) -> str:
    """Return an unused name for a new case: words of the title, and the date."""
    plain = re.sub(r"[\W_]+", "-", title.lower()).strip("-")[:LONGEST_STEM].strip("-")
    stem = f"{plain or 'case'}-{on}"
    name, count = stem, 1
    while found_or_none(store.cases.get, name) is not None:
        count += 1
        name = f"{stem}-{count}"
    return name


def begin_case(
    store: Store, job: StoredJob, *, name: str, title: str = "", entries: Iterable[Mapping[str, Any]] = ()
) -> StoredCase:
    """Begin a case about a job, with what is known already.

    Raises
    ------
    CallError : an invalid name, or one that is in use; the job is deleted.
    JobError : an invalid entry, or the job can't be read.
    """
    if job.shelf == "deleted":
        raise job_deleted(job.title)
    case = _new_case(store, name, job.text, title.strip() or job.title, entries)
    _link(store, case.name, job.id)
    return case


def begin_call(
    store: Store,
    chain: str,
    extras: Collection[str] = (),
    *,
    title: str = "",
    complaint: str = "",
    chosen: Chosen | None = None,
    entries: Iterable[Mapping[str, Any]] = (),
    into: Callable[[str], str] = str,
) -> StoredCase:
    """Begin a case about a typical chain, without a job (`jobfile.starting.typical`).

    Parameters
    ----------
    title : whose car it is; the chain's title when empty.
    complaint, chosen : what is wrong, in a sentence, or as it was chosen.
    into : translates ready-made names.

    Raises
    ------
    CallError : no such chain or extra, or the complaint doesn't tell which speakers sound how.
    JobError : an invalid entry.
    """
    from gainwright.jobfile import read_job_text
    from gainwright.jobfile.starting.typical import chain_text, typical_chain

    text = chain_text(chain, extras, title=title.strip()[:LONGEST_TITLE], into=into)
    title = title.strip() or into(typical_chain(chain).title)
    complained = entries_of_complaint(complaint, chosen, read_job_text(text).job)
    return _new_case(store, suggested_name(store, title, on=today()), text, title, [*complained, *entries])


def keep_as_job(store: Store, case: str) -> StoredJob:
    """Store the chain of a case that was begun without a job as one, and return it; once, also when asked again."""
    job = job_of(store, case)
    if job is None:
        kept = store.cases.get(case).case
        job = store.jobs.add(title=listed_title(kept.title), text=kept.job)
        linked = _link(store, case, job.id)
        if linked != job.id:  # it was asked for twice at once: the first counts
            store.jobs.put(job.id, "deleted")
            job = store.jobs.get(linked)
    return job


def _new_case(store: Store, name: str, text: str, title: str, entries: Iterable[Mapping[str, Any]]) -> StoredCase:
    name = " ".join(name.split())
    if name in RESERVED or found_or_none(store.cases.get, name) is not None:
        raise CallError(
            say("a case can't be called {name}", name=name)
            if name in RESERVED
            else say("there is a case {name} already", name=name),
            code="name_taken",
            where="name",
            remedy=say("choose another name, or continue that case"),
        )
    dialogue = Dialogue(text, title[:LONGEST_TITLE], today())
    for entry in entries:
        dialogue.add(dict(entry))
    return store.cases.write(name, dialogue.case(), seen=0)


def _link(store: Store, case: str, job: str) -> str:
    """Note the job of a case, unless one that still exists was noted meanwhile; return the one that is noted."""

    def change(link: dict[str, Any] | None) -> dict[str, Any]:
        return {"job": job} if link is None or job_of(store, case) is None else link

    linked = str(change_document(store.documents, _JOB_OF, case, change)["job"])
    store.documents.put(_cases_of(linked), case, {})
    return linked


def _cases_of(job: str) -> str:
    return f"cases of {job}"


def cases_of(store: Store, job: str) -> list[StoredCase]:
    """Return the cases about a job, last changed first: those begun about it, and those of no job whose file is its own."""
    kept = store.jobs.get(job)
    # every case about a job contains the longest plain words of its file; only those cases are compared
    words = sorted(set(re.findall(r"[A-Za-z0-9]+", kept.text)), key=len)[-WORDS_TO_FIND_BY:]
    alike = (case for case in store.cases.find(" ".join(words)) if case.case.job == kept.text)
    by_name = {case.name: case for case in alike if store.documents.get(_JOB_OF, case.name) is None}
    for name, _ in store.documents.list(_cases_of(job)):
        case = found_or_none(store.cases.get, name)
        if case is not None:
            by_name[name] = case
    return sorted(by_name.values(), key=lambda case: case.changed, reverse=True)


def job_of(store: Store, case: str) -> StoredJob | None:
    """Return the job that a case was begun about, None when there was none or it was deleted."""
    link = store.documents.get(_JOB_OF, case)
    return None if link is None else found_or_none(store.jobs.get, str(link["job"]))
