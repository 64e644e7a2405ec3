"""Digits that aren't ASCII, in every field and address that takes a number: never more than the ordinary refusal."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    import httpx

DIGITS = ("²", "٣", "３")
"""Superscript, Arabic-Indic, full-width."""


@pytest.mark.parametrize("digit", DIGITS)
def test_corridor_with_an_invalid_path_shows_the_tightest(api: httpx.Client, job: str, digit: str) -> None:
    """A path that is no number counts as none."""
    found = api.get(f"/jobs/{job}/corridor", params={"path": digit})
    plain = api.get(f"/jobs/{job}/corridor")
    assert (found.status_code, plain.status_code) == (200, 200)
    assert found.text.count("aria-current") == plain.text.count("aria-current")
    refused = api.get(f"/jobs/{job}/corridor", params={"tone": digit, "set.head.volume": digit})
    assert refused.status_code == 422
    assert "isn't a tone" in html.unescape(refused.text)


@pytest.mark.parametrize("digit", [*DIGITS, "", "-1", "9" * 40])
def test_a_form_without_its_version_is_refused(api: httpx.Client, job: str, digit: str) -> None:
    """The corridor, a step of the run and an own observation: 422 and one sentence, nothing written."""
    case = api.post("/api/cases", json={"job": job}).json()["name"]
    step = api.get(f"/api/jobs/{job}/run").json()["next"]
    for address, fields in (
        (f"/jobs/{job}/corridor", {}),
        (f"/jobs/{job}/setup/{step}", {"kind": "skipped", "text": "why"}),
        (f"/cases/{case}/add", {"kind": "heard", "place": "sub", "text": "silent"}),
    ):
        answer = api.post(address, data={**fields, "seen": digit}, headers={"origin": str(api.base_url)})
        assert answer.status_code == 422, address
        assert "which revision it was made from" in answer.text, address
    assert api.get(f"/api/jobs/{job}/run").json()["entries"] == []
    assert api.get(f"/api/cases/{case}").json()["evidence"] == []


@pytest.mark.parametrize("digit", [*DIGITS, "12a", "-1", "9" * 12])
def test_practice_with_an_invalid_number_is_refused(api: httpx.Client, digit: str) -> None:
    """No other practice is started instead."""
    answer = api.post("/practise", data={"on": "example:one_amplifier", "number": digit})
    assert answer.status_code == 422
    assert "is not a valid number of a practice" in answer.text
