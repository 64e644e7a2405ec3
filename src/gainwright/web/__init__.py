"""The web app: pages and an HTTP API over the same functions as the command line, served from one's own machine."""

from gainwright.web.server import create_app
from gainwright.web.site import Site

__all__ = ["Site", "create_app"]
