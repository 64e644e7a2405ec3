"""Practice in a terminal: ask for tests, name the fault, compare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import GainwrightError

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO

    from gainwright.app.ports import HiddenRigs
    from gainwright.app.practice.class_exercises import Replay
    from gainwright.app.practice.practice import Practice

HELP = """Ask for a test by its name, for example: measure amp_sub.out.mono meter
  tests                list the possible tests with their minutes; tests amp lists those whose name contains amp
  causes               list the possible causes
  it is CAUSE PLACE    name the fault
  give up              show the fault"""


@dataclass(frozen=True, slots=True)
class PracticeOutcome:
    """The outcome of a practice: the hidden fault, the learner's tests, and a short sequence of tests."""

    cause: str
    where: str
    solved: bool
    guesses: int
    minutes: float
    tests: int
    short_way_minutes: float
    short_way_tests: int
    seed: int


def run_exercise(
    lines: TextIO, say: Callable[[str], None], going: Replay, *, rigs: HiddenRigs, seed: int
) -> PracticeOutcome:
    """Run a practice within its limits; return its outcome."""
    practice = going.practice
    say(f"{practice.job.title or 'A chain'}. Somebody calls:")
    for complaint in practice.call:
        say(f"  {complaint}")
    say("\nWhat do you do? Type help for the list of commands.")
    for line in lines:
        text = " ".join(line.split())
        low = text.lower()
        try:
            if low in ("give up", "quit", "stop"):
                break
            if low.startswith("it is "):
                cause, _, where = text[6:].partition(" ")
                solved = going.guess(cause, where)
                half = "Right that the chain is healthy; but this isn't why it seemed dead."
                say("That is it." if solved else half if practice.nearly(cause) else "No, it is something else.")
                if going.ended:
                    break
            elif low in ("", "help", "?"):
                say(HELP)
            elif low == "causes":
                say(_causes(practice))
            elif low.startswith("tests"):
                say(_tests(practice, low.removeprefix("tests").strip()))
            else:
                going.test(text)
                done = practice.steps[-1]
                say(f"{done.ask}\n  {done.found}   ({done.minutes:g} min, {practice.minutes:g} in all)")
        except GainwrightError as error:
            say(str(error))
    return _compare(say, practice, going.solved, going.guesses, rigs, seed)


def _tests(practice: Practice, wanted: str) -> str:
    listed = [f"  {name}  ({c.minutes:g} min)" for name, c in practice.tests().items() if wanted in name]
    return "\n".join(listed) or "None."


def _causes(practice: Practice) -> str:
    found: dict[str, list[str]] = {}
    for c in practice.diagnoser.causes:
        found.setdefault(c.id, []).append(c.where)
    return "\n".join(f"  {cause}: {', '.join(w for w in wheres if w)}" for cause, wheres in found.items())


def _compare(
    say: Callable[[str], None], practice: Practice, solved: bool, guesses: int, rigs: HiddenRigs, seed: int
) -> PracticeOutcome:
    """Print the learner's tests next to those that the diagnosis would make."""
    from gainwright.app.practice.practice import best_path
    from gainwright.diagnose import Cause, describe_cause, repair_text

    truth = Cause(practice.cause, practice.where)
    best = best_path(practice.job, rigs=rigs, seed=seed, cause=truth.id, where=truth.where)
    say(f"\nIt was {truth}: {describe_cause(truth, practice.job)}. {repair_text(truth)}")
    say(f"\n{'You':<58}A short way")
    for i in range(max(len(practice.steps), len(best.steps))):
        left = _step(practice.steps[i]) if i < len(practice.steps) else ""
        right = _step(best.steps[i]) if i < len(best.steps) else ""
        say(f"{left:<58}{right}")
    say(f"{f'{practice.minutes:g} min':<58}{best.minutes:g} min")
    _review(say, practice)
    return PracticeOutcome(
        truth.id,
        truth.where,
        solved,
        guesses,
        practice.minutes,
        len(practice.steps),
        best.minutes,
        len(best.steps),
        seed,
    )


def _review(say: Callable[[str], None], practice: Practice) -> None:
    """Print what each result showed, and the levels before and after the repair."""
    from gainwright.app.practice.stored_practices import review_practice
    from gainwright.model import the_place
    from gainwright.report.practice_review import result_words
    from gainwright.texts import sentence

    review = review_practice(practice, len(practice.steps))
    lines = ["", "Why"] if review.told else []
    for step, explained in zip(practice.steps, review.told, strict=True):
        truth = (explained.truth_before, explained.truth_after)
        words = result_words(
            practice.job,
            ruled_out=explained.ruled_out,
            leading=explained.leading,
            share=explained.share,
            truth=truth,
            moved=explained.moved,
        )
        lines += [f"  {step.found}", f"    {words}"]
    levels = review.levels
    if levels is None:
        lines += ["", "The repair changes no level of the chain."]
    else:
        head = f"With {levels.tone_hz:g} Hz at {levels.level_dbfs:g} dBFS"
        lines += ["", f"{head:<58}before    repaired"]
        for node, (before, after) in levels.volts.items():
            lines.append(f"  {sentence(the_place(practice.job, node)):<54}{before:>8.3g} V{after:>10.3g} V")
    say("\n".join(lines))


def _step(step: Any) -> str:
    text = f"{step.minutes:>5g}  {step.found.split(' (')[0]}"
    return text if len(text) <= 56 else text[:55] + "…"
