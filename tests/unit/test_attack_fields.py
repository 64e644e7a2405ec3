"""The sweep of single edits: every field of every shipped example is in it, and a few edits of it hold."""

from __future__ import annotations

import attack_fields
import hostile_jobs
import pytest

from gainwright.jobfile import example_text, examples


def test_a_few_single_edits_hold() -> None:
    """Drawn by a fixed seed from all of them; the long form is `python3 tasks.py attack --only fields`."""
    (figures,) = attack_fields.attack(7, 0.0)
    assert figures.tried == attack_fields.FEW
    assert figures.falls == []


@pytest.mark.parametrize("name", list(examples()))
def test_every_field_is_left_out_and_made_every_number(name: str) -> None:
    """Of lists and mappings, too; a number within a text is also replaced where it stands."""
    edits = attack_fields.edits(name)
    for place in hostile_jobs.scalars(hostile_jobs.document(name)):
        there = [value for where, value in edits if where == place]
        assert there[:2] == [hostile_jobs.MISSING, "unknown"]
        assert there[2:6] == [0, 1e-300, 1e300, -1]
    assert (("stages",), 0.0) in edits
    for extreme in ("1e300", "1e-6", "1e5"):
        assert any(isinstance(value, str) and value.startswith(f"{extreme} V") for _, value in edits)


def test_edits_that_leave_the_same_job_are_used_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left out and what is said to be as it is assumed are one job; a sweep of 9,000 edits uses some 1,500."""
    used, done = set[str](), list[str]()
    monkeypatch.setattr(attack_fields, "use_job", lambda text, **_draws: done.append(text))
    job = example_text("one_amplifier")
    for text in (
        job,
        job.replace("format: 1", "format:   1"),
        job.replace("minimum_load: 2 ohm", "minimum_load: 1 ohm"),
    ):
        attack_fields._use(text, used)
    assert len(done) == 2
