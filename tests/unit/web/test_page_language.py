"""The language of a page: by hand or by the browser, with every text escaped, in templates, scripts and number_of nouns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from markupsafe import Markup
from starlette.requests import Request

from gainwright.report import languages as of_papers
from gainwright.texts import say
from gainwright.web.page_language import (
    choose,
    language_of,
    number_of,
    page_language,
    script_texts,
    translated,
    words_of_scripts,
)
from gainwright.web.rendering import environment

if TYPE_CHECKING:
    from pathlib import Path


def request(accept: str = "", cookie: str = "") -> Request:
    """Return a request with the two headers that decide."""
    headers = [(b"accept-language", accept.encode()), (b"cookie", cookie.encode())]
    return Request({"type": "http", "headers": headers})


@pytest.mark.parametrize(
    ("accept", "cookie", "code"),
    [
        ("", "", "en"),
        ("de-AT,de;q=0.9,en;q=0.8", "", "de"),
        ("en-GB,en;q=0.9,de;q=0.8", "", "en"),
        ("fr, de;q=0.5, en;q=0.7", "", "en"),
        ("de;q=0, en", "", "en"),
        ("xx, ;;; q=, de;q=nan, de;q=1e400", "", "en"),
        ("en", "language=de", "de"),
        ("de", "language=en", "en"),
        ("de", "language=../../etc", "de"),
    ],
)
def test_language_is_chosen_by_hand_or_by_the_browser(accept: str, cookie: str, code: str) -> None:
    """The hand comes first, then the order of the quality values (RFC 9110, 12.4.2); what can't be read is left out."""
    assert language_of(request(accept, cookie)) == code


def test_template_prints_the_page_s_language() -> None:
    """Texts of code and of templates are translated where they are printed, names are kept, markup is escaped."""
    template = environment().from_string(
        '{{ text }}|{{ say("Papers") }}|{{ say("{number} tests", number=2.5) }}|{{ name }}|{{ say("{a}", a=name) }}'
    )
    shown = {"text": say("Papers"), "name": "<Papers> 1.5"}
    english = template.render(shown)
    with page_language("de"):
        german = template.render(shown)
    assert english == "Papers|Papers|2.5 tests|&lt;Papers&gt; 1.5|&lt;Papers&gt; 1.5"
    assert german.split("|")[:4] == ["Papiere", "Papiere", "2,5 Prüfungen", "&lt;Papers&gt; 1.5"]


def test_markup_within_a_sentence() -> None:
    """A part that is markup stays so; all other parts are escaped."""
    with page_language("de"):
        sentence = translated("{number} tests", number=Markup("<b>3</b>"))
        assert sentence == Markup("<b>3</b> Prüfungen")
        assert translated("{a}", a=Markup("<i>") + "<script>") == "<i>&lt;script&gt;"
        assert number_of(1, "entry", "entries") == "1 Eintrag"


def test_scripts_have_their_words() -> None:
    """Every text of the scripts is in the list of a page in German, none in that of a page in English."""
    assert "Kept on this device" in script_texts()
    assert words_of_scripts() == {}
    with page_language("de"):
        assert words_of_scripts()["Kept on this device"] == "Auf diesem Gerät aufgehoben"
        assert set(words_of_scripts()) == set(script_texts())


@pytest.mark.parametrize("back", ["//evil.test/", "/\\evil.test", "https://evil.test", ""])
def test_choice_returns_only_to_this_site(back: str) -> None:
    """An address of another site isn't followed."""
    assert choose(code="de", back=back).headers["location"] == "/"
    assert choose(code="de", back="/jobs/x?y=1").headers["location"] == "/jobs/x?y=1"
    assert "language=de" in choose(code="de").headers["set-cookie"]
    assert "set-cookie" not in choose(code="tlh").headers


def test_third_language_needs_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with one catalogue adds a language, named in itself, with its decimal sign."""
    source = tmp_path / "fr" / "LC_MESSAGES" / "gainwright.po"
    source.parent.mkdir(parents=True)
    source.write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n'
        'msgid "what this language calls itself"\nmsgstr "Français"\n\n'
        'msgid "the decimal sign of this language"\nmsgstr ","\n\n'
        'msgid "{number} tests"\nmsgstr "{number} essais"\n',
        encoding="utf-8",
    )
    of_papers.languages.cache_clear()
    of_papers._catalogue.cache_clear()
    monkeypatch.setattr(of_papers, "FOLDER", tmp_path)
    try:
        assert of_papers.languages() == {"en": "English", "fr": "Français"}
        assert language_of(request("fr")) == "fr"
        with page_language("fr"):
            assert number_of(2, "test") == "2 essais"
            assert translated("{number} tests", number="1.5") == "1,5 essais"
            assert translated("Papers") == "Papers"
    finally:
        monkeypatch.undo()
        of_papers.languages.cache_clear()
        of_papers._catalogue.cache_clear()
