"""Changes to practices, one at a time, and the background search for the short way."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from gainwright.app.practice import stored_practices as practices
from gainwright.app.practice.practice import MOST_STEPS, best_path
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.practice.practice import Practice
    from gainwright.app.practice.stored_practices import StoredPractice
    from gainwright.diagnose import Diagnoser
    from gainwright.web.background import Work
    from gainwright.web.site import Site

_turns = threading.Lock()


def diagnoser_of(site: Site, text: str) -> Diagnoser:
    """Return the diagnoser of a job for practice. JobError: the text isn't a job."""
    return site.models.kept("diagnoser", f"practice\n{text}", lambda: practices.practice_diagnoser(text))


def source(site: Site, on: str) -> tuple[str, str]:
    """Return title and text of the job to practise on: `like:EXAMPLE`, or `job:ID`."""
    from gainwright.jobfile import example_text

    kind, _, name = on.partition(":")
    if kind == "job":
        job = site.store.jobs.get(name)
        return job.title, job.text
    text = example_text(name)
    return site.models.job(text).title, text


def begin(site: Site, *, title: str, text: str, seed: int | None) -> StoredPractice:
    """Begin a practice. JobError: the text isn't a job."""
    diagnoser = diagnoser_of(site, text)
    rigs = site.world.hidden_rigs
    return practices.begin_practice(site.store, title=title, job=text, seed=seed, rigs=rigs, diagnoser=diagnoser)


def practice_of(site: Site, kept: StoredPractice) -> Practice:
    """Return a practice in its present state, cached."""
    diagnoser = diagnoser_of(site, kept.job)
    rigs = site.world.hidden_rigs
    known = f"{kept.id} {kept.tests}"
    return site.models.kept("practice", known, lambda: practices.resume(kept, rigs=rigs, diagnoser=diagnoser))


def ask(site: Site, practice: str, name: str) -> StoredPractice:
    """Make a test. CallError: there is no such test now, or no such practice."""
    with _turns:
        kept = practices.load_practice(site.store, practice)
        rigs = site.world.hidden_rigs
        # not the cached one, which other requests may be showing
        going = practices.resume(kept, rigs=rigs, diagnoser=diagnoser_of(site, kept.job))
        return practices.ask(site.store, kept, going, name)


def guess(site: Site, practice: str, *, cause: str, where: str) -> StoredPractice:
    """Name the fault; a right answer starts the search for the short way. CallError: the chain can't have it."""
    with _turns:
        kept = practices.load_practice(site.store, practice)
        kept = practices.guess(site.store, kept, diagnoser_of(site, kept.job), cause=cause, where=where)
    if kept.ended:
        compare(site, practice)
    return kept


def give_up(site: Site, practice: str) -> StoredPractice:
    """Give up; this starts the search for the short way. CallError: there is no such practice, or it has ended."""
    with _turns:
        kept = practices.give_up(site.store, practices.load_practice(site.store, practice))
    compare(site, practice)
    return kept


def address(practice: str) -> str:
    """Return the address of a practice's page."""
    return f"/practise/{practice}"


def comparing(site: Site, practice: str) -> Work | None:
    """Return the running or latest search for the short way."""
    return next((work for work in site.background.list() if work.back == address(practice)), None)


def compare(site: Site, practice: str) -> None:
    """Start the search for the short way of a practice that has ended, in the background."""
    kept = practices.load_practice(site.store, practice)
    going = comparing(site, practice)
    if not kept.ended or kept.short_way is not None or (going is not None and going.going):
        return
    title = say("A shorter path: {title}", title=kept.title)
    site.background.start(title, _search(site, kept), back=address(practice), long=True)


def _search(site: Site, kept: StoredPractice) -> Callable[[Work], None]:
    def do(work: Work) -> None:
        shorter = best_path(
            diagnoser_of(site, kept.job).job,
            rigs=site.world.hidden_rigs,
            seed=kept.seed,
            cause=kept.cause,
            where=kept.where,
            on_step=lambda step: work.report(step / MOST_STEPS, say("after {step} tests", step=step)),
        )
        going = practices.resume(kept, rigs=site.world.hidden_rigs, diagnoser=diagnoser_of(site, kept.job))
        work.report(1.0, say("what each result showed"))
        review = practices.review_practice(going, kept.tests)
        with _turns:
            practices.keep_short_way(site.store, kept.id, shorter, review)

    return do
