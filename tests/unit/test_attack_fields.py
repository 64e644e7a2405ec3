"""The sweep of single edits: every field of every shipped example is in it, and a few edits of it hold."""

from __future__ import annotations

import attack_fields
import hostile_jobs
import pytest

from gainwright.jobfile import examples


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
    assert any(isinstance(value, str) and value.startswith("1e300 V") for _, value in edits)
