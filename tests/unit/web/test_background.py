"""Work in the background: progress, stopping, failure in one sentence, kept for a while."""

from __future__ import annotations

import sys
import threading
import time
from typing import TYPE_CHECKING

import pytest
from apart import run_apart

from gainwright.errors import CallError, JobError
from gainwright.web.background import ENDED, MOST_KEPT, Background, Work, WorkProgress
from gainwright.web.models import MOST, Models
from gainwright.web.result_files import KEPT_S, MOST_FILES

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture
def background() -> Iterator[Background]:
    """Return a place where work runs."""
    made = Background()
    yield made
    made.close()


def _ended(work: Work) -> WorkProgress:
    return work.wait(5)


def _followed(work: Work) -> list[WorkProgress]:
    async def follow() -> list[WorkProgress]:
        return [told async for told in work.changes(wait_s=5) if told is not None]

    return run_apart(follow())


def test_followers_see_progress_in_order_and_the_end(background: Background) -> None:
    """A follower sees the progress grow and the end; one that comes later sees the end."""
    go = threading.Event()

    def do(work: Work) -> None:
        for i in range(5):
            go.wait(5)
            work.report(i / 5, f"part {i}")

    work = background.start("something", do, back="/")
    seen: list[WorkProgress] = []
    follower = threading.Thread(target=lambda: seen.extend(_followed(work)))
    follower.start()
    go.set()
    follower.join(10)
    shares = [told.share or 0.0 for told in seen]
    assert shares == sorted(shares)
    assert seen[-1].state == "done"
    assert seen[-1].share == 1.0
    assert [told.state for told in _followed(work)] == ["done"]


def test_follower_gets_none_while_nothing_changes(background: Background) -> None:
    """So that its connection stays open; a follower that leaves is forgotten."""
    go = threading.Event()

    def do(_work: Work) -> None:
        go.wait(10)

    work = background.start("something", do, back="/")

    async def follow() -> list[object]:
        changes = work.changes(wait_s=0.05)
        seen: list[object] = [await anext(changes) for _ in range(3)]
        await changes.aclose()  # type: ignore[attr-defined]
        return seen

    assert None in run_apart(follow())
    assert not work._followers
    go.set()
    assert _ended(work).state == "done"


def test_stopped_work_ends_at_its_next_report(background: Background) -> None:
    """It ends as stopped, and queued work never begins."""
    running = threading.Event()

    def endless(work: Work) -> None:
        while True:
            running.set()
            work.report(None, "on")
            time.sleep(0.005)

    works = [background.start("endless", endless, back="/") for _ in range(3)]
    assert running.wait(5)
    for work in works:
        background.stop(work.id)
    assert [_ended(work).state for work in works] == ["stopped"] * 3


def test_short_work_overtakes_long(background: Background) -> None:
    """Four scans of music, two of them waiting, don't hold back a paper."""
    go = threading.Event()

    def scan(_work: Work) -> None:
        go.wait(20)

    scans = [background.start("scan", scan, back="/music", long=True) for _ in range(4)]
    try:
        assert background.start("paper", lambda _: None, back="/").wait(5).state == "done"
        assert [work.state for work in scans[2:]] == ["waiting"] * 2
    finally:
        go.set()
    assert [_ended(work).state for work in scans] == ["done"] * 4


def test_failure_is_one_sentence_without_internal_details(background: Background) -> None:
    """An error that can be corrected is shown as it is; any other shows no internal details."""

    def mendable(_work: Work) -> None:
        raise CallError("the folder is empty", code="empty", remedy="name another")

    def broken(_work: Work) -> None:
        raise ZeroDivisionError("secret inside")

    told = _ended(background.start("a", mendable, back="/"))
    assert (told.state, told.said) == ("failed", "the folder is empty; name another")
    told = _ended(background.start("b", broken, back="/"))
    assert told.state == "failed"
    assert "secret" not in told.said


def test_only_the_latest_works_are_kept(background: Background) -> None:
    """Asking for an older one gives a message, not a crash."""
    first = background.start("first", lambda _: None, back="/")
    _ended(first)
    for _ in range(MOST_KEPT + 5):
        _ended(background.start("more", lambda _: None, back="/"))
    assert len(background.list()) <= MOST_KEPT + 1
    with pytest.raises(CallError) as error:
        background.get(first.id)
    assert error.value.code == "no_such_work"


def test_files_of_finished_work_are_on_disk_and_removed_later(background: Background) -> None:
    """The newest few are kept for a while; the folder is removed at the end."""
    clock = 0.0
    background._files.clock = lambda: clock

    def made(number: int) -> Work:
        content = bytes([number]) * 1_000_000
        work = background.start("f", lambda w: w.keep_file(content, name="f", media_type="a/b"), back="/")
        assert _ended(work).state == "done"
        return work

    first = made(1)
    folder = first.file.parent
    assert first.file.read_bytes() == b"\x01" * 1_000_000
    held = [value for name in vars(first) for value in [getattr(first, name)] if sys.getsizeof(value) > 100_000]
    assert held == []
    works = [made(number) for number in range(2, 3 + MOST_FILES)]
    assert len(list(folder.iterdir())) == MOST_FILES
    with pytest.raises(CallError, match="make it again"):
        _ = first.file
    assert works[-1].file.is_file()
    clock = KEPT_S + 1
    with pytest.raises(CallError, match="make it again"):
        _ = works[-1].file
    assert list(folder.iterdir()) == []
    made(99)
    background.close()
    assert not folder.exists()


def test_failed_model_leaves_no_lock() -> None:
    """A text that can't be parsed is tried again each time, and no lock is kept for it."""
    models = Models()
    for number in range(20):
        with pytest.raises(JobError):
            models.job(f"stages: {number}")
    assert models._making == {}


def test_model_is_made_once_for_concurrent_requests() -> None:
    """Eight threads ask for the same model: it is made once; another text makes another; the oldest is dropped first."""
    models = Models()
    made: list[str] = []

    def make() -> object:
        time.sleep(0.05)
        made.append("x")
        return object()

    found: list[object] = []
    threads = [threading.Thread(target=lambda: found.append(models.kept("k", "t", make))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert len(made) == 1
    assert len({id(model) for model in found}) == 1
    for i in range(MOST):
        models.kept("k", str(i), object)
    assert not models.has("k", "t")
    assert models.has("k", str(MOST - 1))


def test_ended_states_are_those_that_work_can_end_in() -> None:
    """Every final state is one that the pages know."""
    assert set(ENDED) == {"done", "failed", "stopped"}
