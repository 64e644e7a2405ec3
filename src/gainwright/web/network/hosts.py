"""Strict parsing of Host and Origin headers."""

from __future__ import annotations

import ipaddress
import re

_HOST = re.compile(
    r"(?P<name>\[[0-9a-f:.]{2,45}\]|[a-z0-9_](?:[a-z0-9_.-]{0,252}[a-z0-9_])?\.?)(?::(?P<port>[0-9]{1,5}))?"
)
_ORIGIN = re.compile(r"(?P<scheme>[a-z]+)://(?P<host>[^/?#@\\]+)")
PORTS = {"http": 80, "https": 443, "ws": 80, "wss": 443}


def read_host(text: str, *, scheme: str) -> tuple[str, int] | None:
    """Return name and port of a Host header; None when it isn't one.

    The name is in lower case, without the dot of the root, IPv6 in brackets and in its shortest form (RFC 5952).
    """
    match = _HOST.fullmatch(text.lower()) if text.isascii() else None
    if match is None:
        return None
    port = int(match["port"]) if match["port"] else PORTS.get(scheme, 0)
    if not 0 < port < 65536:
        return None
    name = match["name"].removesuffix(".")
    if name.startswith("["):
        try:
            name = f"[{ipaddress.IPv6Address(name[1:-1])}]"
        except ValueError:
            return None
    return name, port


def same_origin(origin: str, *, scheme: str, host: tuple[str, int]) -> bool:
    """Return whether an Origin header names exactly the scheme, host and port of the request."""
    match = _ORIGIN.fullmatch(origin.lower()) if origin.isascii() else None
    asked = {"ws": "http", "wss": "https"}.get(scheme, scheme)
    if match is None or match["scheme"] != asked:
        return False
    return read_host(match["host"], scheme=asked) == host


def as_host(name: str) -> str:
    """Return a name or address as a Host header writes it."""
    try:
        read = ipaddress.ip_address(name)
    except ValueError:
        return name.lower().removesuffix(".")
    return f"[{read}]" if read.version == 6 else str(read)
