"""The names and addresses at which other devices can reach this machine; found without sending anything."""

from __future__ import annotations

import ipaddress
import re
import socket

_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")


def own_addresses() -> tuple[str, ...]:
    """Return the addresses of this machine's interfaces, IPv4 first, without loopback and link-local IPv6 addresses."""
    import psutil

    listed = [entry for entries in psutil.net_if_addrs().values() for entry in entries]
    read = {ipaddress.ip_address(e.address) for e in listed if e.family in (socket.AF_INET, socket.AF_INET6)}
    reachable = [a for a in read if not (a.is_loopback or a.is_link_local or a.is_unspecified or a.is_multicast)]
    return tuple(str(a) for a in sorted(reachable, key=lambda a: (a.version, not a.is_private, int(a))))


def own_names() -> tuple[str, ...]:
    """Return this machine's names in a local network: the host name, and its multicast DNS name (RFC 6762)."""
    bare = socket.gethostname().lower().split(".")[0]
    return (bare, f"{bare}.local") if _NAME.fullmatch(bare) and bare != "localhost" else ()
