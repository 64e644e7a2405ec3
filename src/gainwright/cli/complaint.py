"""`What is wrong?` in a terminal: said in a sentence, or chosen by number with a few more questions."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from gainwright.app.cases.complaint_choices import Chosen, complaint_kinds
from gainwright.app.cases.complaints import is_complaint
from gainwright.errors import GainwrightError
from gainwright.quantities import whole_number

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from gainwright.app.cases.complaint_choices import ComplaintKind, ComplaintQuestion
    from gainwright.app.cases.dialogue import Dialogue

QUESTION = (
    "What is wrong? Say it in your own words, such as: no bass, the doors play. Or type a number, or press Enter."
)
AGAIN = "Type one of the numbers."


def ask_complaint(
    typed: Iterator[str], say: Callable[[str], None], dialogue: Dialogue, *, commands: Collection[str]
) -> Iterator[str]:
    """Ask what is wrong and take it; return the lines that remain: with the first if that wasn't a complaint.

    Parameters
    ----------
    commands : what a line that is no complaint begins with.
    """
    kinds = complaint_kinds(dialogue.diagnoser.job)
    say(QUESTION)
    say(_listed([kind.words for kind in kinds]))
    first = next(typed, None)
    if first is None or not first.strip():
        return typed
    number = whole_number(first.strip(), most=len(kinds))
    try:
        if number:
            _choose(kinds[number - 1], typed, say, dialogue)
            return typed
        if first.split()[0].lower() in commands or not is_complaint(first):
            return itertools.chain([first], typed)
        dialogue.complain(first)
    except GainwrightError:
        return itertools.chain([first], typed)
    return typed


def _choose(kind: ComplaintKind, typed: Iterator[str], say: Callable[[str], None], dialogue: Dialogue) -> None:
    """Ask the questions of a complaint until each is answered, and take it."""
    answers: dict[str, str] = {}
    for question in kind.questions:
        if len(question.choices) != 1:
            answers[question.key] = _answered(question, typed, say)
    try:
        dialogue.complain("", Chosen(kind.kind, answers))
    except GainwrightError as error:
        say(f"That can't be used: {error}")


def _answered(question: ComplaintQuestion, typed: Iterator[str], say: Callable[[str], None]) -> str:
    say(question.ask if question.default is None else f"{question.ask} Enter: {_default(question)}.")
    if question.choices:
        say(_listed([words for _, words in question.choices]))
    for line in typed:
        said = " ".join(line.split())
        if not question.choices or (not said and question.default is not None):
            return said
        number = whole_number(said, most=len(question.choices))
        values = [value for value, words in question.choices if said.lower() in (value, words.lower())]
        if number or (said and values):
            return question.choices[number - 1][0] if number else values[0]
        say(AGAIN)
    return ""


def _default(question: ComplaintQuestion) -> str:
    return next((words for value, words in question.choices if value == question.default), "not known")


def _listed(choices: Sequence[str]) -> str:
    return "\n".join(f"{number:>4}  {words}" for number, words in enumerate(choices, 1))
