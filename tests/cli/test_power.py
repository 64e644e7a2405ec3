"""The command `power`: text, JSON, drawing, the music of a scan, and its paper."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from commands import run

from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import amplifier_loads
from gainwright.programme import Limits
from gainwright.programme.music_result import BandFigures, MusicResult, TimeAbove, TrackFigures
from gainwright.results import to_json

if TYPE_CHECKING:
    from pathlib import Path


def test_power_of_an_example(tmp_path: Path) -> None:
    """Without music a share of full power is taken and said; with a scan its own figures; drawing and paper are written."""
    text = example_text("five_channel")
    (tmp_path / "car.yaml").write_text(text, encoding="utf-8")
    said = run("power", "car.yaml", folder=tmp_path)
    assert (said.returncode, said.stderr) == (0, "")
    assert "No music was scanned" in said.stdout
    assert "4 AWG, fuse 60 A" in said.stdout
    plain = json.loads(run("power", "car.yaml", "--json", "--chart", "supply.svg", folder=tmp_path).stdout)
    assert plain["music"] == "assumed"
    assert "<svg" in (tmp_path / "supply.svg").read_text(encoding="utf-8")

    bands = {load.band.key for load in amplifier_loads(read_job_text(text).job)}
    quiet = BandFigures(-3.0, -3.0, -40.0, 20.0, 0.0, 0.0, 0.0, -30.0)
    points = (TimeAbove(-60.0, 50.0), TimeAbove(-30.0, 1.0), TimeAbove(-3.0, 0.0))
    track = TrackFigures("quiet.flac", 60.0, 48_000, 2, -40.0, 5.0, -3.0, dict.fromkeys(bands, quiet), {})
    music = MusicResult("", (track,), {}, {}, {}, dict.fromkeys(bands, points), Limits(), 60.0, 0, ())
    (tmp_path / "music.json").write_text(json.dumps(to_json(music)), encoding="utf-8")
    scanned = json.loads(run("power", "car.yaml", "--music", "music.json", "--json", folder=tmp_path).stdout)
    assert scanned["music"] == "scan"
    assert scanned["battery"]["drawn_a"]["music"] < plain["battery"]["drawn_a"]["music"]

    (tmp_path / "other.json").write_text("{}", encoding="utf-8")
    refused = run("power", "car.yaml", "--music", "other.json", folder=tmp_path)
    assert (refused.returncode, "isn't a result of gainwright music" in refused.stderr) == (2, True)
    paper = run("report", "car.yaml", "--kind", "power", "--language", "de", "--out", "power.html", folder=tmp_path)
    assert paper.returncode == 0
    printed = (tmp_path / "power.html").read_text(encoding="utf-8")
    assert "Leistung und Wärme" in printed
    assert "Sicherung 60 A" in printed
