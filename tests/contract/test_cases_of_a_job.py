"""Which cases are about a job, in either database: those begun about it, and those kept elsewhere about the same file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gainwright.app.cases.stored_cases import begin_case, cases_of
from gainwright.jobfile import example_text
from gainwright.jobfile.editing import set_key
from gainwright.model import Case

if TYPE_CHECKING:
    from gainwright.app.store import Store

TEXT = example_text("one_amplifier")
TITLE = "a van with one amplifier"


@pytest.mark.parametrize("title", ["", 'Bob"s \u00e4 big', "it's", "50 % _ off"])
def test_cases_taken_in_are_found_whatever_the_title(store: Store, title: str) -> None:
    """Also without any title, and with one that is written otherwise in a file."""
    job = store.jobs.add(title=title or "untitled", text=set_key(TEXT, ("title",), title))
    store.cases.write("taken in", Case(job=job.text, title="from the command line"), seen=0)
    assert [case.name for case in cases_of(store, job.id)] == ["taken in"]


def test_cases_of_a_job_are_its_own(store: Store) -> None:
    """The same file kept twice is two cars; a case that was begun outlives changes of its job."""
    mine = store.jobs.add(title=TITLE, text=TEXT.replace(TEXT.split("title:")[1].split("\n")[0], f" {TITLE}"))
    other = store.jobs.add(title=TITLE, text=mine.text)
    begin_case(store, mine, name="begun")
    begin_case(store, other, name="not mine")
    store.cases.write("taken in", Case(job=mine.text, title="from the command line"), seen=0)
    assert {case.name for case in cases_of(store, mine.id)} == {"begun", "taken in"}
    assert {case.name for case in cases_of(store, other.id)} == {"not mine", "taken in"}
    store.jobs.write(mine.id, title=TITLE, text=mine.text + "# louder now\n", seen=mine.revision, by="phone")
    assert [case.name for case in cases_of(store, mine.id)] == ["begun"]
