"""Changes to a case: each from the revision the writer saw, stored with the belief after it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from gainwright.app.cases import stored_cases
from gainwright.app.cases.answers import indicator_marks, with_result
from gainwright.app.cases.dialogue import find_test
from gainwright.app.cases.doubtful import doubt_about_answer
from gainwright.app.cases.plain_words import DONT_KNOW, ONLY_EARS, said_instead
from gainwright.app.clock import today
from gainwright.app.store import ConflictError, case_closed
from gainwright.errors import CallError
from gainwright.texts import say
from gainwright.web.diagnoses import diagnosis_of, dialogue_of
from gainwright.web.set_up.evaluation import text_as_set

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gainwright.app.cases.complaint_choices import Chosen
    from gainwright.app.cases.dialogue import Dialogue
    from gainwright.app.cases.endings import Ending
    from gainwright.app.store import StoredCase
    from gainwright.diagnose import Diagnosis, NextTest
    from gainwright.web.site import Site

LONGEST_NOTE = 2000


def change(site: Site, name: str, *, seen: int, do: Callable[[Dialogue, Diagnosis], object]) -> StoredCase:
    """Change the dialogue of an open case and store it, with the belief afterwards.

    Raises
    ------
    ConflictError : somebody else changed it since `seen`.
    CallError, JobError : it can't be done; nothing was changed.
    """
    kept = opened(site, name, seen=seen)
    dialogue = dialogue_of(site, kept.case)
    do(dialogue, diagnosis_of(site.models, dialogue))
    dialogue.note_belief(diagnosis_of(site.models, dialogue))
    return site.store.cases.write(name, dialogue.case(), seen=seen)


def opened(site: Site, name: str, *, seen: int) -> StoredCase:
    """Return an open case at the revision that was seen.

    Raises
    ------
    ConflictError : it was changed since.
    CallError : there is none, or it is closed.
    """
    kept = _as_seen(site, name, seen=seen)
    if kept.case.closed is not None:
        raise case_closed(name)
    return kept


def _as_seen(site: Site, name: str, *, seen: int) -> StoredCase:
    """Return a case at the revision that was seen. ConflictError: it was changed since."""
    kept = site.store.cases.get(name)
    if kept.revision != seen:
        raise ConflictError(
            say("the case {name} was changed by somebody else in the meantime", name=name),
            code="conflict",
            remedy=say("nothing was written; check the case as it is now, then try again"),
        )
    return kept


def answer(
    site: Site, name: str, *, seen: int, entry: Mapping[str, Any], text: str, second: str = "", sure: bool = False
) -> StoredCase:
    """Add the answer to a test; the same answer sent twice counts once. Not knowing and not reaching can be typed too.

    Parameters
    ----------
    sure : it is right as it was typed, although its decimal point seems to be lost.

    Raises
    ------
    DoubtfulReadingError : with its point elsewhere it would be usual in a sound chain; nothing was changed.
    ConflictError, CallError, JobError : see `change`.
    """
    said = "" if second else said_instead(text)
    if said:
        skip = {DONT_KNOW: dont_know, ONLY_EARS: only_ears}.get(said, cant_reach)
        return skip(site, name, seen=seen, entry=entry)
    kept = site.store.cases.get(name)
    answered = with_result(entry, text, second, marks=indicator_marks(entry, site.models.job(kept.case.job)))
    if kept.revision != seen and answered in [dict(e) for e in kept.case.evidence]:
        return kept
    opened(site, name, seen=seen)
    dialogue = dialogue_of(site, kept.case)
    doubt = None if sure else doubt_about_answer(dialogue.diagnoser, dialogue.diagnoser.job, entry, text)
    if doubt is not None:
        raise doubt
    return change(site, name, seen=seen, do=lambda d, found: d.add(answered, find_test(d, found, entry)))


def add(site: Site, name: str, *, seen: int, entry: Mapping[str, Any]) -> StoredCase:
    """Add a whole entry, whether a test asked for it or not."""
    return change(site, name, seen=seen, do=lambda d, found: d.add(dict(entry), find_test(d, found, entry)))


def complain(site: Site, name: str, *, seen: int, text: str, chosen: Chosen | None = None) -> StoredCase:
    """Add what a complaint tells, in a sentence, or as it was chosen.

    Raises
    ------
    CallError : there is neither, it doesn't tell which speakers sound how, or an answer is missing or unknown.
    """
    if not text.strip() and chosen is None:
        raise CallError(say("what is wrong is missing"), code="bad_complaint", remedy=say("choose it, or say it"))
    return change(site, name, seen=seen, do=lambda d, _: d.complain(text, chosen))


def dont_know(site: Site, name: str, *, seen: int, entry: Mapping[str, Any]) -> StoredCase:
    """Skip a test."""
    return change(site, name, seen=seen, do=lambda d, found: d.decline(_test(d, found, entry)))


def cant_reach(site: Site, name: str, *, seen: int, entry: Mapping[str, Any]) -> StoredCase:
    """Skip all tests at the place of a test."""
    return change(site, name, seen=seen, do=lambda d, found: d.exclude_place(_test(d, found, entry)))


def only_ears(site: Site, name: str, *, seen: int, entry: Mapping[str, Any]) -> StoredCase:
    """Skip all tests that need an instrument."""
    return change(site, name, seen=seen, do=lambda d, found: d.measure_nothing(_test(d, found, entry)))


def _test(dialogue: Dialogue, diagnosis: Diagnosis, entry: Mapping[str, Any]) -> NextTest:
    test = find_test(dialogue, diagnosis, entry)
    if test is None:
        raise CallError(
            say("this test isn't available now"), code="unknown_test", remedy=say("answer one of those listed")
        )
    return test


def undo(site: Site, name: str, *, seen: int) -> StoredCase:
    """Undo the last step."""
    return change(site, name, seen=seen, do=lambda d, _: d.undo())


def correct(site: Site, name: str, *, seen: int, number: int, text: str, second: str = "") -> StoredCase:
    """Change the result of an entry; the first is number 1."""
    return change(site, name, seen=seen, do=lambda d, _: d.correct(number, text, second))


def renew(site: Site, name: str, *, seen: int) -> StoredCase:
    """Use the present version of the job; the evidence stays. JobError: an entry no longer fits it."""
    kept = opened(site, name, seen=seen)
    job = stored_cases.job_of(site.store, name)
    if job is None:
        raise CallError(say("the job of this case isn't in this store"), code="no_such_job")
    case = kept.case.model_copy(update={"job": text_as_set(site, job)})
    diagnosis_of(site.models, dialogue_of(site, case))
    return site.store.cases.write(name, case, seen=seen)


def close(site: Site, name: str, *, seen: int, ending: Ending) -> StoredCase:
    """Close a case. CallError: the chain can't have such a cause, or what belongs to the ending is missing."""
    kept = opened(site, name, seen=seen)
    dialogue = dialogue_of(site, kept.case)
    case = dialogue.closed_as(replace(ending, note=ending.note.strip()[:LONGEST_NOTE]), on=today())
    return site.store.cases.write(name, case, seen=seen)


def reopen(site: Site, name: str, *, seen: int) -> StoredCase:
    """Open a closed case again. CallError: it is one of the shop's history, without a job."""
    kept = _as_seen(site, name, seen=seen)
    if not kept.case.job:
        raise CallError(say("this case was imported without a job, so it can't be reopened"), code="no_job")
    return site.store.cases.write(name, kept.case.model_copy(update={"closed": None}), seen=seen)


def case_address(name: str) -> str:
    """Return the address of a case's page."""
    return f"/cases/{quote(name, safe='')}"
