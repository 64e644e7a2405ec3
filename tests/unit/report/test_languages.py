"""Papers in another language: every sentence is translated, its placeholders are kept, numbers follow the language."""

from __future__ import annotations

import gettext
import string
from pathlib import Path

import pytest
from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po
from catalogue import PACKAGE, sentences, words

from gainwright.errors import GainwrightError
from gainwright.model import setting_text
from gainwright.report.languages import Language, _Uncompiled, decimal_sign, language, languages, translate_chart
from gainwright.texts import joined, say

OTHERS = sorted(set(languages()) - {"en"})


def po(code: str) -> Catalog:
    """Return the catalogue as it is written."""
    with (PACKAGE / "locale" / code / "LC_MESSAGES" / "gainwright.po").open("rb") as file:
        return read_po(file)


def places(template: str) -> set[str]:
    """Return the names of the places of a sentence (string.Formatter)."""
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


@pytest.mark.parametrize("code", OTHERS)
def test_every_sentence_is_translated(code: str) -> None:
    """Each sentence in the code is in the catalogue, not empty, not fuzzy; a missing one would be noticed."""
    catalogue = po(code)
    said = {str(m.id): m for m in catalogue if m.id}
    assert len(sentences()) > 250
    assert sorted((sentences() | words()) - said.keys()) == []
    assert [m.id for m in said.values() if not m.string or m.fuzzy] == []
    assert "a sentence that nobody has written" not in said


@pytest.mark.parametrize("code", OTHERS)
def test_placeholders_of_a_sentence_are_kept(code: str) -> None:
    """A translation has exactly the placeholders of its sentence."""
    assert [m.id for m in po(code) if m.id and places(str(m.id)) != places(str(m.string))] == []


@pytest.mark.parametrize("code", OTHERS)
def test_compiled_catalogue_is_up_to_date(code: str) -> None:
    """Read by Python's gettext, it gives what the source catalogue gives."""
    path = Path(PACKAGE / "locale" / code / "LC_MESSAGES" / "gainwright.mo")
    with path.open("rb") as file:
        shipped = gettext.GNUTranslations(file)
    written = [m for m in po(code) if m.id]
    assert [m.id for m in written if shipped.gettext(str(m.id)) != m.string] == []


@pytest.mark.parametrize("code", OTHERS)
def test_name_and_decimal_sign_are_those_of_cldr(code: str) -> None:
    """What a catalogue states is what Unicode CLDR (by Babel) says of the language."""
    locale = Locale.parse(code)
    assert languages()[code] == str(locale.display_name).capitalize()
    assert decimal_sign(code) == locale.number_symbols["latn"]["decimal"]


@pytest.mark.parametrize("code", OTHERS)
def test_catalogue_as_it_is_written_says_the_same(code: str) -> None:
    """Read without the compiled file, every sentence is what Babel reads."""
    source = (PACKAGE / "locale" / code / "LC_MESSAGES" / "gainwright.po").read_text(encoding="utf-8")
    plain = _Uncompiled(source)
    assert [m.id for m in po(code) if m.id and plain.gettext(str(m.id)) != m.string] == []
    assert plain.gettext("a sentence that nobody has written") == "a sentence that nobody has written"


def test_numbers_follow_the_language() -> None:
    """German writes a comma (Unicode CLDR: decimal of de is ','); English and texts from the job stay."""
    text = say("Reached {volts}", volts="25.36 V ± 0.2")
    assert Language("de").translate(text).endswith("25,36 V ± 0,2")
    assert Language("en").translate(text) == "Reached 25.36 V ± 0.2"
    assert Language("de").translate("12.5 mV") == "12,5 mV"
    assert Language("de").translate("Version 1.2.3 of amp_sub.out") == "Version 1.2.3 of amp_sub.out"


def test_sentences_within_sentences() -> None:
    """Parts that are sentences are translated, too, joined ones as well."""
    inner = say("nothing")
    assert inner in ("nothing",)
    both = joined([inner, inner], "{a}; {b}")
    assert Language("de").translate(both) == "nichts; nichts"
    assert both == "nothing; nothing"


def test_chart_texts_are_translated() -> None:
    """Titles and texts of a chart are; its data stay."""
    spec = {"title": say("The chain"), "data": [{"name": "ceiling", "v": 1.5}], "layer": [{"title": "ceiling"}]}
    german = translate_chart(spec, Language("de"))
    assert german["title"] != "The chain"
    assert german["data"] == spec["data"]
    assert german["layer"][0]["title"] != "ceiling"
    assert translate_chart(spec, Language("en")) is spec


def test_an_unknown_language() -> None:
    """One sentence names those available."""
    with pytest.raises(GainwrightError, match="xx") as caught:
        language("xx")
    assert "Deutsch" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "german"),
    [
        (setting_text("off"), "aus"),
        (setting_text("butterworth 24 at 80 Hz"), "butterworth 24 bei 80 Hz"),
        (say("{control} at {setting}", control="desk", setting="off"), "desk auf aus"),
        (setting_text("62 %"), "62 %"),
    ],
)
def test_settings_of_a_job_file_are_translated(text: str, german: str) -> None:
    """A control's setting is said in the page's language, also as a part of a sentence; the file keeps its own."""
    assert Language("de").translate(text) == german
