"""`What is wrong?` as choices: the kinds of complaint with their few questions, and the entries of what was chosen.

The same entries as those of the sentence that says it (`complaints`), whether they were tapped, typed or sent.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.complaints import complaint_entries
from gainwright.app.cases.sounds import Sound, entries_of, has_sides, knobs_of, rest_of, speakers_of, volume_control
from gainwright.errors import CallError
from gainwright.quantities import normalise_text, read_step
from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job

EVERYTHING = "all"
NOT_SAID = ("", say("not known"))


@dataclass(frozen=True, slots=True)
class ComplaintQuestion:
    """One question about a complaint.

    Attributes
    ----------
    key : of its answer.
    choices : the value that is sent, and the words of each; empty where a number is typed.
    default : the value taken where nothing is answered; None where an answer is needed.
    example : of a number that is typed.
    """

    key: str
    ask: str
    choices: tuple[tuple[str, str], ...] = ()
    default: str | None = ""
    example: str = ""


@dataclass(frozen=True, slots=True)
class ComplaintKind:
    """A kind of complaint: its id, in words, its questions."""

    kind: str
    words: str
    questions: tuple[ComplaintQuestion, ...] = ()


@dataclass(frozen=True, slots=True)
class Chosen:
    """A complaint that was chosen: its kind, and the answers to its questions by their keys."""

    kind: str
    answers: Mapping[str, str] = field(default_factory=dict)


_SIDES = (("left", say("left")), ("right", say("right")))
_SILENT = ("silent", say("silent"))
_FAINT = ("faint", say("too quiet"))
_DISTORTED = ("distorted", say("distorted"))
_NOISES = (("hum", say("it hums")), ("whine", say("it whines")))
_SIDE = ComplaintQuestion("side", say("Which side?"), _SIDES, None)
_REST = ComplaintQuestion("rest", say("And the rest?"), (NOT_SAID, ("plays", say("plays as always"))), default="")
_SOFTLY = ComplaintQuestion(
    "softly",
    say("And played softly?"),
    (NOT_SAID, ("clean", say("clean: only from a volume on")), ("same", say("distorted too"))),
)
_ENGINE = ComplaintQuestion(
    "engine",
    say("When is it there?"),
    (NOT_SAID, ("running", say("only while the engine runs")), ("always", say("with the engine off too"))),
)
_PROVOKED = ComplaintQuestion(
    "provoked",
    say("What brings it?"),
    (
        NOT_SAID,
        ("bumps", say("bumps, or a lead that is moved")),
        ("heat", say("heat, after a while")),
        ("loud", say("loud passages")),
        ("by_itself", say("nothing: by itself")),
    ),
)


def complaint_kinds(job: Job) -> tuple[ComplaintKind, ...]:
    """Return the kinds of complaint that a chain can have, with their questions."""
    speakers = speakers_of(job)
    sided = [speaker for speaker in speakers if has_sides(job, speaker)]
    each = _each(job)
    which = ComplaintQuestion("which", say("Which speakers?"), ((EVERYTHING, say("all")), *each), EVERYTHING)
    one = ComplaintQuestion("which", say("Which speaker?"), each, None)
    sounds = ComplaintQuestion("sounds", say("How does it sound?"), (_SILENT, _FAINT, _DISTORTED), "silent")
    volume = ComplaintQuestion("volume", say("From which step of the volume?"), example="24")
    steps = (volume,) if volume_control(job) else ()
    kinds = [
        ComplaintKind("nothing", say("Nothing plays at all")),
        ComplaintKind("side", say("One side doesn't play as it should"), (_SIDE, sounds, _REST)),
        ComplaintKind("speaker", say("One speaker doesn't play as it should"), (one, sounds, _REST)),
        ComplaintKind("quiet", say("It is too quiet"), (which,)),
        ComplaintKind("distorts", say("It is distorted"), (which, _SOFTLY, *steps)),
        ComplaintKind(
            "noise",
            say("There is a noise"),
            (which, ComplaintQuestion("noise", say("What noise?"), _NOISES, None), _ENGINE),
        ),
        ComplaintKind("comes_and_goes", say("It comes and goes"), (which, sounds, _PROVOKED)),
    ]
    if not sided:
        kinds = [kind for kind in kinds if kind.kind != "side"]
    knobs = tuple((place, _knob_words(job, place)) for place in knobs_of(job))
    if knobs:
        only = knobs[0][0] if len(knobs) == 1 else None
        question = ComplaintQuestion("knob", say("Which knob?"), knobs, only)
        kinds.append(ComplaintKind("knob", say("A knob does nothing"), (question,)))
    return tuple(kinds)


def _each(job: Job) -> tuple[tuple[str, str], ...]:
    """Return each speaker, and each side of those that have two, as `speaker.side`."""
    from gainwright.model import stage_title

    found = []
    for speaker in speakers_of(job):
        title = stage_title(job, speaker)
        found.append((speaker, sentence(title)))
        for side, words in _SIDES if has_sides(job, speaker) else ():
            found.append((f"{speaker}.{side}", say("{device}, {side}", device=sentence(title), side=words)))
    return tuple(found)


def _knob_words(job: Job, place: str) -> str:
    from gainwright.model import LevelControl, control_words, stage_title

    stage = place.partition(".")[0]
    if isinstance(job.stages[stage], LevelControl):
        return sentence(stage_title(job, stage))
    return sentence(control_words(job, f"{stage}.remote_level"))


def entries_of_complaint(said: str, chosen: Chosen | None, job: Job) -> list[dict[str, Any]]:
    """Return the entries of a complaint, in a sentence or chosen; none without either.

    Raises
    ------
    CallError : the sentence doesn't tell which speakers sound how, or see `chosen_entries`.
    """
    worded = complaint_entries(said, job) if said.strip() else []
    more = [] if chosen is None else chosen_entries(chosen, job)
    return [*worded, *(entry for entry in more if entry not in worded)]


def chosen_entries(chosen: Chosen, job: Job) -> list[dict[str, Any]]:
    """Return the entries of a complaint that was chosen; what isn't answered takes the default of its question.

    Raises
    ------
    CallError : an unknown kind or answer, or one that is needed is missing.
    """
    kinds = {known.kind: known for known in complaint_kinds(job)}
    kind, answers = chosen.kind, chosen.answers
    if kind not in kinds:
        raise CallError(
            say("what is wrong wasn't chosen"),
            code="bad_complaint",
            rule=say("it is one of {listed}", listed=", ".join(kinds)),
            remedy=say("choose one"),
        )
    said = {question.key: _answer(question, answers.get(question.key, "")) for question in kinds[kind].questions}
    if kind == "knob":
        return entries_of((), job, idle=[said["knob"]])
    return entries_of(_sounds(kind, said, job), job)


def _answer(question: ComplaintQuestion, given: str) -> str:
    """Return the answer to a question, or its default."""
    text = normalise_text(given)
    if not text:
        if question.default is None:
            raise CallError(
                say("an answer is missing: {ask}", ask=question.ask),
                code="bad_complaint",
                where=question.key,
                remedy=say("choose one"),
            )
        return question.default
    if not question.choices:
        return f"{read_step(text, example=question.example):g}"
    if text not in [value for value, _ in question.choices]:
        raise CallError(
            say("{text} isn't one of the answers: {ask}", text=repr(text[:40]), ask=question.ask),
            code="bad_complaint",
            where=question.key,
            rule=say("it is one of {listed}", listed=", ".join(value for value, _ in question.choices if value)),
            remedy=say("choose one"),
        )
    return text


def _sounds(kind: str, said: Mapping[str, str], job: Job) -> list[Sound]:
    word = {"quiet": "faint", "distorts": "distorted"}.get(kind, said.get("noise") or said.get("sounds") or "silent")
    if kind == "side":
        pairs = [(speaker, said["side"]) for speaker in speakers_of(job) if has_sides(job, speaker)]
    elif said.get("which", EVERYTHING) == EVERYTHING:
        pairs = [(speaker, "") for speaker in speakers_of(job)]
    else:
        speaker, _, side = said["which"].partition(".")
        pairs = [(speaker, side)]
    sounds = [
        Sound(
            speaker,
            side,
            word,
            # from a volume on means clean below it, as in a sentence that names the step
            said.get("volume", ""),
            said.get("softly") or ("clean" if said.get("volume") else ""),
            said.get("engine", ""),
            kind == "comes_and_goes",
            said.get("provoked", ""),
        )
        for speaker, side in pairs
    ]
    rest = rest_of(pairs, job) if said.get("rest") == "plays" else []
    return [*sounds, *(Sound(speaker, side, "normal") for speaker, side in rest)]
