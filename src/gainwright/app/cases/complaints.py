"""What a caller complains of, in a sentence in English or German, as entries: which speakers sound how in ordinary use."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.plain_words import DONT_KNOW, heard_word, said_instead
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.model import Job

LONGEST = 300
_ROLES = {
    "sub": r"sub\w*|bass\w*|low end",
    "front": r"front\w*|vorn\w*|vorder\w*",
    "rear": r"rear\w*|back (?:doors?|speakers?|ones?)|hint\w*|heck\w*",
    "tweeter": r"tweeter\w*|hochtöner\w*|treble|highs",
    "midrange": r"mid(?:range|s)?\w*|mitteltöner\w*",
    "woofer": r"woofer\w*|tieftöner\w*",
}
"""What a speaker is for -> what people call it."""
_DOORS = r"doors?|door speakers?|tür\w*|all (?:four|4)"
_EVERY = (
    r"everything|anything|all (?:the )?speakers|all of (?:it|them)|at all|no (?:sound|music)|nothing|silent|dead"
    r"|alles|gar nichts|überhaupt nichts|nichts|kein(?:en)? (?:ton|musik)|alle\b|radio|music|musik|it\b|engine|motor"
)
_REST = r"everything else|all else|the (?:rest|others?)|other ones|alles andere|der rest|die anderen?|sonst (?:geht|läuft|spielt) alles"
_SIDES = {
    "left": r"left|driver'?s side|links|linke\w*|fahrerseite",
    "right": r"right|passenger'?s? side|rechts|rechte\w*|beifahrerseite",
}
_CLAUSE = re.compile(
    r"[,;.!]+|\bbut\b|\baber\b|\bwhile\b|\bund\b(?= (?:die|der|das|sonst|alles)\b)|\band\b(?= (?:the|everything|all)\b)"
)


def complaint_entries(text: str, job: Job) -> list[dict[str, Any]]:
    """Return the entries of a complaint, such as `no bass, the doors play fine`: one for each speaker, or side, that is named.

    Raises
    ------
    CallError : the sentence doesn't tell which speakers sound how.
    """
    speakers = _speakers(job)
    named: list[str] = []
    found: dict[tuple[str, str], str] = {}
    for clause in filter(None, map(str.strip, _CLAUSE.split(_plain(text)))):
        mine = _named(clause, speakers, {speaker for speaker, _ in found})
        word = heard_word(clause)
        side = _side(clause) if mine else ""
        if mine and not word:
            named = mine
            continue
        for speaker in mine or named or (list(speakers) if word and re.search(rf"\b(?:{_EVERY})", clause) else []):
            if word:
                found.setdefault((speaker, side if _has_sides(job, speaker) else ""), word)
        named = []
    if not found:
        raise CallError(
            say("this doesn't tell which speakers sound how"),
            code="bad_complaint",
            remedy=say("write, for example: no bass, the doors play"),
        )
    return [{"heard": s, **({"side": side} if side else {}), "is": word} for (s, side), word in found.items()]


def is_complaint(text: str) -> bool:
    """Return whether a line can be a complaint: a sentence, neither one word nor that somebody doesn't know."""
    return len(text.split()) > 1 and said_instead(text) != DONT_KNOW


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("\u2019", "'").split())[:LONGEST]


def _speakers(job: Job) -> dict[str, str]:
    """Return speaker -> a pattern of what people call it: by what it is for, and by its own name."""
    from gainwright.jobfile.starting.leads import role_of
    from gainwright.model import Speaker

    names = [name for name, stage in job.stages.items() if isinstance(stage, Speaker)]
    found = {}
    for name in names:
        own = re.escape(" ".join((job.stages[name].name or name.replace("_", " ")).casefold().split()))
        role = role_of(name)
        found[name] = rf"{own}|{_ROLES[role]}" if role in _ROLES else own
    return found


def _named(clause: str, speakers: dict[str, str], before: Iterable[str]) -> list[str]:
    """Return the speakers that a clause names; `before` those that were told of already."""
    from gainwright.jobfile.starting.leads import role_of

    if re.search(rf"\b(?:{_REST})", clause):
        return [speaker for speaker in speakers if speaker not in before]
    found = [speaker for speaker, words in speakers.items() if re.search(rf"\b(?:{words})", clause)]
    if not found and re.search(rf"\b(?:{_DOORS})", clause):
        found = [speaker for speaker in speakers if role_of(speaker) != "sub"]
    return found


def _side(clause: str) -> str:
    sides = [side for side, words in _SIDES.items() if re.search(rf"\b(?:{words})\b", clause)]
    return sides[0] if len(sides) == 1 else ""


def _has_sides(job: Job, speaker: str) -> bool:
    from gainwright.model import resolve

    return len({port.side for port in resolve(job).ports(speaker)}) > 1
