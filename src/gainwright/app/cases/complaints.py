"""What a caller complains of, in a sentence in English or German, as entries: which speakers sound how in ordinary use."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.plain_words import (
    DONT_KNOW,
    heard_word,
    part_heard,
    said_instead,
    tried_word,
    without_lacking_part,
)
from gainwright.app.cases.sounds import WRONG, Sound, entries_of, has_sides, knobs_of, rest_of, speakers_of
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.model import Job

    Pair = tuple[str, str]

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
    r"|alles|gar nichts|überhaupt nichts|nichts|kein(?:en)? (?:ton|musik)|alle\b|radio|music|musik|it\b|es\b|engine|motor"
)
_REST = r"everything else|all else|the (?:rest|others?)|other ones|alles andere|der rest|die anderen?|sonst (?:geht|läuft|spielt) alles"
_SIDES = {
    "left": r"left|driver'?s side|links|linke\w*|fahrerseite",
    "right": r"right|passenger'?s? side|rechts|rechte\w*|beifahrerseite",
}
_WHOLE_SIDE = {
    side: rf"(?:the {side}|{side}[- ](?:hand )?)(?: side| channel|side\b|channel\b)?\b(?! (?:way|one|volume|level|thing|now|away))"
    rf"|on the {side}|{words.split('|', 1)[1]}"
    for side, words in _SIDES.items()
}
"""A side of the car, where no speaker is named."""
_ONE_SIDE = r"one side|only one (?:side|channel)|(?:nur )?(?:eine|einer) seite"
_CLAUSE = re.compile(
    r"[,;.!]+|\bbut\b|\baber\b|\bwhile\b|\bund\b(?= (?:die|der|das|sonst|alles)\b)|\band\b(?= (?:the|everything|all)\b)"
)
_KNOB = r"\b(?:knob|dial|remote|control|\w*regler|drehknopf|poti|fernbedienung)\b"
_BASS = r"\b(?:bass|sub)"
_STEP = r"\b(?:from|above|over|at|ab|über|bei)(?: a| about| etwa)?(?: volume| step| level| lautstärke| stufe| position)* (?P<step>[0-9]{1,3}(?:[.,][0-9])?)\b(?! ?(?:hz|khz|%|km))"
_LOUD_ONLY = (
    r"(?:when|if|once|only|nur|wenn|sobald|erst|ab|from)\b[^,;.]*\b(?:loud\w*|turn(?:ed)? (?:it )?up|high(?:er)? volume|half volume"
    r"|laut\w*|aufdreh\w*|aufgedreht)"
)
_SOFTLY_TOO = (
    r"(?:even|also|always|auch|sogar|immer|schon)\b[^,;.]*\b(?:soft\w*|quiet\w*|low volume|any volume|leise\w*)"
    r"|at (?:any|every) volume|bei jeder lautstärke"
)
_ENGINE_OFF = (
    r"engine (?:is )?(?:off|stopped)|without the engine|(?:aus(?:geschalte\w*|em)|stehende\w*|ohne) (?:den )?motor"
    r"|motor (?:ist )?(?:aus|steht)"
)
_ENGINE = r"engine|revs?\b|motor\w*|drehzahl|alternator|lichtmaschine"
_GOES = (
    r"\b(?:comes and goes|on and off|cuts? (?:in and )?out|cutting out|drops? out|now and then|sometimes|at times|from time to time"
    r"|intermittent\w*|once in a while|setzt (?:\w+ ){0,2}aus|aussetz\w*|ab und zu|manchmal|zeitweise|wackelkontakt|hin und wieder|mal)\b"
)


def complaint_entries(text: str, job: Job) -> list[dict[str, Any]]:
    """Return the entries of a complaint, such as `no bass, the doors play`: of each speaker, or side, that is named.

    A volume from which it distorts, which part of the music is heard, noise with or without the engine, what comes and goes and what brings it, and a knob
    that does nothing are read too (see `Sound`).

    Raises
    ------
    CallError : the sentence doesn't tell which speakers sound how.
    """
    plain = without_lacking_part(_plain(text))
    goes = bool(re.search(_GOES, plain))
    heard, idle = _heard_and_idle(plain, job, goes=goes)
    if not heard and not idle:
        which_side = re.search(rf"\b(?:{_ONE_SIDE})\b", plain)
        raise CallError(
            say("this doesn't tell which side it is")
            if which_side
            else say("this doesn't tell which speakers sound how"),
            code="bad_complaint",
            remedy=say("write, for example: no bass, the doors play"),
        )
    sounds = [_with_conditions(Sound(s, side, word), plain, goes=goes) for (s, side), word in heard.items()]
    return entries_of(sounds, job, idle=idle)


def is_complaint(text: str) -> bool:
    """Return whether a line can be a complaint: a sentence, neither a single word nor an "I don't know"."""
    return len(text.split()) > 1 and said_instead(text) != DONT_KNOW


def _plain(text: str) -> str:
    return " ".join(text.lower().replace("\u2019", "'").split())[:LONGEST]


def _heard_and_idle(plain: str, job: Job, *, goes: bool) -> tuple[dict[Pair, str], list[str]]:
    """Return the word of each speaker and side, empty for both, and the knobs that do nothing."""
    words = _speakers(job)
    named: list[Pair] = []
    found: dict[Pair, str] = {}
    idle: list[str] = []
    for clause in filter(None, map(str.strip, _CLAUSE.split(plain))):
        knob = _idle_knob(clause, job)
        if knob:
            idle.append(knob)
            continue
        mine = _named(clause, words, found, job)
        word = _word(clause, goes=goes)
        if mine and not word:
            named = mine
            continue
        for pair in mine or named or (_everything(clause, job) if word else []):
            if word:
                found.setdefault(pair, word)
        named = []
    return found, idle


def _word(clause: str, *, goes: bool) -> str:
    """Return how it sounds; what comes and goes is silent at times if nothing else is said."""
    word = heard_word(re.sub(_GOES, " ", clause))
    return "silent" if goes and word not in WRONG and re.search(_GOES, clause) else word


def _with_conditions(sound: Sound, plain: str, *, goes: bool) -> Sound:
    """Return a sound with what the sentence tells of volume, engine, and how it comes and goes."""
    if sound.word == "distorted":
        step = re.search(_STEP, plain)
        only = step is not None or re.search(rf"\b{_LOUD_ONLY}", plain)
        softly = "same" if re.search(rf"\b(?:{_SOFTLY_TOO})", plain) else "clean" if only else ""
        sound = replace(sound, volume=step["step"].replace(",", ".") if step else "", softly=softly)
    if sound.word in ("hum", "whine") and re.search(rf"\b(?:{_ENGINE})", plain):
        sound = replace(sound, engine="always" if re.search(rf"\b(?:{_ENGINE_OFF})", plain) else "running")
    if sound.word == "faint":
        sound = replace(sound, part=part_heard(plain))
    if goes and sound.word in WRONG:
        sound = replace(sound, goes=True, provoked=tried_word(plain, "provoked"))
    return sound


def _speakers(job: Job) -> dict[str, str]:
    """Return speaker -> a pattern of what people call it: by what it is for, and by its own name."""
    from gainwright.jobfile.starting.leads import role_of

    found = {}
    for name in speakers_of(job):
        own = re.escape(" ".join((job.stages[name].name or name.replace("_", " ")).lower().split()))
        role = role_of(name)
        found[name] = rf"{own}|{_ROLES[role]}" if role in _ROLES else own
    return found


def _named(clause: str, speakers: dict[str, str], before: Iterable[Pair], job: Job) -> list[Pair]:
    """Return the speakers, or sides of them, that a clause names; `before` those that were named already."""
    from gainwright.jobfile.starting.leads import role_of

    if re.search(rf"\b(?:{_REST})", clause):
        return rest_of(before, job)
    found = [speaker for speaker, words in speakers.items() if re.search(rf"\b(?:{words})", clause)]
    if not found and re.search(rf"\b(?:{_DOORS})", clause):
        found = [speaker for speaker in speakers if role_of(speaker) != "sub"]
    if found:
        side = _side(clause, _SIDES)
        return [(speaker, side if side and has_sides(job, speaker) else "") for speaker in found]
    side = _side(clause, _WHOLE_SIDE)
    return [(speaker, side) for speaker in speakers if side and has_sides(job, speaker)]


def _everything(clause: str, job: Job) -> list[Pair]:
    """Return all speakers where a clause is about everything, none where it is about one side without naming it."""
    if re.search(rf"\b(?:{_ONE_SIDE})\b", clause) or not re.search(rf"\b(?:{_EVERY})", clause):
        return []
    return [(speaker, "") for speaker in speakers_of(job)]


def _side(clause: str, sides: dict[str, str]) -> str:
    found = [side for side, words in sides.items() if re.search(rf"\b(?:{words})\b", clause)]
    return found[0] if len(found) == 1 else ""


def _idle_knob(clause: str, job: Job) -> str:
    """Return the check of the knob that a clause says does nothing; empty if it is about none.

    Raises
    ------
    CallError : the chain has no such knob, or several and it isn't clear which.
    """
    from gainwright.model import stage_title

    if not re.search(_KNOB, clause) or tried_word(clause, "travel") != "nothing":
        return ""
    places = knobs_of(job)
    by_name = [p for p in places if stage_title(job, p.partition(".")[0]).lower() in clause]
    found = by_name or ([p for p in places if "sub" in p or "bass" in p] if re.search(_BASS, clause) else places)
    if len(found or places) != 1:
        raise CallError(
            say("this doesn't tell which knob it is") if places else say("this chain has no knob that can be tried"),
            code="bad_complaint",
            remedy=say("write, for example: no bass, the doors play"),
        )
    return (found or places)[0]
