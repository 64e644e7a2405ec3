"""Clicks and keys in the browser that return once the resulting page is there, with its style sheet and scripts.

A browser returns from a click before the request begins, and a page arrives piece by piece: without waiting, a test would
see the old page or half of the new one.
"""

from __future__ import annotations

import contextlib
import shutil
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import TimeoutError as TookTooLong

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Locator, Page

CHROMIUM = shutil.which("chromium-headless-shell") or "/usr/bin/chromium"
"""Chromium without windows, which takes half of the whole browser's processor time and a seventh to start."""
EACH_SIZE_AND_WAY = pytest.mark.parametrize(
    ("size", "scripts"), [("phone", True), ("desktop", False)], ids=["phone", "desktop-plain"]
)
OTHER_SIZE_AND_WAY = pytest.mark.parametrize(
    ("size", "scripts"), [("desktop", True), ("phone", False)], ids=["desktop", "phone-plain"]
)
"""Each size once and each way, with scripts and without, once: what a page does by script doesn't depend on its size."""

LEADS = """(element, key) => {
  if (window !== window.top || element.matches("textarea") || (key !== null && key !== "Enter")) return false;
  const link = element.closest("a[href]"), button = element.closest("button, [type=submit]");
  if (link) {
    const within = link.hash && link.href.split("#")[0] === location.href.split("#")[0];
    return !link.target && !link.hasAttribute("download") && !within;
  }
  const form = button ? button.type === "submit" && button.form : key === "Enter" && element.form;
  if (!form || form.target || form.closest("#live")) return false;
  if (!form.noValidate && !button?.formNoValidate && !form.checkValidity()) return false;
  const probe = document.createElement("div");
  probe.innerHTML = "<noscript><i></i></noscript>"; // an element where scripts are off, a text where they are on
  return form.dataset.swap === undefined || probe.querySelector("i") !== null;
}"""
"""Whether a click (key null) or a key leads to another page: by a link, or by a form that isn't swapped in parts."""
NEW_PAGE_MS = 10_000


def click(locator: Locator, *, timeout: float | None = None) -> None:
    """Click, and wait for the page it leads to; a link to a file to download is clicked by the locator itself."""
    with _followed(locator, None):
        locator.click(timeout=timeout)


def press(locator: Locator, key: str) -> None:
    """Press a key on an element, and wait for the page it leads to."""
    with _followed(locator, key):
        locator.press(key)


def until(page: Page, is_so: str, *, turns: int = 400) -> None:
    """Wait until an async function of the page returns true; `wait_for_function` takes the promise itself for true."""
    for _ in range(turns):
        if page.evaluate(is_so):
            return
        page.wait_for_timeout(30)
    raise AssertionError(f"never so: {is_so}")


@contextlib.contextmanager
def _followed(locator: Locator, key: str | None) -> Iterator[None]:
    page = locator.page
    leads = locator.evaluate(LEADS, key)
    if leads:
        page.evaluate("document.documentElement.dataset.old = ''")
    yield
    if leads:
        with contextlib.suppress(TookTooLong):  # the answer may be a file
            page.locator("html:not([data-old])").wait_for(state="attached", timeout=NEW_PAGE_MS)
        page.wait_for_load_state()
