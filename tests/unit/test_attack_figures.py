"""The figures of an attack: what counts as holding, how runs are added up, and what is told."""

from __future__ import annotations

import json

from attack_figures import FALLS_KEPT, Figures, as_data, everything, together, told


def test_fall_traceback_and_loss_each_break_the_promise() -> None:
    """Refusals and long waits alone break nothing; each of the others does."""
    assert Figures("files", tried=9, refused=9, longest_s=3.0).held
    fallen = Figures("files")
    fallen.fell("a.yaml: took 3 s")
    assert not fallen.held
    assert not Figures("files", tracebacks=1).held
    assert not Figures("kills", acknowledged=5, lost=1).held


def test_runs_of_one_kind_are_added_and_their_worst_kept() -> None:
    """Counts are sums, times and memory the largest, falls all of them up to a number."""
    one = Figures("files", tried=3, refused=2, longest_s=0.4, memory_mb=20.0, falls=["a"])
    two = Figures("files", tried=4, refused=1, longest_s=0.2, memory_mb=50.0, falls=["b"] * FALLS_KEPT)
    files, kills = together([one, Figures("kills", tried=1), two])
    assert (files.tried, files.refused, files.longest_s, files.memory_mb) == (7, 3, 0.4, 50.0)
    assert (len(files.falls), files.falls_untold) == (FALLS_KEPT, 1)
    assert kills.tried == 1


def test_what_is_told_names_every_figure_and_fall() -> None:
    """A person reads each figure with its unit; figures that don't apply aren't named."""
    text = told([Figures("kills on SQLite", tried=12, acknowledged=340, longest_s=1.234, falls=["seed 4: one lost"])])
    assert "kills on SQLite: 12 tried" in text
    assert "340 acknowledged, 0 lost, longest 1.23 s" in text
    assert "own machine" not in text
    assert "fell: seed 4: one lost" in text
    assert json.loads(json.dumps(as_data([Figures("files", tried=2)])))[0]["tried"] == 2


def test_one_line_has_all_kinds_together() -> None:
    """Counts are sums, the rest the largest of any kind."""
    files = Figures("files", tried=9, refused=4, longest_s=0.5, memory_mb=30.0)
    kills = Figures("kills", tried=2, acknowledged=50, longest_s=2.0, falls=["a"], falls_untold=3)
    assert everything([files, kills, Figures("floods", tried=1, own_served_s=0.3)]) == (
        "everything: 12 tried, 4 refused, 0 tracebacks, 50 acknowledged, 0 lost, 4 fell, longest 2.00 s, most memory 30 MB, "
        "own machine served within 0.30 s"
    )
