"""The page of a scan of music in German: decimal commas in its tables, and the tone that it compares is named as what it is."""

from __future__ import annotations

import dataclasses
import re
from contextlib import closing
from typing import TYPE_CHECKING

import numpy as np
from fastapi.testclient import TestClient
from programme_made import band_of_windows

from gainwright.adapters.store import open_store
from gainwright.app.music.allowances import allowances, job_bands
from gainwright.app.music.scan import Library, ScannedTrack
from gainwright.composition import compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.programme import TrackStatistics
from gainwright.results import to_json
from gainwright.web.music import scans
from gainwright.web.server import create_app
from gainwright.web.site import Site

if TYPE_CHECKING:
    from pathlib import Path


def test_a_scan_in_german(tmp_path: Path) -> None:
    """No figure of the tables has a decimal point; power and heat neither; a set-up tone is called one, whatever was scanned."""
    job = read_job_text(example_text("one_amplifier")).job
    band = band_of_windows(np.full(300, 0.013), 0.7)
    parts = tuple(dataclasses.replace(band, name=b.name) for b in job_bands(job)[0])
    track = ScannedTrack("fifty.wav", TrackStatistics(30.0, 48_000, 2, -14.4, 6.3, None, None, parts, 0.7))
    found = allowances(Library((track,), (), 0, 1), job)
    with (
        closing(open_store(tmp_path / "s.sqlite")) as store,
        TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as client,
    ):
        job_id = client.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
        store.documents.put(scans.KIND, "m1", to_json(scans.KeptScan("Musik", job_id, found, as_run=False)))
        german = {"accept-language": "de"}
        shown = client.get("/music/m1", headers=german).text
        power = client.get(f"/jobs/{job_id}/power", headers=german).text
        for page in (shown, power):
            cells = re.findall(r'<td class="figure">([^<]*)</td>', page)
            assert any("," in cell for cell in cells)
            assert not [cell for cell in cells if re.search(r"\d\.\d", cell)]
        drawn = re.findall(r'<text class="figure"[^>]*>([^<]*)</text>', power)
        assert drawn
        assert not [text for text in drawn if "." in text]
        assert "-14,4 LUFS" in shown
        english = client.get("/music/m1").text
        assert "-14.4 LUFS" in english
        assert re.search(r"that of its set-up tone of [\d.]+ Hz only 3.0 dB", english)
