"""The shop's cases: found by any word, open and closed, and their statistics."""

from __future__ import annotations

import json
import re
from statistics import median
from typing import TYPE_CHECKING, Any

import pytest
from browser_acts import click
from playwright.sync_api import expect

from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import httpx
    from playwright.sync_api import Page

HEARD = {"heard": "sub", "is": "silent"}
LAMP = {"check": "amp_sub.power_lamp", "is": "off"}
CLOSED = [
    ("lead_open", "lead:knob-amp_sub", "Öztürk's plug was out", 1),
    ("lead_open", "lead:knob-amp_sub", "trodden on", 2),
    ("amplifier_no_supply", "amp_sub", "fuse", 2),
]
"""Cause, place, note, how many entries it took."""


@pytest.fixture(scope="module")
def shop(server: Any) -> Iterator[dict[str, Any]]:
    """A shop with a few closed cases and an open one; names by what they are."""
    with server.client() as api:
        job = api.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"]
        names = []
        for i, (cause, where, note, tests) in enumerate(CLOSED):
            new = api.post("/api/cases", json={"job": job, "title": f"Customer {i}", "evidence": [HEARD]}).json()
            for entry in [LAMP, {"check": "amp_sub.protection_lamp", "is": "off"}][:tests]:
                new = api.post(f"/api/cases/{new['name']}/add", json={"seen": new["revision"], "entry": entry}).json()
            said = {"seen": new["revision"], "cause": cause, "where": where, "note": note}
            api.post(f"/api/cases/{new['name']}/close", json=said).raise_for_status()
            names.append(new["name"])
        opened = api.post("/api/cases", json={"job": job, "title": "Still open, grüner Bus"}).json()["name"]
        yield {"job": job, "closed": names, "open": opened, "api": api}


def listed(page: Page) -> list[str]:
    """Return the titles that the page lists."""
    return page.locator("#list a.main").all_inner_texts()


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])
def test_case_is_found_by_any_word(open_page: Callable[..., Page], *, scripts: bool) -> None:
    """Title, note, cause and evidence are all searched; every word must occur, in any case."""
    page = open_page("/cases", size="phone", scripts=scripts)
    whole = {"Still open, grüner Bus", "Customer 0", "Customer 1", "Customer 2"}
    assert whole <= set(listed(page))  # other tests may have begun more
    for words, found in [
        ("öztürk PLUG", ["Customer 0"]),
        ("GRÜNER", ["Still open, grüner Bus"]),
        ("amplifier_no_supply fuse", ["Customer 2"]),
        ("fuse plug", []),
    ]:
        page.get_by_label("Search cases").fill(words)
        click(page.get_by_role("button", name="Find"))
        expect(page.locator("#list a.main")).to_have_text(found)
    assert page.get_by_text("No case matches all these words").count() == 1
    page.goto("/cases?show=open")
    assert whole & set(listed(page)) == {"Still open, grüner Bus"}
    page.goto("/cases?show=closed")
    assert whole & set(listed(page)) == {"Customer 0", "Customer 1", "Customer 2"}
    click(page.get_by_role("link", name="Customer 1"))
    assert page.get_by_role("heading", level=1).inner_text() == "Customer 1"
    assert "trodden on" in page.locator(".ask").inner_text()


def test_tally_agrees_with_the_cases(open_page: Callable[..., Page], shop: dict[str, Any]) -> None:
    """Cases, tests, minutes and wrong first guesses in the table are those counted by hand."""
    api = shop["api"]
    cases = [api.get(f"/api/cases/{name}").json() for name in shop["closed"]]
    page = open_page("/cases/tally")
    for cause in ("lead_open", "amplifier_no_supply"):
        of = [c for c in cases if c["closed"]["cause"] == cause]
        tests = median(sum(bool(s["test"]) for s in c["dialogue"]) for c in of)
        minutes = median(sum(s["minutes"] for s in c["dialogue"]) for c in of)
        missed = sum(
            next(s["believed"] for s in reversed(c["dialogue"]) if s["believed"])["cause"] != cause for c in of
        )
        row = page.get_by_role("row", name=cause.replace("_", " "))
        told = row.locator("td").all_inner_texts()
        assert told[:1] + told[2:] == [str(len(of)), f"{tests:g}", f"{minutes:.3g}", str(missed)]
        assert minutes > 0
    wrong = api.get("/api/tally").json()["wrong"]
    assert len(page.locator(".rows > li").all()) == len(wrong) >= 1
    chart = page.locator("img.drawn")
    assert chart.evaluate("img => img.decode().then(() => img.naturalWidth)") > 200
    svg = api.get("/cases/tally.svg")
    assert svg.headers["content-type"].startswith("image/svg+xml")
    assert "lead open" in svg.text
    click(page.get_by_role("link", name="lead open"))
    assert sorted(listed(page)) == ["Customer 0", "Customer 1"]


def test_closed_cases_change_the_first_suspects(shop: dict[str, Any]) -> None:
    """A cause that was found more often is more probable from the beginning, as far as it explains what is heard."""
    api, job = shop["api"], shop["job"]

    def believed(cause: str) -> float:
        causes = api.post(f"/api/jobs/{job}/diagnosis", json={"evidence": [HEARD]}).json()["causes"]
        return float(sum(c["probability"] for c in causes if c["cause"] == cause))

    causes = {"speaker_open": "sub", "ground_loop": "lead:head.sub-desk"}
    before = {cause: believed(cause) for cause in causes}
    for cause, where in causes.items():
        for _ in range(4):
            new = api.post("/api/cases", json={"job": job, "title": cause, "evidence": [HEARD]}).json()
            said = {"seen": new["revision"], "cause": cause, "where": where}
            api.post(f"/api/cases/{new['name']}/close", json=said).raise_for_status()
    assert believed("speaker_open") > 1.5 * before["speaker_open"]
    assert believed("ground_loop") < 0.02, "a hum doesn't silence a speaker, however often it was found"


def test_closed_case_refuses_answers_until_reopened(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """Reopened it continues, and is no longer counted."""
    new = api.post("/api/cases", json={"job": job, "evidence": [HEARD]}).json()
    name = new["name"]
    said = {"seen": new["revision"], "cause": "speaker_shorted", "where": "sub"}
    closed = api.post(f"/api/cases/{name}/close", json=said).json()
    refused = api.post(f"/api/cases/{name}/add", json={"seen": closed["revision"], "entry": LAMP})
    assert (refused.status_code, refused.json()["code"]) == (422, "case_closed")
    bad = api.post(f"/api/cases/{name}/close", json=said | {"seen": closed["revision"]})
    assert bad.status_code == 422
    assert any(c["cause"] == "speaker_shorted" for c in api.get("/api/tally").json()["causes"])
    page = open_page(f"/cases/{name}")
    click(page.get_by_role("button", name="Reopen"))
    page.get_by_text("Close the case").wait_for()
    assert not any(c["cause"] == "speaker_shorted" for c in api.get("/api/tally").json()["causes"])
    kept = api.get(f"/api/cases/{name}").json()
    assert (
        api.post(f"/api/cases/{name}/close", json=said | {"seen": kept["revision"], "where": "moon"}).status_code == 422
    )


def test_stale_writer_is_refused(api: httpx.Client, job: str) -> None:
    """Every change based on an older revision is refused with 409, and nothing is changed."""
    new = api.post("/api/cases", json={"job": job, "evidence": [HEARD]}).json()
    name, old = new["name"], new["revision"]
    now = api.post(f"/api/cases/{name}/add", json={"seen": old, "entry": LAMP}).json()
    entry = {"check": "amp_sub.protection_lamp"}
    changes: list[tuple[str, dict[str, Any]]] = [
        ("add", {"entry": entry | {"is": "on"}}),
        ("answer", {"entry": entry, "text": "on"}),
        ("dont-know", {"entry": entry}),
        ("cant-reach", {"entry": entry}),
        ("undo", {}),
        ("correct", {"number": 1, "text": "faint"}),
        ("renew", {}),
        ("close", {"cause": "lead_open", "where": "lead:knob-amp_sub"}),
        ("reopen", {}),
    ]
    for path, said in changes:
        refused = api.post(f"/api/cases/{name}/{path}", json={"seen": old} | said)
        assert refused.status_code == 409, path
    assert api.get(f"/api/cases/{name}").json() == now
    assert api.get("/api/cases/nowhere").status_code == 404
    assert api.get("/cases/nowhere").status_code == 404


def test_titles_with_markup_are_text(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """The list shows a hostile title as it was typed, and its link works for any name."""
    hostile = "<script>alert(1)</script><i>x</i>"
    lines = example_text("one_amplifier").splitlines()
    text = "\n".join(f"title: {json.dumps(hostile)}" if x.startswith("title:") else x for x in lines)
    job = api.post("/api/jobs", json={"text": text + "\n"}).json()["id"]
    api.post("/api/cases", json={"job": job, "name": "Ä odd name. 2"}).raise_for_status()
    page = open_page("/cases")
    click(page.get_by_role("link", name=re.compile("script")))
    assert page.get_by_role("heading", level=1).inner_text() == hostile
    assert page.locator("main i").count() == 0
    assert page.get_by_text("Case Ä odd name. 2").count() == 1


def test_pages_are_accessible(
    open_page: Callable[..., Page], day_and_night: Callable[..., None], shop: dict[str, Any]
) -> None:
    """The list, the tally and a closed case, in light and dark mode, with screenshots."""
    page = open_page("/cases", size="phone")
    day_and_night(page, "cases")
    page.goto("/cases/tally")
    page.locator("img.drawn").evaluate("img => img.decode()")
    day_and_night(page, "tally")
    page.goto(f"/cases/{shop['closed'][0]}")
    day_and_night(page, "case-closed")
