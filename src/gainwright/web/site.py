"""What every request needs: the adapters, the store, the models at hand, work in the background, who may come in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, cast

from fastapi import Depends
from starlette.requests import HTTPConnection

from gainwright.web.background import Background
from gainwright.web.measuring.running import LiveRooms
from gainwright.web.models import Models
from gainwright.web.network.access import Entrance

if TYPE_CHECKING:
    from gainwright.app.store import Store
    from gainwright.composition import Adapters

THIS_MACHINE = "this machine"
"""Who did something that came from the machine the program runs on."""


@dataclass
class Site:
    """One running web app.

    Attributes
    ----------
    hosts, lan_hosts : names and addresses that requests from this machine, and from others, may ask for; without port.
    lan : whether other devices may come in; they must be paired then.
    entrance : how they come in.
    music : folders that may be scanned.
    where : the place of the store as it was named; empty for the usual one.
    """

    world: Adapters
    store: Store
    hosts: frozenset[str] = frozenset({"127.0.0.1", "localhost", "[::1]"})
    lan: bool = False
    lan_hosts: frozenset[str] = frozenset()
    entrance: Entrance = field(default_factory=Entrance)
    where: str = ""
    music: tuple[str, ...] = ()
    models: Models = field(default_factory=Models)
    background: Background = field(default_factory=Background)
    live: LiveRooms = field(default_factory=LiveRooms)

    def close(self) -> None:
        """Stop what runs in the background and let go of the store."""
        self.background.close()
        self.store.close()


def of_request(connection: HTTPConnection) -> Site:
    """Return the site that a request came to."""
    return cast("Site", connection.app.state.site)


def device_of(connection: HTTPConnection) -> str:
    """Return the name of the device that a request came from."""
    return str(connection.scope.get("gainwright.device", THIS_MACHINE))


CurrentSite = Annotated[Site, Depends(of_request)]
Actor = Annotated[str, Depends(device_of)]
