"""Concurrent use by threads and processes: the second writer gets a conflict, nothing is overwritten, no entry is lost."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from store_writers import CONTEXT, open_new, start, write_shared

from gainwright.adapters.store import open_store
from gainwright.app.store import ConflictError
from gainwright.model.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.store import Store

WRITERS, EACH = 4, 25


def _race(store: Store, change: Callable[[int], object]) -> tuple[int, int]:
    """Let threads make the same change at once; return how many got through and how many were refused."""

    def attempt(number: int) -> bool:
        try:
            change(number)
        except ConflictError:
            return False
        return True

    with ThreadPoolExecutor(WRITERS) as pool:
        through = list(pool.map(attempt, range(WRITERS * 3)))
    assert store is not None
    return sum(through), len(through) - sum(through)


def test_one_of_many_threads_with_the_same_revision_writes(store: Store) -> None:
    """For a job, a step or a case, new or not: exactly one writes, all others are refused."""
    job = store.jobs.add(title="one", text="1").id
    refused = WRITERS * 3 - 1
    assert _race(store, lambda n: store.jobs.write(job, title=str(n), text=str(n), seen=1)) == (1, refused)
    assert _race(store, lambda _: store.jobs.undo(job, seen=2)) == (1, refused)
    said = {"kind": "reading", "text": "", "value": {}, "by": ""}
    assert _race(store, lambda _: store.runs.add(job, step="a", seen=0, **said)) == (1, refused)  # type: ignore[arg-type]
    assert _race(store, lambda _: store.runs.add(job, step="a", seen=1, **said)) == (1, refused)  # type: ignore[arg-type]
    assert _race(store, lambda n: store.cases.write("new", Case(job=str(n)), seen=0)) == (1, refused)
    assert _race(store, lambda n: store.cases.write("new", Case(job=str(n)), seen=1)) == (1, refused)
    found = store.jobs.get(job)
    assert (found.revision, found.text, found.redoable) == (3, "1", 1)
    assert len(store.runs.entries(job)) == 2


def test_writes_without_a_revision_all_succeed(store: Store) -> None:
    """Documents saved by name, new jobs: each call succeeds; in the end one of the documents is there, complete."""
    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(lambda n: store.documents.put("k", "k", {"n": n, "same": n}), range(WRITERS * 5)))
        list(pool.map(lambda n: store.jobs.add(title=str(n), text=""), range(WRITERS * 5)))
    content = store.documents.get("k", "k")
    assert content is not None
    assert content["n"] == content["same"]
    assert {job.title for job in store.jobs.list()} == {str(n) for n in range(WRITERS * 5)}


def test_concurrent_processes_lose_no_writes(store: Store, place: str) -> None:
    """Each adds entries to one step and lines to one job: all are there, in each writer's order, each once."""
    job = store.jobs.add(title="counted", text="").id
    together = CONTEXT.Barrier(WRITERS)
    writers = [start(write_shared, place, job, f"writer{n}", EACH, together) for n in range(WRITERS)]
    done = [writer.ended() for writer in writers]
    assert [status for _, status in done] == [0] * WRITERS, done
    assert sum(conflicts for conflicts, _ in done) > 0, "they never met: the test shows nothing"
    wanted = {f"writer{n} {number}" for n in range(WRITERS) for number in range(EACH)}
    entries = store.runs.entries(job)
    assert [entry.number for entry in entries] == list(range(1, len(wanted) + 1))
    found = store.jobs.get(job)
    assert found.revision == len(wanted) + 1
    for said in ([entry.text for entry in entries], found.text.split("\n")[1:]):
        assert len(said) == len(wanted)
        assert set(said) == wanted
        for n in range(WRITERS):
            own = [line for line in said if line.startswith(f"writer{n} ")]
            assert own == [f"writer{n} {number}" for number in range(EACH)]


def test_new_store_is_opened_by_several_processes_at_once(place: str) -> None:
    """One creates the tables, all continue."""
    together = CONTEXT.Barrier(WRITERS)
    openers = [start(open_new, place, together) for _ in range(WRITERS)]
    assert [opener.ended() for opener in openers] == [("", 0)] * WRITERS


def test_writer_does_not_block_readers(store: Store, place: str) -> None:
    """During a write, everyone else sees the previous state."""
    job = store.jobs.add(title="one", text="1")
    other = open_store(place)

    def begin_and_fail() -> None:
        with other.database.write() as connection:
            connection.exec_driver_sql("DELETE FROM job")
            assert store.jobs.list() == [job]
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        begin_and_fail()
    assert store.jobs.list() == [job]
    other.close()
