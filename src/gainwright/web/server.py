"""The app: pages, API and static files around one site."""

from __future__ import annotations

import importlib.resources
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles

from gainwright import __version__
from gainwright.web import errors, routers
from gainwright.web.network.guard import Guard

if TYPE_CHECKING:
    import os
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
    for router in routers.API:
        app.include_router(router, responses=errors.ERROR_RESPONSES)
    for router in routers.PAGES:
        app.include_router(router)
    static = importlib.resources.files("gainwright.web") / "static"
    app.mount("/static", _StaticFiles(directory=str(static)), name="static")
    app.add_middleware(GZipMiddleware, minimum_size=800)
    return app


class _Guarded(FastAPI):
    """An app with the guard around everything, including the answer to unexpected errors."""

    def build_middleware_stack(self) -> ASGIApp:
        return Guard(super().build_middleware_stack(), self.state.site.network, self.state.site.store.devices)


class _StaticFiles(StaticFiles):
    """Static files that a browser checks for changes before it uses its own copy."""

    def lookup_path(self, path: str) -> tuple[str, os.stat_result | None]:
        # older versions of starlette ask the system for such a name, which raises ValueError
        return ("", None) if "\0" in path else super().lookup_path(path)

    def file_response(self, *args: object, **kwargs: object) -> object:  # type: ignore[override]
        response = super().file_response(*args, **kwargs)  # type: ignore[arg-type]
        response.headers["cache-control"] = "no-cache"
        return response
