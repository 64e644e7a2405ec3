"""Pages from templates: everything escaped, undefined names are errors, texts in the page's language."""

from __future__ import annotations

import functools
import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.responses import HTMLResponse, RedirectResponse

from gainwright import __version__
from gainwright.errors import GainwrightError
from gainwright.texts import say, sentence
from gainwright.web.network.access import THIS_COMPUTER
from gainwright.web.page_language import (
    figure,
    in_language,
    language_of,
    number_of,
    page_language,
    page_words,
    translated,
    translated_list,
)
from gainwright.web.shown_errors import BUSY, RETRY_LATER, shown, status_of
from gainwright.web.static_files import address

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request
    from starlette.responses import Response


@functools.cache
def environment() -> Environment:
    """Return the template environment."""
    made = Environment(
        loader=PackageLoader("gainwright.web"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=in_language,
    )
    made.filters["when"] = when
    made.filters["counted"] = number_of
    made.filters["figure"] = figure
    made.filters["said_list"] = translated_list
    made.filters["sentence"] = sentence
    made.globals["version"] = __version__
    made.globals["static"] = address()
    made.globals["say"] = translated
    made.globals["new_key"] = new_key
    return made


def new_key() -> str:
    """Return the key of an entry: random, made anew for each form, so that sending a form twice stores one entry."""
    return secrets.token_urlsafe(12)


def page(request: Request, name: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """Return a page; with an `error` in its context the status is that of the error, unless another is given."""
    from gainwright.web.site import device_of, of_request

    device = device_of(request)
    shared = {
        "request": request,
        "path": request.url.path,
        "device": say("this computer") if device == THIS_COMPUTER else device,
        "lan": of_request(request).network.lan,
        "now": datetime.now(UTC),
    }
    error = context.get("error")
    if isinstance(error, GainwrightError):
        status = status_of(error) if status == 200 else status
        context["error"] = shown(error)
    with page_language(language_of(request)):
        shared |= page_words()
        headers = RETRY_LATER if status == BUSY else None
        return HTMLResponse(environment().get_template(name).render({**shared, **context}), status, headers)


def done_or_shown(do: Callable[[], str], show: Callable[[GainwrightError], Response]) -> Response:
    """Return the end of a form: redirect to the address that `do` returns, or show the page again with its error."""
    try:
        return go_to(do())
    except GainwrightError as error:
        return show(error)


def go_to(address: str) -> RedirectResponse:
    """Return the redirect after a form was processed."""
    return RedirectResponse(address, 303)


def when(moment: datetime) -> str:
    """Return a time for people to read, in the machine's time zone."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")
