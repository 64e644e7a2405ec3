"""Find the typical chain that a caller describes in words, in English or German."""

from __future__ import annotations

import re
from dataclasses import dataclass

from gainwright.jobfile.starting.typical import CHAINS, TypicalChain

_NO = r"\b(?:no|not|without|isn'?t|kein\w*|nicht|ohne)\s+(?:(?:a|an|any|the|ein\w*|d[aeimnrs]{2})\s+)?"
_AMPLIFIER = r"(?:amp\w*|endstufe\w*|verstärker\w*)"
_PARTS = {
    "factory": r"\b(?:factory|oem|stock|original\w*|werks?\w*|serien\w*|ab werk)\b",
    "line": r"\b(?:aftermarket|line[- ]?(?:out|ausg)\w*|pre[- ]?outs?|rca|cinch|nachrüst\w*|nachgerüst\w*)\b",
    "four": r"\b(?:4|four|vier)[- ]?(?:ch\b|chan\w*|kan\w*)",
    "five": r"\b(?:5|five|fünf)[- ]?(?:ch\b|chan\w*|kan\w*)",
    "mono": r"\bmono\w*|\b(?:1|one|single|ein)[- ]?(?:ch\b|chan\w*|kan\w*)",
    "bridged": r"\b(?:bridg\w*|gebrückt\w*|brücke\w*)",
    "processor": r"\b(?:dsp|(?:signal)?processor|(?:signal)?pro[cz]essor)\b",
    "sub": r"\b(?:sub\b|subs\b|subwoofer\w*|bass(?:box|kiste))",
}
_NONE = rf"{_NO}{_AMPLIFIER}|\b(?:just|only|nur)\s+(?:the\s+|das\s+|ein\s+)?radio\b"
_EXTRAS = {
    "knob": r"\b(?:knob|bass (?:remote|control)|\w*bassregler|drehregler|pegelregler)\b",
    "speaker_wires": rf"\b(?:high[- ]?level|hochpegel\w*|speaker[- ](?:wire|level)s? inputs?)\b|{_NO}(?:converter|wandler|adapter)",
    "meter": r"(?<!no )(?<!kein )\b(?:multimeter|voltmeter|messgerät)\b",
}
SAID, MISSING, NOT_SAID = 2, -3, -1
"""Points for a part that was said and is there, said and isn't, and there but wasn't said."""


@dataclass(frozen=True, slots=True)
class Described:
    """What a description means: the chains that fit it equally well, and the ids of extras.

    Attributes
    ----------
    chains : none when nothing in it tells what is in the car; the commonest first.
    """

    chains: tuple[TypicalChain, ...]
    extras: tuple[str, ...]


def described_chain(text: str) -> Described:
    """Return the typical chains that fit a description best, such as `a 4-channel amp on the doors, factory radio`."""
    plain = " ".join(text.casefold().replace("\u2019", "'").split())
    extras = tuple(extra for extra, words in _EXTRAS.items() if re.search(words, plain))
    denied = {part for part, words in _PARTS.items() if re.search(_NO + rf"(?:{words})", plain)}
    said = {part for part, words in _PARTS.items() if re.search(words, plain)} - denied
    if re.search(_NONE, plain):
        said, denied = said | {"bare"}, denied | {"four", "five", "mono", "bridged", "processor", "sub"}
    if not said:
        return Described((), extras)
    points = {chain.id: _points(parts_of(chain), said - denied, denied) for chain in CHAINS}
    best = max(points.values())
    return Described(tuple(chain for chain in CHAINS if points[chain.id] == best), extras)


def _points(parts: set[str], said: set[str], denied: set[str]) -> int:
    there, missing = len(said & parts), len(said - parts)
    return SAID * there + MISSING * (missing + len(denied & parts)) + NOT_SAID * len(parts - said)


def parts_of(chain: TypicalChain) -> set[str]:
    """Return what a description can say of a chain."""
    words = {
        "factory_radio": {"factory"},
        "head_unit": {"line"},
        "radio_with_power": {"line"},
        "processor": {"processor"},
        "four_channel_amplifier": {"four"},
        "four_channel_bridged": {"four", "bridged"},
        "five_channel_amplifier": {"five"},
        "amplifier_1": {"mono"},
        "sub": {"sub"},
    }
    found = {part for device in chain.devices for part in words.get(device, ())}
    return found if found & {"four", "five", "mono"} else found | {"bare"}
