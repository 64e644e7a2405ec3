"""Papers and pages in other languages: sentences from a gettext catalogue, numbers in the format of the language.

English needs no catalogue: its sentences are the keys. A sentence missing from a catalogue stays in English. A further
language is one more file, `locale/CODE/LC_MESSAGES/gainwright.po`, which also says what the language calls itself and its
decimal sign: all that is needed of Unicode CLDR, whose data would be 35 MB.
"""

from __future__ import annotations

import ast
import functools
import gettext
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainwright.errors import CallError
from gainwright.model import setting_text
from gainwright.texts import Text

FOLDER = Path(__file__).parent.parent / "locale"
DOMAIN = "gainwright"
_NUMBER = re.compile(r"(?<![\w.])([+-]?[0-9]+)\.([0-9]+)(?![\w.]*[0-9]*\.[0-9])")
_OHMS = re.compile(r"(?<=[0-9] )(?:k|M|m)?ohm\b")
OWN_NAME, DECIMAL_SIGN = "what this language calls itself", "the decimal sign of this language"
"""Keys of the catalogue."""
CHART_WORDS = (
    "ohm", "mohm", "kohm", "Mohm",
    "share of a period", "believed, %", "entries", "closed cases", "V rms", "step", "ceiling", "ceiling below",
    "largest clean sine", "clipping begins", "of full scale", "speaker", "amplifier", "processor", "head unit",
    "line driver", "level control", "converter", "dB re full scale", "time above, %", "allowance, dB", "clipped time, %",
)  # fmt: skip
"""Words on charts, which are also keys of the catalogue."""


@dataclass(frozen=True, slots=True)
class Language:
    """One language of the papers."""

    code: str

    def translate(self, text: str) -> str:
        """Return a sentence in this language; a plain text, such as a name or a text from a file, is kept."""
        if self.code == "en":
            return str(text)
        if not isinstance(text, Text) or not text.template:
            return self._numbers(text) if _is_figure(text) else str(text)
        template = _catalogue(self.code).gettext(text.template)
        parts = {name: self._part(part) for name, part in text.parts.items()}
        found = template.format(**parts) if parts else template
        return found[:1].upper() + found[1:] if text[:1].isupper() and not text.template[:1].isupper() else found

    def translate_word(self, text: str) -> str:
        """Return the translation of a plain text that is itself a key, as the words on charts are."""
        return str(text) if self.code == "en" or not text else _catalogue(self.code).gettext(str(text))

    def _part(self, part: Any) -> str:
        text = part if isinstance(part, Text) else setting_text(str(part))
        return self.translate(text) if isinstance(text, Text) else self._numbers(text)

    def _numbers(self, text: str) -> str:
        """Return a text with the decimal sign of this language in its figures, and its word for ohms."""
        if self.code == "en":
            return text
        text = _OHMS.sub(lambda m: _catalogue(self.code).gettext(m[0]), text)
        return _NUMBER.sub(lambda m: m[1] + decimal_sign(self.code) + m[2], text)


def _is_figure(text: str) -> bool:
    return (
        bool(re.fullmatch(r"[<±+\-–]?\s*[0-9.,]+(?:e-?[0-9]+)?\s*(?:[^0-9]{0,12}[0-9.,]*){0,4}", text))
        and re.search(r"[0-9]", text) is not None
    )


def decimal_sign(code: str) -> str:
    """Return the decimal sign of a language, as its catalogue states it."""
    return _fact(code, DECIMAL_SIGN, ".")


def _fact(code: str, key: str, otherwise: str) -> str:
    stated = _catalogue(code).gettext(key)
    return otherwise if stated == key else stated


@functools.cache
def languages() -> dict[str, str]:
    """Return the code of each language and its own name for itself, as its catalogue states it, English first."""
    codes = sorted(path.parent.parent.name for path in FOLDER.glob(f"*/LC_MESSAGES/{DOMAIN}.po"))
    return {"en": "English"} | {code: _fact(code, OWN_NAME, code) for code in codes}


@functools.cache
def _catalogue(code: str) -> gettext.NullTranslations:
    source = FOLDER / code / "LC_MESSAGES" / f"{DOMAIN}.po"
    compiled = source.with_suffix(".mo")
    if compiled.exists() or not source.exists():
        return gettext.translation(DOMAIN, str(FOLDER), languages=[code], fallback=True)
    return _Uncompiled(source.read_text(encoding="utf-8"))


class _Uncompiled(gettext.NullTranslations):
    """A catalogue as it is written, for a language whose compiled file isn't there."""

    _LINES = r'((?:"(?:[^"\\\n]|\\.)*"\s*)+)'

    def __init__(self, source: str) -> None:
        super().__init__()
        pairs = re.findall(rf"^msgid {self._LINES}^msgstr {self._LINES}", source, re.MULTILINE)
        self._texts = {self._text(key): self._text(text) for key, text in pairs}

    @staticmethod
    def _text(lines: str) -> str:
        return "".join(ast.literal_eval(line) for line in lines.splitlines() if line)

    def gettext(self, message: str) -> str:
        """Return the translation, or the message where there is none."""
        return self._texts.get(message) or message


def language(code: str) -> Language:
    """Return a language by its code.

    Raises
    ------
    CallError : there is no catalogue for it.
    """
    if code not in languages():
        raise CallError(
            f"papers aren't available in {code!r}",
            code="unknown_language",
            where="language",
            rule=f"available are {', '.join(f'{c} ({name})' for c, name in languages().items())}",
        )
    return Language(code)


def translate_chart(spec: Any, into: Language) -> Any:
    """Return a chart's specification with titles and words translated; data and names are kept."""
    if into.code == "en":
        return spec
    if isinstance(spec, dict):
        found = {}
        for key, value in spec.items():
            if key in ("title", "text", "subtitle", "words", "kind") and isinstance(value, str):
                found[key] = into.translate(value) if isinstance(value, Text) else into.translate_word(value)
            else:
                found[key] = translate_chart(value, into)
        return found
    return [translate_chart(item, into) for item in spec] if isinstance(spec, list) else spec
