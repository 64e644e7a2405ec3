"""The app: pages, API and static files around one site."""

from __future__ import annotations

import importlib.resources
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles

from gainwright import __version__
from gainwright.web import api, errors, pages
from gainwright.web.security import Guard

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from gainwright.web.site import Site


def create_app(site: Site) -> FastAPI:
    """Return the web app of a site."""

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        yield
        site.close()

    app = FastAPI(
        title="Gainwright",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=life,
    )
    app.state.site = site
    errors.register(app)
    for router in (*api.ROUTERS, *pages.ROUTERS):
        app.include_router(router)
    static = importlib.resources.files("gainwright.web") / "static"
    app.mount("/static", _Static(directory=str(static)), name="static")
    app.add_middleware(GZipMiddleware, minimum_size=800)
    app.add_middleware(Guard, site=site)
    return app


class _Static(StaticFiles):
    """Static files that a browser asks for again only when the program has changed."""

    def file_response(self, *args: object, **kwargs: object) -> object:  # type: ignore[override]
        found = super().file_response(*args, **kwargs)  # type: ignore[arg-type]
        found.headers["cache-control"] = "no-cache"
        return found
