"""The diagnosis from evidence, and dialogues that are stored as cases and resumed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.cases.dialogue import Dialogue, check_unreachable
from gainwright.app.clock import today
from gainwright.app.store import case_closed, found_or_none

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.app.ports import CaseFolder
    from gainwright.app.store import Cases
    from gainwright.diagnose import ClosedCases, Diagnosis
    from gainwright.model import Entry, Job
    from gainwright.model.case import Case


def diagnose(
    job: Job,
    entries: Sequence[Entry] = (),
    *,
    unreachable: Sequence[str] = (),
    declined: Sequence[Entry] = (),
    counted: ClosedCases | Mapping[str, int],
) -> Diagnosis:
    """Return what is probably wrong with a chain, and the next test.

    Parameters
    ----------
    unreachable, declined : stages and leads that can't be reached, tests that can't be answered.
    counted : the closed cases of the store; the priors follow from them.

    Raises
    ------
    CallError : a place that isn't in the job.
    """
    from gainwright.diagnose import Diagnoser, make_diagnosis

    check_unreachable(unreachable, job)
    return make_diagnosis(Diagnoser(job, closed=counted), entries, frozenset(unreachable), declined)


@dataclass
class CaseDialogue:
    """A dialogue that is stored as a case after each step.

    Attributes
    ----------
    cases : of the store.
    stored, revision : the case as last read or written; None and 0 when it is new.
    copies : a folder where a case file is written each time too, or None.
    """

    dialogue: Dialogue
    name: str
    cases: Cases
    stored: Case | None = None
    revision: int = 0
    copies: CaseFolder | None = None

    def save(self, case: Case | None = None) -> str:
        """Store the dialogue, or the closed case that it became; return its name or file.

        Raises
        ------
        ConflictError : somebody else has changed the case; nothing was written.
        CallError : it can't be written, or is closed: how it ended isn't written over.
        """
        self.refuse_closed()
        case = case or self.dialogue.case()
        if case != self.stored:
            self.revision = self.cases.write(self.name, case, seen=self.revision).revision
            self.stored = case
        return self.name if self.copies is None else self.copies.save(self.name, case)

    def refuse_closed(self) -> None:
        """Refuse to go on with a case that is closed. CallError `case_closed`."""
        if self.stored is not None and self.stored.closed is not None:
            raise case_closed(self.name)


def begin_dialogue(text: str, title: str, *, counted: ClosedCases) -> Dialogue:
    """Return a new dialogue about the job of a text."""
    return Dialogue(text, title, today(), counted)


def open_case(
    cases: Cases, name: str, *, job_text: str | None, title: str = "", copies: CaseFolder | None = None
) -> CaseDialogue:
    """Return the case of a name to be resumed, else a new one about a job.

    Raises
    ------
    CallError : an invalid name, or there is neither such a case nor a job.
    """
    counted = cases.counted()
    if job_text is None:
        kept = cases.get(name)
    elif (there := found_or_none(cases.get, name)) is not None:
        kept = there
    else:
        return CaseDialogue(begin_dialogue(job_text, title, counted=counted), name, cases, copies=copies)
    dialogue = Dialogue.of(kept.case, counted=counted)
    # the job may have been mended since; what was read stays
    dialogue.job_text = job_text or dialogue.job_text
    return CaseDialogue(dialogue, name, cases, kept.case, kept.revision, copies)
