"""Requests that nobody would send, the short form of the attack (`python3 tasks.py attack`): every answer is one, none is an error of ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import attack_requests
import httpx
import pytest
from attack_figures import told

if TYPE_CHECKING:
    from web_server import WebServer


def test_odd_requests_are_answered(server: WebServer) -> None:
    """No error of the server, no traceback, nothing of the machine in an answer."""
    found = attack_requests.attack(1, 0, server)
    assert all(figures.held for figures in found), told(found)
    for figures in found:
        assert figures.tried >= attack_requests.FEW, figures.what
        assert 0 < figures.refused < figures.tried, figures.what


@pytest.mark.parametrize(
    ("status", "text", "fell"),
    [
        (500, "Internal error", "500"),
        (404, "no such thing in {folder}/store.sqlite", "tells of the machine"),
        (200, "Traceback (most recent call last)", "tells of the machine"),
        (200, "kept in {folder}/store.sqlite", ""),
        (503, "the store is busy", ""),
        (422, "not a number", ""),
    ],
)
def test_bad_answer_is_noticed(status: int, text: str, fell: str, server: WebServer) -> None:
    """Errors of ours and folders of the machine fall; refusals, and what the own machine may know of its own folders, don't."""

    def answer(_: httpx.Request) -> httpx.Response:
        return httpx.Response(status, text=text.format(folder=server.folder))

    sending = attack_requests.Requests(1, server)
    with httpx.Client(transport=httpx.MockTransport(answer), base_url="http://127.0.0.1") as client:
        sending.one(client, "number 1", "GET", "/", {})
    assert sending.figures.tried == 1
    assert [fell in line for line in sending.figures.falls] == [True] * bool(fell)
