"""Entries that wait for an answer: kept for the device that sent them, each until it is answered."""

from __future__ import annotations

from pathlib import Path

from gainwright.app.set_up.unanswered import answered, keep_unanswered, unanswered
from gainwright.app.store import ConflictError, Store
from gainwright.composition import Adapters
from gainwright.errors import CallError, DoubtfulReadingError, GainwrightError

CONFLICT = ConflictError("somebody else was faster", code="conflict")
ASKED = DoubtfulReadingError("is it 13.9?", candidate="13.9")


def test_entries_wait_for_the_device_that_sent_them(tmp_path: Path) -> None:
    """In order, once each; other errors are no questions; one answer ends one of them, an entry of the step all."""
    store: Store = Adapters().store(str(tmp_path / "store.sqlite"))

    def keep(error: GainwrightError, text: str, *, step: str = "a", by: str = "phone", job: str = "j") -> None:
        keep_unanswered(store, job, error, step=step, kind="reading", text=text, by=by)

    def waiting(by: str = "phone") -> list[tuple[str, str, str, str]]:
        return [(w.step, w.text, w.why, w.candidate) for w in unanswered(store, "j", by=by)]

    keep(CONFLICT, "34 3.1")
    keep(ASKED, " 139 ")
    keep(ASKED, "139")
    keep(CallError("not a reading", code="bad_reading"), "abc")
    keep(CONFLICT, "0.4", step="b")
    keep(CONFLICT, "0.4", by="tablet")
    keep(CONFLICT, "0.4", job="other")
    assert waiting() == [("a", "34 3.1", "conflict", ""), ("a", "139", "asked", "13.9"), ("b", "0.4", "conflict", "")]
    assert waiting("tablet") == [("a", "0.4", "conflict", "")]
    answered(store, "j", by="phone", step="a", entry=unanswered(store, "j", by="phone")[1].id)
    assert waiting() == [("a", "34 3.1", "conflict", ""), ("b", "0.4", "conflict", "")]
    keep(CONFLICT, "35 3.3")
    answered(store, "j", by="phone", step="a")
    assert waiting() == [("b", "0.4", "conflict", "")]
    assert waiting("tablet") == [("a", "0.4", "conflict", "")]
    assert len(unanswered(store, "other", by="phone")) == 1
    store.close()
