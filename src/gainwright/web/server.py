"""The app: pages, API and static files around one site."""

from __future__ import annotations

from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from gainwright import __version__
from gainwright.web import errors, routers
from gainwright.web.help_files import AT, HelpFiles
from gainwright.web.network.guard import Guard
from gainwright.web.static_files import KeptFiles

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.types import ASGIApp

    from gainwright.web.site import Site


def create_app(site: Site) -> FastAPI:
    """Return the web app of a site."""

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        yield
        site.close()

    app = _Guarded(
        title="Gainwright",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=lifespan,
    )
    app.state.site = site
    errors.register(app)
    for router in (*routers.API, *routers.PAGES):
        app.router.routes.extend(router.routes)  # `include_router` would make each route again, a fifth of the start
    app.mount("/static", KeptFiles(), name="static")
    app.mount(AT, HelpFiles(), name="help")
    app.add_middleware(GZipMiddleware, minimum_size=800)
    return app


class _Guarded(FastAPI):
    """An app with the guard around everything, including the answer to unexpected errors."""

    def build_middleware_stack(self) -> ASGIApp:
        return Guard(super().build_middleware_stack(), self.state.site.network, self.state.site.store.devices)
