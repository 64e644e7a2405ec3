"""Which cases belong to a job, in either database: those opened for it, and imported ones about the same file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gainwright.app.cases.stored_cases import begin_case, cases_of
from gainwright.jobfile import example_text
from gainwright.jobfile.editing import set_key
from gainwright.model.case import Case

if TYPE_CHECKING:
    from gainwright.app.store import Store

TEXT = example_text("one_amplifier")
TITLE = "a van with one amplifier"


@pytest.mark.parametrize("title", ["", 'Bob"s \u00e4 big', "it's", "50 % _ off"])
def test_imported_cases_are_found_whatever_their_title(store: Store, title: str) -> None:
    """Also without a title, or with one that the file spells differently."""
    job = store.jobs.add(title=title or "untitled", text=set_key(TEXT, ("title",), title))
    store.cases.write("imported", Case(job=job.text, title="from the command line"), seen=0)
    assert [case.name for case in cases_of(store, job.id)] == ["imported"]


def test_cases_belong_to_one_job(store: Store) -> None:
    """The same file stored twice means two cars; a case stays with its job when the job changes."""
    mine = store.jobs.add(title=TITLE, text=TEXT.replace(TEXT.split("title:")[1].split("\n")[0], f" {TITLE}"))
    other = store.jobs.add(title=TITLE, text=mine.text)
    begin_case(store, mine, name="begun")
    begin_case(store, other, name="not mine")
    store.cases.write("imported", Case(job=mine.text, title="from the command line"), seen=0)
    assert {case.name for case in cases_of(store, mine.id)} == {"begun", "imported"}
    assert {case.name for case in cases_of(store, other.id)} == {"not mine", "imported"}
    store.jobs.write(mine.id, title=TITLE, text=mine.text + "# louder now\n", seen=mine.revision, by="phone")
    assert [case.name for case in cases_of(store, mine.id)] == ["begun"]
