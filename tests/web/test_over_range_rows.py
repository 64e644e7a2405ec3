"""An over-range row of a column: stored as such, shown, undone; runs that contain one open and work."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    import httpx


def column(api: httpx.Client, job: str) -> dict[str, Any]:
    """Return the first step of a run that takes a column of readings."""
    return next(s for s in api.get(f"/api/jobs/{job}/run").json()["steps"] if s["asked"] == "column")


def enter(api: httpx.Client, job: str, text: str, kind: str = "reading") -> httpx.Response:
    """Say something of that step."""
    step = column(api, job)
    said = {"step": step["id"], "kind": kind, "text": text, "seen": step["seen"]}
    return api.post(f"/api/jobs/{job}/run", json=said)


@pytest.mark.parametrize("text", ["12 OL", "12;0L"])
def test_run_with_an_over_range_row_works(api: httpx.Client, job: str, text: str) -> None:
    """Run, step, fault page and API answer with it, it can be undone, and the limit can be entered beside it."""
    for row in ("10 1.2", "11 1.4", text):
        enter(api, job, row).raise_for_status()
    step = column(api, job)
    assert step["rows"] == [[10, 1.2], [11, 1.4], [12, None]]
    for address in (f"/jobs/{job}/setup", f"/jobs/{job}/setup/{step['id']}", f"/jobs/{job}/fault?from=run"):
        answer = api.get(address, follow_redirects=True)
        assert answer.status_code == 200, address
    assert "over range" in api.get(f"/jobs/{job}/setup/{step['id']}").text
    enter(api, job, "", "taken_back").raise_for_status()
    assert column(api, job)["rows"] == [[10, 1.2], [11, 1.4]]
    enter(api, job, text).raise_for_status()
    enter(api, job, "12").raise_for_status()
    now = api.get(f"/api/jobs/{job}/run")
    assert now.status_code == 200
    assert [e["reads"] for e in now.json()["evidence"]] == ["over_range"]
    assert api.get(f"/jobs/{job}/setup/{step['id']}").status_code == 200


def test_over_range_is_refused_for_a_supply(api: httpx.Client, job: str) -> None:
    """With an example: it says nothing about a supply."""
    supply = next(s for s in api.get(f"/api/jobs/{job}/run").json()["steps"] if s["asked"] == "supply")
    refused = api.post(f"/api/jobs/{job}/run", json={"step": supply["id"], "text": "OL", "seen": 0})
    assert refused.status_code == 422
    assert refused.json()["remedy"] == "write, for example, 13.8"
