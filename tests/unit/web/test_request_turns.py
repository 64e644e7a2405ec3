"""How many requests of other devices are worked on at once."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

from apart import run_apart

from gainwright.web.network.request_turns import RequestTurns


def _asked(
    turns: RequestTurns, devices: str, *, kind: str = "http", begins: bool = False
) -> tuple[dict[str, int], int]:
    """Ask once for each letter; return the most that were worked on at once, of each device and in all."""
    now, most, in_all = Counter[str](), Counter[str](), 0

    async def app(scope: Any, _receive: Any, send: Any) -> None:
        nonlocal in_all
        if begins:
            await send({"type": f"{kind}.response.start"})
        now[scope["device"]] += 1
        most[scope["device"]] = max(most[scope["device"]], now[scope["device"]])
        in_all = max(in_all, now.total())
        await asyncio.sleep(0.01)
        now[scope["device"]] -= 1
        await send({"type": f"{kind}.response.start"})

    async def sent(_message: Any) -> None:
        pass

    async def go() -> None:
        async with asyncio.TaskGroup() as group:
            for device in devices:
                of = turns.of(device, app)
                group.create_task(of({"type": kind, "method": "GET", "device": device}, None, sent))  # type: ignore[arg-type]

    run_apart(go())
    return dict(most), in_all


async def _awaited(answer: Any) -> None:
    await answer


def test_a_device_and_all_of_them_have_few_turns_at_once() -> None:
    """Forty-five plans asked for by one phone once took every thread, and the own machine waited six seconds."""
    turns = RequestTurns(most_of_device=2, most=3)
    assert _asked(turns, "a" * 9) == ({"a": 2}, 2)
    assert turns._of_device == {}
    of_each, in_all = _asked(RequestTurns(most_of_device=2, most=3), "aaaabbbb")
    assert (max(of_each.values()), in_all) == (2, 3)


def test_what_follows_an_answers_beginning_takes_no_turn() -> None:
    """Events go on for hours, a download as long as the other end likes; a live measurement is no request of this kind."""
    assert _asked(RequestTurns(most_of_device=2, most=3), "a" * 9, begins=True) == ({"a": 9}, 9)
    assert _asked(RequestTurns(most_of_device=2, most=3), "a" * 9, kind="websocket") == ({"a": 9}, 9)


def test_a_request_that_is_ended_gives_its_turn_back() -> None:
    """While it waits, and while it is worked on: as when the access of a device is revoked."""
    turns, ended = RequestTurns(most_of_device=1, most=1), []

    async def app(_scope: Any, _receive: Any, _send: Any) -> None:
        try:
            await asyncio.sleep(60)
        finally:
            ended.append(True)

    async def go() -> None:
        nobody: Any = None
        scope = {"type": "http", "method": "GET"}
        requests = [asyncio.ensure_future(_awaited(turns.of("a", app)(scope, nobody, nobody))) for _ in range(3)]
        await asyncio.sleep(0.01)
        for request in requests:
            request.cancel()
        await asyncio.gather(*requests, return_exceptions=True)

    run_apart(go())
    assert ended == [True]
    assert turns._of_device == {}


def test_a_body_that_comes_slowly_takes_no_turn() -> None:
    """Of an upload, only the work on it: what has come whole is answered meanwhile."""
    turns, answered = RequestTurns(most_of_device=1, most=1), []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        while scope["method"] == "POST" and (await receive()).get("more_body"):
            pass
        answered.append(scope["name"])
        await send({"type": "http.response.start"})

    async def go() -> None:
        coming: asyncio.Queue[dict[str, Any]] = asyncio.Queue()

        async def sent(_message: Any) -> None:
            pass

        def ask(name: str, method: str) -> asyncio.Future[None]:
            scope = {"type": "http", "method": method, "name": name}
            return asyncio.ensure_future(_awaited(turns.of("a", app)(scope, coming.get, sent)))

        coming.put_nowait({"type": "http.request", "more_body": True})
        upload = ask("upload", "POST")
        await asyncio.sleep(0.01)
        await asyncio.wait_for(ask("page", "GET"), 5)
        coming.put_nowait({"type": "http.request", "more_body": False})
        await asyncio.wait_for(upload, 5)

    run_apart(go())
    assert answered == ["page", "upload"]
    assert turns._of_device == {}
