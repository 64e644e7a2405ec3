"""A whole set-up run in the browser, at a simulated car with hidden numbers, to the handover."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from browser_acts import click
from finished_run import Finished, read_outside, wrong_in_handover
from hand import Hand
from playwright.sync_api import TimeoutError as PlaywrightTimeout
from playwright.sync_api import expect

from gainwright.jobfile import example_text, read_job_text

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Page

SMALL = "one_amplifier"


def type_row(page: Page, step: str, volts: str) -> None:
    """Type a row of a column; where the knee is found before the column ends, its form has to be opened, also while typing."""
    another = page.get_by_text("Add another reading")
    for _ in range(3):
        if another.count() and not page.locator("#volts").is_visible():
            click(another)
        try:
            page.locator("#act #field").fill(step, timeout=2000)
            page.locator("#volts").fill(volts, timeout=2000)
        except PlaywrightTimeout:
            continue
        return
    raise AssertionError("the form of a row stays closed")


def type_in(page: Page, asked: str, text: str) -> None:
    """Type what the hand read into the fields of a step, as a person does who sees them, and enter it."""
    field, first = page.locator("#act #field"), page.get_by_role("button", name="Enter", exact=True)
    shown, _, second = text.partition("; " if asked == "lead" else " at " if asked == "volts" else " ")
    if asked == "column":
        type_row(page, shown, second.removesuffix(" V"))
    elif asked == "lead":
        page.get_by_label("Between its conductors").select_option("open" if second == "open" else "not open")
        field.fill(shown.removesuffix(" ohm"))
    elif asked == "volts":
        number, unit = shown.split()
        page.get_by_label(unit, exact=True).check()
        if second:
            page.get_by_label("Final gain").fill(second.removesuffix(" %"))
        field.fill(number)
    else:
        field.fill(shown)
    click(first)


def test_run_is_carried_out_in_the_browser_and_its_handover_is_true(
    open_page: Callable[..., Page], api: httpx.Client
) -> None:
    """From the first step to the last with taps and typing on a phone, then taken over: the handover is the rig's."""
    text = example_text(SMALL)
    job = str(api.post("/api/jobs", json={"text": text}).json()["id"])
    hand = Hand(read_job_text(text).job, seed=9)

    def told(path: str) -> Any:
        return api.get(f"/api/jobs/{job}/{path}").raise_for_status().json()

    plan = told("plan")
    steps, asked = {s["id"]: s for s in plan["steps"]}, {s["id"]: s["asked"] for s in told("run")["steps"]}
    page = open_page(f"/jobs/{job}/setup", size="phone")
    click(page.get_by_role("link", name="Start: step 1"))
    for _ in steps:
        here = page.url.rsplit("/", 1)[1]
        expect(page.get_by_role("heading", level=1)).to_have_text(steps[here]["do"])
        texts = hand.carry_out(steps[here], asked[here])
        for row, typed in enumerate(texts, start=1):
            type_in(page, asked[here], typed)
            if row < len(texts):
                expect(page.locator("#found tbody tr")).to_have_count(row)
        onward = page.locator("#onward") if texts else page.get_by_role("button", name="Done", exact=True)
        click(onward)
        page.wait_for_url(re.compile(rf"^(?!.*/{re.escape(here)}$)"))
        if page.url.endswith("/setup"):
            break
    page.get_by_text("All steps are done.").wait_for()
    car = Finished(job, hand, plan, told("run"), told("run/takeover"))
    assert read_outside(car) == []
    click(page.get_by_role("link", name="Take over what was set"))
    page.get_by_role("button", name="Take over what was set").click()
    page.get_by_text("Taken over").wait_for()
    car.handover = told("papers/handover.json")
    assert wrong_in_handover(car) == []
    page.goto(f"/jobs/{job}/setup")
    page.locator("main").get_by_text(f"gain at {hand.typed['amplifier.amp'][-1].split(' at ')[1]}").first.wait_for()
    click(page.get_by_role("link", name="Papers").last)
    assert "/papers" in page.url
