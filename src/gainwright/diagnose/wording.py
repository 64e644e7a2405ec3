"""Texts of tests and entries: what to do, what was found, and what each outcome would mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.cause_texts import describe_place, short_name
from gainwright.diagnose.information import after_answers
from gainwright.diagnose.ranking import STEP_DB
from gainwright.model import Check, HeardSpeaker, Reading, describe_marks
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.candidates import Candidate
    from gainwright.diagnose.causes import Cause
    from gainwright.diagnose.ranking import PredictedOutcomes
    from gainwright.model import Entry, Played

    Floats = npt.NDArray[np.float64]

SMALL = 0.03
"""Outcomes less likely than this aren't listed."""
MOST_TOLD = 4
SURE = 0.6
CLEAR = 0.8
"""Share of the probability from which a fault is said to lie before or after a node."""
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
    "settings": say("Check every control of {stage}: is each set as in the job?"),
    "inputs": say("Follow the leads into {stage}: is left on left and right on right?"),
    "mute": say("Check whether {stage} is muted."),
    "player": say(
        "Check that the tone is this job's file, and that volume levelling, equaliser and automatic level of the player are off."
    ),
    "link": say(
        "Check that the digital link of {stage} is plugged in or paired at both ends, and that the stage after it shows its input as present."
    ),
    "balance": say("Check whether balance and fader of {stage} are in the middle."),
    "routing": say("Check which input {stage} is fed from."),
    "read_off_gain": say(
        "Read the position of the gain of {stage}, in per cent of its travel from fully down; the job doesn't give it."
    ),
}
_PLACES = {"right": say("a usual place"), "wrong": say("far down or far up")}
_LABELS = {
    "quiet": "nothing",
    "right": say("as it should be"),
    "good": "good",
    "none": "nothing",
}


def volts_text(value: float) -> str:
    """Return a voltage with two figures."""
    if value < 1e-3:
        return "under 1 mV"
    return f"{value * 1e3:.2g} mV" if value < 0.0995 else f"{value:.2g} V"


def _played(entry: Played) -> str:
    if entry.tone_hz is None:
        return say("no tone playing") if entry.silence else say("as normally played")
    tone = f"{entry.tone_hz / 1000:g} kHz" if entry.tone_hz >= 1000 else f"{entry.tone_hz:g} Hz"
    stands = "".join(f", {control} at {place}" for control, place in entry.set.items())
    return say("{tone} at {level_dbfs} dBFS{stands}", tone=tone, level_dbfs=f"{entry.level_dbfs:g}", stands=stands)


def describe_test(candidate: Candidate) -> str:
    """Return the instruction for a test, one or two sentences."""
    entry = candidate.entry
    if isinstance(entry, Reading):
        return _ask_reading(candidate.test, entry)
    if isinstance(entry, HeardSpeaker):
        side = "" if entry.side == "both" else say(" on the {side}", side=entry.side)
        playing = (
            say("With no tone playing and the volume as it is")
            if entry.silence
            else say("Play {played}", played=_played(entry))
        )
        return say(
            "{playing} and listen to {heard}{side}: silent, faint, normal, distorted, hum or whine?",
            playing=playing,
            heard=entry.heard,
            side=side,
        )
    if isinstance(entry, Check):
        return _ask_check(candidate.test, entry)
    exchanged = (
        describe_place(entry.swap) if entry.swap.startswith("lead:") else say("the inputs of {swap}", swap=entry.swap)
    )
    return say(
        "Play {played} and listen. Switch everything off, exchange left and right of {exchanged}, switch on with the volume at its lowest step and play the same: has the fault moved to the other side, or stayed? Switch off again to put them back.",
        played=_played(entry),
        exchanged=exchanged,
    )


def _ask_reading(test: str, entry: Reading) -> str:
    what = {"record": say("record a few seconds"), "indicate": say("look which marks are lit")}
    verb = what.get(test, say("read the AC volts"))
    if entry.feed is None:
        return say(
            "Play {played} and {verb} at {at} with {with_}.",
            played=_played(entry),
            verb=verb,
            at=entry.at,
            with_=entry.with_,
        )
    tone = _played(entry).split(" at ")[0]
    return say(
        "Switch everything off, unplug the lead into {into} and plug a telephone or player in there. Switch on, feed {tone} of {volts}, and {verb} at {at} with {with_}. Switch off before the lead goes back.",
        into=entry.feed.into,
        tone=tone,
        volts=entry.feed.volts,
        verb=verb,
        at=entry.at,
        with_=entry.with_,
    )


def _ask_check(test: str, entry: Check) -> str:
    stage, _, what = entry.check.rpartition(".")
    if entry.check.startswith("lead:"):
        lead = describe_place(entry.check)
        return say(
            "Everything off: unplug {lead} at both ends and measure its resistance: each conductor end to end, and between the two.",
            lead=lead,
        )
    if test == "check_measuring_lead":
        return say(
            "Check the measuring lead of {check}: each conductor end to end, and between the two.", check=entry.check
        )
    words = _CHECKS.get(test) or _CHECKS.get(what, "Check how {check} is set.")
    return say(str(words), stage=stage, check=entry.check)


def describe_entry(entry: Entry) -> str:
    """Return the text of an entry, without a full stop."""
    if isinstance(entry, Reading):
        return _reading_words(entry)
    if isinstance(entry, HeardSpeaker):
        side = "" if entry.side == "both" else say(" on the {side}", side=say(entry.side))
        played = _played(entry)
        return say(
            "{heard}{side} {word} ({played})", heard=entry.heard, side=side, word=say(str(entry.is_)), played=played
        )
    if isinstance(entry, Check):
        found = [say(str(entry.is_))] if entry.is_ is not None else []
        found += [str(v) for v in (entry.reads, entry.resistance) if v is not None]
        if entry.between_conductors is not None:
            found.append(say("{ohms} between conductors", ohms=entry.between_conductors))
        return say("{place}: {found}", place=describe_place(entry.check), found=joined(found))
    place = describe_place(entry.swap)
    return say("left and right of {place} exchanged: the fault {fault}", place=place, fault=say(str(entry.fault)))


def _reading_words(entry: Reading) -> str:
    found = [str(entry.reads).replace("_", " ")] if entry.reads is not None else []
    found += [describe_marks(entry.shows)] if entry.shows is not None else []
    found += [say("{percent} THD", percent=entry.thd)] if entry.thd is not None else []
    found += [say("{amperes} current", amperes=entry.current)] if entry.current is not None else []
    found += [say(entry.verdict.replace("_", " "))] if entry.verdict is not None else []
    played = _played(entry)
    if entry.feed is not None:
        played = say("{played}, {volts} fed into {into}", played=played, volts=entry.feed.volts, into=entry.feed.into)
    return say("{found} at {at} ({played})", found=joined(found, by="{a} and {b}"), at=entry.at, played=played)


def describe_outcomes(
    outcomes: PredictedOutcomes,
    probability: Floats,
    groups: Sequence[tuple[Floats, list[Cause]]],
    *,
    before: Floats | None = None,
) -> str:
    """Return what the likely outcomes of a test would mean.

    Parameters
    ----------
    probability : of each active hypothesis, shape (hypotheses,).
    groups : membership of each group, shape (hypotheses,), and its causes.
    before : 1 for hypotheses before the measured node, same shape; None if no node is measured.
    """
    chance, after = after_answers(probability, outcomes.chance)
    shares = after @ np.stack([m for m, _ in groups]).T
    meanings: list[tuple[float, list[int], str]] = []
    for zone in _zones(outcomes, chance, shares):
        weight = chance[zone]
        if weight.sum() < SMALL:
            continue
        mean = weight @ after[zone] / weight.sum()
        meaning = _meaning(_leading(weight @ shares[zone] / weight.sum()), groups)
        if before is not None and "others" in meaning:
            meaning = _side(str(outcomes.candidate.where), float(mean @ before), meaning)
        meanings.append((float(weight.sum()), zone, meaning))
    merged: list[tuple[float, list[int], str]] = []
    for mass, zone, meaning in meanings:
        word = isinstance(outcomes.labels[zone[0]], str)
        if merged and not word and merged[-1][2] == meaning and not isinstance(outcomes.labels[merged[-1][1][0]], str):
            merged[-1] = (merged[-1][0] + mass, merged[-1][1] + zone, meaning)
        else:
            merged.append((mass, zone, meaning))
    merged.sort(key=lambda t: -t[0])
    texts = [
        say("{outcome}: {meaning}", outcome=_range(outcomes, zone, chance), meaning=meaning)
        for _, zone, meaning in merged[:MOST_TOLD]
    ]
    return joined(texts, by="{a}; {b}")


def _side(node: str, before: float, meaning: str) -> str:
    """Return a meaning, preceded by the side of a node on which the fault lies if that is clear."""
    if before >= CLEAR:
        return say("the fault is before {node}, {meaning}", node=node, meaning=meaning)
    return say("continue after {node}, {meaning}", node=node, meaning=meaning) if before <= 1 - CLEAR else meaning


def _zones(outcomes: PredictedOutcomes, chance: Floats, shares: Floats) -> list[list[int]]:
    """Return groups of outcomes to list together: each label alone, levels in a few spans with the same meaning."""
    labels = outcomes.labels
    words = [k for k, label in enumerate(labels) if isinstance(label, str)]
    by_word: dict[str | float, list[int]] = {}
    for k in words:
        by_word.setdefault(labels[k], []).append(k)
    levels = [k for k, label in enumerate(labels) if not isinstance(label, str) and chance[k] > 1e-3]
    spans: list[list[int]] = []
    for k in sorted(levels, key=lambda k: float(labels[k])):
        if spans and int(np.argmax(shares[spans[-1][-1]])) == int(np.argmax(shares[k])):
            spans[-1].append(k)
        else:
            spans.append([k])
    while len(spans) > 1 and (len(spans) > MOST_TOLD - 1 or min(chance[s].sum() for s in spans) < 2 * SMALL):
        least = min(range(len(spans)), key=lambda i: float(chance[spans[i]].sum()))
        into = least - 1 if least > 0 else 1
        spans[into] = sorted(spans[into] + spans[least], key=lambda k: float(labels[k]))
        del spans[least]
    return [*by_word.values(), *spans]


def _leading(shares: Floats) -> tuple[int, ...]:
    """Return the groups that an outcome points to: one that is probable enough, else up to three."""
    order = [int(i) for i in np.argsort(-shares)]
    if shares[order[0]] >= SURE:
        return (order[0],)
    count = int(np.searchsorted(np.cumsum(shares[order]), SURE)) + 1
    return tuple(sorted(order[:count])) if count <= 3 else (*sorted(order[:2]), -2)


def _meaning(leading: tuple[int, ...], groups: Sequence[tuple[Floats, list[Cause]]]) -> str:
    names = []
    for i in leading:
        if i >= 0:
            name = short_name(groups[i][1][0])
            names.append(say("{name} or a similar cause", name=name) if len(groups[i][1]) > 1 else name)
    listed = joined(names, by="{a} or {b}")
    return say("{names}, or others", names=listed) if -2 in leading else listed


def _range(outcomes: PredictedOutcomes, ks: list[int], chance: Floats) -> str:
    """Return the text of an outcome: a label, or the span that contains 90 % of a level."""
    first = outcomes.labels[ks[0]]
    if isinstance(first, str):
        words = _PLACES if outcomes.candidate.test == "read_off_gain" else _LABELS
        return say(words.get(first, first))
    share = np.cumsum(chance[ks]) / max(float(chance[ks].sum()), 1e-12)
    inner = [k for k, s, c in zip(ks, share, chance[ks], strict=True) if s > 0.05 and s - c / chance[ks].sum() < 0.95]
    levels = [float(label) for label in (outcomes.labels[k] for k in inner or ks) if not isinstance(label, str)]
    low, high = 10 ** ((min(levels) - STEP_DB / 2) / 20), 10 ** ((max(levels) + STEP_DB / 2) / 20)
    if max(levels) - min(levels) <= 2 * STEP_DB:
        return say("about {level}", level=volts_text(float(np.sqrt(low * high))))
    return say("{low} to {high}", low=volts_text(low), high=volts_text(high))
