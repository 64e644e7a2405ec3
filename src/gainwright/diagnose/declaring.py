"""When a cause is declared: its own check has confirmed it, and no entry or complaint stands unexplained.

A cause that is likely enough is first looked at itself, if it can be; an entry that it doesn't explain is put to the
person, to be looked at again, instead of being counted as a mistake.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import HEALTHY
from gainwright.diagnose.confirming import own_places
from gainwright.diagnose.ranking import ENOUGH
from gainwright.diagnose.resting import TELLS, single_answer, telling_test
from gainwright.diagnose.weighed import fits_sound
from gainwright.model import Check, HeardSpeaker, Reading, mended_cause
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.diagnose.diagnoser import CauseProbabilities, Diagnoser, RankedTests
    from gainwright.diagnose.ranking import PredictedOutcomes
    from gainwright.model import Entry

    Floats = npt.NDArray[np.float64]

UNEXPLAINED = 0.5
"""Probability that an entry is a mistake from which it stands unexplained."""
SURE_FROM = 0.97
"""A cause that is less probable isn't declared, but looked at in another way, if there is one: of those declared so many are to be right."""
SPEAKS = 3.0
"""An entry confirms a cause at whose place it was made if it is so many times likelier under it than under the average cause."""
NO_COMPLAINT = say("No complaint is left: all that you said is as in a chain without a fault.")
LOOKED_TWICE = 2
"""An entry that was looked at so often stays unexplained if it still is; nobody is sent a third time."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a diagnosis has come.

    Attributes
    ----------
    likely : whether the leading cause or group is probable enough.
    confirmed : whether a check of the leading cause's own place spoke for it, or there is none that could be made.
    confirm : the check that would confirm it, None if there is none or it was made.
    unexplained : indices of the entries that the leading cause doesn't explain.
    conflicting : indices of one of them and of the entry that speaks most against it; empty if none is unexplained.
    again : those of the two that weren't looked at again yet.
    rests_on : index of the one look or check without which it wouldn't be likely, which is to be made again; None for none.
    tell : the test that would tell it from the rest, while it isn't certain enough; None if there is none.
    sure : whether it is probable enough to be declared.
    nothing_shows : whether nothing that was told is other than in a sound chain, and every speaker was heard.
    """

    likely: bool
    confirmed: bool
    confirm: PredictedOutcomes | None
    unexplained: tuple[int, ...]
    conflicting: tuple[int, ...]
    again: tuple[int, ...]
    rests_on: int | None
    tell: PredictedOutcomes | None
    sure: bool
    nothing_shows: bool

    @property
    def declared(self) -> bool:
        """Whether the leading cause is declared."""
        return self.likely and self.sure and self.confirmed and not self.unexplained and self.rests_on is None


def standing(
    diagnoser: Diagnoser,
    state: CauseProbabilities,
    tests: RankedTests,
    likelihood: Floats,
    doubts: Sequence[float],
) -> Standing:
    """Return how far a diagnosis has come.

    Parameters
    ----------
    likelihood : log, of each entry under each single cause, shape (entries, causes).
    doubts : of each entry, the probability that it is a mistake.
    """
    leading = tests.groups[0] if tests.groups else ()
    probability = float(sum(state.probability[state.place[i]] for i in leading))
    certain = probability * (1 - state.surprise)
    likely = bool(state.entries) and certain >= ENOUGH
    causes = [state.active.hypotheses[i][0] for i in leading]
    asked = [_asks(e) for e in state.entries]
    # what was looked at again and came out otherwise was a mistake
    settled = {asks for asks, doubt in zip(asked, doubts, strict=True) if doubt < UNEXPLAINED}
    unexplained = tuple(i for i, doubt in enumerate(doubts) if doubt >= UNEXPLAINED and asked[i] not in settled)
    both = _conflicting(unexplained, diagnoser.causes.index(causes[0]), likelihood) if unexplained else ()
    again = tuple(i for i in both if asked.count(asked[i]) < LOOKED_TWICE)
    confirm, confirmed, rests_on, tell = None, True, None, None
    mended = _mended(causes, state)
    sure = likely and (certain >= SURE_FROM or mended)
    if state.entries and causes[0].id not in HEALTHY and not mended:
        leads = np.zeros(len(state.hypotheses), dtype=bool)
        leads[[state.place[i] for i in leading]] = True
        rests_on = single_answer(leads, state, likelihood, tests) if likely else None
        tell = telling_test(leading, state, tests) if likely and not sure else None
        left = _telling(causes, leading, state, tests)
        confirm = min((o for o in left if not _by_lamp(o.candidate.where)), key=_minutes, default=None)
        seen = _seen(causes, diagnoser, state, likelihood)
        enough = any(not _by_lamp(place) for place in seen) or (bool(seen) and confirm is None)
        confirmed = probability >= SURE_FROM and enough
        confirm = None if confirmed else confirm or min(left, key=_minutes, default=None)
        confirmed = confirmed or confirm is None
    nothing_shows = _nothing_shows(diagnoser, state, likelihood)
    return Standing(likely, confirmed, confirm, unexplained, both, again, rests_on, tell, sure, nothing_shows)


def _mended(causes: Sequence[Cause], state: CauseProbabilities) -> bool:
    """Return whether one of the leading causes was repaired, and it plays since: nothing confirms it better."""
    told = {mended_cause(e.check): e.is_ for e in state.entries if isinstance(e, Check)}
    return any(told.get((cause.id, cause.where)) == "plays" for cause in causes)


def _conflicting(unexplained: Sequence[int], leading: int, likelihood: Floats) -> tuple[int, ...]:
    """Return an entry that the leading cause doesn't explain, and the one that speaks most against what would explain it."""
    odd = min(unexplained, key=lambda i: float(likelihood[i, leading]))
    explaining = likelihood[odd] > np.max(likelihood[odd]) - np.log(SPEAKS)
    rest = np.delete(np.arange(len(likelihood)), odd)
    if not len(rest):
        return (odd,)
    # the cause that explains it best together with the others
    best = int(np.argmax(np.where(explaining, likelihood[rest].sum(axis=0), -np.inf)))
    against = likelihood[rest, leading] - likelihood[rest, best]
    return tuple(sorted((odd, int(rest[int(np.argmax(against))]))))


def place_of(entry: Entry) -> str:
    """Return the place at which an entry was made, as tests name it."""
    if isinstance(entry, Check):
        return entry.check
    if isinstance(entry, Reading):
        return entry.at
    return entry.heard if isinstance(entry, HeardSpeaker) else entry.swap


def _asks(entry: Entry) -> str:
    """Return what an entry asks, by which an entry that was looked at again is known."""
    tone = "" if isinstance(entry, Check) else f"{entry.tone_hz} {entry.level_dbfs} {entry.side} {entry.silence}"
    return f"{type(entry).__name__} {place_of(entry)} {tone}"


def _by_lamp(place: str) -> bool:
    """Return whether a check looks at a power lamp, which is dark for several causes and easily misread."""
    return place.endswith(".power_lamp")


def _minutes(o: PredictedOutcomes) -> float:
    return o.candidate.minutes


def _seen(causes: Sequence[Cause], diagnoser: Diagnoser, state: CauseProbabilities, likelihood: Floats) -> list[str]:
    """Return the places of leading causes at which an entry speaks for them."""
    found = []
    for cause in causes:
        own, column = own_places(cause, diagnoser.job), diagnoser.causes.index(cause)
        for entry, row in zip(state.entries, likelihood, strict=True):
            if place_of(entry) in own and np.exp(row[column]) > SPEAKS * float(np.exp(row) @ diagnoser.priors):
                found.append(place_of(entry))
    return found


def _telling(
    causes: Sequence[Cause], leading: Sequence[int], state: CauseProbabilities, tests: RankedTests
) -> list[PredictedOutcomes]:
    """Return the checks at a leading cause's own place that tell it from the other causes and from a sound chain."""
    hypotheses = state.active.hypotheses
    others = np.ones(len(hypotheses))
    others[list(leading)] = 0.0
    sound = next((i for i, h in enumerate(hypotheses) if h[0].id in HEALTHY), None)
    if not others.any() or sound is None:
        return []
    found = []
    for cause, i in zip(causes, leading, strict=True):
        own = own_places(cause, tests.catalogue.job)
        for o in tests.predicted:
            if o.candidate.where in own:
                rest = others @ o.chance / others.sum()
                apart = min(float(np.abs(o.chance[i] - other).sum()) for other in (rest, o.chance[sound]))
                if 0.5 * apart >= TELLS:
                    found.append(o)
    return found


def _nothing_shows(diagnoser: Diagnoser, state: CauseProbabilities, likelihood: Floats) -> bool:
    """Return whether every speaker was heard and all entries are as a sound chain gives them."""
    heard = {e.heard for e in state.entries if isinstance(e, HeardSpeaker) and e.side == "both"}
    speakers = {s for path in diagnoser.chain.wiring.paths for s in (path.speaker,)}
    sound = [c.id for c in diagnoser.causes].index("nothing_wrong")
    return bool(speakers <= heard and np.all(fits_sound(likelihood, sound)))


def conclusion(found: Standing, name: str) -> str:
    """Return in a sentence how far a diagnosis has come; empty while causes are still being told apart.

    Parameters
    ----------
    name : the leading cause in words.
    """
    if len(found.conflicting) > 1:
        first, second = (str(i + 1) for i in found.conflicting)
        return say(
            "Entries {first} and {second} can't both be true of one fault: which one do you want to look at again? If both are right, there are two faults: mend one, then go on.",
            first=first,
            second=second,
        )
    if found.likely:
        return _likely(found, name)
    if found.nothing_shows:
        return NO_COMPLAINT
    return ""


def _likely(found: Standing, name: str) -> str:
    """Return what is still to be done before a likely cause is declared, or that it is."""
    if found.confirm is not None:
        return say("Likely, but not looked at itself yet: {name}.", name=name)
    if found.rests_on is not None:
        return say(
            "Likely, but it rests on entry {number} alone: {name}. Make that check once more before you act on it.",
            number=found.rests_on + 1,
            name=name,
        )
    if found.tell is not None:
        return say("Likely, but not certain yet: {name}.", name=name)
    if found.declared:
        return say("Found: {name}.", name=name)
    if found.nothing_shows:
        return NO_COMPLAINT
    return say("Most likely: {name}. No test that is left here is worth its time to make it more certain.", name=name)
