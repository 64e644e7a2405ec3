"""The addresses at which other devices reach this machine."""

from __future__ import annotations

import socket
from types import SimpleNamespace

import psutil
import pytest

from gainwright.adapters.own_addresses import own_addresses

INTERFACES: dict[str, list[tuple[int, str]]] = {
    "loopback": [(socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1")],
    "cable": [(socket.AF_INET6, "2001:db8::7"), (socket.AF_INET, "192.168.4.7"), (-1, "02:fc:00:00:00:01")],
    "hotspot": [(socket.AF_INET, "10.42.0.1"), (socket.AF_INET6, "fe80::1%hotspot"), (socket.AF_INET6, "fd00::2")],
    "cable without a network": [(socket.AF_INET, "169.254.3.3")],
    "outside": [(socket.AF_INET, "8.8.4.4")],
}


def test_only_addresses_that_others_can_reach_are_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    """IPv4 first, private before public; no loopback, link-local or hardware address."""
    held = {
        name: [SimpleNamespace(family=f, address=a) for f, a in entries]
        for name, entries in reversed(INTERFACES.items())
    }
    monkeypatch.setattr(psutil, "net_if_addrs", lambda: held)
    assert own_addresses() == ("10.42.0.1", "192.168.4.7", "8.8.4.4", "2001:db8::7", "fd00::2")


def test_no_network_is_no_address(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without a network."""
    monkeypatch.setattr(psutil, "net_if_addrs", dict)
    assert own_addresses() == ()
