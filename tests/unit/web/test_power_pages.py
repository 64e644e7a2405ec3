"""Power and heat on its page: cables added, changed and removed, remedies written into the job, the same over HTTP."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from gainwright.adapters.store import open_store
from gainwright.composition import compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.power import evaluate_power
from gainwright.results import to_json
from gainwright.web.server import create_app
from gainwright.web.site import Site


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[TestClient]:
    """Return a client of an empty store."""
    with (
        closing(open_store(tmp_path / "s.sqlite")) as store,
        TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as client,
    ):
        yield client


def seen(text: str) -> str:
    """Return the revision that a page's forms send back."""
    found = re.search(r'name="seen" value="(\d+)"', text)
    assert found is not None
    return found[1]


def test_cables_and_remedies_on_the_page(pages: TestClient) -> None:
    """A thin cable is added and found, its remedy made, a second one joined, renamed and removed; each is in the job's file."""
    job = pages.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
    shown = pages.get(f"/jobs/{job}/power").text
    assert "Power and heat" in shown
    assert "Main fuse" not in shown
    form = {"seen": seen(shown), "back": "power", "new": "main", "source": "battery", "feeds": "amp"}
    thin = {"values.wire": "14 AWG", "values.length": "6 m", "values.fuse": "80 A"}
    shown = pages.post(f"/jobs/{job}/chain/edit/add_cable", data={**form, **thin}).text
    assert "the wire can burn before the fuse blows" in shown
    finding = re.search(r'name="finding" value="(fuse_above_wire [^"]+)"', shown)
    assert finding is not None
    shown = pages.post(f"/jobs/{job}/power/remedy", data={"seen": seen(shown), "finding": finding[1]}).text
    assert "the wire can burn before the fuse blows" not in shown
    again = pages.post(f"/jobs/{job}/power/remedy", data={"seen": seen(shown), "finding": finding[1]})
    assert (again.status_code, "no longer there" in again.text) == (404, True)

    more = {**form, "seen": seen(shown), "new": "tail", "source": "main", "feeds": "", "values.wire": "10 mm2"}
    shown = pages.post(f"/jobs/{job}/chain/edit/add_cable", data=more).text
    rename = {"seen": seen(shown), "back": "cable/main", "cable": "main", "new": "front_cable"}
    shown = pages.post(f"/jobs/{job}/chain/edit/rename_cable", data=rename).text
    supply = read_job_text(pages.get(f"/api/jobs/{job}").json()["text"]).job.supply
    assert (list(supply), supply["tail"].source) == (["front_cable", "tail"], "front_cable")
    remove = {"seen": seen(shown), "back": "cable/front_cable", "cable": "front_cable"}
    assert pages.post(f"/jobs/{job}/chain/edit/remove_cable", data=remove).status_code == 200
    supply = read_job_text(pages.get(f"/api/jobs/{job}").json()["text"]).job.supply
    assert (list(supply), supply["tail"].source) == (["tail"], "battery")


def test_the_same_over_http_and_in_german(pages: TestClient) -> None:
    """The API gives what the public function gives; the page speaks German; a wrong cable is refused in one sentence."""
    job = pages.post("/api/jobs", json={"like": "five_channel"}).json()["id"]
    own = evaluate_power(read_job_text(example_text("five_channel")).job)
    assert pages.get(f"/api/jobs/{job}/power").json() == to_json(own)
    german = pages.get(f"/jobs/{job}/power", headers={"accept-language": "de"}).text
    assert "Leistung und Wärme" in german
    assert "there and back" not in german
    form = pages.get(f"/jobs/{job}/chain/cable/main").text
    was = re.search(r'name="was" value="([^"]+)"', form)
    assert was is not None
    wrong = {"seen": seen(form), "was": was[1].replace("&#34;", '"'), "supply.main.wire": "99 AWG"}
    refused = pages.post(f"/jobs/{job}/chain/cable/main", data=wrong)
    assert (refused.status_code, "no supply cable is 99 AWG" in refused.text) == (422, True)
