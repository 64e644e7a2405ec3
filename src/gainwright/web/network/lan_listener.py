"""The listener for the local network: its addresses and its certificate, renewed when the addresses change."""

from __future__ import annotations

import asyncio
import logging
import ssl
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.errors import CallError, GainwrightError
from gainwright.web.network.hosts import as_host

if TYPE_CHECKING:
    from gainwright.adapters.certificates import Certificate
    from gainwright.web.network.access import NetworkAccess

EVERYWHERE = ("", "0.0.0.0", "::")  # noqa: S104  asked for with --lan, and every request there needs a paired device
CHECK_EVERY_S = 20.0
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")

log = logging.getLogger("gainwright.web")


@dataclass
class LanListener:
    """Addresses and certificate of the listener for the local network.

    Attributes
    ----------
    address : the only address it listens on; empty for all.
    certificate_file, key_file : given ones; empty to have a certificate made.
    context : of new connections; kept here so that the certificate can be renewed.
    """

    access: NetworkAccess
    port: int
    address: str = ""
    certificate_file: str = ""
    key_file: str = ""
    context: ssl.SSLContext = field(default_factory=lambda: ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER))
    _current: tuple[str, ...] = ()

    def open(self) -> None:
        """Determine its addresses and load its certificate.

        Raises
        ------
        CallError : the machine has no address in a network, or there is no usable certificate.
        """
        self._current = self._addresses()
        if not self._current:
            raise CallError(
                "this computer is not in a network",
                code="no_network",
                where="--lan",
                remedy="join the workshop's network or open a hotspot, then start again",
            )
        self._use(self._certificate())

    async def follow_addresses(self) -> None:
        """Renew addresses and certificate whenever the machine changes networks, until cancelled."""
        while True:
            await asyncio.sleep(CHECK_EVERY_S)
            try:
                await asyncio.to_thread(self._renew)
            except GainwrightError as error:
                log.warning("the certificate was not renewed: %s", error)

    def _renew(self) -> None:
        now = self._addresses()
        if now and now != self._current:
            self._current = now
            self._use(self._certificate())

    def _addresses(self) -> tuple[str, ...]:
        from gainwright.adapters.own_addresses import own_addresses

        if self.address not in EVERYWHERE:
            return (self.address,)
        both = self.address == "::"
        return tuple(address for address in own_addresses() if both or ":" not in address)

    def _names(self) -> tuple[str, ...]:
        from gainwright.adapters.own_addresses import own_names

        return (*self._current, *own_names(), *LOOPBACK_NAMES)

    def _certificate(self) -> Certificate:
        from gainwright.adapters.certificates import given_certificate, own_certificate

        if self.certificate_file:
            return given_certificate(Path(self.certificate_file), Path(self.key_file or self.certificate_file))
        return own_certificate(self._names())

    def _use(self, certificate: Certificate) -> None:
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.context.load_cert_chain(certificate.chain, certificate.key, password="")
        hosts = [as_host(name) for name in (*self._current, *sorted(self._given_names(certificate)))]
        access = self.access
        access.lan_hosts = frozenset({*hosts, *map(as_host, self._names())})
        access.addresses = tuple(f"https://{host}:{self.port}" for host in dict.fromkeys(hosts))
        access.authority, access.fingerprint = certificate.authority, certificate.fingerprint
        access.until = certificate.until

    def _given_names(self, certificate: Certificate) -> set[str]:
        """Return the names of a given certificate, without wildcards."""
        if certificate.authority:
            return {name for name in self._names() if name.endswith(".local")}
        return {name for name in certificate.names if "*" not in name}
