"""Work in the background: told as it goes, stopped, failed in one sentence, kept for a while."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

import pytest

from gainwright.errors import CallError
from gainwright.web.background import ENDED, MOST_KEPT, Background, Work, WorkProgress
from gainwright.web.models import MOST, Models

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture
def background() -> Iterator[Background]:
    """Return a place where work runs."""
    made = Background()
    yield made
    made.close()


def _ended(work: Work) -> WorkProgress:
    return [told for told in work.changes(wait_s=5) if told is not None][-1]


def test_changes_are_told_in_order_and_the_end_is_told_to_late_comers(background: Background) -> None:
    """Who follows sees the shares grow and the end; who comes after the end sees the end."""
    go = threading.Event()

    def do(work: Work) -> None:
        for i in range(5):
            go.wait(5)
            work.tell(i / 5, f"part {i}")

    work = background.start("something", do, back="/")
    seen: list[WorkProgress] = []
    follower = threading.Thread(target=lambda: seen.extend(t for t in work.changes(wait_s=5) if t is not None))
    follower.start()
    go.set()
    follower.join(10)
    shares = [told.share or 0.0 for told in seen]
    assert shares == sorted(shares)
    assert seen[-1].state == "done"
    assert seen[-1].share == 1.0
    assert _ended(work).state == "done"


def test_stopped_work_ends_at_its_next_word(background: Background) -> None:
    """A person stops it: it ends as stopped, and what waits never begins."""
    running = threading.Event()

    def endless(work: Work) -> None:
        while True:
            running.set()
            work.tell(None, "on")
            time.sleep(0.005)

    works = [background.start("endless", endless, back="/") for _ in range(3)]
    assert running.wait(5)
    for work in works:
        background.stop(work.id)
    assert [_ended(work).state for work in works] == ["stopped"] * 3


def test_failure_is_one_sentence_without_insides(background: Background) -> None:
    """A mendable error is told as it is; anything else says nothing of the inside."""

    def mendable(_work: Work) -> None:
        raise CallError("the folder is empty", code="empty", remedy="name another")

    def broken(_work: Work) -> None:
        raise ZeroDivisionError("secret inside")

    told = _ended(background.start("a", mendable, back="/"))
    assert (told.state, told.said) == ("failed", "the folder is empty; name another")
    told = _ended(background.start("b", broken, back="/"))
    assert told.state == "failed"
    assert "secret" not in told.said


def test_only_the_last_are_kept_and_an_old_one_is_said_to_be_gone(background: Background) -> None:
    """Old work goes; asking for it is answered, not a crash."""
    first = background.start("first", lambda _: None, back="/")
    _ended(first)
    for _ in range(MOST_KEPT + 5):
        _ended(background.start("more", lambda _: None, back="/"))
    assert len(background.list()) <= MOST_KEPT + 1
    with pytest.raises(CallError) as error:
        background.get(first.id)
    assert error.value.code == "no_such_work"


def test_model_is_made_once_for_all_who_ask_at_the_same_time() -> None:
    """Eight threads ask for the same model: it is made once; another text makes another; the oldest goes first."""
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
    """Every end is one of the words a page knows."""
    assert set(ENDED) == {"done", "failed", "stopped"}
