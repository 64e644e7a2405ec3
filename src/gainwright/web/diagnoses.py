"""Dialogues and their diagnoses; diagnosers and diagnoses are cached."""

from __future__ import annotations

import json
import logging
import threading
from typing import TYPE_CHECKING

from gainwright.app.cases.dialogue import Dialogue, check_has_job
from gainwright.app.cases.tally import count_cases
from gainwright.errors import GainwrightError
from gainwright.model.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from gainwright.diagnose import Diagnosis
    from gainwright.report.cases import CaseCounts
    from gainwright.web.models import Models
    from gainwright.web.site import Site

log = logging.getLogger("gainwright.web")


def dialogue_of(site: Site, case: Case) -> Dialogue:
    """Return the dialogue of a case with its diagnoser. JobError: its job can't be read."""
    check_has_job(case)
    counted = site.store.cases.counted()
    return Dialogue.of(case, counted=counted, diagnoser=site.models.diagnoser(case.job, counted))


def diagnosis_of(models: Models, dialogue: Dialogue) -> Diagnosis:
    """Return the diagnosis, with the next tests. JobError: an entry doesn't fit the job."""
    state = (dialogue.entries, dialogue.declined, dialogue.unreachable)
    known = json.dumps([*state, repr(dialogue.counted), dialogue.job_text])
    return models.kept("diagnosis", known, dialogue.diagnosis)


def diagnosis_of_evidence(
    site: Site, text: str, entries: list[dict[str, Any]], unreachable: Sequence[str] = ()
) -> Diagnosis:
    """Return the diagnosis of a job's text and some evidence without a case. JobError: one of them can't be read."""
    return diagnosis_of(
        site.models, dialogue_of(site, Case(job=text, evidence=tuple(entries), unreachable=tuple(unreachable)))
    )


def tally(site: Site) -> CaseCounts:
    """Return the counts of the shop's cases, cached until a case changes."""
    cases = site.store.cases.find()
    newest = f"{len(cases)} {cases[0].changed.isoformat() if cases else ''}"
    return site.models.kept("tally", newest, lambda: count_cases(cases))


def prepare_diagnoser(site: Site, text: str) -> None:
    """Make the diagnoser of a job and its first diagnosis in a thread, so that the first question is ready."""
    in_a_thread(lambda: diagnosis_of_evidence(site, text, []))


def in_a_thread(do: Callable[[], object]) -> None:
    """Run a function in a thread; a GainwrightError is left to the request that needs the result."""

    def quietly() -> None:
        try:
            do()
        except GainwrightError:
            pass
        except Exception:
            log.exception("in a thread")

    threading.Thread(target=quietly, daemon=True).start()
