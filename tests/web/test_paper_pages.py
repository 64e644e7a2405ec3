"""Papers in the browser: chosen, viewed, made in the background, downloaded."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

import pypdf
import pytest
from browser_acts import OTHER_SIZE_AND_WAY, click
from playwright.sync_api import expect

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Page


@OTHER_SIZE_AND_WAY
def test_sheet_is_viewed_and_downloaded(open_page: Callable[..., Page], job: str, *, size: str, scripts: bool) -> None:
    """The set-up sheet is shown in the page, made as PDF in the background, in short and in the language chosen."""
    page = open_page(f"/jobs/{job}/papers", size=size, scripts=scripts)
    click(page.get_by_role("button", name="Preview"))
    frame = page.frame_locator("iframe.sheet")
    frame.get_by_role("heading", level=1).wait_for()
    page.get_by_label("Language").select_option("de")
    page.get_by_label("Set-up sheet in short").check()
    click(page.get_by_role("button", name="Make PDF"))
    link = page.get_by_role("link", name="Download").first
    for _ in range(100):
        if scripts or link.count():
            break
        page.wait_for_timeout(300)
        click(page.get_by_role("link", name="Refresh").first)
    link.wait_for(timeout=30_000)
    if scripts:  # a phone's own sheet gets the file itself
        page.evaluate(
            """() => { navigator.canShare = () => true; document.documentElement.classList.add("shares");
            navigator.share = (given) => { document.title = `${given.files[0].name} ${given.files[0].type}`; }; }"""
        )
        click(page.get_by_role("button", name="Share"))
        expect(page).to_have_title(re.compile(r"\.pdf application/pdf$"))
    assert page.get_by_role("button", name="Share").count() == scripts
    with page.expect_download() as download:
        link.click()
    pdf = pypdf.PdfReader(download.value.path())
    assert str(pdf.root_object["/Lang"]) == "de"
    assert len(pdf.pages) == 3


@pytest.mark.parametrize("kind", ["setup", "handover", "customer", "case"])
@pytest.mark.parametrize("form", ["pdf", "html", "csv", "json"])
def test_every_paper_in_every_format(api: httpx.Client, job: str, kind: str, form: str) -> None:
    """The API gives each paper in each format, on the paper size that is asked for."""
    answer = api.get(f"/api/jobs/{job}/papers/{kind}.{form}", params={"size": "letter", "date": "2026-11-26"})
    assert answer.status_code == 200
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    if form == "pdf":
        box = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].mediabox
        assert (round(float(box.width)), round(float(box.height))) == (612, 792)  # ANSI/ASME Y14.1 size A
    elif form == "json":
        assert answer.json()["kind"] == kind
    else:
        assert len(answer.text) > 100


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("papers/invoice.pdf", 422),
        ("papers/setup.docx", 422),
        ("papers/setup.pdf?language=xx", 422),
        ("papers/setup.pdf?size=b7", 422),
        ("papers/setup.pdf?date=2026-02-30", 422),
        ("papers/case.pdf?case=nobody", 404),
    ],
)
def test_impossible_paper_is_refused(api: httpx.Client, job: str, path: str, status: int) -> None:
    """One sentence says what is wrong and what is available."""
    answer = api.get(f"/api/jobs/{job}/{path}")
    assert answer.status_code == status
    assert answer.json()["what"]


def test_choice_is_accessible(open_page: Callable[..., Page], both_sizes: Callable[..., None], job: str) -> None:
    """The page conforms to WCAG 2.2 AA as far as axe can check, at both sizes."""
    page = open_page(f"/jobs/{job}/papers?shown=true&kind=setup", size="phone")
    page.frame_locator("iframe.sheet").get_by_role("heading", level=1).wait_for()
    click(page.get_by_role("button", name="Make CSV"))
    page.get_by_role("link", name="Download").first.wait_for(timeout=30_000)
    both_sizes(page, "papers")


def test_framed_paper_runs_nothing(api: httpx.Client, job: str) -> None:
    """A paper in a frame has its own policy: its own style by digest, no script at all, framed by our pages only."""
    policy = api.get(f"/jobs/{job}/papers/view").headers["content-security-policy"]
    assert "script-src 'none'" in policy
    assert "style-src 'sha256-" in policy
    assert "frame-ancestors 'self'" in policy
    assert "unsafe" not in policy
