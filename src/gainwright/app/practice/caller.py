"""A caller's voice: what is heard, and what the caller did, in the words of somebody who isn't an engineer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Entry, HeardSpeaker, Job, Reading

_EVERYTHING = {
    "silent": say("Nothing plays at all, not a sound."),
    "faint": say("Everything has become so quiet that I can hardly hear it."),
    "distorted": say("Everything sounds rough and scratchy, even at the volume that I always use."),
    "hum": say("There is a low hum all the time, from everywhere."),
    "whine": say("There is a whistle from everywhere that goes up and down with the engine."),
}
_SOME = {
    "silent": say("Not a sound comes from {speakers}."),
    "faint": say("I can hardly hear {speakers} any more."),
    "distorted": say("It sounds rough and scratchy from {speakers}, even at the volume that I always use."),
    "hum": say("There is a low hum from {speakers} all the time."),
    "whine": say("There is a whistle from {speakers} that goes up and down with the engine."),
    "normal": say("From {speakers} it sounds as it always did."),
}
_SIDES = {"left": say("{speaker} on the left"), "right": say("{speaker} on the right")}


def caller_words(entries: Sequence[Entry], job: Job) -> list[str]:
    """Return what a caller says, sentence by sentence: a function of what is heard in normal use and of what was measured."""
    from gainwright.model import HeardSpeaker, Reading

    every = [e for e in entries if isinstance(e, HeardSpeaker) and e.is_ is not None]
    changing, heard = _comes_and_goes(every)
    did = [*_turned(entries, job), *(_did(e, job) for e in entries if isinstance(e, Reading))]
    words = {str(e.is_): _speakers([o for o in heard if o.is_ == e.is_], job) for e in heard}
    if changing:
        did = [*_at_times(changing, job), *did]
    elif set(words) == {"normal"}:
        fine = say("When I play music, everything sounds as it always did.")
        doubt = [] if did else [say("But I thought that it would be louder than this. Is something wrong with it?")]
        return [fine, *doubt, *did]
    if len(words) == 1 and not changing:
        return [*(_EVERYTHING[word] for word in words), *did]
    ill_first = sorted(words, key=lambda word: (word == "normal", list(_SOME).index(word)))
    told = [sentence(say(_SOME[word], speakers=words[word])) for word in ill_first]
    return [*did, *told] if changing else [*told, *did]


def _comes_and_goes(heard: Sequence[HeardSpeaker]) -> tuple[list[HeardSpeaker], list[HeardSpeaker]]:
    """Return the entries in which a speaker sounds wrong that sounded as always another time; and those about other speakers."""
    normal = {e.heard for e in heard if e.is_ == "normal" and e.side == "both"}
    wrong = [e for e in heard if e.is_ != "normal" and e.side == "both" and e.heard in normal]
    changing = {e.heard for e in wrong}
    return wrong, [e for e in heard if e.heard not in changing]


def _at_times(wrong: Sequence[HeardSpeaker], job: Job) -> list[str]:
    by_word = {str(e.is_): _speakers([o for o in wrong if o.is_ == e.is_], job) for e in wrong}
    return [
        say(
            "With {speakers} it comes and goes: sometimes it plays as it always did, sometimes it is {word}.",
            speakers=speakers,
            word=say(word),
        )
        for word, speakers in by_word.items()
    ]


def _turned(entries: Sequence[Entry], job: Job) -> list[str]:
    """Return what a caller says of controls that do nothing."""
    from gainwright.model import Check, the_place

    idle = [e.check for e in entries if isinstance(e, Check) and e.check.endswith(".travel") and e.is_ == "nothing"]
    return [
        say("When I turn {control}, nothing changes.", control=the_place(job, place.removesuffix(".travel")))
        for place in idle
    ]


def _speakers(entries: Sequence[HeardSpeaker], job: Job) -> str:
    """Return the speakers of some entries: `the front speaker on the left and the sub`."""
    from gainwright.model import device_words

    names = []
    for entry in entries:
        name = device_words(job, entry.heard)
        names.append(say(_SIDES[entry.side], speaker=name) if entry.side in _SIDES else name)
    return joined(list(dict.fromkeys(names)), by="{a} and {b}")


def _did(entry: Reading, job: Job) -> str:
    """Return what a caller measured, and makes of it."""
    from gainwright.model import name_words, the_place

    tone = f"{entry.tone_hz or 0:g} Hz"
    played = {"tone": tone, "place": the_place(job, entry.at), "instrument": name_words(entry.with_ or "")}
    level = f"{entry.level_dbfs:g} dBFS"
    if entry.shows is not None:
        return say(
            "But I played a tone of {tone} at {level} and held the {instrument} to {place}: nothing lit up. So there is no signal, is there?",
            level=level,
            **played,
        )
    read = f"{entry.reads.nominal:.2g} V" if entry.reads is not None and not isinstance(entry.reads, str) else "0 V"
    return say(
        "But I played a tone of {tone} and put the {instrument} to {place}: it read {volts}. So it must be dead, mustn't it?",
        volts=read,
        **played,
    )
