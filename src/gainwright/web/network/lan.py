"""The door to the local network while the program runs: where it is, its certificate, renewed when addresses change."""

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
    from gainwright.web.site import Site

EVERYWHERE = ("", "0.0.0.0", "::")  # noqa: S104  asked for with --lan, and every request there needs a paired device
LOOK_AGAIN_S = 20.0
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")

log = logging.getLogger("gainwright.web")


@dataclass
class Lan:
    """The door to the local network.

    Attributes
    ----------
    address : the one address it listens at; empty for all.
    certificate_file, key_file : given ones; empty to have a certificate made.
    context : what new connections are encrypted with; kept here so that the certificate can be renewed.
    """

    site: Site
    port: int
    address: str = ""
    certificate_file: str = ""
    key_file: str = ""
    context: ssl.SSLContext = field(default_factory=lambda: ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER))
    _reached: tuple[str, ...] = ()

    def open(self) -> None:
        """Find out where it is reached, and get its certificate.

        Raises
        ------
        CallError : the machine has no address in a network, or there is no certificate that can be used.
        """
        self._reached = self._addresses()
        if not self._reached:
            raise CallError(
                "this machine is in no network",
                code="no_network",
                where="--lan",
                remedy="join the workshop's network or open a hotspot, then start again",
            )
        self._use(self._certificate())

    async def look_again(self) -> None:
        """Follow the machine from network to network as long as the program runs."""
        while True:
            await asyncio.sleep(LOOK_AGAIN_S)
            try:
                await asyncio.to_thread(self._follow)
            except GainwrightError as error:
                log.warning("the certificate was not renewed: %s", error)

    def _follow(self) -> None:
        now = self._addresses()
        if now and now != self._reached:
            self._reached = now
            self._use(self._certificate())

    def _addresses(self) -> tuple[str, ...]:
        from gainwright.adapters.own_addresses import own_addresses

        if self.address not in EVERYWHERE:
            return (self.address,)
        both = self.address == "::"
        return tuple(address for address in own_addresses() if both or ":" not in address)

    def _names(self) -> tuple[str, ...]:
        from gainwright.adapters.own_addresses import own_names

        return (*self._reached, *own_names(), *LOOPBACK_NAMES)

    def _certificate(self) -> Certificate:
        from gainwright.adapters.certificates import given_certificate, own_certificate

        if self.certificate_file:
            return given_certificate(Path(self.certificate_file), Path(self.key_file or self.certificate_file))
        return own_certificate(self._names())

    def _use(self, certificate: Certificate) -> None:
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.context.load_cert_chain(certificate.chain, certificate.key, password="")
        hosts = [as_host(name) for name in (*self._reached, *sorted(self._given_names(certificate)))]
        entrance = self.site.entrance
        self.site.lan_hosts = frozenset({*hosts, *map(as_host, self._names())})
        entrance.addresses = tuple(f"https://{host}:{self.port}" for host in dict.fromkeys(hosts))
        entrance.authority, entrance.fingerprint = certificate.authority, certificate.fingerprint
        entrance.until = certificate.until

    def _given_names(self, certificate: Certificate) -> set[str]:
        """Return the names that a given certificate is for; one with a star is no host."""
        if certificate.authority:
            return {name for name in self._names() if name.endswith(".local")}
        return {name for name in certificate.names if "*" not in name}
