"""Writing job files: only the affected text changes, comments stay, and nothing is half-written."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from gainwright.adapters.files import write_file
from gainwright.errors import CallError
from gainwright.jobfile import example_text, read_job_text
from gainwright.jobfile.editing import set_key


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("stages.head.volume.at", "25"),
        ("stages.head.rated_output", "3.5 V ± 0.1 V"),
        ("stages.knob.at", "-6 dB"),
        ("stages.amp_sub.power.1", "310 W @ 4 ohm"),
        ("stages.tweeter.power", "45 W"),
        ("vehicle.running", "13.9 V"),
    ],
)
def test_one_value_changes_one_line(key: str, value: str) -> None:
    """The rest of the file stays byte for byte, including comments beside the value."""
    text = example_text("two_way_and_sub")
    path = [int(part) if part.isdigit() else part for part in key.split(".")]
    changed = set_key(text, tuple(path), int(value) if value.isdigit() else value)
    lines = [x for x in difflib.ndiff(text.splitlines(), changed.splitlines()) if x[0] in "+-"]
    assert len(lines) == 2, lines
    assert value in lines[1]
    assert lines[0].partition("#")[2] == lines[1].partition("#")[2]
    here = read_job_text(changed).document
    for part in path:
        here = here[part]
    assert str(here) == value


def test_a_new_key_is_added_and_comments_stay() -> None:
    """A key that the file did not have."""
    text = example_text("two_way_and_sub")
    changed = set_key(text, ("stages", "amp_front", "regulated"), value=True)
    assert "# attenuates only" in changed
    assert read_job_text(changed).job.stages["amp_front"].regulated is True  # type: ignore[union-attr]


def test_saving_is_all_or_nothing(tmp_path: Path) -> None:
    """The old file stays until the new one is complete; no temporary file is left behind."""
    path = tmp_path / "job.yaml"
    write_file(path, "a: 1\n")
    write_file(path, "a: é\n")
    assert path.read_bytes() == "a: é\n".encode()
    with pytest.raises(CallError, match="can't be written"):
        write_file(tmp_path / "none" / "job.yaml", "a: 1\n")
    assert [p.name for p in tmp_path.iterdir()] == ["job.yaml"]
