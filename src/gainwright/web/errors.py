"""An error a person can mend becomes an answer: a page for a page, JSON for the API. Nothing of the inside is told."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from gainwright.errors import GainwrightError
from gainwright.web.rendering import page

if TYPE_CHECKING:
    from fastapi import FastAPI
    from starlette.requests import Request

log = logging.getLogger("gainwright.web")

CONFLICT, NOT_FOUND, BUSY, FULL, FORBIDDEN, TOO_MANY = 409, 404, 503, 507, 403, 429
STATUSES = {
    "conflict": CONFLICT,
    "store_busy": BUSY,
    "store_full": FULL,
    "own_machine_only": FORBIDDEN,
    "must_wait": TOO_MANY,
}
"""Error code -> HTTP status; codes that begin with `no_such_` are 404, all others 422."""


def status_of(error: GainwrightError) -> int:
    """Return the HTTP status of an error."""
    if error.code in STATUSES:
        return STATUSES[error.code]
    return NOT_FOUND if error.code.startswith("no_such_") else 422


def error_json(error: GainwrightError) -> dict[str, str]:
    """Return an error as the API tells it."""
    return {"code": error.code, "where": error.where, "what": error.what, "rule": error.rule, "remedy": error.remedy}


def answer(request: Request, status: int, error: GainwrightError) -> Response:
    """Return an error as a page, or as JSON where the API was called."""
    if request.url.path.startswith("/api/"):
        return JSONResponse(error_json(error), status)
    return page(request, "error.html", status=status, error=error)


def register(app: FastAPI) -> None:
    """Let an app answer errors so."""

    @app.exception_handler(GainwrightError)
    def mendable(request: Request, error: GainwrightError) -> Response:
        return answer(request, status_of(error), error)

    @app.exception_handler(RequestValidationError)
    def unreadable(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
        return answer(request, 422, GainwrightError(first["msg"].lower(), code="bad_request", where=place))

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: HTTPException) -> Response:
        what = {404: "there is nothing here", 405: "this can't be done here"}.get(error.status_code, str(error.detail))
        found = GainwrightError(what, code="refused", remedy="go back to the jobs")
        return answer(request, error.status_code, found)

    @app.exception_handler(Exception)
    def unforeseen(request: Request, error: Exception) -> Response:
        log.error("unforeseen", exc_info=error)
        found = GainwrightError(
            "something went wrong inside the program; what was kept before is as it was",
            code="inside",
            remedy="try once more; if it happens again, tell what you did",
        )
        return answer(request, 500, found)
