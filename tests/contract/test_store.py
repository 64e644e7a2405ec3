"""The contract of every store, whichever database it uses: one suite over SQLite and a real PostgreSQL."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from gainwright.adapters.store import open_store
from gainwright.app.store import ConflictError
from gainwright.errors import CallError
from gainwright.model.case import Case, Closure

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.store import PairedDevice, Store, StoredJob

NO_TEXT = ("nul \x00 in it", "half \ud83d a character")
ODD_TEXT = "Grün · ½ Ω · 音 · 🔈 · 'quoted' \"twice\" %s :name \\ {brace}\r\n\ttab\u2028"


def _refused(code: str, call: Callable[[], object]) -> CallError:
    with pytest.raises(CallError) as caught:
        call()
    assert caught.value.code == code
    return caught.value


# ---- jobs ----------------------------------------------------------------------------------------------------


def test_job_is_read_back_as_stored(store: Store, place: str) -> None:
    """Text to the last character, times in UTC, also after closing and reopening."""
    before = datetime.now(UTC)
    kept = store.jobs.add(title=ODD_TEXT, text=ODD_TEXT * 50)
    after = datetime.now(UTC)
    assert (kept.title, kept.text) == (ODD_TEXT, ODD_TEXT * 50)
    assert (kept.revision, kept.shelf, kept.undoable, kept.redoable) == (1, "kept", 0, 0)
    assert before <= kept.created == kept.changed <= after
    store.close()
    again = open_store(place)
    assert again.jobs.get(kept.id) == kept
    assert again.jobs.list() == [kept]
    again.close()


def test_undo_and_redo_move_between_versions(store: Store) -> None:
    """Each change increments the revision; a write after an undo discards what could be redone."""
    job = store.jobs.add(title="one", text="1")
    for number, title in ((2, "two"), (3, "three")):
        job = store.jobs.write(job.id, title=title, text=str(number), seen=job.revision, by="phone")
        assert (job.title, job.text, job.revision, job.undoable, job.redoable) == (
            title,
            str(number),
            number,
            number - 1,
            0,
        )
    job = store.jobs.undo(job.id, seen=3)
    job = store.jobs.undo(job.id, seen=4)
    assert (job.title, job.text, job.revision, job.undoable, job.redoable) == ("one", "1", 5, 0, 2)
    _refused("nothing_to_undo", lambda: store.jobs.undo(job.id, seen=5))
    job = store.jobs.redo(job.id, seen=5)
    assert (job.title, job.undoable, job.redoable) == ("two", 1, 1)
    job = store.jobs.write(job.id, title="other", text="o", seen=6)
    assert (job.title, job.undoable, job.redoable) == ("other", 2, 0)
    _refused("nothing_to_redo", lambda: store.jobs.redo(job.id, seen=7))
    assert store.jobs.undo(job.id, seen=7).title == "two"
    assert store.jobs.get(job.id).revision == 8


def test_jobs_of_a_day_are_those_with_entries_then(store: Store) -> None:
    """From the first moment on, before the last; each once, jobs without entries and deleted ones left out."""
    one, other, gone = (store.jobs.add(title=title, text="-") for title in ("one", "other", "gone"))
    store.jobs.add(title="never begun", text="-")
    begin = datetime.now(UTC)
    for job, step in ((one, "a"), (one, "b"), (other, "a"), (gone, "a")):
        entry = store.runs.add(job.id, step=step, kind="done", text="", value={}, by="phone", seen=0)
    store.jobs.put(gone.id, "deleted")
    found = store.runs.jobs_between(begin, entry.at + timedelta(seconds=1))
    assert found == {
        name: (len(entries), entries[-1].number) for name in (one.id, other.id) if (entries := store.runs.entries(name))
    }
    assert set(found) == {one.id, other.id}
    assert store.runs.jobs_between(begin - timedelta(days=1), begin) == {}
    first = store.runs.entries(one.id)[0].at
    assert list(store.runs.jobs_between(first, first + timedelta(microseconds=1))) == [one.id]


@pytest.mark.parametrize("seen", [0, 1, 3, -1, 2**70])
def test_a_job_changed_meanwhile_is_not_overwritten(store: Store, seen: int) -> None:
    """Neither by a write nor by undo or redo based on another revision."""
    job = store.jobs.add(title="one", text="1")
    now = store.jobs.write(job.id, title="two", text="2", seen=1)
    changes: list[Callable[[], StoredJob]] = [
        lambda: store.jobs.write(job.id, title="lost", text="lost", seen=seen),
        lambda: store.jobs.undo(job.id, seen=seen),
        lambda: store.jobs.redo(job.id, seen=seen),
    ]
    for change in changes:
        with pytest.raises(ConflictError) as caught:
            change()
        assert "nothing was written" in caught.value.remedy
    assert store.jobs.get(job.id) == now


def test_job_has_one_state(store: Store) -> None:
    """A job is kept, archived or deleted; changing that changes neither its text nor its revision."""
    job = store.jobs.add(title="one", text="1")
    for shelf in ("archived", "deleted", "kept"):
        moved = store.jobs.put(job.id, shelf)
        assert (moved.shelf, moved.revision, moved.text) == (shelf, 1, "1")
        for other in ("kept", "archived", "deleted"):
            assert [j.id for j in store.jobs.list(shelf=other)] == ([job.id] if other == shelf else [])


def test_a_job_is_moved_from_the_state_that_was_seen(store: Store) -> None:
    """Deleted from an old page that shows it as kept, while somebody archived it: a conflict (once done in silence)."""
    job = store.jobs.add(title="one", text="1")
    assert store.jobs.put(job.id, "archived", seen="kept").shelf == "archived"
    with pytest.raises(ConflictError):
        store.jobs.put(job.id, "deleted", seen="kept")
    assert store.jobs.get(job.id).shelf == "archived"
    assert store.jobs.put(job.id, "deleted", seen="archived").shelf == "deleted"


def test_jobs_are_listed_last_changed_first(store: Store) -> None:
    """By the time of the last change, not of creation."""
    jobs = [store.jobs.add(title=title, text="") for title in ("a", "b", "c")]
    store.jobs.write(jobs[0].id, title="a", text="x", seen=1)
    store.jobs.write(jobs[1].id, title="b", text="x", seen=1)
    store.jobs.undo(jobs[0].id, seen=2)
    assert [job.title for job in store.jobs.list()] == ["a", "b", "c"]


LOOKED_FOR = {
    "": ["estate", "van"],
    "GRÜNER": ["estate"],
    "gru\u0308ner": ["estate"],
    "strasse": ["estate"],
    "STRASSE wagen": ["estate"],
    "kombi grüner": ["estate"],
    "grüner van": [],
    "100%": ["van"],
    "%": ["van"],
    "a_b": ["van"],
    "axb": [],
    "\\": ["van"],
    "éclair": ["van"],
    "ECLAIR": [],
    "   ": ["estate", "van"],
    "' OR 1=1 --": [],
}


def test_jobs_are_found_by_every_word(store: Store) -> None:
    """In title or text, whole or in part, in any case, with umlauts; symbols match themselves."""
    store.jobs.add(title="Grüner Wagen", text="Kombi # Hauptstraße 5\nestate")
    store.jobs.add(title="ÉCLAIR 100% a_b \\", text="van")
    found = {words: sorted(job.text.split("\n")[-1] for job in store.jobs.list(words=words)) for words in LOOKED_FOR}
    assert found == LOOKED_FOR


def test_search_follows_undo(store: Store) -> None:
    """The current version of a job is searched."""
    job = store.jobs.add(title="alpha", text="")
    store.jobs.write(job.id, title="beta", text="", seen=1)
    assert [len(store.jobs.list(words=w)) for w in ("alpha", "beta")] == [0, 1]
    store.jobs.undo(job.id, seen=2)
    assert [len(store.jobs.list(words=w)) for w in ("alpha", "beta")] == [1, 0]


def test_missing_job_is_reported(store: Store) -> None:
    """By every operation."""
    for call in (
        lambda: store.jobs.get("none"),
        lambda: store.jobs.write("none", title="", text="", seen=1),
        lambda: store.jobs.undo("none", seen=1),
        lambda: store.jobs.redo("none", seen=1),
        lambda: store.jobs.put("none", "archived"),
        lambda: _entry(store, "none", seen=0),
        lambda: store.recordings.add("none", name="a.wav", content=b"", measured={}),
    ):
        _refused("no_such_job", call)
    assert store.runs.entries("none") == []
    assert store.recordings.of("none") == []


@pytest.mark.parametrize("text", NO_TEXT)
def test_invalid_text_is_refused(store: Store, text: str) -> None:
    """In the same way by each database; nothing is written."""
    job = store.jobs.add(title="one", text="1")
    for call in (
        lambda: store.jobs.add(title=text, text=""),
        lambda: store.jobs.write(job.id, title="", text=text, seen=1),
        lambda: store.jobs.list(words=text),
        lambda: store.jobs.get(text),
        lambda: store.runs.add(job.id, step="1", kind="reading", text=text, value={}, by="", seen=0),
        lambda: store.runs.add(job.id, step="1", kind="reading", text="", value={}, by="", seen=0, key=text),
        lambda: store.recordings.add(job.id, name=text, content=b"", measured={}),
        lambda: store.notes.add(job.id, step="1", text=text, by=""),
        lambda: store.cases.write("a", Case(job=text), seen=0),
        lambda: _device(store, text, "a"),
        lambda: store.documents.put("a", text, {}),
    ):
        _refused("not_text", call)
    assert store.jobs.list() == [job]
    assert not store.cases.find()


# ---- runs ----------------------------------------------------------------------------------------------------


def _entry(store: Store, job: str, *, seen: int, step: str = "gain of amp", **other: Any) -> Any:
    said = {"kind": "reading", "text": "2,1 V", "value": {"volts": 2.1}, "by": "phone", **other}
    return store.runs.add(job, step=step, seen=seen, **said)


def test_entries_of_a_run_are_numbered(store: Store) -> None:
    """From 1, across all steps; earlier ones stay."""
    job, other = (store.jobs.add(title=title, text="").id for title in ("one", "two"))
    first = _entry(store, job, seen=0, value={"nested": {"list": [1, 2.5, None, "Ω\x00"]}, "b": True})
    second = _entry(store, job, seen=0, step="volume", kind="skipped", text=ODD_TEXT)
    third = _entry(store, job, seen=1, kind="taken_back", text="")
    assert [entry.number for entry in (first, second, third)] == [1, 2, 3]
    assert store.runs.entries(job) == [first, second, third]
    assert _entry(store, other, seen=0).number == 1
    assert first.at <= second.at <= third.at


def test_entry_made_meanwhile_is_not_overwritten(store: Store) -> None:
    """A write based on an older entry of the step is refused; another step doesn't matter."""
    job = store.jobs.add(title="one", text="").id
    for seen, step, fits in ((0, "a", True), (0, "a", False), (0, "b", True), (2, "a", False), (1, "a", True), (1, "a", False), (2, "b", True)):  # fmt: skip
        if fits:
            _entry(store, job, seen=seen, step=step)
        else:
            with pytest.raises(ConflictError):
                _entry(store, job, seen=seen, step=step)
    assert [(entry.number, entry.step) for entry in store.runs.entries(job)] == [(1, "a"), (2, "b"), (3, "a"), (4, "b")]


def test_entry_with_a_key_is_stored_once(store: Store) -> None:
    """Sent again it is the same entry, also after it was taken back; another text with the key is another entry."""
    job, other = (store.jobs.add(title=title, text="").id for title in ("one", "two"))
    first = _entry(store, job, seen=0, key="k1")
    assert _entry(store, job, seen=0, key="k1") == first
    back = _entry(store, job, seen=1, kind="taken_back", text="", key="k2")
    assert _entry(store, job, seen=0, key="k1") == first
    assert _entry(store, job, seen=2, key="k1") == first
    with pytest.raises(ConflictError):
        _entry(store, job, seen=0, key="k1", text="2,2 V")
    third = _entry(store, job, seen=2, key="k1", text="2,2 V")
    fourth = _entry(store, job, seen=0, key="k1", step="volume")
    without = [_entry(store, job, seen=seen, step="no key") for seen in (0, 5)]
    assert store.runs.entries(job) == [first, back, third, fourth, *without]
    assert [entry.key for entry in store.runs.entries(job)] == ["k1", "k2", "k1", "k1", "", ""]
    assert _entry(store, other, seen=0, key="k1").number == 1


def test_notes_with_and_without_a_photo(store: Store) -> None:
    """Oldest first, byte for byte; the same key in a job is the same note; gone once removed, with the photo."""
    job, other = (store.jobs.add(title=title, text="").id for title in ("one", "two"))
    content = bytes(range(256)) * 4000
    first = store.notes.add(job, step="gain", text=ODD_TEXT, by="phone", photo=content, media_type="image/png", key="k")
    second = store.notes.add(job, step="volume", text="loose", by="phone")
    assert store.notes.add(job, step="gain", text="again", by="phone", key="k") == first
    assert store.notes.of(job) == [first, second]
    assert (first.size, second.size, second.media_type) == (len(content), 0, "")
    assert store.notes.photo(first.id) == content
    assert store.notes.get(second.id) == second
    assert store.notes.add(other, step="gain", text="", by="", key="k").id != first.id
    _refused("no_such_note", lambda: store.notes.photo(second.id))
    _refused("no_such_job", lambda: store.notes.add("none", step="a", text="", by=""))
    store.notes.remove(first.id)
    store.notes.remove(first.id)
    _refused("no_such_note", lambda: store.notes.get(first.id))
    _refused("no_such_note", lambda: store.notes.photo(first.id))
    assert store.notes.of(job) == [second]


def _device(store: Store, name: str, digest: str) -> PairedDevice:
    return store.devices.add(name=name, token_digest=digest)


# ---- recordings, cases, devices, documents -------------------------------------------------------------------


def test_recordings_are_stored_byte_for_byte(store: Store) -> None:
    """Newest first; all bytes; gone once removed."""
    job = store.jobs.add(title="one", text="").id
    content = bytes(range(256)) * 4000
    first = store.recordings.add(job, name="50 Hz.wav", content=content, measured={"thd": 0.01})
    second = store.recordings.add(job, name="empty", content=b"", measured={})
    assert store.recordings.of(job) == [second, first]
    assert store.recordings.get(first.id) == first
    assert first.size == len(content)
    assert store.recordings.content(first.id) == content
    assert store.recordings.content(second.id) == b""
    assert (b"".join(store.recordings.pieces(first.id)), list(store.recordings.pieces(second.id))) == (content, [])
    store.recordings.remove(first.id)
    store.recordings.remove(first.id)
    assert store.recordings.of(job) == [second]
    _refused("no_such_recording", lambda: store.recordings.get(first.id))
    _refused("no_such_recording", lambda: store.recordings.content(first.id))
    _refused("no_such_recording", lambda: list(store.recordings.pieces(first.id)))


def test_cases_are_stored_by_name_with_a_revision(store: Store) -> None:
    """A case is read back as stored; a write based on another revision is refused."""
    case = Case(
        title="Sub silent", job="format: 1\n", evidence=({"at": "head.sub.mono", "reads": 0.5, "tried": [1, None]},)
    )
    kept = store.cases.write("blue-estate", case, seen=0)
    assert (kept.name, kept.case, kept.revision) == ("blue-estate", case, 1)
    assert store.cases.get("blue-estate") == kept
    for seen in (0, 2):
        with pytest.raises(ConflictError):
            store.cases.write("blue-estate", Case(job="lost"), seen=seen)
    with pytest.raises(ConflictError):
        store.cases.write("another", case, seen=1)
    changed = store.cases.write("blue-estate", case.model_copy(update={"title": "New"}), seen=1)
    assert changed.revision == 2
    assert list(store.cases.find()) == [changed]
    assert store.cases.find()[:5] == [changed]
    assert store.cases.find()[0] == changed
    _refused("no_such_case", lambda: store.cases.get("another"))


def test_closed_cases_are_counted_by_cause(store: Store) -> None:
    """Closed, reopened, closed with another cause: the count follows."""
    assert store.cases.counted().by_cause == {}
    blue = Case(job="1", closed=Closure(cause="lead_open", where="lead:a-b"))
    store.cases.write("blue", blue, seen=0)
    store.cases.write("red", blue, seen=0)
    store.cases.write("green", Case(job='{"closed":{"cause":"gain_low"}}'), seen=0)
    assert store.cases.counted().by_cause == {"lead_open": 2}
    store.cases.write("red", blue.model_copy(update={"closed": None}), seen=1)
    assert store.cases.counted().by_cause == {"lead_open": 1}
    store.cases.write("red", blue.model_copy(update={"closed": Closure(cause="gain_low", where="amp")}), seen=2)
    assert store.cases.counted().by_cause == {"lead_open": 1, "gain_low": 1}


@pytest.mark.parametrize("name", ["", "../x", "a/b", ".a", "a.", "x" * 81, "a\x00", "a\nb"])
def test_invalid_case_names_are_refused(store: Store, name: str) -> None:
    """In the same way as by the folder of cases."""
    for call in (
        lambda: store.cases.write(name, Case(job=""), seen=0),
        lambda: store.cases.get(name),
    ):
        _refused("bad_name", call)


def test_cases_are_found_by_any_word(store: Store) -> None:
    """In name, title, job, evidence and dialogue; every word, in any case; last changed first."""
    evidence = ({"at": "amp_sub.out.mono", "note": "Zündung an"},)
    store.cases.write("blue-estate", Case(title="Kein Bass", job="kind: head_unit", evidence=evidence), seen=0)
    store.cases.write("red-van", Case(title="Bass too loud", job="kind: amplifier"), seen=0)
    looked_for = {"bass": 2, "BASS zündung": 1, "head_unit": 1, "red-VAN": 1, "amp_sub kein": 1, "bass cello": 0}
    assert {words: len(store.cases.find(words)) for words in looked_for} == looked_for
    assert [kept.name for kept in store.cases.find("bass")] == ["red-van", "blue-estate"]


def test_devices_are_identified_by_their_token(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Until their access is revoked; the time of the last request is stored."""
    from gainwright.adapters.store import devices as module

    phone = _device(store, "phone", "d1")
    tablet = _device(store, "tablet", "d2")
    assert store.devices.by_token("d1") == phone
    assert store.devices.by_token("d3") is None
    later = datetime.now(UTC).replace(microsecond=7) + timedelta(minutes=5)
    monkeypatch.setattr(module, "now", lambda: later)
    seen = store.devices.by_token("d1")
    assert seen is not None
    assert seen.seen == later
    assert store.devices.list() == [seen, tablet]
    store.devices.revoke(phone.id)
    assert store.devices.by_token("d1") is None
    assert [(device.name, device.put_out) for device in store.devices.list()] == [("phone", True), ("tablet", False)]
    right = later - timedelta(days=4000)  # the clock was ahead
    monkeypatch.setattr(module, "now", lambda: right)
    ahead = _device(store, "ahead", "d4")
    monkeypatch.setattr(module, "now", lambda: right - timedelta(days=1))
    seen = store.devices.by_token("d4")
    assert seen is not None
    assert (seen.seen, seen.paired) == (right - timedelta(days=1), ahead.paired)
    store.devices.revoke(ahead.id)
    _refused("no_such_device", lambda: store.devices.revoke("none"))
    _refused("token_taken", lambda: _device(store, "copy", "d2"))


def test_documents_are_stored_by_kind_and_key(store: Store) -> None:
    """Replaced as a whole, listed last changed first; removing a missing one is no error."""
    documents = store.documents
    assert documents.get("scan", "a") is None
    for key, number in itertools.product("ab", (1, 2)):
        documents.put("scan", key, {"number": number, "odd": ODD_TEXT + "\x00"})
    documents.put("practice", "a", {})
    documents.put("scan", "a", {"now": [None, 1e-300]})
    assert documents.get("scan", "a") == {"now": [None, 1e-300]}
    assert [key for key, _ in documents.list("scan")] == ["a", "b"]
    assert documents.list("practice") == [("a", {})]
    documents.remove("scan", "a")
    documents.remove("scan", "a")
    assert documents.get("scan", "a") is None
    assert documents.get("practice", "a") == {}


def test_a_recording_is_read_piece_by_piece_and_ends_when_it_is_removed(store: Store) -> None:
    """Three pieces, of which the last is short; what is removed between two of them is no error."""
    job = store.jobs.add(title="", text="").id
    content = bytes(range(256)) * 9_000
    kept = store.recordings.add(job, name="a", content=content, measured={})
    pieces = list(store.recordings.pieces(kept.id))
    assert [len(piece) for piece in pieces] == [1 << 20, 1 << 20, 256 * 9_000 - (2 << 20)]
    assert b"".join(pieces) == content
    reading = store.recordings.pieces(kept.id)
    assert next(reading) == content[: 1 << 20]
    store.recordings.remove(kept.id)
    assert list(reading) == []
