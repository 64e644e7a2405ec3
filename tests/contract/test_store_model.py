"""Random sequences of writes, undo and redo, compared with a plain Python list."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gainwright.app.store import ConflictError
from gainwright.errors import CallError
from gainwright.model.case import Case

if TYPE_CHECKING:
    from gainwright.app.store import JobState, Store

TEXT = st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=12)
CHANGES = st.one_of(
    st.tuples(st.just("write"), TEXT, TEXT),
    st.tuples(st.just("undo")),
    st.tuples(st.just("redo")),
    st.tuples(st.just("stale"), st.integers(-3, 3).filter(bool)),
    st.tuples(st.just("put"), st.sampled_from(["kept", "archived", "deleted"])),
    st.tuples(st.just("say"), st.sampled_from(["a", "b"]), TEXT),
    st.tuples(st.just("say_stale"), st.sampled_from(["a", "b"]), st.integers(1, 3)),
)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
ENTRIES = st.lists(st.dictionaries(st.text(max_size=5), ANYTHING, max_size=3), max_size=3)


@given(title=st.text(max_size=300), entries=ENTRIES)
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_case_is_read_back_or_refused(store: Store, title: str, entries: list[dict[str, Any]]) -> None:
    """Exactly as stored, alone and in the list; invalid text is refused before anything is written."""
    case = Case(title=title, job="", evidence=tuple(entries))
    seen = store.cases.get("any").revision if store.cases.find() else 0
    try:
        store.cases.write("any", case, seen=seen)
    except CallError as error:
        said = json.dumps([title, entries], ensure_ascii=False)
        assert error.code == "not_text"
        assert "\\u0000" in said or any("\ud800" <= character <= "\udfff" for character in said)
        return
    assert store.cases.get("any").case == case
    assert [kept.case for kept in store.cases.find()] == [case]
    assert [kept.case for kept in store.cases.find(title)] == [case]


@dataclass
class Plain:
    """A job and its run as one would keep them in memory."""

    versions: list[tuple[str, str]]
    at: int = 0
    revision: int = 1
    shelf: JobState = "kept"
    said: list[tuple[str, str]] = field(default_factory=list)

    def last(self, step: str) -> int:
        """Return the number of the last entry of a step."""
        return max((number for number, (of, _) in enumerate(self.said, 1) if of == step), default=0)

    def move(self, to: int) -> None:
        """Stand at another version."""
        self.at, self.revision = to, self.revision + 1


def _change(plain: Plain, store: Store, job: str, change: tuple[object, ...]) -> None:
    """Make one change to both."""
    if plain.shelf == "deleted" and change[0] != "put":
        with pytest.raises(CallError, match="is deleted"):
            _write_something(plain, store, job, str(change[0]))
        return
    match change:
        case ("write", str(title), str(text)):
            store.jobs.write(job, title=title, text=text, seen=plain.revision)
            plain.versions[plain.at + 1 :] = [(title, text)]
            plain.move(plain.at + 1)
        case ("undo",) if plain.at > 0:
            store.jobs.undo(job, seen=plain.revision)
            plain.move(plain.at - 1)
        case ("redo",) if plain.at + 1 < len(plain.versions):
            store.jobs.redo(job, seen=plain.revision)
            plain.move(plain.at + 1)
        case ("undo",):
            with pytest.raises(CallError, match="nothing to undo"):
                store.jobs.undo(job, seen=plain.revision)
        case ("redo",):
            with pytest.raises(CallError, match="nothing to redo"):
                store.jobs.redo(job, seen=plain.revision)
        case ("stale", int(off)):
            with pytest.raises(ConflictError):
                store.jobs.write(job, title="lost", text="lost", seen=plain.revision + off)
        case ("put", "kept" | "archived" | "deleted" as shelf):
            store.jobs.put(job, shelf)
            plain.shelf = shelf
        case ("say", str(step), str(text)):
            store.runs.add(job, step=step, kind="reading", text=text, value={"t": text}, by="", seen=plain.last(step))
            plain.said.append((step, text))
        case ("say_stale", str(step), int(off)):
            with pytest.raises(ConflictError):
                store.runs.add(job, step=step, kind="done", text="", value={}, by="", seen=plain.last(step) + off)
        case _:
            raise AssertionError(change)


def _write_something(plain: Plain, store: Store, job: str, what: str) -> None:
    """Make a change of a kind that would be accepted if the job weren't deleted."""
    if what in ("undo", "redo"):
        getattr(store.jobs, what)(job, seen=plain.revision)
    elif what in ("write", "stale"):
        store.jobs.write(job, title="lost", text="lost", seen=plain.revision)
    else:
        store.runs.add(job, step="a", kind="done", text="", value={}, by="", seen=plain.last("a"))


@given(changes=st.lists(CHANGES, max_size=30), first=st.tuples(TEXT, TEXT))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_sequence_of_changes_matches_a_list(
    store: Store, changes: list[tuple[object, ...]], first: tuple[str, str]
) -> None:
    """After each change the job, its undo and redo steps, its state and its run are those of the model."""
    plain = Plain([first])
    job = store.jobs.add(title=first[0], text=first[1]).id
    for change in changes:
        _change(plain, store, job, change)
        found = store.jobs.get(job)
        assert (found.title, found.text) == plain.versions[plain.at]
        assert (found.revision, found.shelf) == (plain.revision, plain.shelf)
        assert (found.undoable, found.redoable) == (plain.at, len(plain.versions) - 1 - plain.at)
        assert [(entry.step, entry.text, entry.value["t"]) for entry in store.runs.entries(job)] == [(step, text, text) for step, text in plain.said]  # fmt: skip
    assert job in {listed.id for listed in store.jobs.list(shelf=plain.shelf)}
