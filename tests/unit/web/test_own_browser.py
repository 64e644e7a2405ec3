"""Other accounts of the machine reach 127.0.0.1 too: only a browser with the token of this account is answered."""

from __future__ import annotations

import logging
import os
import stat
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from gainwright.adapters.own_token import own_token
from gainwright.composition import compose
from gainwright.web import Site, create_app
from gainwright.web.network.own_browser import OPENING_S, OwnBrowser

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

TOKEN = "t" * 43
PORT = 8470


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A site of an account."""
    world = compose()
    made = Site(world, world.store(str(tmp_path_factory.mktemp("own") / "s.sqlite")))
    yield made
    made.close()


@pytest.fixture
def own(site: Site) -> OwnBrowser:
    """Its token."""
    site.network.own = OwnBrowser(TOKEN, PORT)
    return site.network.own


@pytest.fixture
def web(site: Site, own: OwnBrowser) -> Iterator[TestClient]:
    """A client without the token."""
    del own
    with TestClient(create_app(site), base_url=f"http://127.0.0.1:{PORT}", follow_redirects=False) as client:
        yield client


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"headers": {"authorization": f"Bearer {TOKEN[:-1]}x"}},
        {"headers": {"authorization": f"Basic {TOKEN}"}},
        {"headers": {"authorization": "Bearer "}},
        {"headers": {"cookie": f"gainwright-own-{PORT}={TOKEN[:-1]}"}},
        {"headers": {"cookie": f"gainwright-own-{PORT + 1}={TOKEN}"}},
        {"params": {"token": "x"}},
        {"params": {"token": "ü" * 43}},
    ],
)
def test_another_account_gets_nothing(web: TestClient, more: dict[str, dict[str, str]]) -> None:
    """Pages lead to the one that asks for the token, everything else is 401; static files are the program's, not a job's."""
    for path in ("/", "/jobs/new", "/music", "/cases/tally"):
        assert web.get(path, **more).headers["location"] == "/open"  # type: ignore[arg-type]
    for answer in (
        web.get("/api/jobs", **more),  # type: ignore[arg-type]
        web.post("/api/jobs", json={"like": "full_range"}, **more),  # type: ignore[arg-type]
        web.post("/jobs/new", data={"like": "full_range"}, **more),  # type: ignore[arg-type]
    ):
        assert answer.status_code == 401
    assert web.get("/static/sheet.css", **more).status_code == 200  # type: ignore[arg-type]
    with pytest.raises(WebSocketDisconnect), web.websocket_connect("ws://127.0.0.1/api/live", **more):  # type: ignore[arg-type]
        pass


def test_address_with_the_token_gives_the_cookie(web: TestClient) -> None:
    """It leads to the same address without the token; the cookie then opens pages, scripts' requests and WebSockets."""
    answer = web.get("/jobs/new?like=full_range", params={"token": TOKEN, "like": "full_range"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/jobs/new?like=full_range")
    assert answer.headers["referrer-policy"] == "same-origin"  # no other site is told where a link was followed
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert web.get("/api/jobs").status_code == 200
    assert web.get("/").status_code == 200
    with web.websocket_connect(f"ws://127.0.0.1:{PORT}/api/live") as line:
        line.send_text("{}")
        assert line.receive_json()["kind"] == "trouble"  # no rate was sent


def test_token_never_leads_elsewhere(web: TestClient) -> None:
    """A path with two slashes would name another host."""
    answer = web.get(f"http://127.0.0.1:{PORT}//evil.test/x", params={"token": TOKEN})
    assert answer.headers["location"] == "/evil.test/x"


def test_scripts_send_the_token_as_a_header(web: TestClient) -> None:
    """As `Authorization: Bearer`."""
    assert web.get("/api/jobs", headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200


def test_opening_address_is_good_once_and_soon(
    web: TestClient, own: OwnBrowser, caplog: pytest.LogCaptureFixture
) -> None:
    """Other accounts see a browser's command line: what stands there opens once; a second use is reported."""
    now = 0.0
    own.clock = lambda: now
    first, late = own.opening_address("/"), own.opening_address("/")
    assert TOKEN not in first
    assert web.get(first).headers["location"] == "/"
    assert web.get("/api/jobs").status_code == 200
    web.cookies.clear()
    with caplog.at_level(logging.WARNING):
        assert web.get(first).headers["location"] == "/open"
    assert "opened twice" in caplog.text
    now = OPENING_S + 1
    assert web.get(late).headers["location"] == "/open"
    web.post("/api/jobs", params={"token": TOKEN})
    assert TOKEN not in caplog.text


def test_page_takes_the_token_or_the_whole_address(web: TestClient) -> None:
    """What was copied from the terminal, whole or only the token; anything else is asked for again."""
    assert "printed where Gainwright was started" in web.get("/open").text
    wrong = web.post("/open", data={"token": "http://127.0.0.1:8470/?token=abc"})
    assert (wrong.status_code, "copy all of it" in wrong.text) == (422, True)
    for typed in (f" http://127.0.0.1:8470/?token={TOKEN} ", TOKEN):
        web.cookies.clear()
        assert web.post("/open", data={"token": typed}).headers["location"] == "/"
        assert web.get("/api/jobs").status_code == 200


def test_token_is_kept_for_this_account_only(tmp_path: Path) -> None:
    """A start after the first has the same; a file that others can read, or of something else, is replaced."""
    path = tmp_path / "data" / "browser-token"
    token = own_token(path)
    assert len(token) == 43
    assert own_token(path) == token
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        path.chmod(0o640)
        second = own_token(path)
        assert second != token
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        token = second
    path.write_text("short\n")
    assert own_token(path) != token
    (tmp_path / "file").write_text("in the way")
    assert len(own_token(tmp_path / "file" / "browser-token")) == 43
