"""What is told of a wrong value, job file, form, recording, name of a phone or entry of the store is German on German pages."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from decoded import as_wav

from gainwright.adapters.store import open_store
from gainwright.app.cases.endings import Ending, closure_of
from gainwright.app.cases.history import read_history
from gainwright.app.jobs.chain_edits import apply_edit
from gainwright.app.practice.class_exercises import learner_name
from gainwright.app.practice.limits import refuse_guess, refuse_test
from gainwright.app.store import Store
from gainwright.errors import GainwrightError
from gainwright.jobfile import errors_of, example_text, read_evidence_text, read_job_text
from gainwright.jobfile.casefile import read_case_text
from gainwright.jobfile.class_files import read_exercise, read_result
from gainwright.jobfile.starting.typical import typical_chain
from gainwright.model.class_exercise import PracticeLimits
from gainwright.model.compounds import Coils, Equaliser, FilterSetting, PowerRating
from gainwright.quantities import parse
from gainwright.report.languages import Language
from gainwright.web.network.pairing import device_name

JOB = example_text("one_amplifier")
HISTORY_LINES = b"a,lead_opn,,,,,\nb,lead_open,lost,,,,\nc,lead_open,,grumbling,,,\nd,lead_open,,,,many,\ne,lead_open,,,,,-1\nf,lead_open,,,,,\nf,lead_open,,,,,\n"
EXERCISE = b"kind: class exercise\nchains: {a: {like: one_amplifier}}\ntasks: [{chain: a, seed: 1}]\n"
ENGLISH = re.compile(
    r"\b(the|and|of|with|are|this|that|not|to|for|it|must|write|there|has|or|should|valid|required|error)\b"
)
"""Words that no German sentence has, and no key of a job file."""


def edit(what: str, **given: str) -> Callable[[], object]:
    """Return the edit of a chain, to be called."""
    return lambda: apply_edit(JOB, what, given)


def job(old: str, new: str) -> Callable[[], object]:
    """Return the reading of a job with a part replaced, to be called."""
    assert old in JOB
    return lambda: read_job_text(JOB.replace(old, new))


WRONG: dict[str, Callable[[], object]] = {
    "unit": lambda: parse("4 W", "voltage"),
    "no unit": lambda: parse("4", "voltage"),
    "bounds": lambda: parse("-4 W", "power"),
    "level with per cent": lambda: parse("3 dB ± 5 %", "ratio"),
    "empty range": lambda: parse("5 V .. 2 V", "voltage"),
    "group of thousands": lambda: parse("1,500 W", "power"),
    "number": lambda: parse("lots", "resistance"),
    "filter": lambda: FilterSetting.parse("steep at 80 Hz"),
    "slope": lambda: FilterSetting.parse("linkwitz-riley 18 at 80 Hz"),
    "equaliser": lambda: Equaliser.parse("bump +3 dB at 50 Hz"),
    "rating": lambda: PowerRating.parse("300 W"),
    "coils": lambda: Coils.parse("2 x 4 ohm"),
    "key": job("minimum_load", "minimal_load"),
    "kind": job("kind: amplifier", "kind: amplifer"),
    "missing key": job("    rated_output: 2 V\n", ""),
    "reference": job("from: head.sub", "from: head.front"),
    "no stage": job("from: head.sub", "from: radio"),
    "volume": job("at: 24", "at: 50"),
    "twice": job("title:", "title: a\ntitle:"),
    "PDF": lambda: read_job_text("%PDF-1.7"),
    "two documents": lambda: read_job_text("a: 1\n---\nb: 1\n"),
    "several": lambda: read_job_text(JOB.replace("2 V", "2 W").replace("33", "many").replace("250 W", "250 V")),
    "edit": edit("paint"),
    "rename": edit("rename_stage", stage="amp", new="sub"),
    "only output": edit("remove_output", stage="head", output="sub"),
    "typical chain": lambda: typical_chain("bus"),
    "no sound": lambda: as_wav(b"text, no sound", name="a.wav"),
    "phone": lambda: device_name(" ", taken=set()),
    "history without a cause": lambda: read_history(b"case,outcome\na,found\n"),
    "history with wrong lines": lambda: read_history(
        b"case,cause,outcome,complaint,chain,tests,minutes\n" + HISTORY_LINES
    ),
    "history without a column": lambda: read_history(b"case,fault\na,b\n"),
    "history of too many values": lambda: read_history(b"case,cause\na,lead_open,b\n"),
    "history in another encoding": lambda: read_history(b"case,cause\n\xff,lead_open\n"),
    "history with a quotation mark": lambda: read_history(b'case,cause\n"a,lead_open\n'),
    "empty history": lambda: read_history(b""),
    "exercise that is a PDF": lambda: read_exercise(b"%PDF-1.7"),
    "exercise of nothing": lambda: read_exercise(b""),
    "exercise without tasks": lambda: read_exercise(b"kind: class exercise\nchains: {a: {like: one_amplifier}}"),
    "exercise with a key too many": lambda: read_exercise(EXERCISE + b"more: 1\n"),
    "exercise with an odd seed": lambda: read_exercise(EXERCISE.replace(b"seed: 1", b"seed: some")),
    "exercise with another chain": lambda: read_exercise(EXERCISE.replace(b"chain: a", b"chain: b")),
    "exercise with a chain of nothing": lambda: read_exercise(EXERCISE.replace(b"{like: one_amplifier}", b"{}")),
    "exercise like none": lambda: read_exercise(EXERCISE.replace(b"one_amplifier", b"lorry")),
    **{
        f"evidence {number}": lambda text=text: read_evidence_text(f"evidence: [{text}]", read_job_text(JOB).job)  # type: ignore[misc]
        for number, text in enumerate(
            (
                "{at: amp.out.mono, tone: 50 Hz}",
                "{at: amp.outs, tone: 50 Hz, reads: 5 V}",
                "{at: amp.out.mono, reads: 5 V}",
                "{at: amp.out.mono, tone: 50 Hz, shows: [clip]}",
                "{heard: horn, is: silent}",
                "{heard: sub, is: purple}",
                "{check: amp.power_lamp, is: green}",
                "{check: head.volume, is: loud}",
                "{check: amp.supply_voltage, is: good}",
            )
        )
    },
    "case": lambda: read_case_text("format: 1\nmore: 2\njob: a\n"),
    **{
        f"case with {text}": lambda text=text: read_case_text(f"format: 1\njob: a\n{text}\n")  # type: ignore[misc]
        for text in (
            f"title: {'t' * 301}",
            "title: [1]",
            "evidence: 3",
            "closed: 3",
            "closed: {outcome: unsolved, cause: lead_open}",
            "closed: {outcome: found}",
            "closed: {outcome: two_faults, cause: lead_open, second_cause: lead_open}",
            "closed: {outcome: no_fault, cause: lead_open}",
        )
    },
    "case without a job": lambda: read_case_text("format: 1\n"),
    "evidence with a long note": lambda: read_evidence_text(
        f"evidence: [{{heard: sub, is: silent, note: {'n' * 1001}}}]", read_job_text(JOB).job
    ),
    "evidence with a list for a note": lambda: read_evidence_text(
        "evidence: [{heard: sub, is: silent, note: [1]}]", read_job_text(JOB).job
    ),
    "result of nothing": lambda: read_result(b"kind: class result\n"),
    "learner": lambda: learner_name(" "),
    "guesses": lambda: refuse_guess(PracticeLimits(guesses=1), guesses=1),
    "tests": lambda: refuse_test(PracticeLimits(tests=2), tests=2, minutes=0),
    "minutes": lambda: refuse_test(PracticeLimits(minutes=2), tests=2, minutes=3),
    "ending": lambda: closure_of(Ending(outcome="something_else")),
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store for all."""
    opened = open_store(str(Path(tmp_path_factory.mktemp("german")) / "store.sqlite"))
    yield opened
    opened.close()


def in_german(do: Callable[[], object]) -> list[str]:
    """Return the sentences of an error in German."""
    with pytest.raises(GainwrightError) as refused:
        do()
    german = Language("de")
    error = refused.value
    return [german.translate(text) for text in (error.what, error.rule, error.remedy) if text]


@pytest.mark.parametrize("case", WRONG)
def test_error_is_told_in_german(case: str) -> None:
    """What is wrong, what would be valid and what to do: no English word in any of the three."""
    told = in_german(WRONG[case])
    assert told
    assert [text for text in told if ENGLISH.search(text)] == []


@pytest.mark.parametrize("text", ["butterworth 17 at 80 Hz", "butterworth 24 at unknown", "bw6 at 80 Hz"])
def test_filter_advised_in_german_can_be_written(text: str) -> None:
    """A job file takes English settings only, so that the advice has them as the file writes them."""
    advice = in_german(lambda: FilterSetting.parse(text))[-1]
    found = re.findall(r"butterworth [0-9]+ at [0-9. ]+ Hz", advice)
    assert found
    assert all(FilterSetting.parse(setting).corner for setting in found)


def test_errors_of_the_store_are_told_in_german(store: Store) -> None:
    """What isn't there, and what somebody else changed meanwhile."""
    kept = store.jobs.add(title="one", text=JOB).id
    for do in (
        lambda: store.jobs.get("x"),
        lambda: store.jobs.write(kept, title="two", text=JOB, seen=99),
        lambda: store.recordings.get("x"),
        lambda: store.notes.get("x"),
        lambda: store.cases.get("x"),
    ):
        assert [text for text in in_german(do) if ENGLISH.search(text)] == []


def test_the_words_searched_for_are_english() -> None:
    """The same search finds the English sentences."""
    (error,) = errors_of(JOB.replace("minimum_load", "minimal_load"))
    assert any(ENGLISH.search(text) for text in (error.what, error.remedy, "remove it"))
    told = in_german(WRONG["unit"])
    assert told == [
        "W ist eine Einheit für Leistung, nicht für Spannung",
        "hier gehört hin: Spannung in V",
        "zum Beispiel 4 V schreiben",
    ]
