"""Two writers of the same thing, one between the other's reading and writing: no accepted change is lost, a refused one is told why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import product
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import pytest
from store_writers import MEASURED

from gainwright.adapters.store import devices as device_rows
from gainwright.app.cases.stored_cases import job_of, keep_as_job
from gainwright.app.measuring.stored_recordings import MARKS, list_recordings, mark_recording
from gainwright.app.practice import class_runs
from gainwright.app.practice.practice import Practice, PracticeTest
from gainwright.app.practice.review import PracticeReview
from gainwright.app.practice.stored_practices import (
    StoredPractice,
    ask,
    give_up,
    keep_practice,
    keep_short_way,
    load_practice,
)
from gainwright.app.set_up.unanswered import answered, keep_unanswered, unanswered
from gainwright.app.store import ConflictError
from gainwright.errors import CallError
from gainwright.jobfile import example_text
from gainwright.model import Check
from gainwright.model.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.adapters.store import SqlStore
    from gainwright.app.store import Store

JOB = example_text("one_amplifier")
WRITES = ("put", "write", "undo", "redo", "add", "add_all", "remove", "revoke")


@dataclass
class Change:
    """A change that a person makes, and how to see that it is there."""

    do: Callable[[Store], object]
    holds: Callable[[], bool]


class Interrupted:
    """A store, or a part of one; before its first write somebody else acts."""

    def __init__(self, inner: Any, other: list[Callable[[], object]]) -> None:
        self._inner, self._other = inner, other

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._inner, name)
        if name in ("jobs", "runs", "notes", "recordings", "cases", "devices", "documents"):
            return Interrupted(found, self._other)
        return self._then(found) if name in WRITES else found

    def _then(self, write: Callable[..., Any]) -> Callable[..., Any]:
        def both(*arguments: Any, **named: Any) -> Any:
            if self._other:
                self._other.pop()()
            return write(*arguments, **named)

        return both


# ---- what there is ---------------------------------------------------------------------------------------------------


def job_changes(store: SqlStore) -> list[Change]:
    """Return changes of a job, all from the revision that was seen."""
    job = store.jobs.add(title="one", text="1")
    store.jobs.write(job.id, title="one", text="2", seen=1)

    def write(text: str) -> Change:
        def do(at: Store) -> None:
            at.jobs.write(job.id, title="one", text=text, seen=2)

        return Change(do, lambda: store.jobs.get(job.id).text == text)

    undone = Change(lambda at: at.jobs.undo(job.id, seen=2), lambda: store.jobs.get(job.id).text == "1")
    return [write("3"), write("4"), undone]


def case_changes(store: SqlStore) -> list[Change]:
    """Return changes of a case, all from the revision that was seen."""
    name = f"case {len(store.cases.find())}"
    store.cases.write(name, Case(job="0"), seen=0)

    def write(text: str) -> Change:
        def do(at: Store) -> None:
            at.cases.write(name, Case(job=text), seen=1)

        return Change(do, lambda: store.cases.get(name).case.job == text)

    return [write("1"), write("2")]


def run_changes(store: SqlStore) -> list[Change]:
    """Return entries of one step, and the job's deletion: a reading is refused, or there when the job is restored."""
    job = store.jobs.add(title="one", text="1").id

    def enter(text: str) -> Change:
        def do(at: Store) -> None:
            at.runs.add(job, step="gain", kind="reading", text=text, value={}, by="", seen=0)

        return Change(do, lambda: text in [entry.text for entry in store.runs.entries(job)])

    gone = Change(lambda at: at.jobs.put(job, "deleted"), lambda: store.jobs.get(job).shelf == "deleted")
    return [enter("1 V"), enter("2 V"), gone]


def note_changes(store: SqlStore) -> list[Change]:
    """Return notes of a job, one of them sent twice under its key, and the removal of an earlier one."""
    job = store.jobs.add(title="one", text="1").id
    old = store.notes.add(job, step="gain", text="old", by="", photo=b"1", media_type="image/png")

    def add(text: str, key: str) -> Change:
        def do(at: Store) -> None:
            at.notes.add(job, step="gain", text=text, by="", key=key)

        return Change(do, lambda: [note.text for note in store.notes.of(job)].count(text) == 1)

    removed = Change(
        lambda at: at.notes.remove(old.id), lambda: "old" not in [note.text for note in store.notes.of(job)]
    )
    return [add("a", "ka"), add("b", "kb"), removed]


def recording_changes(store: SqlStore) -> list[Change]:
    """Return marks of a recording: what goes onto the handover, and what is removed."""
    job = store.jobs.add(title="one", text="1").id
    recording = store.recordings.add(job, name="a.wav", content=b"1", measured=MEASURED).id

    def marked(what: str, name: str) -> Change:
        def do(at: Store) -> None:
            mark_recording(at, job, recording, what)

        return Change(do, lambda: bool(getattr(list_recordings(store, job)[0], name)))

    return [marked("handover", "handover"), marked("remove", "removed")]


def practice_changes(store: SqlStore) -> list[Change]:
    """Return tests, the end of a practice, and the shorter path that is found meanwhile."""
    store.documents.remove("practice", "p")
    kept = keep_practice(store, StoredPractice("p", "", "", 1, "", "gain_low", "amp", (), ()))

    def test(name: str) -> Change:
        entry = Check.model_validate({"check": name, "is": "yes"})
        going = SimpleNamespace(ask=lambda _: PracticeTest(name, 1.0, "yes"), entries=[entry])

        def do(at: Store) -> None:
            ask(at, load_practice(at, kept.id), cast("Practice", going), name)

        return Change(do, lambda: name in [tried.name for tried in load_practice(store, kept.id).tried])

    def shorter(at: Store) -> None:
        keep_short_way(at, kept.id, cast("Practice", SimpleNamespace(steps=[])), PracticeReview((), None))

    ended = Change(
        lambda at: give_up(at, load_practice(at, kept.id)), lambda: load_practice(store, kept.id).ended != ""
    )
    found = Change(shorter, lambda: load_practice(store, kept.id).short_way == ())
    return [test("fuse"), test("volume"), ended, found]


def class_changes(store: SqlStore) -> list[Change]:
    """Return the beginnings of two tasks of a class exercise."""
    run = class_runs.ClassRun("r", "Ann", "", "", "", ("", ""))
    store.documents.put(class_runs.KIND, run.id, {"id": "r", "learner": "Ann", "title": "", "exercise": "", "begun": "", "practices": ["", ""]})  # fmt: skip

    def begin(number: int) -> Change:
        def do(at: Store) -> None:
            nothing = cast("Any", SimpleNamespace(job=SimpleNamespace(title="t")))
            class_runs.begin_task(at, class_runs.load_run(at, run.id), number, rigs=nothing, diagnoser=nothing)

        def holds() -> bool:
            begun = class_runs.load_run(store, run.id).practices[number]
            return bool(begun) and load_practice(store, begun).seed == number

        return Change(do, holds)

    return [begin(0), begin(1)]


def link_changes(store: SqlStore) -> list[Change]:
    """Return the same case kept as a job, by two people."""
    name = f"call {len(store.cases.find())}"
    store.cases.write(name, Case(job=JOB, title="car"), seen=0)
    kept: list[str] = []

    def do(at: Store) -> None:
        kept.append(keep_as_job(at, name).id)

    def holds() -> bool:
        job = job_of(store, name)
        return job is not None and job.shelf == "kept" and set(kept) == {job.id}

    return [Change(do, holds)]


def waiting_changes(store: SqlStore) -> list[Change]:
    """Return an entry that waits for an answer, sent again while an earlier one is answered."""
    job = store.jobs.add(title="one", text="1").id
    conflict = ConflictError("x", code="conflict")

    def keep(at: Store) -> None:
        keep_unanswered(at, job, conflict, step="gain", kind="reading", text="1 V", by="phone")

    keep(store)
    kept = Change(keep, lambda: True)
    done = Change(
        lambda at: answered(at, job, by="phone", step="gain"), lambda: len(unanswered(store, job, by="phone")) < 2
    )
    return [kept, done]


KINDS: tuple[Callable[[SqlStore], list[Change]], ...] = (
    job_changes, case_changes, run_changes, note_changes, recording_changes, practice_changes, class_changes, link_changes,
    waiting_changes,
)  # fmt: skip


# ---- the tests -------------------------------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def plain_exercise(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the tasks of a class exercise begin without a chain to hide a fault in."""

    def begun(store: Store, *, seed: int, **_: Any) -> StoredPractice:
        count = len(store.documents.list("practice"))
        return keep_practice(store, StoredPractice(f"p{count}", "", "", seed, "", "gain_low", "amp", (), ()))

    tasks = [SimpleNamespace(chain="c", seed=number) for number in range(2)]
    monkeypatch.setattr(class_runs, "exercise_of", lambda _: SimpleNamespace(tasks=tasks, limits=None))
    monkeypatch.setattr(class_runs, "begin_practice", begun)
    monkeypatch.setattr("gainwright.jobfile.class_files.chain_text", lambda *_: "")


def _told(change: Change, at: Store) -> CallError | None:
    """Make a change; return why it was refused, None when it was accepted."""
    try:
        change.do(at)
    except CallError as error:
        return error
    return None


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__.removesuffix("_changes"))
def test_no_accepted_change_is_lost(store: SqlStore, kind: Callable[[SqlStore], list[Change]]) -> None:
    """For each pair of changes, and each twice: who was accepted is there, who was refused is told what to do."""
    count = len(kind(store))
    for first, second in product(range(count), repeat=2):
        changes = kind(store)
        refused: dict[str, CallError | None] = {}

        def other(change: Change = changes[second], into: dict[str, CallError | None] = refused) -> None:
            into["second"] = _told(change, store)

        pending: list[Callable[[], object]] = [other]
        refused["first"] = _told(changes[first], cast("Store", Interrupted(store, pending)))
        assert not pending, "the first wrote nothing: the test shows nothing"
        for name, number in (("first", first), ("second", second)):
            error = refused[name]
            if error is None:
                assert changes[number].holds(), (first, second, name)
            else:
                assert error.code in ("conflict", "job_deleted"), error
                assert error.remedy
        assert None in refused.values(), "neither was accepted"


def test_recording_restored_while_it_is_swept_stays(store: SqlStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever restores it before it is deleted has it; afterwards there is none."""
    job = store.jobs.add(title="one", text="1").id
    recording = store.recordings.add(job, name="a.wav", content=b"1", measured=MEASURED).id
    mark_recording(store, job, recording, "remove")
    monkeypatch.setattr(store, "age_s", lambda: 8 * 86_400)
    list_recordings(cast("Store", Interrupted(store, [lambda: mark_recording(store, job, recording, "put_back")])), job)
    assert [kept.removed for kept in list_recordings(store, job)] == [False]
    mark_recording(store, job, recording, "remove")
    monkeypatch.setattr(store, "age_s", lambda: 16 * 86_400)
    interrupted = cast("Store", Interrupted(store, [lambda: list_recordings(store, job)]))
    with pytest.raises(CallError, match="no such recording"):
        mark_recording(interrupted, job, recording, "put_back")
    assert store.documents.list(MARKS) == []


def test_device_revoked_while_it_is_seen_stays_out(store: SqlStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """Noting when it was last seen doesn't let it in again."""
    phone = store.devices.add(name="phone", token_digest="d")  # noqa: S106  (no password)
    later = datetime.now(UTC) + timedelta(hours=1)
    calls: list[int] = []

    def now() -> Any:
        if not calls:
            calls.append(1)
            store.devices.revoke(phone.id)
        return later

    monkeypatch.setattr(device_rows, "now", now)
    assert store.devices.by_token("d") is None
    assert [device.put_out for device in store.devices.list()] == [True]
