"""The page of one case, also with an error and what was typed."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from gainwright.app.cases import stored_cases
from gainwright.app.cases.answer_forms import answer_form
from gainwright.app.cases.case_places import ears_alone, observed_places
from gainwright.app.cases.complaint_choices import complaint_kinds
from gainwright.app.cases.dialogue import find_test, without_result
from gainwright.errors import DoubtfulReadingError, GainwrightError
from gainwright.model import NO_INSTRUMENT, mended_cause, name_words, the_place
from gainwright.report.closing import closure_words
from gainwright.texts import say
from gainwright.web.cases.fault_view import cause_list, causes_to_choose, evidence_rows, shown_test
from gainwright.web.diagnoses import diagnosis_of, dialogue_of, tally
from gainwright.web.rendering import page
from gainwright.web.set_up.evaluation import text_as_set

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from gainwright.app.cases.complaint_choices import Chosen
    from gainwright.app.cases.dialogue import Dialogue
    from gainwright.diagnose import Diagnosis
    from gainwright.model import Job
    from gainwright.model.case import Case
    from gainwright.web.site import Site

OTHERS = 5
"""Number of tests to choose from."""
OWN = ("kind", "place", "with", "tone", "level", "text", "second")
"""Fields of an observation of one's own."""


@dataclass(frozen=True, slots=True)
class Submitted:
    """What a person chose or typed, shown again beside an error.

    Attributes
    ----------
    test : which of the next tests is shown, from 1.
    entry, text, second, do : an answer, and its test.
    number : the corrected entry; 0 for none.
    own : the fields of an observation of one's own.
    complaint, chosen : what is wrong, in a sentence, or chosen.
    was, note, outcome, also, named : cause and note, on closing, and how it ended.
    """

    test: int = 1
    entry: str = ""
    text: str = ""
    second: str = ""
    do: str = ""
    number: int = 0
    own: dict[str, str] = field(default_factory=dict)
    complaint: str = ""
    chosen: Chosen | None = None
    was: str = ""
    note: str = ""
    outcome: str = "found"
    also: str = ""
    named: str = ""


def case_page(
    request: Request,
    site: Site,
    name: str,
    *,
    sent: Submitted,
    error: GainwrightError | None = None,
    conflict: bool = False,
) -> Response:
    """Return the page of a case."""
    from gainwright.report.chain_layout import lay_out_both_ways

    kept = site.store.cases.get(name)
    if kept.case.closed is not None and not kept.case.job:
        ended = closure_words(kept.case.closed, None)
        return page(request, "case_of_history.html", kept=kept, case=kept.case, ended=ended, error=error)
    dialogue = dialogue_of(site, kept.case)
    diagnosis = diagnosis_of(site.models, dialogue)
    job = dialogue.diagnoser.job
    about = stored_cases.job_of(site.store, name)
    tests = list(diagnosis.next[:OTHERS])
    if error is not None and sent.entry and not conflict:
        tests = _answered_test_first(dialogue, diagnosis, sent)
        sent = replace(sent, test=1)
    sent = _ending_as_found(sent, kept.case)
    shown = min(sent.test, len(tests))
    seen_belief = cause_list(diagnosis)
    return page(
        request,
        "case.html",
        job=about,
        here="fault",
        kept=kept,
        case=kept.case,
        diagnosis=diagnosis,
        belief=seen_belief,
        chain=lay_out_both_ways(job, title="The chain", marks=seen_belief.marks),
        drawn=_in_words(job, diagnosis),
        test=shown_test(tests[shown - 1], job) if tests else None,
        shown=shown,
        others=[(i + 1, shown_test(t, job)) for i, t in enumerate(tests)],
        noted=evidence_rows(diagnosis, dialogue),
        corrections=[(without_result(e), answer_form(without_result(e), job)) for e in dialogue.entries],
        left_out=_left_out(kept.case, job),
        causes=causes_to_choose(diagnosis),
        ended=None if kept.case.closed is None else closure_words(kept.case.closed, job),
        named_before=[] if kept.case.closed is not None else [n.words for n in tally(site).others],
        places=observed_places(job),
        wrong=complaint_kinds(job),
        instruments=_instruments(job),
        ears_alone=ears_alone(dialogue),
        tone=_last_tone(kept.case, tests[0].entry if tests else {}),
        renewed=about is not None and text_as_set(site, about) != kept.case.job,
        sent=sent,
        own={key: sent.own.get(key, "") for key in OWN},
        mine=_mine(sent) if conflict else None,
        error=None if isinstance(error, DoubtfulReadingError) else error,
        doubt=error if isinstance(error, DoubtfulReadingError) else None,
    )


def _ending_as_found(sent: Submitted, case: Case) -> Submitted:
    """Return what was sent with two faults as the ending, the one that is mended among them, unless an ending was chosen."""
    partly = [str(e.get("check", "")) for e in case.evidence if e.get("is") == "partly"]
    mended = mended_cause(partly[-1]) if partly else None
    if mended is None or sent.was or sent.outcome != "found":
        return sent
    return replace(sent, outcome="two_faults", also="|".join(mended))


def _answered_test_first(dialogue: Dialogue, diagnosis: Diagnosis, sent: Submitted) -> list[Any]:
    try:
        entry = json.loads(sent.entry)
        test = find_test(dialogue, diagnosis, entry)
    except (ValueError, AttributeError, RecursionError):
        return list(diagnosis.next[:OTHERS])
    first = [] if test is None else [test]
    return [*first, *(t for t in diagnosis.next[:OTHERS] if t != test)]


def _mine(sent: Submitted) -> dict[str, str] | None:
    """Return an answer that conflicts with somebody else's change, to be entered again."""
    if not sent.entry or sent.do:
        return None
    return {"entry": sent.entry, "text": sent.text, "second": sent.second}


def _in_words(job: Job, diagnosis: Diagnosis) -> str:
    """Return a description of the drawing."""
    from gainwright.report.chain_drawing import chain_drawing, suspected_places

    return chain_drawing(job, title="The chain", marks=suspected_places(diagnosis)).description


def _left_out(case: Case, job: Job) -> list[str]:
    declined = [say("not known: {ask}", ask=step.ask) for step in case.dialogue if step.answer == "declined"]
    nothing = [say("nothing to measure with")] if NO_INSTRUMENT in case.unreachable else []
    places = [the_place(job, place) for place in case.unreachable if place != NO_INSTRUMENT]
    return [*declined, *nothing, *(say("not reachable: {place}", place=place) for place in places)]


def _instruments(job: Job) -> dict[str, str]:
    """Return the name of each instrument -> the name as people write it."""
    from gainwright.jobfile import instruments

    return {name: name_words(name) for name in instruments(job)}


def _last_tone(case: Case, asked: dict[str, Any]) -> dict[str, str]:
    """Return the tone that is probably playing: that of the last entry with one, otherwise of the present test."""
    for entry in (*reversed(case.evidence), asked):
        if entry.get("tone") not in (None, "off"):
            return {"tone": str(entry["tone"]), "level": str(entry.get("level", ""))}
    return {"tone": "", "level": ""}
