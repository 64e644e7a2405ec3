"""Texts of tests and entries: what to do, and what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.diagnose.cause_texts import short_name
from gainwright.diagnose.causes import Cause
from gainwright.jobfile import at_hand
from gainwright.model import (
    WORD_TEXTS,
    WORDED,
    Check,
    HeardSpeaker,
    Reading,
    checked_words,
    control_words,
    describe_marks,
    mended_cause,
    setting_text,
    the_place,
)
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.diagnose.candidates import Candidate
    from gainwright.model import Entry, Job, Played

_CHECKS = {
    "power_lamp": say("Check whether the power lamp of {stage} is lit."),
    "protection_lamp": say("Check whether the protection lamp of {stage} is lit."),
    "supply_voltage": say("Read the DC volts at the supply terminals of {stage} while the tone plays."),
    "turn_on_voltage": say("Read the DC volts at the turn-on terminal of {stage}."),
    "resistance": say(
        "Everything off: disconnect the leads of {stage} where they are fed and read their resistance there."
    ),
    "cone": say(
        "Everything off and the leads of {stage} disconnected: touch them with a 1.5 V cell, plus to plus, for an instant. Does the cone move out, in, or stay still?"
    ),
    "function": say("Check that {stage} is set to AC volts, its leads in the volts sockets."),
    "settings": say(
        "Look at every control of {stage}: is each as it should be, none turned down, muted or filtering what should pass?"
    ),
    "inputs": say("Follow the leads into {stage}: is left on left and right on right?"),
    "mute": say("Check whether {stage} is muted."),
    "player": say(
        "Check that the tone is this job's file, and that volume levelling, equaliser and automatic level of the player are off."
    ),
    "link": say(
        "Check that the digital link of {stage} is plugged in or paired at both ends, and that the stage after it shows its input as present."
    ),
    "balance": say("Check whether balance and fader of {stage} are in the middle."),
    "switch": say("Check in the menu whether {stage} is switched on."),
    "input_mode": say(
        "Check the input mode switch of {stage}: are the inputs that are in use chosen, and line or speaker level as it is connected?"
    ),
    "fuse": say("Everything off: take out the fuse of {stage} and look at it. Is it good or blown?"),
    "main_fuse": say(
        "Everything off: look at the fuse near the battery that feeds the sound system. Is it good or blown?"
    ),
    "leads": say("Follow the leads of {stage}: do they go to the device that they should feed?"),
    "ground": say(
        "Everything off: look at the ground of {stage} and pull at it. Is its screw tight, on bare metal, or loose?"
    ),
    "heat": say(
        "Feel the case of {stage} after it has played loud: is it as warm as usual, or too hot to leave the hand on?"
    ),
    "unplugged": say(
        "Everything off: unplug all signal leads of {stage}, switch on with the volume down and listen. Is the noise gone, or does it stay?"
    ),
    "unloaded": say(
        "Everything off: disconnect all speaker leads of {stage}, switch on and look at its protection lamp. Does it recover, stay in protection, or was it off before?"
    ),
    "other_source": say(
        "Play something from another source on {stage}, such as the radio: does it sound the same, or better?"
    ),
    "substitute": say(
        "Everything off: connect another speaker in place of {stage}, switch on with the volume down and listen. Is it the same, or better?"
    ),
    "sounds": say(
        "Play music as usual and listen to {stage}: does it sound as usual, dull (only the low part), thin (the low part is missing), or do voices come out of a subwoofer?"
    ),
    "provoked": say(
        "What brings the fault of {stage}: a bump or a lead that is moved, heat after a while, loud passages, or does it come by itself?"
    ),
    "travel": say(
        "While music plays, turn {stage} slowly from end to end and back: does it work, do nothing, or crackle?"
    ),
    "moved": say("While music plays softly, move {stage} and its plugs: does the sound stay steady, or cut out?"),
    "one_side_reversed": say(
        "Play mono music with much bass at {stage} and listen. Switch everything off, exchange the two conductors of one side at the amplifier, and play the same: is the bass thinner, fuller or the same? Switch off again to put them back."
    ),
    "routing": say("Check which input {stage} is fed from."),
    "read_off_gain": say(
        "Read the position of the gain of {stage}, in per cent of its travel from fully down; the job doesn't give it."
    ),
}


def _played(entry: Played, job: Job) -> str:
    if entry.tone_hz is None:
        usual = say("as normally played") if entry.level_dbfs >= 0 else say("played much softer")
        stopped = [] if entry.engine == "on" else [say("engine off")]
        return joined([say("no tone playing") if entry.silence else usual, *_stands(entry, job), *stopped])
    played = say("{tone} at {level_dbfs} dBFS", tone=tone_words(entry), level_dbfs=f"{entry.level_dbfs:g}")
    return joined([played, *_stands(entry, job)])


def _stands(entry: Played, job: Job) -> list[str]:
    """Return where controls stood that an entry names."""
    return [
        say("{control} at {setting}", control=the_place(job, control), setting=setting_in_words(control, setting))
        for control, setting in entry.set.items()
    ]


def _music(entry: Played) -> str:
    return say("Play music as usual") if entry.level_dbfs >= 0 else say("Play music much softer than usual")


def setting_in_words(control: str, setting: Any) -> str:
    """Return where a control stands: `step 31` of a volume, any other as it is written."""
    return say("step {step}", step=setting) if control.endswith(".volume") else setting_text(str(setting))


def tone_words(entry: Played) -> str:
    """Return the frequency of an entry's tone; empty without one."""
    if entry.tone_hz is None:
        return ""
    return f"{entry.tone_hz / 1000:g} kHz" if entry.tone_hz >= 1000 else f"{entry.tone_hz:g} Hz"


def describe_test(candidate: Candidate, job: Job) -> str:
    """Return the instruction for a test, one or two sentences."""
    asked = describe_test_entry(candidate.test, candidate.entry, job)
    return say("Once more, to be certain: {ask}", ask=asked) if candidate.again else asked


def describe_test_entry(test: str, entry: Entry, job: Job) -> str:
    """Return the instruction for a test of a kind, from its entry without the result."""
    if isinstance(entry, Reading):
        return _ask_reading(test, entry, job)
    if isinstance(entry, HeardSpeaker):
        side = "" if entry.side == "both" else say(" on the {side}", side=say(entry.side))
        heard = say("{heard}{side}", heard=the_place(job, entry.heard), side=side)
        if entry.silence:
            return say(
                "With nothing playing and the volume as it is, listen to {heard}: silent, hum or whine?", heard=heard
            )
        playing = say("Play {played}", played=_played(entry, job))
        return say(
            "{playing} and listen to {heard}: silent, faint, normal, distorted, hum or whine?",
            playing=_music(entry) if entry.tone_hz is None else playing,
            heard=heard,
        )
    if isinstance(entry, Check):
        return _ask_check(test, entry, job)
    exchanged = the_place(job, entry.swap)
    if not entry.swap.startswith("lead:"):
        exchanged = say("the inputs of {swap}", swap=exchanged)
    return say(
        "Play {played} and listen. Switch everything off, exchange left and right of {exchanged}, switch on with the volume at its lowest step and play the same: has the fault moved to the other side, or stayed? Switch off again to put them back.",
        played=_played(entry, job) if at_hand(job) else say("music as usual"),
        exchanged=exchanged,
    )


def _ask_reading(test: str, entry: Reading, job: Job) -> str:
    what = {"record": say("record a few seconds"), "indicate": say("look which marks are lit")}
    verb = what.get(test, say("read the AC volts"))
    at, with_ = the_place(job, entry.at), the_place(job, entry.with_)
    if entry.feed is None:
        return say(
            "Play {played} and {verb} at {at} with {with_}.", played=_played(entry, job), verb=verb, at=at, with_=with_
        )
    return say(
        "Switch everything off, unplug the lead into {into} and plug a telephone or player in there. Switch on, feed {tone} of {volts}, and {verb} at {at} with {with_}. Switch off before the lead goes back.",
        into=the_place(job, entry.feed.into),
        tone=tone_words(entry),
        volts=entry.feed.volts,
        verb=verb,
        at=at,
        with_=with_,
    )


def _ask_check(test: str, entry: Check, job: Job) -> str:
    stage, _, what = entry.check.rpartition(".")
    if entry.check.startswith("lead:") and what != "moved":
        lead = the_place(job, entry.check)
        return say(
            "Everything off: unplug {lead} at both ends and measure its resistance: each conductor end to end, and between the two.",
            lead=lead,
        )
    if test == "check_measuring_lead":
        return say(
            "Check the measuring lead of {check}: each conductor end to end, and between the two.",
            check=the_place(job, entry.check),
        )
    words = _CHECKS.get(test) or _CHECKS.get(what, "Check how {check} is set.")
    return say(str(words), stage=the_place(job, stage.removesuffix(".out")), check=the_place(job, entry.check))


def describe_entry(entry: Entry, job: Job) -> str:
    """Return the text of an entry, without a full stop."""
    if isinstance(entry, Reading):
        return _reading_words(entry, job)
    if isinstance(entry, HeardSpeaker):
        side = "" if entry.side == "both" else say(" on the {side}", side=say(entry.side))
        heard = sentence(the_place(job, entry.heard))
        word = say(str(entry.is_))
        return say("{heard}{side} {word} ({played})", heard=heard, side=side, word=word, played=_played(entry, job))
    if isinstance(entry, Check):
        return say("{place}: {found}", place=sentence(_checked(entry.check, job)), found=_found(entry))
    place = the_place(job, entry.swap)
    return say("left and right of {place} exchanged: the fault {fault}", place=place, fault=say(str(entry.fault)))


def entry_row(entry: Entry, job: Job) -> tuple[str, str, str]:
    """Return an entry for a table: where, what was found, and what was played; empty where nothing was."""
    if isinstance(entry, Reading):
        played = _played(entry, job)
        if entry.feed is not None:
            into = the_place(job, entry.feed.into)
            played = say("{played}, {volts} fed into {into}", played=played, volts=entry.feed.volts, into=into)
        return sentence(_read_at(entry, job)), _shown(entry), played
    if isinstance(entry, Check):
        return sentence(_checked(entry.check, job)), _found(entry), ""
    if isinstance(entry, HeardSpeaker):
        side = "" if entry.side == "both" else say(" on the {side}", side=say(entry.side))
        heard = say("{heard}{side}", heard=sentence(the_place(job, entry.heard)), side=side)
        return heard, say(str(entry.is_)), _played(entry, job)
    place = say("left and right of {place} exchanged", place=the_place(job, entry.swap))
    return sentence(place), say("the fault {fault}", fault=say(str(entry.fault))), _played(entry, job)


def _read_at(entry: Reading, job: Job) -> str:
    """Return the place of a reading, with the filter that it proves."""
    at = checked_words(job, f"{entry.at}-{entry.against}" if entry.against else entry.at)
    return (
        say("{place}, proof of {control}", place=at, control=control_words(job, entry.proves)) if entry.proves else at
    )


def _checked(place: str, job: Job) -> str:
    mended = mended_cause(place)
    if mended is not None:
        return say("after the repair of {cause}", cause=short_name(Cause(*mended), job))
    if place in job.stages or "." in place or place.startswith("lead:"):
        return checked_words(job, place)
    return say("measuring lead of {device}", device=the_place(job, place))


def _found(entry: Check) -> str:
    """Return what a check found: its word, or what was measured; 0 ohm is what `shorted` was typed for."""
    worded = entry.check.rpartition(".")[2] in WORDED
    word = WORD_TEXTS.get(str(entry.is_), str(entry.is_)) if worded else str(entry.is_)
    found = [say(word)] if entry.is_ is not None else []
    found += [str(v) for v in (entry.reads, entry.resistance) if v is not None]
    between = entry.between_conductors
    if between is not None and not isinstance(between, str) and between.nominal == 0:
        found.append(say("its conductors touch"))
    elif between is not None:
        found.append(say("{ohms} between conductors", ohms=between))
    return joined(found)


def _shown(entry: Reading) -> str:
    """Return what a reading showed."""
    found = [str(entry.reads).replace("_", " ")] if entry.reads is not None else []
    found += [describe_marks(entry.shows)] if entry.shows is not None else []
    found += [say("{percent} THD", percent=entry.thd)] if entry.thd is not None else []
    found += [say("{amperes} current", amperes=entry.current)] if entry.current is not None else []
    found += [say(entry.verdict.replace("_", " "))] if entry.verdict is not None else []
    return joined(found, by="{a} and {b}")


def _reading_words(entry: Reading, job: Job) -> str:
    played = _played(entry, job)
    if entry.feed is not None:
        into = the_place(job, entry.feed.into)
        played = say("{played}, {volts} fed into {into}", played=played, volts=entry.feed.volts, into=into)
    at = the_place(job, entry.at)
    if entry.against:
        between = checked_words(job, f"{entry.at}-{entry.against}")
        return say("{found} {between} ({played})", found=_shown(entry), between=between, played=played)
    return say("{found} at {at} ({played})", found=_shown(entry), at=at, played=played)
