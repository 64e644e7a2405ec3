"""An error a person can mend becomes an answer: a page for a page, JSON for the API. Nothing of the inside is told."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Any

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from gainwright.errors import GainwrightError
from gainwright.web.rendering import page
from gainwright.web.shown_errors import shown

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


class Trouble(BaseModel):
    """An error as the API tells it: where it is, what is wrong, what would be right, what to do next."""

    code: str
    where: str
    what: str
    rule: str
    remedy: str


TOLD: dict[int | str, dict[str, Any]] = {
    status: {"model": Trouble, "description": words}
    for status, words in {
        400: "The body can't be read.",
        401: "The device isn't paired.",
        403: "From another site's page, or may be done on the machine itself only.",
        404: "There is no such thing.",
        408: "The body came too slowly.",
        409: "Somebody else changed it since it was seen; nothing was written.",
        413: "The body is too large.",
        421: "Another host was asked for.",
        422: "What was sent can't be used.",
        429: "Too many requests at once.",
        503: "The store is busy or away; nothing was written.",
        507: "The disk is full; nothing was written.",
    }.items()
}
"""What every part of the API may answer beside its own."""


def status_of(error: GainwrightError) -> int:
    """Return the HTTP status of an error."""
    if error.code in STATUSES:
        return STATUSES[error.code]
    return NOT_FOUND if error.code.startswith("no_such_") else 422


def answer(request: Request, status: int, error: GainwrightError) -> Response:
    """Return an error as a page, or as JSON where the API was called."""
    error = shown(error)
    if request.url.path.startswith("/api/"):
        return JSONResponse(error.as_json(), status)
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
