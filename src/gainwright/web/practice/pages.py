"""Pages of practice: a simulated chain with a hidden fault, tests by place, the guess, two paths side by side."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import Response

from gainwright.app.practice import stored_practices as practices
from gainwright.app.practice.caller import caller_words
from gainwright.app.practice.limits import limit_words
from gainwright.errors import GainwrightError
from gainwright.jobfile import examples
from gainwright.model import device_words, stages_at
from gainwright.quantities import unreadable, whole_number
from gainwright.texts import say, sentence
from gainwright.web.jobs.corridor_drawing import passages
from gainwright.web.practice import changes
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.practice.practice import Practice
    from gainwright.app.practice.stored_practices import PracticeAttempt, StoredPractice
    from gainwright.model import Job
    from gainwright.web.jobs.corridor_drawing import Passage
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)
SHOWN = 12
Short = Annotated[str, Form(max_length=200)]
Words = Annotated[str, Query(max_length=100)]


@router.get("/practise")
def practise(request: Request, site: CurrentSite) -> Response:
    """Show the form of a new practice, and earlier ones."""
    return _begin(request, site)


def _begin(request: Request, site: Site, *, error: GainwrightError | None = None) -> Response:
    return page(
        request,
        "practise.html",
        examples=examples(),
        jobs=site.store.jobs.list()[:SHOWN],
        practices=practices.list_practices(site.store)[:SHOWN],
        error=error,
    )


@router.post("/practise")
def begin(request: Request, site: CurrentSite, on: Short, number: Annotated[str, Form(max_length=12)] = "") -> Response:
    """Begin a practice on an example or on a job."""

    def do() -> str:
        title, text = changes.source(site, on)
        return changes.address(changes.begin(site, title=title, text=text, seed=_seed(number)).id)

    return done_or_shown(do, lambda error: _begin(request, site, error=error))


def _seed(number: str) -> int | None:
    """Return the number of a practice, None when none is typed. CallError: it isn't a number."""
    seed = whole_number(number, most=practices.MOST_SEED)
    if seed is None and number.strip():
        raise unreadable(number, what="number of a practice", rule=f"it is 0 to {practices.MOST_SEED}", example="7")
    return seed


@router.get("/practise/{practice}")
def show(request: Request, site: CurrentSite, practice: str, words: Words = "") -> Response:
    """Show a practice: the call, the tests by place, the results."""
    return _show(request, site, practice, words=words)


def _show(
    request: Request, site: Site, practice: str, *, words: str = "", was: str = "", error: GainwrightError | None = None
) -> Response:
    from gainwright.report.chain_layout import lay_out_both_ways

    kept = practices.load_practice(site.store, practice)
    going = changes.practice_of(site, kept)
    tried = _with_results(kept, going)
    last = next((t for t in reversed(tried) if t.name), None)
    return page(
        request,
        "practice.html",
        kept=kept,
        limited=limit_words(kept.allowed),
        going=going,
        groups={} if kept.ended else _groups(going, words),
        words=words,
        last_done=last if tried and tried[-1] is last else None,
        last=_group_words(_group_of(last.where), going.job) if last is not None else "",
        chain=lay_out_both_ways(going.job, title="The chain", marks=_marks(kept)),
        causes=_causes(going),
        was=was,
        call=caller_words(going.entries[: len(kept.called)], going.job),
        truth=_truth(kept, going.job) if kept.ended else None,
        tried=tried,
        told=_explained(kept, going),
        corridors=_corridors(site, kept, going.job),
        pairs=_side_by_side(kept, going) if kept.short_way is not None else [],
        work=changes.comparing(site, practice) if kept.ended and kept.short_way is None else None,
        error=error,
    )


def _groups(going: Practice, words: str) -> dict[str, list[dict[str, str]]]:
    from gainwright.diagnose.wording import describe_test

    wanted = words.lower().split()
    groups = {}
    for place, tests in practices.tests_by_place(going).items():
        rows = [{"name": name, "ask": describe_test(c, going.job), "minutes": f"{c.minutes:g}"} for name, c in tests]
        rows = [r for r in rows if all(w in f"{r['name']} {r['ask']}".lower() for w in wanted)]
        if rows:
            groups[_group_words(place, going.job)] = rows
    return groups


def _group_of(where: str) -> str:
    return "Leads" if where.startswith("lead:") else stages_at(where)[0]


_OTHER_GROUPS = {"Leads": say("Leads"), "Instruments": say("Instruments")}


def _group_words(place: str, job: Job) -> str:
    return sentence(device_words(job, place)) if place in job.stages else _OTHER_GROUPS.get(place, place)


def _marks(kept: StoredPractice) -> dict[str, list[int]]:
    return {kept.where: [1]} if kept.ended and kept.where else {}


def _causes(going: Practice) -> dict[str, list[tuple[str, str]]]:
    from gainwright.diagnose import short_name

    return {
        say("All causes"): [(f"{c.id}|{c.where}", short_name(c, going.job)) for c in sorted(going.diagnoser.causes)]
    }


def _truth(kept: StoredPractice, job: Job) -> dict[str, str]:
    from gainwright.diagnose import Cause, describe_cause, repair_text, short_name

    cause = Cause(kept.cause, kept.where)
    return {"name": short_name(cause, job), "says": describe_cause(cause, job), "repair": repair_text(cause)}


def _with_results(kept: StoredPractice, going: Practice) -> list[PracticeAttempt]:
    """Return tests and guesses, the results of tests in words that can be translated."""
    from gainwright.diagnose import describe_entry

    results = iter(going.entries[len(kept.called) :])
    return [replace(t, found=describe_entry(next(results), going.job)) if t.name else t for t in kept.tried]


def _explained(kept: StoredPractice, going: Practice) -> list[tuple[str, str]]:
    """Return what was found by each test and what it showed, once that is known."""
    from gainwright.report.practice_review import result_words

    if kept.review is None:
        return []
    made = [t for t in _with_results(kept, going) if t.name]
    return [
        (
            test.found,
            result_words(
                going.job,
                ruled_out=explained.ruled_out,
                leading=explained.leading,
                share=explained.share,
                truth=(explained.truth_before, explained.truth_after),
                moved=explained.moved,
            ),
        )
        for test, explained in zip(made, kept.review.told, strict=True)
    ]


def _corridors(site: Site, kept: StoredPractice, job: Job) -> Corridors | None:
    """Return the corridor before and after the repair; None before it is known, and when the repair changes no level."""
    from gainwright.report.practice_review import repaired_charts

    levels = None if kept.review is None else kept.review.levels
    if levels is None:
        return None

    def draw() -> Corridors:
        charts = repaired_charts(
            job, path=levels.path, tone_hz=levels.tone_hz, level_dbfs=levels.level_dbfs, volts=levels.volts
        )
        drawn = [replace(passages(chart)[0], number=i) for i, chart in enumerate(charts)]
        return Corridors(drawn[0], drawn[1], f"{levels.tone_hz:g}", f"{levels.level_dbfs:g}")

    return site.models.kept("corridors", f"{kept.id} {kept.tests}", draw)


@dataclass(frozen=True, slots=True)
class Corridors:
    """The corridor of a path before and after the repair, with its tone in Hz and dBFS."""

    before: Passage
    after: Passage
    tone: str
    level: str


def _side_by_side(kept: StoredPractice, going: Practice) -> list[tuple[object, object]]:
    """Return pairs of the learner's tests and those of the shorter path."""
    mine = [t for t in _with_results(kept, going) if t.name]
    short = list(kept.short_way or ())
    longest = max(len(mine), len(short))
    return list(zip(mine + [None] * (longest - len(mine)), short + [None] * (longest - len(short)), strict=True))


def _done(request: Request, site: Site, practice: str, do: Callable[[], object], *, was: str = "") -> Response:
    try:
        do()
    except GainwrightError as error:
        if error.code == "no_such_practice":
            raise
        return _show(request, site, practice, was=was, error=error)
    return go_to(changes.address(practice))


@router.post("/practise/{practice}/ask")
def ask_test(request: Request, site: CurrentSite, practice: str, test: Short) -> Response:
    """Make a test."""
    return _done(request, site, practice, lambda: changes.ask(site, practice, test))


@router.post("/practise/{practice}/guess")
def guess(request: Request, site: CurrentSite, practice: str, was: Short) -> Response:
    """Name the fault."""
    cause, _, where = was.partition("|")
    return _done(request, site, practice, lambda: changes.guess(site, practice, cause=cause, where=where), was=was)


@router.post("/practise/{practice}/give-up")
def give_up(request: Request, site: CurrentSite, practice: str) -> Response:
    """End it, and show what it was."""
    return _done(request, site, practice, lambda: changes.give_up(site, practice))


@router.post("/practise/{practice}/compare")
def compare(request: Request, site: CurrentSite, practice: str) -> Response:
    """Search for the short way again, after a restart."""
    return _done(request, site, practice, lambda: changes.compare(site, practice))
