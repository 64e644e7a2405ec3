"""Errors become responses: a page for a page, JSON for the API; internal errors show no details."""

from __future__ import annotations

import logging
import secrets
from typing import TYPE_CHECKING, Any

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from gainwright.errors import GainwrightError
from gainwright.texts import say
from gainwright.web.rendering import page
from gainwright.web.shown_errors import BUSY, RETRY_LATER, shown, status_of

if TYPE_CHECKING:
    from fastapi import FastAPI
    from starlette.requests import Request

log = logging.getLogger("gainwright.web")


class Trouble(BaseModel):
    """An error in the API: where it is, what is wrong, what would be right, what to do next.

    `candidate` is given with `asked_about`: what was probably meant instead of the reading that was sent.
    """

    code: str
    where: str
    what: str
    rule: str
    remedy: str
    candidate: str = ""


ERROR_RESPONSES: dict[int | str, dict[str, Any]] = {
    status: {"model": Trouble, "description": words}
    for status, words in {
        400: "The body can't be read.",
        401: "The device isn't paired.",
        403: "The request comes from another site's page, or is allowed on the computer itself only.",
        404: "It doesn't exist.",
        408: "The body was sent too slowly.",
        409: "Somebody else changed it since that revision, or its job is deleted; nothing was written.",
        413: "The body is too large.",
        421: "The request is for another host.",
        422: "The request is invalid.",
        429: "Too many requests at once.",
        503: "The store is busy, can't be reached or can't be used now; the same request may be sent again later.",
        507: "The disk is full; nothing was written.",
    }.items()
}
"""Responses that every operation of the API may give besides its own."""


def answer(request: Request, status: int, error: GainwrightError) -> Response:
    """Return an error as a page, or as JSON where the API was called."""
    error = shown(error)
    if request.url.path.startswith("/api/"):
        return JSONResponse(error.as_json(), status, RETRY_LATER if status == BUSY else None)
    return page(request, "error.html", status=status, error=error)


def register(app: FastAPI) -> None:
    """Add these error handlers to an app."""

    @app.exception_handler(GainwrightError)
    def gainwright_error(request: Request, error: GainwrightError) -> Response:
        return answer(request, status_of(error), error)

    @app.exception_handler(RequestValidationError)
    def invalid_request(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
        return answer(request, 422, GainwrightError(first["msg"].lower(), code="bad_request", where=place))

    @app.exception_handler(HTTPException)
    def http_error(request: Request, error: HTTPException) -> Response:
        what = {404: say("this page doesn't exist"), 405: say("this can't be done here")}.get(
            error.status_code, str(error.detail)
        )
        found = GainwrightError(what, code="refused", remedy=say("go back to the jobs"))
        return answer(request, error.status_code, found)

    @app.exception_handler(Exception)
    def unexpected(request: Request, error: Exception) -> Response:
        number = secrets.token_hex(4)
        log.error("unexpected error %s", number, exc_info=error)
        found = GainwrightError(
            say("internal error; nothing that was stored is affected"),
            code="inside",
            where=say("error {number}", number=number),
            remedy=say("try again; if it happens again, report what you did, with the number, which is in the log too"),
        )
        return answer(request, 500, found)
