"""The progress of a set-up run from its entries alone is what the whole run counts."""

from __future__ import annotations

from pathlib import Path

from typed_run import bay

from gainwright.app.set_up.progress import progress_of


def test_progress_counts_as_the_run_does(tmp_path: Path) -> None:
    """Done and skipped steps count; those taken back don't, nor does a column before its last clean step."""
    here = bay(tmp_path)
    assert progress_of(here.store.runs.entries(here.id)) is None
    column = next(s.step.id for s in here.run.steps if s.asked == "column")
    for step, text, kind in (
        ("prepare.speakers", "", "done"),
        ("prepare.supply", "13.8", "reading"),
        ("prepare.supply", "", "taken_back"),
        ("prepare.supply", "no meter here", "skipped"),
        (column, "10 1.2", "reading"),
        (column, "11 1.4", "reading"),
        (column, "11", "reading"),
    ):
        here.enter(step, text, kind=kind)
        entries = here.store.runs.entries(here.id)
        progress = progress_of(entries)
        assert progress is not None
        assert progress.steps == here.run.count("done", "skipped")
    assert progress is not None
    assert progress.steps == 3
    assert progress.last == entries[-1].at
