"""What people say in plain sentences: how it sounds, whether a lamp is lit, whether something is set right; in English and German.

A sentence that could mean two things means nothing here, and the person is asked again.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

DONT_KNOW, CANT_REACH, ONLY_EARS = "don't know", "can't reach", "only ears"
_DONT_KNOW = (
    r"don'?t know|dunno|no idea|no clue|can'?t (?:say|tell)|not sure|don'?t remember|unknown|skip"
    r"|wei(?:ß|ss) (?:ich )?(?:\w+ )?nicht|keine ahnung|nicht sicher|kann (?:ich )?(?:\w+ )?nicht (?:sagen|erkennen)"
)
_CANT_REACH = (
    r"can'?t (?:reach|get (?:at|to)|see)\b.*|can'?t|(?:it'?s )?(?:under|behind) the \w+"
    r"|komm\w* (?:ich )?(?:\w+ )?nicht (?:ran|dran|hin)|nicht erreichbar|seh\w* (?:ich )?(?:\w+ )?nicht"
)
_ONLY_EARS = (
    r"(?:\w+ )?(?:only|just|nur) (?:\w+ )?(?:ears|ohren)\b.*|(?:\w+ ){0,2}no (?:multi)?(?:meter|instrument)s?\b.*"
    r"|don'?t (?:have|own) (?:a|any) (?:multi)?(?:meter|instrument)s?\b.*|(?:hab\w* )?(?:ich )?kein\w* (?:multimeter|mess\w+)\b.*"
)
_NO = r"(?:no|not|never|without|isn'?t|aren'?t|doesn'?t|don'?t|didn'?t|won'?t|nicht|kein\w*|ohne)"
_BETWEEN = r"(?:\s+(?:a|an|any|the|it|really|to|be|richtig|mehr|der|die|das|ein\w*))*\s+"

_DISTORTED = (
    r"distort\w*|crackl\w*|rattl\w*|scratch\w*|rasp\w*|fuzzy|harsh|garbled|break\w* up|clip(?:s|ping)\b|farts?\b"
    r"|verzerr\w*|kratz\w*|schepper\w*|krächz\w*|schnarr\w*|knister\w*|übersteuer\w*"
)
_HUM = r"hum(?:s|ming)?\b|buzz\w*|brumm\w*|summ(?:t|en)\b"
_WHINE = r"whin\w*|whistl\w*|pfeif\w*|jaul\w*"
_PLAYS = r"play(?:s|ing)?\b|work(?:s|ing)?\b|sound\b|output\b|bass\b|spielt\b|spielen\b|geht\b|gehen\b|läuft\b|laufen\b|funktionier\w*|ton\b|signal\b"
_HEARD = {
    "faint": r"faint\w*|(?:almost|hardly|barely|next to|nearly) (?:nothing|any\w*|no\w*)|hardly|barely|weak\w*|quiet(?:er|ly)?\b"
    r"|soft(?:er|ly)?\b|(?:fast|kaum|so gut wie) (?:nichts|was|etwas|kein\w*)|leise\w*|schwach\w*|schwächer|kaum",
    "silent": r"silen\w*|nothing(?: at all)?|none\b|dead\b|mute\b|not a (?:sound|peep|thing)|gar nichts|nichts|stumm|tot\b|mucks\w*"
    rf"|{_NO}{_BETWEEN}(?:{_PLAYS})|(?:{_PLAYS})\s+(?:\w+\s+)?nicht\b",
    "distorted": _DISTORTED,
    "hum": _HUM,
    "whine": _WHINE,
    "normal": r"normal\w*|fine\b|okay\b|ok\b|good\b|clear\w*|clean\w*|as (?:always|usual|it should|before)|sounds? right|loud\b"
    rf"|gut\b|wie immer|wie sonst|in ordnung|sauber|klar\b|laut\b|{_PLAYS}",
}
"""How a speaker sounds -> what people say; read in this order, and what one has taken the next doesn't see."""
_VOLUME = (
    r"\b(?:when|if|while|as long as|at|wenn|solange|bei)\s+(?:[\w']+\s+){0,3}?(?:low|soft\w*|quiet\w*|loud\w*|leise\w*|laut\w*)"
    r"(?:\s+(?:volume|ist|musik|lautstärke))?\b"
)
"""At which volume something is so; `when it's low` doesn't say how it sounds."""
_PART = {"thin": r"thin(?:ner)?\b|tinny|dünn\w*|blechern\w*", "dull": r"dull\b|muffl\w*|dumpf\w*"}
"""Which part of the music is heard -> what people say; such a speaker plays, though not as loud as usual."""
_LACKING = (
    rf"[,;]?\s*(?:(?:and|with|und|mit)\s+)?{_NO}{_BETWEEN}(?:bass|bässe?|lows|treble|highs|höhen|tiefen)\b"
    r"(?!\s+(?:\w+\s+){0,2}sub)"
)
"""What such a speaker lacks, which is no silence."""
_QUALITY = rf"{_NO}{_BETWEEN}(?:{_DISTORTED}|{_HUM}|{_WHINE})"
_ON = r"on\b(?! (?:it|its|the|that|this|my)\b)|lit\b|light(?:s|ed)?\b|glow\w*|shin\w*|green|blue|white|an\b|leuchte\w*|brenn\w*|grün|blau|wei(?:ß|ss)\b"
_LAMP = {
    "off": rf"off\b|dark\b|dead\b|nothing|aus\b|dunkel|nichts|{_NO}{_BETWEEN}(?:(?:red|rotes)\s+)?(?:{_ON}|red\b|rot\w*)|(?:{_ON})\s+nicht\b",
    "on": _ON,
}
_YES, _NAY = r"yes\b|yeah|yep|yup|ja\b|jawohl", r"no\b|nope|nein\b|nö\b"
_RIGHT = (
    r"right\b|correct\w*|fine\b|good\b|okay\b|ok\b|as (?:it|they|always|usual)|in the (?:middle|centre|center)|centred|centered"
    r"|untouched|normal|stimmt\b|stimmen\b|passt\b|passen\b|richtig\w*|in ordnung|mitte\b|mittig|gut\b|unverändert"
)
_RIGHT_OR_WRONG = {
    "wrong": rf"wrong\w*|{_NO}{_BETWEEN}(?:{_RIGHT})|(?:{_RIGHT})\s+nicht\b|(?:turned|all the way|way|fully|right) down|minimum|at (?:zero|the bottom)|\bzero\b"
    r"|muted|forward|to(?:wards)? the (?:front|rear|back|left|right)\b|swapped|reversed|crossed|changed|switched off"
    r"|falsch\w*|verstellt|ganz unten|zugedreht|runtergedreht|auf (?:null|minimum)|stumm\w*|nach (?:vorn\w*|hinten|links|rechts)"
    r"|vertauscht\w*|verdreht|ausgeschaltet",
    "right": _RIGHT,
}
_SWAPPED = {
    "none": r"both (?:sides )?(?:are |sound |play )?(?:alike|the same|fine|good|play\b)|no difference|no fault|beide (?:seiten )?(?:\w+ )?(?:gleich|gut)",
    "stayed": rf"stay\w*|same\b|{_NO}{_BETWEEN}(?:mov\w*|change\w*|gewandert)|no change|still (?:the|on|left|right)\b.*|bleib\w*|geblieben|gleiche\w*|immer noch",
    "moved": r"mov\w*|wander\w*|other side|now (?:the|it'?s)\b.*|chang\w* sides?|swapped sides|gewandert|gewechselt|andere\w* seite|jetzt (?:links|rechts)\b.*",
}
_MUTED = {
    "right": rf"{_NO}{_BETWEEN}(?:mute\w*|stumm\w*)|unmuted|{_NAY}|off\b|aus\b",
    "wrong": rf"mute\w*|stumm\w*|{_YES}|on\b|an\b",
}
_SAME = rf"same\b|{_NO}{_BETWEEN}(?:better|difference)|just as|gleich\w*|genauso|{_NO}{_BETWEEN}(?:besser|unterschied)"
_BETTER = rf"better|fine\b|good\b|clear\w*|besser|sauber|gut\b|{_PLAYS}"
_TRIED = {
    "fuse": {
        "blown": rf"blown|broken|burn\w*|black|{_NO}{_BETWEEN}(?:good|ok|intact)|durchgebrannt|durch\b|kaputt|defekt|schwarz",
        "good": r"good|fine|ok\b|okay|intact|whole|heil|gut\b|in ordnung|ganz\b",
    },
    "ground": {
        "loose": rf"loose|rust\w*|corroded|paint\w*|wobbl\w*|{_NO}{_BETWEEN}(?:tight|fest)|locker|lose\b|wackel\w*|rost\w*|lack\b",
        "tight": r"tight|good|fine|solid|ok\b|okay|fest\b|gut\b|blank|in ordnung",
    },
    "heat": {
        "usual": rf"{_NO}{_BETWEEN}(?:too |very )?hot|warm|usual|normal|cool|cold|handwarm|kalt|wie (?:immer|sonst)",
        "hot": r"hot\b|burning|hei(?:ß|ss)\w*|kaum anfassen",
    },
    "unplugged": {
        "stays": r"stay\w*|still (?:there|hum\w*|buzz\w*|whin\w*)|same|bleib\w*|noch da|immer noch",
        "gone": r"gone|quiet|silent|away|stopp\w*|weg\b|ruhig|still\b",
    },
    "unloaded": {
        "was_off": r"wasn'?t|was (?:off|not)|never|war (?:gar )?(?:nicht|aus)",
        "stays": r"stay\w*|still (?:red|on|in|lit)|bleib\w*|immer noch",
        "recovers": r"recover\w*|goes (?:off|out|away)|green|comes (?:on|back)|geht (?:aus|wieder)|erhol\w*|wieder",
    },
    "other_source": {"same": _SAME, "better": _BETTER},
    "substitute": {"same": _SAME, "better": _BETTER},
    "travel": {
        "nothing": rf"nothing|no (?:change|effect|difference)|{_NO}{_BETWEEN}(?:do\b|change\w*)|nichts|ohne wirkung",
        "crackles": r"crackl\w*|scratch\w*|kratz\w*|knister\w*",
        "works": r"work\w*|(?:gets? )?(?:louder|quieter)|lauter|leiser|funktionier\w*|geht\b",
    },
    "moved": {
        "cuts_out": r"cut\w* (?:out|in)|comes and goes|crackl\w*|drop\w*|setzt aus|aussetz\w*|wackel\w*|knackt",
        "steady": r"stead\w*|no change|nothing|stays|same|stabil|bleibt|gleich|nichts",
    },
    "sounds": {
        "dull": r"dull|muffl\w*|(?:only|just) (?:the |a |some )?(?:bass|thump\w*|lows?\b|low part)|no (?:voices|highs|treble|top)"
        r"|dumpf\w*|nur (?:noch )?(?:der |den |ein |das )?(?:bass|wummern|rumpeln|tiefe\w*)|keine (?:höhen|stimmen)|ohne höhen",
        "thin": r"thin|tinny|no (?:bass|lows)|without (?:the )?bass|bass is (?:gone|missing)|dünn\w*|blechern|kein bass|ohne bass|bass fehlt",
        "voices": r"voices?|singing|vocals?|words|stimmen?|gesang",
        "usual": rf"{_RIGHT}|usual\w*|wie (?:immer|sonst)|{_PLAYS}",
    },
    "provoked": {
        "bumps": r"bump\w*|pothole\w*|rough road|shak\w*|mov(?:e|ed|es|ing)\b|touch\w*|wiggl\w*|knock\w*|tapp?\w*|push\w*"
        r"|schlagl\w*|holp\w*|wackel\w*|wackl\w*|berühr\w*|beweg\w*|anfass\w*|rüttel\w*|erschütter\w*|klopf\w*",
        "heat": r"warm\w*|hot\b|heat\w*|after (?:a while|some time|an hour|[0-9]+ min\w*)|in summer"
        r"|hei(?:ß|ss)\w*|hitze|nach (?:einer weile|einiger zeit|einer stunde|[0-9]+ min\w*)|im sommer",
        "loud": r"loud\w*|bass (?:hits?|notes?|beats?)|turn(?:ed|s)? (?:it )?up|laut\w*|aufdreh\w*|aufgedreht|bassschl\w*",
        "by_itself": r"by itself|for no reason|just like that|out of nowhere|von selbst|ohne grund|einfach so",
    },
    "one_side_reversed": {
        "same": r"same\b|no (?:difference|change)|gleich\w*|kein unterschied",
        "thinner": r"thinner|less|weaker|dünner|weniger|schwächer",
        "fuller": r"fuller|more|stronger|better|voller|mehr\b|stärker|besser",
    },
}
"""Last word of what is tried -> its answers -> what people say; the first answers are read first."""
_BY_YES_AND_NO = ("balance", "inputs", "settings", "function", "player", "link", "switch", "input_mode", "leads")
"""What is asked so that yes means right."""


def said_instead(text: str) -> str:
    """Return `DONT_KNOW`, `CANT_REACH` or `ONLY_EARS` when that was said instead of an answer; else an empty text."""
    plain = _plain(text)
    if re.fullmatch(rf"(?:\W*(?:i(?:'ve)?|sorry|ich|have|got|hab\w*)\b)*\W*(?:{_ONLY_EARS})", plain):
        return ONLY_EARS
    if re.fullmatch(
        rf"(?:\W*(?:i|sorry|ich|das|well|hm+|really|honestly|ehrlich|leider)\b)*\W*(?:{_DONT_KNOW})\W*(?:\w+\W*){{0,3}}",
        plain,
    ):
        return DONT_KNOW
    if re.fullmatch(rf"(?:\W*(?:i|sorry|ich|da|leider)\b)*\W*(?:{_CANT_REACH})\W*(?:\w+\W*){{0,3}}", plain):
        return CANT_REACH
    return ""


def heard_word(text: str, *, playing: bool = True) -> str:
    """Return how a speaker sounds, as evidence has it; empty where the sentence doesn't tell, or tells two things.

    Parameters
    ----------
    playing : whether something plays; if not, what is normal is silent.
    """
    plain = without_lacking_part(_plain(text))
    if plain == "still":
        return "silent"
    rest, denied = re.subn(_QUALITY, " ", re.sub(_VOLUME, " ", plain))
    found = _meanings(rest, _HEARD)
    if not playing:
        found = ({"silent"} if found & {"normal", "silent"} or (denied and not found) else set()) | found & {
            "hum",
            "whine",
        }
    elif denied and not found and not part_heard(plain):
        return ""
    special = found - {"normal", "silent"}
    if playing and not special and part_heard(plain):
        return "faint"
    if len(special) == 1:
        return special.pop()
    return found.pop() if len(found) == 1 else ""


def part_heard(text: str) -> str:
    """Return which part of the music is heard, `thin` or `dull`; empty where the sentence doesn't tell."""
    denied = rf"\b{_NO}{_BETWEEN}(?:{'|'.join(_PART.values())})"
    found = _meanings(re.sub(denied, " ", _plain(text)), _PART)
    return found.pop() if len(found) == 1 else ""


def without_lacking_part(plain: str) -> str:
    """Return a sentence about a part of the music that is heard without the part that isn't: `thin, no bass` is no silence."""
    return re.sub(_LACKING, "", plain) if part_heard(plain) else plain


def lamp_word(text: str, *, protection: bool = False) -> str:
    """Return `on` or `off` of a lamp; empty where it isn't clear: a red one may be the other lamp."""
    plain = _plain(text)
    found = _meanings(plain, _LAMP)
    if re.search(r"\b(?:red|rot\w*)\b", plain) and "off" not in found:
        return "on" if protection else ""
    return _one_or_yes(plain, found, {"on": _YES, "off": _NAY})


def right_or_wrong(text: str, what: str) -> str:
    """Return `right` or `wrong` of something that was looked at; empty where the sentence doesn't tell.

    Parameters
    ----------
    what : the last word of its name in evidence: `mute`, `balance`, `settings`.
    """
    plain = _plain(text)
    if what == "mute":
        found = _meanings(plain, _MUTED)
        return found.pop() if len(found) == 1 else ""
    yes = {"right": _YES, "wrong": _NAY} if what in _BY_YES_AND_NO else {}
    return _one_or_yes(plain, _meanings(plain, _RIGHT_OR_WRONG), yes)


def swap_word(text: str) -> str:
    """Return whether a fault moved, stayed or is on neither side; empty where the sentence doesn't tell."""
    found = _meanings(_plain(text), _SWAPPED)
    return found.pop() if len(found) == 1 else ""


def tried_word(text: str, what: str) -> str:
    """Return the answer to something that was tried or looked at, such as a fuse; empty where the sentence doesn't tell.

    Parameters
    ----------
    what : the last word of its name in evidence.
    """
    found = _meanings(_plain(text), _TRIED.get(what, {}))
    return found.pop() if len(found) == 1 else ""


def _meanings(plain: str, table: Mapping[str, str]) -> set[str]:
    found = set()
    for meaning, words in table.items():
        plain, times = re.subn(rf"\b(?:{words})", " ; ", plain)
        if times:
            found.add(meaning)
    return found


def _one_or_yes(plain: str, found: set[str], by_yes: Mapping[str, str]) -> str:
    """Return the one meaning that was found, or that of a yes or no at the beginning; empty if they contradict."""
    said = {meaning for meaning, words in by_yes.items() if re.match(rf"\W*(?:{words})", plain)}
    both = found | said
    return both.pop() if len(both) == 1 else ""


def _plain(text: str) -> str:
    return " ".join(text.lower().replace("\u2019", "'").split())[:200]
