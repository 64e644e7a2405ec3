"""The language of the pages: chosen by hand, or the one the browser asks for; texts of templates and scripts in it."""

from __future__ import annotations

import contextlib
import functools
import importlib.resources
import json
import re
from contextvars import ContextVar
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form
from markupsafe import escape
from starlette.responses import RedirectResponse, Response

from gainwright.errors import GainwrightError
from gainwright.report.languages import Language, language, languages
from gainwright.texts import Text, say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from starlette.requests import HTTPConnection

router = APIRouter(include_in_schema=False)

COOKIE = "language"
COOKIE_S = 400 * 86_400
"""The longest that browsers keep a cookie (RFC 6265bis, 5.5)."""
LONGEST_ASKED = 500
_SCRIPT_TEXT = re.compile(r"""(?<![\w.])text\(("(?:[^"\\]|\\.)+")""")
_now: ContextVar[Language] = ContextVar("page_language", default=Language("en"))  # noqa: B039  it is frozen


def language_of(request: HTTPConnection) -> str:
    """Return the code of the language for a request: that of its cookie, else the first the browser asks for that is available."""
    chosen = request.cookies.get(COOKIE, "")
    if chosen in languages():
        return chosen
    asked = request.headers.get("accept-language", "")[:LONGEST_ASKED]
    return next((code for code in _by_preference(asked) if code in languages()), "en")


def _by_preference(asked: str) -> list[str]:
    """Return the primary subtags of an Accept-Language header, the most wanted first (RFC 9110, 12.5.4)."""
    found: list[tuple[float, str]] = []
    for part in asked.split(","):
        tag, _, weight = part.partition(";")
        try:
            share = float(weight.strip().removeprefix("q=")) if weight.strip() else 1.0
        except ValueError:
            continue
        if 0 < share <= 1:
            found.append((-share, tag.strip().split("-")[0].lower()))
    return [tag for _, tag in sorted(found, key=lambda pair: pair[0])]


@contextlib.contextmanager
def page_language(code: str) -> Iterator[None]:
    """Render everything within in one language."""
    token = _now.set(Language(code))
    try:
        yield
    finally:
        _now.reset(token)


def in_language(value: Any) -> Any:
    """Return a text of `say` in the page's language, any other value as it is; applied to all that a template prints."""
    return _now.get().translate(value) if isinstance(value, Text) else value


def translated(template: str, /, **parts: Any) -> str:
    """Return a sentence of a template in the page's language; parts may be markup, all else is escaped later."""
    if isinstance(template, Text) and not parts:
        return _now.get().translate(template)
    if any(hasattr(part, "__html__") for part in parts.values()):
        return escape(_now.get().translate(say(template))).format(**{name: _part(part) for name, part in parts.items()})
    return _now.get().translate(say(template, **parts))


def _part(part: Any) -> Any:
    return part if hasattr(part, "__html__") else _now.get().translate(say("{a}", a=part))


def figure(text: str) -> str:
    """Return a figure such as `1.5 dB`, made by the program and not by a person, with the decimal sign of the page's language."""
    return translated("{a}", a=text)


def translated_list(texts: Sequence[str]) -> str:
    """Return texts in the page's language, separated by semicolons."""
    return "; ".join(str(in_language(text)) for text in texts)


def number_of(number: int, one: str, more: str = "") -> str:
    """Return a number with its noun in the page's language: `1 test`, `2 tests`, `3 entries`."""
    return translated("{number} " + (one if number == 1 else more or one + "s"), number=number)


@functools.cache
def script_texts() -> tuple[str, ...]:
    """Return the English texts of the scripts: what they pass to `text` of words.js."""
    static = importlib.resources.files("gainwright.web") / "static"
    scripts = [file.read_text(encoding="utf-8") for file in static.iterdir() if file.name.endswith(".js")]
    return tuple(sorted({json.loads(found) for script in scripts for found in _SCRIPT_TEXT.findall(script)}))


def words_of_scripts() -> dict[str, str]:
    """Return the texts of the scripts in the page's language, by their English; empty for English."""
    now = _now.get()
    return {} if now.code == "en" else {text: now.translate_word(text) for text in script_texts()}


def page_words() -> dict[str, Any]:
    """Return what the frame of every page needs: its language, the ones to choose from, the texts of the scripts."""
    return {"language": _now.get().code, "page_languages": languages(), "script_words": words_of_scripts()}


@router.post("/language")
def choose(
    code: Annotated[str, Form(max_length=20)] = "", back: Annotated[str, Form(max_length=2000)] = "/"
) -> Response:
    """Keep the language that a person has chosen on this device, and return to the page."""
    with contextlib.suppress(GainwrightError):
        language(code)
        done = RedirectResponse(back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/", 303)
        done.set_cookie(COOKIE, code, max_age=COOKIE_S, path="/", httponly=True, samesite="strict")
        return done
    return RedirectResponse("/", 303)
