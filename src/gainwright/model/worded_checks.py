"""Tests that are answered by a word: what is looked at or tried, and the words that can be answered."""

from __future__ import annotations

from gainwright.texts import say

WORDED: dict[str, tuple[str, ...]] = {
    "fuse": ("good", "blown"),
    "ground": ("tight", "loose"),
    "main_fuse": ("good", "blown"),
    "heat": ("usual", "hot"),
    "unplugged": ("gone", "stays"),
    "unloaded": ("recovers", "stays", "was_off"),
    "other_source": ("same", "better"),
    "substitute": ("same", "better"),
    "travel": ("works", "nothing", "crackles"),
    "moved": ("steady", "cuts_out"),
    "one_side_reversed": ("thinner", "fuller", "same"),
    "sounds": ("usual", "dull", "thin", "voices"),
    "provoked": ("by_itself", "bumps", "heat", "loud"),
    "mended": ("plays", "still_wrong", "partly"),
}
"""Last word of a place to check -> its answers, that of a sound chain first.

`unplugged` asks whether noise is gone with the signal leads off, `unloaded` whether an amplifier in protection recovers with
the speaker leads off, `other_source`, `substitute` whether another source or speaker plays better, `travel` what a control
does that is moved back and forth, `moved` whether a lead that is moved cuts out, `one_side_reversed` whether mono bass becomes
thinner or fuller when the two conductors of one side are exchanged, `sounds` which part of the music a speaker plays (only the low
part of its own, none of the low part, or voices from a subwoofer), `provoked` what brings a fault that comes and goes, `mended` what became of a repair (`mended_place`): all is
well, all is as before, or one of two faults is mended.
"""

WORD_TEXTS = {
    "good": say("good"),
    "blown": say("blown"),
    "tight": say("tight"),
    "loose": say("loose"),
    "usual": say("as usual"),
    "hot": say("very hot"),
    "gone": say("the noise is gone"),
    "stays": say("it stays"),
    "recovers": say("it recovers"),
    "was_off": say("it wasn't in protection"),
    "same": say("the same"),
    "better": say("better"),
    "works": say("it works"),
    "nothing": say("it does nothing"),
    "crackles": say("it crackles"),
    "steady": say("steady"),
    "cuts_out": say("it cuts out"),
    "thinner": say("thinner"),
    "fuller": say("fuller"),
    "dull": say("dull: only the low part"),
    "thin": say("thin: the low part is missing"),
    "voices": say("voices come out of it"),
    "by_itself": say("it comes by itself"),
    "bumps": say("when something moves: a bump, a lead, a plug"),
    "heat": say("after a while, when it is hot"),
    "loud": say("in loud passages"),
    "plays": say("it plays as it should"),
    "still_wrong": say("it is as before"),
    "partly": say("this is mended, something else is still wrong"),
}
"""Word of a test that is answered by one -> what its button says."""


def mended_place(cause: str, where: str) -> str:
    """Return the place at which a check says what became of the repair of a cause: `gain_low@amp.mended`."""
    return f"{cause}@{where}.mended"


def mended_cause(place: str) -> tuple[str, str] | None:
    """Return cause and where of a repair from the place of its check; None of any other place."""
    named, _, what = place.rpartition(".")
    cause, at, where = named.partition("@")
    return (cause, where) if what == "mended" and at else None
