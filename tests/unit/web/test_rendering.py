"""Helpers of every page: numbers with their noun, and the result of a form."""

from __future__ import annotations

import pytest
from starlette.responses import PlainTextResponse

from gainwright.errors import CallError
from gainwright.web.page_language import number_of
from gainwright.web.rendering import done_or_shown


@pytest.mark.parametrize(
    ("number", "one", "more", "words"),
    [
        (0, "test", "", "0 tests"),
        (1, "test", "", "1 test"),
        (2, "test", "", "2 tests"),
        (1, "entry", "entries", "1 entry"),
        (3, "entry", "entries", "3 entries"),
    ],
)
def test_noun_agrees_with_its_number(number: int, one: str, more: str, words: str) -> None:
    """Singular for one, plural for none and several."""
    assert number_of(number, one, more) == words


def test_form_redirects_or_shows_its_error() -> None:
    """A redirect when it succeeds; the page with the error when it is refused; other exceptions are not caught."""
    done = done_or_shown(lambda: "/jobs/1", lambda error: PlainTextResponse(error.what))
    assert (done.status_code, done.headers["location"]) == (303, "/jobs/1")

    def refused() -> str:
        raise CallError("no folder is chosen", code="no_folder")

    shown = done_or_shown(refused, lambda error: PlainTextResponse(error.what, 422))
    assert (shown.status_code, shown.body) == (422, b"no folder is chosen")
    with pytest.raises(ZeroDivisionError):
        done_or_shown(lambda: str(1 / 0), lambda error: PlainTextResponse(error.what))
