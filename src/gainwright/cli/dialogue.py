"""The dialogue of fault finding in a terminal: an answer per line, or a command to undo, correct, skip or close."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.app.cases.case_places import ears_alone
from gainwright.app.cases.endings import TYPED, typed_ending
from gainwright.cli.complaint import ask_complaint
from gainwright.errors import DoubtfulReadingError, GainwrightError
from gainwright.quantities import whole_number

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO

    from gainwright.app.cases.diagnosis import CaseDialogue
    from gainwright.app.cases.dialogue import Dialogue
    from gainwright.diagnose import Diagnosis, NextTest

HELP = f"""Type what you read or saw, or one of these:
  don't know           skip this test
  can't reach          skip every test at this place
  I have only ears     skip every test that needs an instrument
  other                show another test instead
  add {{…}}              add an entry of your own, as in an evidence file
  mended yes           after the repair: it plays as it should; mended no: it is as before;
                       mended partly: this is mended, something else is still wrong
  undo                 undo the last step
  correct 2 0.31 V     correct the result of entry 2
  why                  show all likely causes, with the reasons
  write car.yaml       write the chain as a new job file
{TYPED}
  quit                 stop; a stored case can be continued later"""
ENDING = ("quit", "stop", "exit")
COMMANDS = (*ENDING, "help", "why", "other", "undo", "add", "correct", "close", "write", "mended", "can't", "don't")
"""What a line that is no complaint begins with."""


def run_dialogue(
    lines: TextIO, say: Callable[[str], None], dialogue: Dialogue, *, kept: CaseDialogue | None = None
) -> Diagnosis:
    """Run the dialogue until the person ends it; return the last diagnosis.

    Parameters
    ----------
    kept : the case that the dialogue is stored as, None to store nothing.
    """
    say(f"{dialogue.title or 'Fault finding'}. Type help for the list of commands.")
    if ears_alone(dialogue):
        say(
            "No measuring instrument is named for this chain, so only eyes and ears are asked for. "
            "Once you have entered a reading of your own, readings are asked for too."
        )
    typed = iter(lines)
    if not dialogue.entries:
        typed = ask_complaint(typed, say, dialogue, commands=COMMANDS)
    found = _shown(say, dialogue)
    choice = 0
    for line in typed:
        said = " ".join(line.split())
        if said.lower() in ENDING:
            break
        try:
            if said.lower().startswith("close"):
                _close(said, say, dialogue, kept)
                break
            if said.lower() == "other":
                choice = choice + 1 if found.next else 0
                _ask(say, found, choice, dialogue)
                continue
            if not _taken(said, say, dialogue, found, choice):
                continue
            choice = 0
            found = _shown(say, dialogue)
            dialogue.note_belief(found)
            if kept is not None:
                kept.save()
        except GainwrightError as error:
            say(f"That can't be used: {error}")
    if kept is not None and dialogue.steps and (kept.stored is None or kept.stored.closed is None):
        say(f"stored: {kept.save()}")
    return found


def _shown(say: Callable[[str], None], dialogue: Dialogue) -> Diagnosis:
    from gainwright.report.diagnosis import diagnosis_text

    found = dialogue.diagnosis()
    say("\n" + diagnosis_text(found, shown=4))
    if found.done:
        mended = (
            ["After the repair type mended yes, mended no if it is as before, or mended partly"] if found.repair else []
        )
        say("\n".join(["", *mended, "To close the case with this cause", *_closing(found, shown=1)]))
    if found.next:
        _say_controls(say, dialogue, found.next[0])
    return found


def _closing(found: Diagnosis, shown: int = 20) -> list[str]:
    """Return the line to type for each likely cause, with its name in words."""
    return [f"  close {f'{c.cause} {c.where}'.strip()}   ({c.name})" for c in found.causes[:shown]]


def _say_controls(say: Callable[[str], None], dialogue: Dialogue, test: NextTest) -> None:
    """Say where the controls must stand for a test that plays a tone."""
    from gainwright.app.cases.test_settings import conditions_of

    stands = [f"{c.where_text} {c.setting}" for c in conditions_of(test.entry, dialogue.diagnoser.job).controls]
    if stands:
        say(f"  For it the controls stand at: {'; '.join(stands)}.")


def _ask(say: Callable[[str], None], found: Diagnosis, choice: int, dialogue: Dialogue) -> None:
    from gainwright.report.diagnosis import next_test_lines

    if found.next:
        test = found.next[choice % len(found.next)]
        say("\n".join(["", "Instead", *next_test_lines(test)]))
        _say_controls(say, dialogue, test)


def _taken(said: str, say: Callable[[str], None], dialogue: Dialogue, found: Diagnosis, choice: int) -> bool:
    """Carry out a line; return whether it may have changed the diagnosis."""
    low = said.lower()
    test = found.next[choice % len(found.next)] if found.next else None
    if low in ("", "help", "?"):
        say(HELP)
        return False
    if low == "why":
        from gainwright.report.diagnosis import diagnosis_text

        say("\n".join([diagnosis_text(found, shown=20), "", "To close the case with one of them", *_closing(found)]))
        return False
    if low.startswith("write "):
        from gainwright.cli.base import write_new_file

        file = Path(said.partition(" ")[2])
        write_new_file(file, dialogue.job_text)
        say(f"{file} written")
        return False
    if low == "undo":
        say(f"undone: {dialogue.undo()}")
    elif low.startswith("correct "):
        number, _, result = said.partition(" ")[2].partition(" ")
        dialogue.correct(whole_number(number) or 0, result)
    elif low.startswith("mended"):
        dialogue.add(_mended(low.removeprefix("mended").strip(), found))
    elif low.startswith("add "):
        dialogue.add(_mapping(said.partition(" ")[2]))
    else:
        return _answered(said, say, dialogue, test)
    return True


def _answered(said: str, say: Callable[[str], None], dialogue: Dialogue, test: NextTest | None) -> bool:
    if test is None:
        say("There is no test to answer. Type help for the list of commands.")
        return False
    try:
        skipped = dialogue.answer_or_skip(test, said)
    except DoubtfulReadingError as doubt:
        say(f"{doubt.what} Type {doubt.candidate}, or {said} once more if it is right.")
        return False
    if skipped:
        say(f"skipped: {skipped}")
    return True


def _mended(said: str, found: Diagnosis) -> dict[str, object]:
    """Return the entry of what became of the repair. CallError: none was proposed, or it is none of the answers."""
    from gainwright.errors import CallError

    words = {"yes": "plays", "no": "still_wrong", "partly": "partly"}
    if found.repair is None or said not in words:
        what = "no repair is proposed" if found.repair is None else f"{said[:20]!r} is neither yes nor no, nor partly"
        raise CallError(what, code="bad_answer", remedy="type mended yes or mended no after the proposed repair")
    return {**found.repair.after, "is": words[said]}


def _mapping(text: str) -> dict[str, object]:
    from gainwright.errors import CallError
    from gainwright.jobfile import entry_mapping

    try:
        return entry_mapping(text)
    except GainwrightError as error:
        raise CallError(error.what, code="bad_entry", remedy="write add {heard: sub, is: silent}") from None


def _close(said: str, say: Callable[[str], None], dialogue: Dialogue, kept: CaseDialogue | None) -> None:
    from gainwright.app.clock import today

    case = dialogue.closed_as(typed_ending(said.partition(" ")[2]), on=today())
    if kept is None:
        say("Closed, but not stored: give --case NAME to store a case.")
        return
    say(f"closed: {kept.save(case)}")
