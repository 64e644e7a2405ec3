"""A dialogue of fault finding: tests are asked, answered, undone, corrected, declined; it is stored and resumed as a case."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.answers import indicator_marks, with_result
from gainwright.app.cases.complaint_choices import entries_of_complaint
from gainwright.app.cases.doubtful import doubt_about_answer
from gainwright.app.cases.endings import Ending, closure_of
from gainwright.app.cases.plain_words import CANT_REACH, DONT_KNOW, ONLY_EARS, said_instead
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.app.cases.complaint_choices import Chosen
    from gainwright.diagnose import ClosedCases, Diagnoser, Diagnosis, NextTest
    from gainwright.model import Entry, Job
    from gainwright.model.case import Case, DialogueStep


WITH_INSTRUMENT = (
    *("measure", "record", "indicate", "feed", "check_lead", "measure_supply", "measure_speaker"),
    *("check_measuring_lead", "look_at_meter"),
)
"""Kinds of tests that need an instrument."""


@dataclass
class Dialogue:
    """A dialogue about one chain.

    Attributes
    ----------
    job_text : text of the job file.
    entries : the evidence so far, as mappings.
    declined, unreachable : tests that were declined, places that can't be reached.
    steps : the tests so far.
    """

    job_text: str
    title: str = ""
    opened: str = ""
    counted: ClosedCases | None = None
    entries: list[dict[str, Any]] = field(default_factory=list)
    declined: list[dict[str, Any]] = field(default_factory=list)
    unreachable: list[str] = field(default_factory=list)
    steps: list[DialogueStep] = field(default_factory=list)
    _diagnoser: Diagnoser | None = field(default=None, repr=False)
    _doubted: str = field(default="", repr=False)

    @classmethod
    def of(cls, case: Case, *, counted: ClosedCases | None = None, diagnoser: Diagnoser | None = None) -> Dialogue:
        """Return the dialogue of a case, to be resumed; with its diagnoser if there is one already.

        Raises
        ------
        CallError : it is one of the shop's history, without a job.
        """
        check_has_job(case)
        return cls(
            case.job,
            case.title,
            case.opened,
            counted,
            [dict(e) for e in case.evidence],
            [dict(e) for e in case.declined],
            list(case.unreachable),
            list(case.dialogue),
            diagnoser,
        )

    def case(self) -> Case:
        """Return it as a case."""
        from gainwright.model.case import Case

        return Case(
            title=self.title,
            opened=self.opened,
            job=self.job_text,
            evidence=tuple(self.entries),
            declined=tuple(self.declined),
            unreachable=tuple(self.unreachable),
            dialogue=tuple(self.steps),
        )

    @property
    def diagnoser(self) -> Diagnoser:
        """The diagnoser of its job, made when first needed.

        Raises
        ------
        JobError : the text isn't a valid job.
        """
        if self._diagnoser is None:
            from gainwright.diagnose import Diagnoser
            from gainwright.jobfile import read_job_text

            self._diagnoser = Diagnoser(read_job_text(self.job_text).job, closed=self.counted)
        return self._diagnoser

    def diagnosis(self) -> Diagnosis:
        """Return the diagnosis now, with the next test.

        Raises
        ------
        JobError : an entry is invalid in this job.
        """
        from gainwright.diagnose import make_diagnosis

        entries, declined = self.read()
        return make_diagnosis(self.diagnoser, entries, frozenset(self.unreachable), declined)

    def read(self) -> tuple[list[Entry], list[Entry]]:
        """Return the evidence and the declined tests as entries.

        Raises
        ------
        JobError : an entry is invalid in this job.
        """
        return [self._read(e) for e in self.entries], [self._read(e, answered=False) for e in self.declined]

    def _read(self, mapping: dict[str, Any], *, answered: bool = True) -> Entry:
        from gainwright.jobfile import read_entry

        return read_entry(mapping, self.diagnoser.job, answered=answered)

    # ---- what a person does ------------------------------------------------------------------------------------

    def answer(self, test: NextTest, text: str) -> None:
        """Add the answer to a test, as it was typed.

        Raises
        ------
        CallError, JobError : it doesn't answer the test; the remedy has an example.
        """
        self.add(with_result(test.entry, text, marks=indicator_marks(test.entry, self.diagnoser.job)), test)

    def answer_or_skip(self, test: NextTest, text: str) -> str:
        """Take what was said to a test: an answer, or that it isn't known or can't be reached, which skips it.

        Returns
        -------
        What was skipped, empty after an answer.

        Raises
        ------
        DoubtfulReadingError : its decimal point seems to be lost; the same text once more is taken as it is.
        CallError, JobError : it doesn't answer the test; the remedy has an example.
        """
        said = said_instead(text)
        if said == CANT_REACH:
            return f"every test at {self.exclude_place(test)}"
        if said == ONLY_EARS:
            self.measure_nothing(test)
            return "every test with an instrument"
        if said == DONT_KNOW:
            self.decline(test)
            return "this test"
        doubt = (
            None if text == self._doubted else doubt_about_answer(self.diagnoser, self.diagnoser.job, test.entry, text)
        )
        self._doubted = "" if doubt is None else text
        if doubt is not None:
            raise doubt
        self.answer(test, text)
        return ""

    def add(self, mapping: dict[str, Any], test: NextTest | None = None) -> None:
        """Add a whole entry, asked for or not.

        Raises
        ------
        JobError : it is invalid in this job.
        """
        from gainwright.model.case import DialogueStep

        self._read(mapping)
        self.entries.append(mapping)
        minutes = test.minutes if test is not None else 0.0
        self.steps.append(
            DialogueStep(
                test=test.test if test is not None else "", ask=test.ask if test is not None else "", minutes=minutes
            )
        )

    def complain(self, said: str, chosen: Chosen | None = None) -> None:
        """Add what a complaint tells, a sentence such as `no bass, the doors play`, or what was chosen.

        Raises
        ------
        CallError : it doesn't tell which speakers sound how, or an answer is missing or unknown.
        """
        for entry in entries_of_complaint(said, chosen, self.diagnoser.job):
            self.add(entry)

    def note_belief(self, diagnosis: Diagnosis) -> None:
        """Record the most probable cause with the last step."""
        from gainwright.model.case import BelievedCause

        if self.steps:
            top = diagnosis.causes[0]
            believed = BelievedCause(cause=top.cause, where=top.where, probability=min(top.probability, 1.0))
            self.steps[-1] = self.steps[-1].model_copy(update={"believed": believed})

    def decline(self, test: NextTest) -> None:
        """Decline a test."""
        from gainwright.model.case import DialogueStep

        self.declined.append(test.entry)
        self.steps.append(DialogueStep(test=test.test, ask=test.ask, answer="declined"))

    def exclude_place(self, test: NextTest) -> str:
        """Exclude every test at the place of a test; return that place."""
        from gainwright.model.case import DialogueStep

        place = str(test.entry.get("at", test.where))
        place = place if place.startswith("lead:") else place.split(".", maxsplit=1)[0]
        self.unreachable.append(place)
        self.steps.append(DialogueStep(test=test.test, ask=test.ask, answer="unreachable"))
        return place

    def measure_nothing(self, test: NextTest) -> None:
        """Exclude every test that needs an instrument: there are only ears, eyes and hands."""
        from gainwright.model import NO_INSTRUMENT
        from gainwright.model.case import DialogueStep

        self.unreachable.append(NO_INSTRUMENT)
        self.steps.append(DialogueStep(test=test.test, ask=test.ask, answer="unreachable"))

    def leave_out(self, places: Sequence[str]) -> None:
        """Exclude every test at some places.

        Raises
        ------
        CallError : a place that isn't in the job.
        """
        check_unreachable(places, self.diagnoser.job)
        self.unreachable += [place for place in places if place not in self.unreachable]

    def undo(self) -> str:
        """Undo the last step; return what it was.

        Raises
        ------
        CallError : there is none.
        """
        if not self.steps:
            raise CallError(say("there is nothing to undo"), code="nothing_to_undo")
        step = self.steps.pop()
        taken = {"answered": self.entries, "declined": self.declined, "unreachable": self.unreachable}[step.answer]
        gone = taken.pop()  # type: ignore[attr-defined]
        return str(gone)

    def correct(self, number: int, text: str, second: str = "") -> None:
        """Correct the result of an entry, 1 is the first, as it was typed (see `with_result`).

        Raises
        ------
        CallError, JobError : there is no such entry, or the result is invalid.
        """
        bare = self.entry_without_result(number)
        self.replace(number, with_result(bare, text, second, marks=indicator_marks(bare, self.diagnoser.job)))

    def entry_without_result(self, number: int) -> dict[str, Any]:
        """Return an entry without its result; 1 is the first.

        Raises
        ------
        CallError : there is no such entry.
        """
        if not 1 <= number <= len(self.entries):
            raise CallError(
                say("there is no entry {number}", number=number),
                code="no_such_entry",
                rule=say("there are {entries}", entries=len(self.entries)),
            )
        return without_result(self.entries[number - 1])

    def replace(self, number: int, mapping: dict[str, Any]) -> None:
        """Replace an entry; 1 is the first.

        Raises
        ------
        CallError, JobError : there is no such entry, or the new one is invalid.
        """
        self.entry_without_result(number)
        self._read(mapping)
        self.entries[number - 1] = mapping

    def closed_as(self, ending: Ending, *, on: str = "") -> Case:
        """Return the case, closed in one of the ways that a case ends.

        Raises
        ------
        CallError : the chain can't have such a cause, or what belongs to the ending is missing.
        """
        from gainwright.diagnose import complaint_kind
        from gainwright.model import chain_kind

        closure = closure_of(ending, on=on)
        for cause, where in closure.faults:
            check_cause(self.diagnoser, cause, where)
        sort = {"complaint": complaint_kind(self.read()[0]), "chain": chain_kind(self.diagnoser.job)}
        return self.case().model_copy(update={"closed": closure.model_copy(update=sort)})


def check_has_job(case: Case) -> None:
    """Refuse a case without a job. CallError: it is one."""
    if not case.job.strip():
        raise CallError(
            say("this case came with the shop's history: it has no job"), code="no_job", remedy=say("begin a new case")
        )


def without_result(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return an entry without its result, as the test asks for it."""
    from gainwright.model import RESULTS

    kind = next((key for key in RESULTS if key in entry), "")
    return {k: v for k, v in entry.items() if k not in RESULTS.get(kind, ())}


def find_test(dialogue: Dialogue, found: Diagnosis, entry: Mapping[str, Any]) -> NextTest | None:
    """Return the test that asks for an entry, among those proposed or else all possible ones; None if there isn't one."""
    wanted = without_result(entry)
    for test in found.next:
        if test.entry == wanted:
            return test
    from gainwright.diagnose import NextTest
    from gainwright.diagnose.candidates import Catalogue
    from gainwright.diagnose.wording import describe_test
    from gainwright.model import as_mapping, checked_words

    diagnoser = dialogue.diagnoser
    job = diagnoser.job
    entries, declined = dialogue.read()
    catalogue = Catalogue(
        job, diagnoser.chain, diagnoser.instruments, entries, frozenset(dialogue.unreachable), declined
    )
    for c in catalogue.all():
        if as_mapping(c.entry) == wanted:
            return NextTest(
                c.test,
                c.where,
                c.minutes,
                0.0,
                0.0,
                describe_test(c, job),
                "",
                wanted,
                c.cautions,
                checked_words(job, c.where),
            )
    return None


def check_unreachable(places: Sequence[str], job: Job) -> None:
    """Refuse places that aren't in a job.

    Raises
    ------
    CallError : one of them is neither a stage nor a lead.
    """
    from gainwright.model import NO_INSTRUMENT, leads_by_name, resolve

    known = [*job.stages, NO_INSTRUMENT, *leads_by_name(resolve(job))]
    for place in places:
        if place not in known:
            raise CallError(
                say("there is no stage or lead {place}", place=place),
                code="unknown_place",
                where="unreachable places",
                rule=say("there is {known}{more}", known=", ".join(known[:12]), more=" ..." if len(known) > 12 else ""),
            )


def check_cause(diagnoser: Diagnoser, cause: str, where: str) -> None:
    """Refuse a cause that a chain can't have.

    Raises
    ------
    CallError : it can't; the rule lists the places or causes that are possible.
    """
    known = [(c.id, c.where) for c in diagnoser.causes]
    if (cause, where) not in known:
        places = [w for c, w in known if c == cause]
        raise CallError(
            say("{cause} can't be at {where} in this chain", cause=cause, where=repr(where)),
            code="unknown_cause",
            rule=say("it can be at {listed}", listed=", ".join(places))
            if places
            else say("causes are {listed}", listed=", ".join(dict.fromkeys((c for c, _ in known)))),
        )
