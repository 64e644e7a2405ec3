"""Callers who say in plain words what they hear and see in a car whose fault is known to the test alone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.dialogue import Dialogue
from gainwright.app.cases.plain_words import heard_word
from gainwright.errors import GainwrightError
from gainwright.jobfile.starting.described import described_chain
from gainwright.jobfile.starting.typical import chain_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.diagnose import Diagnosis, NextTest

MOST_TESTS = 14
NEARLY_AS_LIKELY = 0.4
"""A cause that no test tells from the leading one counts as named if it has this share of its probability."""
HEALTHY = {
    "power_lamp": "it's green",
    "protection_lamp": "no, that one is dark",
    "balance": "yes, in the middle",
    "mute": "no, not muted",
    "player": "yes, all off",
    "settings": "looks fine to me",
    "inputs": "yes, left on left",
    "routing": "the right one",
    "gain": "as it should be",
    "link": "yes",
    "switch": "yes, it's on",
    "input_mode": "yes, fine",
    "fuse": "looks good",
    "ground": "it's tight",
    "leads": "yes, they do",
    "heat": "just warm",
    "substitute": "just the same",
    "other_source": "the same",
    "travel": "it works, gets louder",
    "moved": "no change, steady",
    "one_side_reversed": "thinner",
    "sounds": "as always, only quieter",
}
"""Last word of what is looked at -> what a caller says of it when it is sound; of all else that it is as it should be."""
NOT_UNDERSTOOD = "(not understood)"
SOUNDS, IDLE, NO_IDEA = "plays fine", "nothing, all quiet", "no idea, sorry"


@dataclass(frozen=True)
class Call:
    """A call: what is said to begin with, what the caller would hear and see, and the causes that are right.

    Attributes
    ----------
    says : the description of the car.
    complaint : speaker, or `speaker.side` -> how it is said to sound.
    hears : speaker, `speaker.side`, `.idle` or `.softly` -> what is said; what isn't there plays fine.
    sees : a place as evidence names it, or its last word -> what is said; also `swap` and `swap:PLACE`.
    unknown : places of which the caller has no idea.
    causes : (cause, where) that would be right, each; an empty `where` stands for any place.
    """

    name: str
    says: str
    complaint: Mapping[str, str]
    causes: tuple[tuple[str, str], ...]
    hears: Mapping[str, str] = field(default_factory=dict)
    sees: Mapping[str, str] = field(default_factory=dict)
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True)
class Answered:
    """A call that was answered: the diagnosis, each question with its answer, whether the cause or its group is right."""

    found: Diagnosis
    said: tuple[tuple[str, str], ...]
    right: bool

    @property
    def share(self) -> float:
        """The probability of the leading cause."""
        return self.found.causes[0].probability


def answer_call(call: Call) -> Answered:
    """Lead the dialogue of a call to its end, by the tests that are proposed and what the caller says to them."""
    described = described_chain(call.says)
    assert described.chains, call.says
    dialogue = Dialogue(chain_text(described.chains[0].id, described.extras), call.name)
    for place, words in call.complaint.items():
        speaker, _, side = place.partition(".")
        word = heard_word(words)
        assert word, words
        dialogue.add({"heard": speaker, **({"side": side} if side else {}), "is": word})
    said: list[tuple[str, str]] = []
    found = dialogue.diagnosis()
    while found.next and not found.done and len(said) < MOST_TESTS:
        said.append((found.next[0].ask, _answer(call, dialogue, found.next[0])))
        found = dialogue.diagnosis()
    return Answered(found, tuple(said), _is_right(call, found))


def _answer(call: Call, dialogue: Dialogue, test: NextTest) -> str:
    words = said_to(call, test.entry)
    try:
        dialogue.answer_or_skip(test, words)
    except GainwrightError:
        words = f"{words} {NOT_UNDERSTOOD}"
        dialogue.decline(test)
    return words


def said_to(call: Call, entry: Mapping[str, Any]) -> str:
    """Return what the caller says to a test."""
    if "heard" in entry:
        return _heard(call, entry)
    if "swap" in entry:
        return call.sees.get(f"swap:{entry['swap']}", call.sees.get("swap", "I can't get at it"))
    place = str(entry.get("check", ""))
    what = place.rpartition(".")[2]
    if place in call.unknown or what in call.unknown:
        return NO_IDEA
    return call.sees.get(place, call.sees.get(what, HEALTHY.get(what, "as it should be" if place else NO_IDEA)))


def _heard(call: Call, entry: Mapping[str, Any]) -> str:
    speaker, side = str(entry["heard"]), str(entry.get("side", "both"))
    if entry.get("tone") == "off":
        return call.hears.get(f"{speaker}.idle", IDLE)
    if "tone" not in entry and "level" in entry and f"{speaker}.softly" in call.hears:
        return call.hears[f"{speaker}.softly"]
    return call.hears.get(f"{speaker}.{side}", call.hears.get(speaker, SOUNDS))


def _is_right(call: Call, found: Diagnosis) -> bool:
    """Return whether the leading cause is a right one, or one of those that no test tells from it and that are as likely."""
    alike = {0, *(i for group in found.groups if 0 in group.causes for i in group.causes)}
    least = NEARLY_AS_LIKELY * found.causes[0].probability
    leading = [found.causes[i] for i in alike if found.causes[i].probability >= least]
    return any(c.cause == cause and where in ("", c.where) for c in leading for cause, where in call.causes)
