"""Practices over HTTP; the hidden fault is shown only after the end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter
from pydantic import BaseModel, Field

from gainwright.app.practice import stored_practices as practices
from gainwright.app.practice.review import PracticeReview
from gainwright.app.practice.stored_practices import PracticeAttempt
from gainwright.model.class_exercise import PracticeLimits
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.practice import changes
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from gainwright.app.practice.stored_practices import StoredPractice

router = APIRouter(prefix="/api/practices", tags=["practices"], responses=ERROR_RESPONSES)
Short = Annotated[str, Field(max_length=200)]


class NewPractice(BaseModel):
    """What to practise on, an example or a job; the same seed hides the same fault."""

    like: Short = ""
    job: Short = ""
    seed: int | None = Field(default=None, ge=0, le=10**9)


class TestName(BaseModel):
    """The name of a test."""

    test: Short


class Guess(BaseModel):
    """The fault that somebody names."""

    cause: Short
    where: Short = ""


class PracticeShown(BaseModel):
    """A practice; `cause` and `where` are null until its end, `short_way` and `review` until they are found."""

    id: str
    title: str
    begun: str
    seed: int
    call: list[str]
    tried: list[PracticeAttempt]
    tests: int
    minutes: float
    ended: str
    cause: str | None
    where: str | None
    short_way: list[PracticeAttempt] | None
    review: PracticeReview | None
    limits: PracticeLimits


class TestShown(BaseModel):
    """A test that can be made now."""

    name: str
    place: str
    ask: str
    minutes: float


def practice_shown(kept: StoredPractice) -> PracticeShown:
    """Return a practice as the API shows it: what is hidden only after its end."""
    stored = {name: getattr(kept, name) for name in PracticeShown.model_fields if name != "limits"}
    shown = PracticeShown(**stored, limits=kept.allowed)
    return shown if kept.ended else shown.model_copy(update={"cause": None, "where": None})


@router.get("")
def list_practices(site: CurrentSite) -> list[PracticeShown]:
    """Return all practices, last changed first."""
    return [practice_shown(kept) for kept in practices.list_practices(site.store)]


@router.post("", status_code=201)
def begin(site: CurrentSite, new: NewPractice) -> PracticeShown:
    """Hide a fault in an example's chain, or in a job's."""
    on = f"job:{new.job}" if new.job else f"like:{new.like or 'two_way_and_sub'}"
    title, text = changes.source(site, on)
    return practice_shown(changes.begin(site, title=title, text=text, seed=new.seed))


@router.get("/{practice}")
def get_practice(site: CurrentSite, practice: str) -> PracticeShown:
    """Return a practice."""
    return practice_shown(practices.load_practice(site.store, practice))


@router.get("/{practice}/tests")
def tests(site: CurrentSite, practice: str) -> list[TestShown]:
    """Return the tests that can be made now."""
    from gainwright.diagnose.wording import describe_test

    going = changes.practice_of(site, practices.load_practice(site.store, practice))
    grouped = practices.tests_by_place(going)
    return [
        TestShown(name=name, place=place, ask=describe_test(c, going.job), minutes=c.minutes)
        for place, candidates in grouped.items()
        for name, c in candidates
    ]


@router.post("/{practice}/ask")
def ask_test(site: CurrentSite, practice: str, wanted: TestName) -> PracticeShown:
    """Make a test."""
    return practice_shown(changes.ask(site, practice, wanted.test))


@router.post("/{practice}/guess")
def guess(site: CurrentSite, practice: str, named: Guess) -> PracticeShown:
    """Name the fault."""
    return practice_shown(changes.guess(site, practice, cause=named.cause, where=named.where))


@router.post("/{practice}/give-up")
def give_up(site: CurrentSite, practice: str) -> PracticeShown:
    """End it, and return what it was."""
    return practice_shown(changes.give_up(site, practice))
