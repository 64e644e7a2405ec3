"""The LAN listener follows the machine from network to network: addresses, certificate and accepted host names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from handshake import handshake

from gainwright.errors import CallError
from gainwright.web.network.access import NetworkAccess
from gainwright.web.network.lan_listener import LanListener

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def addresses(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """The machine's addresses, to be changed by hand."""
    here = ["192.168.7.2", "fd00::7"]
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setattr("gainwright.adapters.own_addresses.own_addresses", lambda: tuple(here))
    monkeypatch.setattr("gainwright.adapters.own_addresses.own_names", lambda: ("bench", "bench.local"))
    return here


def test_listener_follows_the_machine_to_another_network(addresses: list[str]) -> None:
    """After a change of address, new connections get a certificate for it, from the same authority."""
    access = NetworkAccess()
    lan = LanListener(access, 8471)
    lan.open()
    authority = access.authority
    assert list(access.addresses) == ["https://192.168.7.2:8471", "https://bench.local:8471"]
    assert handshake(lan.context, authority, "192.168.7.2") == "TLSv1.3"
    assert "mismatch" in handshake(lan.context, authority, "10.9.8.7")
    addresses[:] = ["10.9.8.7"]
    lan._renew()
    assert next(iter(access.addresses)) == "https://10.9.8.7:8471"
    assert {"10.9.8.7", "bench", "bench.local", "localhost"} <= access.lan_hosts
    assert "192.168.7.2" not in access.lan_hosts
    assert access.authority == authority
    assert handshake(lan.context, authority, "10.9.8.7") == "TLSv1.3"
    assert handshake(lan.context, authority, "bench.local") == "TLSv1.3"
    addresses[:] = []
    lan._renew()  # no network for a moment: all stays
    assert next(iter(access.addresses)) == "https://10.9.8.7:8471"


@pytest.mark.parametrize(
    ("address", "shown"),
    [
        ("", ["https://192.168.7.2:1"]),
        ("0.0.0.0", ["https://192.168.7.2:1"]),  # noqa: S104  no socket is opened here
        ("::", ["https://192.168.7.2:1", "https://[fd00::7]:1"]),
        ("fd00::7", ["https://[fd00::7]:1"]),
    ],
)
def test_addresses_are_those_listened_on(addresses: list[str], address: str, shown: list[str]) -> None:
    """IPv6 addresses are shown only if the listener accepts them."""
    assert len(addresses) == 2
    access = NetworkAccess()
    LanListener(access, 1, address).open()
    assert [told for told in access.addresses if "bench" not in told] == shown


def test_machine_without_network_is_reported(addresses: list[str]) -> None:
    """The listener isn't started, and the error is one sentence."""
    addresses.clear()
    access = NetworkAccess()
    with pytest.raises(CallError, match="not in a network"):
        LanListener(access, 1).open()
