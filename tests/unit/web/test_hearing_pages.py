"""The hearing dose on the page of the run, over HTTP and on papers."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from fastapi.testclient import TestClient

from gainwright.adapters.store import open_store
from gainwright.composition import compose
from gainwright.web.server import create_app
from gainwright.web.site import Site

LOUD = "verify.supply"


def test_the_dose_follows_the_run(tmp_path: Path) -> None:
    """Before: what the tone will be at the ear. After its reading: this job and the day, on page, API and papers alike, in German too."""
    with (
        closing(open_store(tmp_path / "s.sqlite")) as store,
        TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as client,
    ):
        job = client.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"]
        before = client.get(f"/jobs/{job}/setup").text
        assert "No tone was heard yet" in before
        assert "54 to 97 dB(A), estimated" in before
        assert "Hearing protection on, doors open" in before
        assert "54 to 97 dB(A)" in client.get(f"/jobs/{job}/setup/{LOUD}").text
        assert client.get(f"/api/jobs/{job}/run").json()["hearing"]["of_job"]["tones"] == 0
        assert "All jobs of the day" not in client.get(f"/jobs/{job}/papers/view?kind=setup").text

        for text, seen in (("13.8", 0), ("13.7", 1)):
            client.post(f"/api/jobs/{job}/run", json={"step": LOUD, "text": text, "seen": seen}).raise_for_status()
        dose = client.get(f"/api/jobs/{job}/run").json()["hearing"]
        assert (dose["of_job"]["tones"], dose["of_day"], dose["jobs"]) == (2, dose["of_job"], 1)
        assert client.get(f"/api/hearing?day={dose['day']}").json()["of_day"] == dose["of_day"]
        assert client.get("/api/hearing?day=never").status_code == 422
        page = client.get(f"/jobs/{job}/setup").text
        sheet = client.get(f"/jobs/{job}/papers/view?kind=setup").text
        for shown in (page, sheet):
            assert "All jobs of the day" in shown
            assert "Of the recommended day (NIOSH 98-126)" in shown
            assert "below the lower action value of 80 dB(A)" in shown
        # the customer's paper says nothing of what the installer heard, nor of other customers' jobs
        assert "All jobs of the day" not in client.get(f"/jobs/{job}/papers/view?kind=handover").text
        german = client.get(f"/jobs/{job}/setup", headers={"accept-language": "de"}).text
        assert "Alle Aufträge des Tages" in german
        assert "All jobs of the day" not in german
