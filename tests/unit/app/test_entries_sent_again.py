"""Entries of a run that arrive more than once, as over a line that is cut: each is in the store once, in its order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gainwright.app.set_up.run import add_entry, run_of
from gainwright.composition import Adapters
from gainwright.errors import GainwrightError
from gainwright.jobfile import example_text, instruments, read_job_text
from gainwright.plan import make_plan

if TYPE_CHECKING:
    from pathlib import Path

TEXT = example_text("one_amplifier")
JOB = read_job_text(TEXT).job
PLAN = make_plan(JOB)
INSTRUMENTS = instruments(JOB)
READINGS = ("13.8", "13.7", "13.8 V")
PLACES = ("prepare.supply", "verify.supply")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(READINGS)), min_size=1, max_size=8),
    st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=12),
)
def test_each_entry_is_stored_once_in_its_order(
    tmp_path: Path, entries: list[tuple[str, str]], again: list[tuple[int, int]]
) -> None:
    """Any entry may arrive again at any later moment, even after others of its step: it's stored once; none is lost."""
    store = Adapters().store(str(tmp_path / "store.sqlite"))
    try:
        job = store.jobs.add(title="x", text=TEXT).id
        sent: list[tuple[str, str, int]] = []

        def send(number: int) -> int:
            step, text, seen = sent[number]
            run = run_of(PLAN, store.runs.entries(job), INSTRUMENTS)
            key = f"key {number}"
            return add_entry(store, job, run, step, kind="reading", text=text, by="phone", seen=seen, key=key).number

        for number, (step, text) in enumerate(entries):
            seen = run_of(PLAN, store.runs.entries(job), INSTRUMENTS).of(step).seen
            sent.append((step, text, seen))
            assert send(number) == number + 1
            for after, which in again:
                if after == number and which <= number:
                    assert send(which) == which + 1
        assert [(e.step, e.text, e.key) for e in store.runs.entries(job)] == [
            (step, text, f"key {number}") for number, (step, text) in enumerate(entries)
        ]
    finally:
        store.close()


def test_same_key_with_another_text_is_another_entry(tmp_path: Path) -> None:
    """A correction is never taken for the entry that it corrects; without having seen that one it is refused."""
    store = Adapters().store(str(tmp_path / "store.sqlite"))
    try:
        job = store.jobs.add(title="x", text=TEXT).id

        def send(text: str, seen: int) -> int:
            run = run_of(PLAN, store.runs.entries(job), INSTRUMENTS)
            entry = add_entry(store, job, run, PLACES[0], kind="reading", text=text, by="phone", seen=seen, key="k")
            return entry.number

        assert send("13.8", 0) == 1
        try:
            send("13.6", 0)
        except GainwrightError as error:
            assert error.code == "conflict"
        assert send("13.6", 1) == 2
        assert [e.text for e in store.runs.entries(job)] == ["13.8", "13.6"]
    finally:
        store.close()
