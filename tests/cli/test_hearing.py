"""The command `hearing`: levels at the ear of a plan and of evidence, their dose, the day of a store."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from commands import run

from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from pathlib import Path

EVIDENCE = """
evidence:
  - {heard: sub, tone: 50 Hz, level: -8 dBFS, is: normal}
  - {at: amp_sub.out.mono, with: meter, tone: 50 Hz, level: 0 dBFS, speakers: off, reads: 10 V}
  - {heard: sub, is: normal}
"""


def test_levels_and_dose(tmp_path: Path) -> None:
    """One tone of the plan, one of the evidence (the other has the speakers off, music no level); a dose once a time is given."""
    (tmp_path / "car.yaml").write_text(example_text("two_way_and_sub"), encoding="utf-8")
    (tmp_path / "e.yaml").write_text(EVIDENCE, encoding="utf-8")
    said = run("hearing", "car.yaml", "--evidence", "e.yaml", folder=tmp_path)
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout.count("dB(A), estimated") == 2
    assert "NIOSH 98-126" not in said.stdout
    assert "Hearing protection on" in said.stdout
    found = json.loads(run("hearing", "car.yaml", "--evidence", "e.yaml", "--json", folder=tmp_path).stdout)
    assert (len(found["planned"]), len(found["heard"]), found["dose"]) == (1, 1, None)
    timed = run("hearing", "car.yaml", "--evidence", "e.yaml", "--seconds", "300", folder=tmp_path)
    assert "below the lower action value" in timed.stdout


def test_a_day_of_a_store(tmp_path: Path) -> None:
    """An empty store has no tones; a call that can't be is refused with what would be right."""
    said = run("hearing", "--day", "2026-11-28", "--json", folder=tmp_path)
    assert json.loads(said.stdout)["of_day"]["tones"] == 0
    assert "jobs with tones heard: 0" in run("hearing", "--day", "2026-11-28", folder=tmp_path).stdout
    for call in ((), ("--day", "soon")):
        refused = run("hearing", *call, folder=tmp_path)
        assert refused.returncode == 2
        assert "2026-11-2" in refused.stderr
