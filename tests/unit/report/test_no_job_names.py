"""No paper shows a name of the job file: places, controls and devices stand in words, in every language."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import pytest
from cars import CARS
from example_plans import plan_of

from gainwright.diagnose import (
    Diagnoser,
    Diagnosis,
    EvidenceItem,
    NextTest,
    RankedCause,
    describe_cause,
    describe_entry,
    short_name,
)
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.wording import describe_test
from gainwright.jobfile import example_text, examples, instruments, read_job_text
from gainwright.model import KINDS, Speaker, as_mapping, check_places, checked_words, leads_by_name, resolve
from gainwright.model.case import Case, Closure
from gainwright.report.handover import handover
from gainwright.report.languages import language
from gainwright.report.music import crest_text
from gainwright.report.paper_content import paper_content
from gainwright.report.setup_sheet import setup_sheet
from gainwright.report.support_papers import case_paper, customer_paper

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Entry, Job
    from gainwright.programme import BandAllowance
    from gainwright.report.charts import Chart
    from gainwright.report.languages import Language
    from gainwright.report.paper import Paper

JOBS = {**{name: example_text(name) for name in examples()}, **CARS}
TONE_FILE = re.compile(r"\b[0-9]{2}_\S+")
NAME = re.compile(
    r"\b[a-z]+[a-z0-9]*(?:_[a-z0-9]+)+\b|\b[a-z]\w*\.[a-z]\w*\.[a-z]\w*\b|\b\w+\.(?:out|gain|level|volume|mono|left|right)\b|lead:\w"
)


def drawn(chart: Chart, into: Language) -> str:
    """Return the texts of a chart that is printed: of a drawing of the chain, its boxes and notes; of others, all of its fields."""
    return str([getattr(chart, name) for name in ("title", "subtitle", "description") if hasattr(chart, name)] + [
        into.translate(label) for label in [getattr(m, "label", "") for m in getattr(chart, "marks", ())]
    ] + [getattr(b, "called", str(b)) for b in getattr(chart, "boxes", getattr(chart, "bars", ()))])  # fmt: skip


def texts(value: Any, key: str = "") -> Iterator[str]:
    """Yield every text of a paper's content."""
    if isinstance(value, str) and key not in ("kind", "language", "paper"):
        yield value
    elif isinstance(value, dict):
        for k, v in value.items():
            yield from texts(v, k)
    elif isinstance(value, list):
        for v in value:
            yield from texts(v, key)


def evidence(job: Job) -> list[Entry]:
    """Return one entry for every place of a job: leads, lamps, supplies, coils, nodes, speakers."""
    wiring, there = resolve(job), instruments(job)
    answers = {"power_lamp": {"is": "on"}, "supply_voltage": {"reads": "13 V"}, "resistance": {"reads": "3.4 ohm"}}
    leads = leads_by_name(wiring)
    given: list[dict[str, Any]] = []
    for place in check_places(job, wiring, (), there):
        answer = {"is": "good"} if place in leads else answers.get(place.rpartition(".")[2])
        given += [{"check": place, **answer}] if answer is not None else []
    tone = {"tone": "50 Hz", "level": "-6 dBFS"}
    given += [{"at": str(n), "with": next(iter(there)), **tone, "reads": "1 V"} for n in wiring.nodes if n not in wiring.digital]  # fmt: skip
    given += [{"heard": n, **tone, "is": "normal"} for n, stage in job.stages.items() if isinstance(stage, Speaker)]
    return [_validated(entry) for entry in given]


def _validated(entry: dict[str, Any]) -> Entry:
    return next(kind for key, kind in KINDS.items() if key in entry).model_validate(entry)  # type: ignore[return-value]


def everything_possible(job: Job, diagnoser: Diagnoser, entries: list[Entry]) -> Diagnosis:
    """Return a diagnosis with every cause and every test of a job, as their texts are written."""
    catalogue = Catalogue(job, diagnoser.chain, diagnoser.instruments, ())
    causes = tuple(
        RankedCause(c.id, c.where, 0.5, 0.0, describe_cause(c, job), short_name(c, job)) for c in diagnoser.causes
    )
    tests = tuple(
        NextTest(c.test, c.where, c.minutes, 0, 0, describe_test(c, job), "", as_mapping(c.entry), c.cautions, checked_words(job, c.where))
        for c in catalogue.all()
    )  # fmt: skip
    said = tuple(EvidenceItem(i, describe_entry(e, job), "", 0.0) for i, e in enumerate(entries))
    return Diagnosis(causes, (), (), tests, 0, said, 0.0, "", False, None)


def papers(name: str) -> Iterator[Paper]:
    """Yield every paper of a job: the case is closed, the customer is asked everything."""
    job, plan = read_job_text(JOBS[name]).job, plan_of(name)
    diagnoser, entries = Diagnoser(job), evidence(job)
    found = everything_possible(job, diagnoser, entries)
    cause = Closure(cause=found.causes[-1].cause, where=found.causes[-1].where)
    yield setup_sheet(job, plan)
    yield setup_sheet(job, plan, short=True)
    yield handover(job, plan, entries=entries, closed=cause)
    yield customer_paper(job, found, full_scale=plan.full_scale, steps=1000)
    yield case_paper(job, diagnoser, (), found, Case(job=JOBS[name], closed=cause))


@pytest.mark.parametrize("name", list(JOBS))
def test_no_paper_shows_a_name_of_the_job_file(name: str) -> None:
    """Of the ten examples and five other cars, in English and German: no underscore, no dotted node, no `lead:`, but tone files."""
    for paper in papers(name):
        for code in ("en", "de"):
            content = paper_content(paper, language(code), drawn)
            found = {m for t in texts(content) for m in NAME.findall(TONE_FILE.sub("", t))}
            assert found == set(), (paper.kind, code)


def test_a_band_of_the_music_is_named_in_words() -> None:
    """An output with an underscore in its name has none in the sentence about it."""
    row = SimpleNamespace(db=3.0, mean_power_db=-1.0, clipped_time_percent=0.1)
    band = SimpleNamespace(band="amp_sub", crest_db=10.0, choice=SimpleNamespace(db=3.0), row=lambda _db: row)
    assert crest_text(cast("BandAllowance", band), None).startswith("amp sub: ")
