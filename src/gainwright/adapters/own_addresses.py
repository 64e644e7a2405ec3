"""The names and addresses by which other devices can reach this machine; found without sending anything."""

from __future__ import annotations

import ipaddress
import re
import socket
import sys
from pathlib import Path

_INTERFACE_ADDRESS = 0x8915
"""Linux: ask an interface for its IPv4 address (SIOCGIFADDR of netdevice(7))."""
_INET6 = Path("/proc/net/if_inet6")
_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")


def own_addresses() -> tuple[str, ...]:
    """Return this machine's addresses in networks, IPv4 first; none of the loopback, none that needs a zone."""
    found = {*_of_interfaces(), *_of_name(), *_of_routes()}
    read = {ipaddress.ip_address(address) for address in found}
    wanted = [a for a in read if not (a.is_loopback or a.is_link_local or a.is_unspecified or a.is_multicast)]
    return tuple(str(a) for a in sorted(wanted, key=lambda a: (a.version, not a.is_private, int(a))))


def own_names() -> tuple[str, ...]:
    """Return this machine's names in a local network: the bare one and the one of multicast DNS (RFC 6762)."""
    bare = socket.gethostname().lower().split(".")[0]
    return (bare, f"{bare}.local") if _NAME.fullmatch(bare) and bare != "localhost" else ()


def _of_interfaces() -> set[str]:
    """Return what each interface has: a workshop's own hotspot has no route to anywhere, so routes alone don't tell."""
    if sys.platform != "linux":
        return set()
    import fcntl

    found = set()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            try:
                told = fcntl.ioctl(asking.fileno(), _INTERFACE_ADDRESS, name.encode()[:15].ljust(256, b"\0"))
            except OSError:
                continue
            found.add(socket.inet_ntoa(told[20:24]))
    if _INET6.is_file():
        lines = _INET6.read_text(encoding="ascii").splitlines()
        found |= {str(ipaddress.IPv6Address(int(line.split()[0], 16))) for line in lines}
    return found


def _of_name() -> set[str]:
    try:
        told = socket.getaddrinfo(socket.gethostname(), None, type=socket.SOCK_STREAM)
    except OSError:
        return set()
    return {str(entry[4][0]) for entry in told if "%" not in str(entry[4][0])}


def _of_routes() -> set[str]:
    """Return from where this machine would send to a network for documentation; a datagram socket sends nothing yet."""
    found = set()
    for family, target in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as asking:
                asking.connect((target, 9))
                found.add(str(asking.getsockname()[0]))
        except OSError:
            continue
    return {address for address in found if "%" not in address}
