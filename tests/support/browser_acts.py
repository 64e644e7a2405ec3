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
WITHOUT = (
    "RenderDocument",  # a new document in the old one's frame takes a fifth less of the processor
    # what Playwright leaves out by the same option, of which the last counts
    *("AvoidUnnecessaryBeforeUnloadCheckSync", "DestroyProfileOnBrowserClose", "HttpsUpgrades", "PaintHolding"),
    *("HttpsFirstBalancedModeAutoEnable", "ThirdPartyStoragePartitioning", "AvoidCorsURLLoaderRestartOnRedirect"),
    *("OptimizationHints", "NetworkTimeServiceQuerying", "PreconnectToSearch", "MediaRouter"),
)
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    f"--disable-features={','.join(WITHOUT)}",
    "--js-flags=--no-turbofan --no-maglev",  # each page's scripts run for moments: to compile them further costs more than it saves
)
EACH_SIZE_AND_WAY = pytest.mark.parametrize(
    ("size", "scripts"), [("phone", True), ("desktop", False)], ids=["phone", "desktop-plain"]
)
OTHER_SIZE_AND_WAY = pytest.mark.parametrize(
    ("size", "scripts"), [("desktop", True), ("phone", False)], ids=["desktop", "phone-plain"]
)
"""Each size once and each way, with scripts and without, once: what a page does by script doesn't depend on its size."""

ENGINES = {
    "leads": """{
  leads(element, key) {
    if (window !== window.top || element.matches("textarea") || (key !== "click" && key !== "Enter")) return false;
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
  },
  queryAll(element, key) {
    const root = document.documentElement;
    if (!this.leads(element, key)) return [element];
    root.dataset.old = "";
    return [element, root];
  },
}""",
    "old": """{ queryAll(element) { element.dataset.old = ""; return [element]; } }""",
}
"""Ways to find elements, for Playwright's selectors: `leads=KEY` finds an element, and the page's root too if a click (KEY is
"click") or a key on it leads to another page, by a link or by a form that isn't swapped in parts; the root is then marked as
old. `old` marks the element itself. What finds elements is in a page anyway when one is clicked; a script of the page's own
that is given an element needs all of it a second time, which takes longer than the click.
"""
NEW_PAGE_MS = 10_000
ASKED = """async () => {
  for (let turn = 0; turn < 10; turn++) {
    if (await (IS_SO)()) return true;
    await new Promise((past) => setTimeout(past, 30));
  }
  return false;
}"""
"""Asks ten times: each question from here takes longer than its answer."""


def click(locator: Locator, *, timeout: float | None = None) -> None:
    """Click, and wait for the page it leads to; a link to a file to download is clicked by the locator itself."""
    with _followed(locator, "click", timeout):
        locator.click(timeout=timeout)


def press(locator: Locator, key: str) -> None:
    """Press a key on an element, and wait for the page it leads to."""
    with _followed(locator, key):
        locator.press(key)


def until(page: Page, is_so: str, *, turns: int = 400) -> None:
    """Wait until an async function of the page returns true; `wait_for_function` takes the promise itself for true."""
    for _ in range(0, turns, 10):
        if page.evaluate(ASKED.replace("IS_SO", is_so)):
            return
    raise AssertionError(f"never so: {is_so}")


def mark(locator: Locator) -> None:
    """Give an element `data-old`: one without it is another, that came in its place."""
    _found(locator, "old=true", None)


@contextlib.contextmanager
def _followed(locator: Locator, key: str, timeout: float | None = None) -> Iterator[None]:
    page = locator.page
    leads = _found(locator, f"leads={key}", timeout) > 1
    yield
    if leads:
        with contextlib.suppress(TookTooLong):  # the answer may be a file
            page.locator("html:not([data-old])").wait_for(state="attached", timeout=NEW_PAGE_MS)
        page.wait_for_load_state()


def _found(locator: Locator, engine: str, timeout: float | None) -> int:
    """Return how many elements an engine finds from this one, once it is there."""
    while not (found := locator.locator(engine).count()):
        locator.wait_for(state="attached", timeout=timeout)
    return found
