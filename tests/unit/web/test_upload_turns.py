"""Uploads at once: one is read at a time, the rest waits in its order or is told when to come again."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from gainwright.composition import compose
from gainwright.errors import CallError
from gainwright.jobfile import example_text
from gainwright.web import Site, create_app
from gainwright.web.upload_turns import UploadTurns

if TYPE_CHECKING:
    from pathlib import Path


def test_one_at_a_time_in_the_order_of_coming() -> None:
    """Three wait, a fourth is refused with its place; each has the turn alone."""
    turns, order, alone = UploadTurns(most_waiting=3), [], threading.Lock()
    inside, go = threading.Event(), threading.Event()

    def upload(number: int) -> None:
        with turns.turn():
            assert alone.acquire(blocking=False)
            order.append(number)
            inside.set()
            go.wait(10)
            alone.release()

    threads = []
    for number in range(4):
        threads.append(threading.Thread(target=upload, args=(number,)))
        threads[-1].start()
        while len(turns._line) <= number:
            inside.wait(0.01)
    with pytest.raises(CallError, match="4 other recordings are being read first"), turns.turn():
        pass
    go.set()
    for thread in threads:
        thread.join(10)
    assert order == [0, 1, 2, 3]
    assert turns._line == []


def test_waiting_ends_with_the_place() -> None:
    """When those before take too long; a failing upload gives its turn on."""
    turns = UploadTurns(longest_wait_s=0.05)
    with turns.turn(), pytest.raises(CallError, match="1 other recordings"), turns.turn():
        pass
    with pytest.raises(ZeroDivisionError), turns.turn():
        raise ZeroDivisionError
    with turns.turn():
        pass


def test_upload_that_finds_no_turn_is_told_when_to_come_again(tmp_path: Path) -> None:
    """503 with Retry-After (RFC 9110 section 15.6.4), over HTTP and on the page; never the store's trouble."""
    world = compose()
    site = Site(world, world.store(str(tmp_path / "s.sqlite")), uploads=UploadTurns(most_waiting=-1))
    job = site.store.jobs.add(title="one", text=example_text("full_range")).id
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        for path in (f"/api/jobs/{job}/recordings", f"/jobs/{job}/recordings"):
            answer = client.post(path, files={"file": ("a.wav", b"RIFF")})
            assert (answer.status_code, answer.headers["retry-after"]) == (503, "20")
            assert "send it again in half a minute" in answer.text
