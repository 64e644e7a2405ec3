"""The door to the network follows the machine from network to network: addresses, certificate and names that are let in."""

from __future__ import annotations

import socket
import ssl
import threading
from typing import TYPE_CHECKING, Any

import pytest

from gainwright.errors import CallError
from gainwright.web.network.access import Entrance
from gainwright.web.network.lan import Lan

if TYPE_CHECKING:
    from pathlib import Path


class FakeSite:
    """What the door needs of a site."""

    def __init__(self) -> None:
        self.entrance = Entrance()
        self.lan_hosts: frozenset[str] = frozenset()


@pytest.fixture
def addresses(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """The machine's addresses, to be changed by hand."""
    here = ["192.168.7.2", "fd00::7"]
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setattr("gainwright.adapters.own_addresses.own_addresses", lambda: tuple(here))
    monkeypatch.setattr("gainwright.adapters.own_addresses.own_names", lambda: ("bench", "bench.local"))
    return here


def said_to(context: ssl.SSLContext, authority: bytes, name: str) -> str:
    """Shake hands with what the door serves now, as a client that trusts the authority; return what came of it."""
    calling = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    calling.load_verify_locations(cadata=authority)
    here, there = socket.socketpair()

    def serve() -> None:
        with here:
            try:
                context.wrap_socket(here, server_side=True).close()
            except OSError:
                return

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with there, calling.wrap_socket(there, server_hostname=name) as spoken:
            return spoken.version() or ""
    except ssl.SSLCertVerificationError as refused:
        return refused.verify_message
    finally:
        thread.join()


def test_door_follows_the_machine_to_another_network(addresses: list[str]) -> None:
    """After a change of address, new connections get a certificate for it, of the same authority."""
    site: Any = FakeSite()
    lan = Lan(site, 8471)
    lan.open()
    before = site.entrance
    authority = before.authority
    assert before.addresses == ("https://192.168.7.2:8471", "https://bench.local:8471")
    assert said_to(lan.context, authority, "192.168.7.2") == "TLSv1.3"
    assert "mismatch" in said_to(lan.context, authority, "10.9.8.7")
    addresses[:] = ["10.9.8.7"]
    lan._follow()
    assert site.entrance.addresses[0] == "https://10.9.8.7:8471"
    assert {"10.9.8.7", "bench", "bench.local", "localhost"} <= site.lan_hosts
    assert "192.168.7.2" not in site.lan_hosts
    assert site.entrance.authority == authority
    assert said_to(lan.context, authority, "10.9.8.7") == "TLSv1.3"
    assert said_to(lan.context, authority, "bench.local") == "TLSv1.3"
    addresses[:] = []
    lan._follow()  # no network for a moment: all stays
    assert site.entrance.addresses[0] == "https://10.9.8.7:8471"


@pytest.mark.parametrize(
    ("address", "shown"),
    [
        ("", ["https://192.168.7.2:1"]),
        ("0.0.0.0", ["https://192.168.7.2:1"]),  # noqa: S104  nothing is listened at here
        ("::", ["https://192.168.7.2:1", "https://[fd00::7]:1"]),
        ("fd00::7", ["https://[fd00::7]:1"]),
    ],
)
def test_addresses_are_those_that_are_listened_at(addresses: list[str], address: str, shown: list[str]) -> None:
    """IPv6 is told only where it is listened at."""
    assert len(addresses) == 2
    site: Any = FakeSite()
    Lan(site, 1, address).open()
    assert [told for told in site.entrance.addresses if "bench" not in told] == shown


def test_machine_in_no_network_is_told(addresses: list[str]) -> None:
    """Without any network there is no door, and one sentence."""
    addresses.clear()
    site: Any = FakeSite()
    with pytest.raises(CallError, match="in no network"):
        Lan(site, 1).open()
