"""Answers in plain sentences, as callers give them in English and German, are read as they are meant, or asked about again."""

from __future__ import annotations

import pytest

from gainwright.app.cases.answers import with_result
from gainwright.app.cases.plain_words import (
    CANT_REACH,
    DONT_KNOW,
    ONLY_EARS,
    heard_word,
    lamp_word,
    right_or_wrong,
    said_instead,
    swap_word,
    tried_word,
)
from gainwright.errors import CallError

HEARD = {
    "silent": (
        "no sound from the sub", "nothing", "No, nothing at all.", "it's dead", "doesn't play", "they don't play any more",
        "not a peep", "kein Ton", "da kommt nichts", "spielt nicht", "geht nicht", "No bass", "it is not working", "stumm",
        "still", "there's no output",
    ),
    "faint": (
        "very quiet", "plays but very quietly", "hardly anything", "almost nothing", "really weak", "sehr leise",
        "spielt, aber nur leise", "kaum was zu hören", "much quieter than the other", "fast nichts",
        "thin, no bass in the doors", "plays but tinny", "klingt dünn, kein Bass", "dull, no treble",
    ),
    "normal": (
        "yes they play", "plays fine", "sounds good", "as always", "ok", "loud and clear", "ja, die spielen", "läuft wie immer",
        "plays, not distorted", "it works", "alles gut", "when it's low it plays fine", "bei leiser Musik ist es sauber", "yes it plays without any hum", "Ja, geht",
    ),
    "distorted": (
        "it crackles", "sounds distorted", "rattles like mad", "plays but scratchy", "verzerrt", "kratzt ganz schlimm", "distorted when it's loud",
        "scheppert",
    ),
    "hum": ("it hums", "there's a buzz", "no music, only humming", "brummt", "plays but buzzes"),
    "whine": ("whines with the engine", "a whistle", "pfeift mit dem Motor"),
    "": ("yes", "no", "left one", "it hums and whines", "hm", "first nothing, then it plays", "not distorted", "faint and distorted", "not thin"),
}  # fmt: skip


@pytest.mark.parametrize(("meant", "said"), [(word, text) for word, texts in HEARD.items() for text in texts])
def test_how_a_speaker_sounds(meant: str, said: str) -> None:
    """A sentence has one meaning; none where it tells nothing or two things."""
    assert heard_word(said) == meant


@pytest.mark.parametrize(
    ("meant", "said"),
    [("silent", "no hum"), ("silent", "all quiet, nothing"), ("hum", "yes it hums"), ("whine", "whines"), ("", "hm")],
)
def test_with_nothing_playing_normal_is_silent(meant: str, said: str) -> None:
    """Only a hum or a whine is a fault then."""
    assert heard_word(said, playing=False) == meant


@pytest.mark.parametrize(
    ("meant", "said"),
    [
        ("on", "yes, it's green"), ("on", "lit"), ("on", "ja, leuchtet blau"), ("on", "I think it's on"), ("on", "yes"),
        ("off", "no"), ("off", "it's dark"), ("off", "not lit"), ("off", "no light on it"), ("on", "there's a light on the front"), ("off", "nein, leuchtet nicht"), ("off", "ist aus"),
        ("off", "no it isn't on"), ("", "it's red"), ("", "the what?"), ("", "no, it's on"),
    ],
)  # fmt: skip
def test_whether_a_lamp_is_lit(meant: str, said: str) -> None:
    """A red light isn't taken for a power lamp."""
    assert lamp_word(said) == meant


def test_red_light_is_the_protection_lamp() -> None:
    """If that is what was asked for."""
    assert lamp_word("it's red", protection=True) == "on"
    assert lamp_word("no red light", protection=True) == "off"


@pytest.mark.parametrize(
    ("what", "meant", "said"),
    [
        ("mute", "wrong", "oh, yes it's muted"), ("mute", "right", "no, not muted"), ("mute", "right", "nein"),
        ("mute", "wrong", "ja, ist stumm"), ("balance", "right", "yes, in the middle"),
        ("balance", "wrong", "the fader is all to the front"), ("balance", "wrong", "nein, ganz nach vorn"),
        ("settings", "right", "looks fine"), ("settings", "wrong", "the gain is turned down"), ("settings", "right", "ja"),
        ("gain", "wrong", "it's at minimum"), ("low_pass", "wrong", "switched to the wrong side"), ("low_pass", "", "yes"),
        ("inputs", "wrong", "they're swapped"), ("settings", "", "hm"), ("settings", "wrong", "stimmt nicht, nicht richtig"),
    ],
)  # fmt: skip
def test_how_something_stands(what: str, meant: str, said: str) -> None:
    """Yes means right where the question is so; muted is wrong."""
    assert right_or_wrong(said, what) == meant


@pytest.mark.parametrize(
    ("meant", "said"),
    [
        ("moved", "now it's the left one"), ("moved", "it moved"), ("moved", "jetzt rechts"), ("stayed", "same side"),
        ("stayed", "no, it didn't move"), ("stayed", "immer noch links"), ("none", "both sides sound alike"), ("", "hm"),
    ],
)  # fmt: skip
def test_where_a_fault_is_after_an_exchange(meant: str, said: str) -> None:
    """Moved, stayed, or on neither side."""
    assert swap_word(said) == meant


@pytest.mark.parametrize(
    ("meant", "said"),
    [
        (DONT_KNOW, "don't know"), (DONT_KNOW, "I don't know, sorry"), (DONT_KNOW, "no idea"), (DONT_KNOW, "Keine Ahnung"),
        (DONT_KNOW, "weiß ich nicht"), (DONT_KNOW, "hm, I can't tell"), (CANT_REACH, "I can't get at it"),
        (CANT_REACH, "da komme ich nicht ran"), (CANT_REACH, "it's under the seat"), ("", "nothing"), ("", "it doesn't play"),
        ("", "I know it plays"), ("", "no"), (ONLY_EARS, "I have only ears"), (ONLY_EARS, "only my ears"), (ONLY_EARS, "I've no meter"),
        (ONLY_EARS, "I don't have a multimeter"), (ONLY_EARS, "ich habe kein Messgerät"), (ONLY_EARS, "nur Ohren"), ("", "no signal at the meter"),
        ("", "there is no hum"),
    ],
)  # fmt: skip
def test_what_is_said_instead_of_an_answer(meant: str, said: str) -> None:
    """Not knowing and not reaching are answers too; others aren't taken for them."""
    assert said_instead(said) == meant


@pytest.mark.parametrize(
    ("what", "meant", "said"),
    [
        ("fuse", "blown", "it's blown, black inside"), ("fuse", "good", "looks good"), ("fuse", "blown", "durchgebrannt"),
        ("fuse", "blown", "not good"), ("ground", "loose", "the screw is loose"), ("ground", "tight", "fest, auf blankem Blech"),
        ("heat", "hot", "too hot to touch"), ("heat", "usual", "just warm"), ("heat", "usual", "not hot"),
        ("unplugged", "gone", "it's gone"), ("unplugged", "stays", "still hums"), ("unloaded", "recovers", "goes out, green again"),
        ("unloaded", "stays", "bleibt rot"), ("unloaded", "was_off", "it wasn't on"), ("other_source", "same", "just the same"),
        ("other_source", "better", "the tuner plays fine"), ("substitute", "better", "that one plays"),
        ("substitute", "same", "auch nicht besser"), ("travel", "nothing", "nothing happens"), ("travel", "works", "wird lauter"),
        ("travel", "crackles", "it crackles"), ("moved", "cuts_out", "it cuts out when I wiggle"), ("moved", "steady", "stays steady"),
        ("one_side_reversed", "fuller", "more bass now"), ("one_side_reversed", "same", "no difference"), ("fuse", "", "hm"),
        ("sounds", "dull", "dull, only a thump, no voices"), ("sounds", "dull", "dumpf, keine Höhen"), ("sounds", "thin", "thin, no bass"),
        ("sounds", "voices", "voices come out of it"), ("sounds", "voices", "da kommen Stimmen raus"), ("sounds", "usual", "as always, only quieter"),
        ("sounds", "usual", "klingt wie immer"), ("sounds", "", "dull and thin"),
        ("fuse", "", "the good one is blown"), ("nonsense", "", "good"),
    ],
)  # fmt: skip
def test_what_was_tried(what: str, meant: str, said: str) -> None:
    """Each test has its own words; two contradicting ones mean nothing."""
    assert tried_word(said, what) == meant


def test_plain_answer_becomes_an_entry_and_unclear_ones_are_refused() -> None:
    """The reader of typed answers takes both the fixed words and sentences."""
    assert with_result({"heard": "sub"}, "no sound from the sub")["is"] == "silent"
    assert with_result({"check": "amp.power_lamp"}, "yes, green")["is"] == "on"
    assert with_result({"check": "amp.power_lamp"}, "it's red") == {"check": "amp.protection_lamp", "is": "on"}
    assert with_result({"swap": "amp", "tone": "100 Hz"}, "other side now")["fault"] == "moved"
    for entry in ({"heard": "sub"}, {"check": "amp.power_lamp"}, {"swap": "amp"}):
        with pytest.raises(CallError):
            with_result(entry, "well")
