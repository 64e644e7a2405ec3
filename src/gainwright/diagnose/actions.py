"""A test of fault finding as single actions, for somebody who follows a paper or a voice on the telephone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.diagnose.cautions import LOUD, OFF_FIRST
from gainwright.diagnose.wording import describe_test_entry, setting_in_words, tone_words
from gainwright.model import Check, HeardSpeaker, Reading, SwapTest, the_place
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Entry, Job, Played

OFF = say("Switch everything off.")
STOP = say("Stop the tone.")


@dataclass(frozen=True, slots=True)
class Action:
    """One action: what to do, the cautions of it, and the unit of what is written down.

    Attributes
    ----------
    box : empty where a word is written or nothing; None for an action that is only done.
    touches : whether hands or probes touch the chain, so that the cautions of the test belong here.
    """

    do: str
    cautions: tuple[str, ...] = ()
    box: str | None = None
    touches: bool = False


def actions_of(test: str, entry: Entry, job: Job, cautions: Sequence[str]) -> tuple[Action, ...]:
    """Return the actions of a test in order; each caution stands at the action that it is about.

    Parameters
    ----------
    test : its kind, as `NextTest` has it.
    entry : the entry of the evidence, without its result.
    """
    found = _reading(test, entry, job) if isinstance(entry, Reading) else None
    if isinstance(entry, HeardSpeaker):
        found = _heard(entry, job)
    elif isinstance(entry, SwapTest):
        found = _swapped(entry, job)
    elif isinstance(entry, Check):
        found = _checked(test, entry, job)
    assert found is not None  # noqa: S101  an entry is one of these
    return _with_cautions(found, tuple(cautions))


def _with_cautions(actions: list[Action], cautions: tuple[str, ...]) -> tuple[Action, ...]:
    """Return actions with cautions: of a loud tone where it is played, of plugs first, all others where something is touched."""
    plays = next((i for i, a in enumerate(actions) if a.do.startswith("Play ")), 0)
    touches = next((i for i, a in enumerate(actions) if a.touches), 0)
    at = {LOUD: plays, OFF_FIRST: 0}
    return tuple(
        replace(a, cautions=tuple(c for c in cautions if at.get(c, touches) == i)) for i, a in enumerate(actions)
    )


def _settings(entry: Played, job: Job) -> list[Action]:
    return [
        Action(say("Set {control} to {setting}.", control=the_place(job, c), setting=setting_in_words(c, text)))
        for c, text in entry.set.items()
    ]


def _play(entry: Played) -> Action:
    if entry.tone_hz is None:
        return Action(STOP if entry.silence else say("Play music as usual."))
    level = f"{entry.level_dbfs:g}"
    return Action(say("Play the tone of {tone} at {level_dbfs} dBFS.", tone=tone_words(entry), level_dbfs=level))


def _reading(test: str, entry: Reading, job: Job) -> list[Action]:
    parts = {"at": the_place(job, entry.at), "with_": the_place(job, entry.with_)}
    connect = Action(say("Connect {with_} to {at} while no tone plays.", **parts), touches=True)
    read = {
        "record": Action(say("Record a few seconds."), box=""),
        "indicate": Action(say("Look which marks are lit and write them down."), box=""),
    }.get(test, Action(say("Read the volts and write them down."), box="V"))
    ready = [connect] if test in ("record", "indicate") else [Action(say("Set {with_} to AC volts.", **parts)), connect]
    if entry.feed is None:
        return [*_settings(entry, job), *ready, _play(entry), read, Action(STOP)]
    into = the_place(job, entry.feed.into)
    feed = say("Switch on and feed {tone} of {volts}.", tone=tone_words(entry), volts=entry.feed.volts)
    return [
        Action(OFF),
        Action(say("Unplug the lead into {into} and plug a telephone or player in there.", into=into)),
        *ready,
        Action(feed),
        read,
        Action(say("Switch everything off and plug the lead in again.")),
    ]


def _heard(entry: HeardSpeaker, job: Job) -> list[Action]:
    heard = the_place(job, entry.heard)
    if entry.side != "both":
        heard = say("{device} on the {side}", device=heard, side=say(entry.side))
    listen = say("Listen to {heard}: is it silent, faint, normal, distorted, or does it hum or whine?", heard=heard)
    return [*_settings(entry, job), _play(entry), Action(listen, box=""), Action(STOP)]


def _swapped(entry: SwapTest, job: Job) -> list[Action]:
    place = the_place(job, entry.swap)
    if not entry.swap.startswith("lead:"):
        place = say("the inputs of {swap}", swap=place)
    return [
        *_settings(entry, job),
        _play(entry),
        Action(OFF),
        Action(say("Exchange left and right of {exchanged}.", exchanged=place)),
        Action(say("Switch on with the volume at its lowest step and play the same.")),
        Action(say("Has the fault moved to the other side, or stayed?"), box=""),
        Action(say("Switch everything off and put them back.")),
    ]


def _checked(test: str, entry: Check, job: Job) -> list[Action]:
    place, _, what = entry.check.rpartition(".")
    if (entry.check.startswith("lead:") and what != "moved") or test == "check_measuring_lead":
        return _lead(test, entry, job)
    device = the_place(job, place)
    if what == "supply_voltage":
        return [
            Action(say("Set the meter to DC volts, its leads in the volts sockets.")),
            Action(
                say("While the tone plays, read the volts at the supply terminals of {stage}.", stage=device), box="V"
            ),
        ]
    if what == "resistance":
        return [
            Action(OFF),
            Action(say("Disconnect the leads of {stage} where they are fed.", stage=device)),
            Action(say("Read the resistance of these leads, with the speaker at their end."), box=say("ohm")),
        ]
    if what == "cone":
        return [
            Action(OFF),
            Action(say("Disconnect the leads of {stage} where they are fed.", stage=device)),
            Action(say("Touch them with a 1.5 V cell for an instant, plus to plus.")),
            Action(say("Did the cone move out, in, or stay still?"), box=""),
        ]
    return [Action(describe_test_entry(test, entry, job), box="V" if what == "turn_on_voltage" else "")]


def _lead(test: str, entry: Check, job: Job) -> list[Action]:
    if test == "check_measuring_lead":
        first = Action(say("Take the measuring lead of {check} off at both ends.", check=the_place(job, entry.check)))
    else:
        first = Action(say("Unplug {lead} at both ends.", lead=the_place(job, entry.check)))
    return [
        Action(OFF),
        first,
        Action(say("Measure each of its conductors end to end."), box=say("ohm")),
        Action(say("Measure between its two conductors."), box=say("ohm")),
        Action(say("Plug it in again.")),
    ]
