"""Requests that nobody would send, the short form of the attack (`python3 tasks.py attack`): every answer is one, none is an error of ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import attack_requests
from attack_figures import told

if TYPE_CHECKING:
    from web_server import WebServer


def test_odd_requests_are_answered(server: WebServer) -> None:
    """No error of the server, no traceback, nothing of the machine in an answer."""
    found = attack_requests.attack(1, 0, server)
    assert all(figures.held for figures in found), told(found)
    assert found[0].tried >= attack_requests.FEW
    assert 0 < found[0].refused < found[0].tried
