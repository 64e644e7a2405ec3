"""Practising on the page: the call, tests by place, guesses, the comparison; kept over a restart, and nothing revealed too early."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest
from browser_acts import click, press
from playwright.sync_api import expect

from gainwright.app.practice.practice import example_job, practise, with_gains_set
from gainwright.diagnose import Cause, short_name
from gainwright.jobfile import example_text
from gainwright.simulated import SimulatedHiddenRigs

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Page
    from web_server import WebServer

SEED = 3


def truth(seed: int) -> Cause:
    """Return what the seed hides in the example."""
    rig = SimulatedHiddenRigs().hidden(with_gains_set(example_job()), seed=seed)
    return Cause(rig.cause, rig.where)


def begin(page: Page, seed: int = SEED) -> None:
    """Begin a practice on the example."""
    page.goto("/practise")
    page.get_by_label("Number").fill(str(seed))
    click(page.get_by_role("button", name="Start"))
    page.get_by_role("heading", name="The call").wait_for()


def ask(page: Page, place: str, words: str) -> str:
    """Make a test and return what was found."""
    before = page.locator("#done").inner_text()
    group = page.locator("details", has=page.get_by_text(re.compile(f"^{place} \\d+$")))
    if group.get_attribute("open") is None:
        click(group.locator("summary"))
    click(group.get_by_role("button", name=words).first)
    expect(page.locator("#done")).not_to_have_text(before)
    return page.locator("#latest .question").inner_text()


@pytest.mark.parametrize(("size", "scripts"), [("phone", True), ("desktop", False)], ids=["phone", "plain"])
def test_practice_from_the_call_to_the_comparison(
    open_page: Callable[..., Page], server: WebServer, *, size: str, scripts: bool
) -> None:
    """Readings are those of the rig; a wrong guess is reported; a restart loses nothing; the right one ends it with both sequences of tests."""
    page = open_page("/", size=size, scripts=scripts)
    begin(page)
    same = practise(with_gains_set(example_job()), rigs=SimulatedHiddenRigs(), seed=SEED)
    assert (
        page.locator("section", has=page.get_by_role("heading", name="The call")).locator("li").all_inner_texts()
        == same.call
    )
    found = ask(page, "The sub amplifier", "power lamp of the sub amplifier")
    assert found == same.ask("look amp_sub.power_lamp").found
    assert ask(page, "The knob", "AC volts at the output of the knob") == same.ask("measure knob.out.mono meter").found
    server.kill()
    server.start()
    page.reload()
    assert page.locator("#done").inner_text().replace("\n", " ").endswith(f"2 tests, {same.minutes:g} min")
    assert (
        ask(page, "The sub amplifier", "AC volts at the output of the sub amplifier with the meter")
        == same.ask("measure amp_sub.out.mono meter").found
    )
    hidden = truth(SEED)
    wrong = next(c for c in same.diagnoser.causes if c != hidden and c.where)
    page.locator('select[name="was"]').select_option(f"{wrong.id}|{wrong.where}")
    click(page.get_by_role("button", name="Check answer"))
    expect(page.get_by_text("not the fault")).to_have_count(1)
    page.locator('select[name="was"]').select_option(f"{hidden.id}|{hidden.where}")
    click(page.get_by_role("button", name="Check answer"))
    expect(page.get_by_role("heading", name="Correct")).to_have_count(1)
    assert page.locator(".question").first.inner_text() == short_name(hidden, same.job)
    for _ in range(60):
        if scripts or page.get_by_text("A shorter path:").count():
            break
        page.wait_for_timeout(500)
        page.reload()
    expect(page.get_by_text("A shorter path:")).to_have_count(1, timeout=40_000)
    assert page.get_by_text("You: 3 tests").count() == 1
    page.goto("/practise")
    assert page.get_by_text("solved").count() >= 1


def test_fault_is_revealed_only_at_the_end(api: httpx.Client) -> None:
    """The API names the fault only at the end; the same seed hides the same fault; a finished practice accepts nothing."""
    one = api.post("/api/practices", json={"seed": 11}).raise_for_status().json()
    other = api.post("/api/practices", json={"seed": 11}).json()
    assert one["id"] != other["id"]
    assert one["call"] == other["call"]
    assert (one["cause"], one["where"], one["ended"]) == (None, None, "")
    tests = api.get(f"/api/practices/{one['id']}/tests").json()
    assert len(tests) > 50
    made = api.post(f"/api/practices/{one['id']}/ask", json={"test": tests[0]["name"]}).json()
    assert (made["tests"], made["minutes"]) == (1, tests[0]["minutes"])
    assert tests[0]["name"] not in [t["name"] for t in api.get(f"/api/practices/{one['id']}/tests").json()]
    again = api.post(f"/api/practices/{one['id']}/ask", json={"test": tests[0]["name"]})
    assert (again.status_code, again.json()["code"]) == (422, "unknown_test")
    nowhere = api.post(f"/api/practices/{one['id']}/guess", json={"cause": "lead_open", "where": "moon"})
    assert (nowhere.status_code, nowhere.json()["code"]) == (422, "unknown_cause")
    ended = api.post(f"/api/practices/{one['id']}/give-up").json()
    hidden = truth(11)
    assert (ended["cause"], ended["where"], ended["ended"]) == (hidden.id, hidden.where, "given up")
    late = api.post(f"/api/practices/{one['id']}/ask", json={"test": tests[1]["name"]})
    assert (late.status_code, late.json()["code"]) == (422, "practice_ended")
    assert api.get("/api/practices/none").status_code == 404
    assert api.get("/practise/none").status_code == 404


def test_tests_are_found_by_words_and_a_job_of_the_shop_is_practised_on(
    open_page: Callable[..., Page], api: httpx.Client
) -> None:
    """Typed text filters the tests; markup in the job's title is text; a job of the shop can be used for practice."""
    title = "<b>Bus</b> & {{ 7*7 }}"
    lines = example_text("one_amplifier").splitlines()
    text = "\n".join(f"title: {json.dumps(title)}" if x.startswith("title:") else x for x in lines)
    api.post("/api/jobs", json={"text": text + "\n"}).raise_for_status()
    page = open_page("/practise")
    page.get_by_label(title).check()
    click(page.get_by_role("button", name="Start"))
    assert page.get_by_role("heading", level=1).inner_text() == title
    assert page.locator("h1 b").count() == 0
    whole = page.locator(".asks button").count()
    page.get_by_label("Find a test").fill("lamp amp")
    expect(page.locator(".asks button")).to_have_count(2)
    assert whole > 10
    page.get_by_label("Find a test").fill("moon")
    page.get_by_text("No test matches these words").wait_for()


def test_is_made_by_keyboard_alone(open_page: Callable[..., Page]) -> None:
    """A group is unfolded and a test made with keys; the focus goes to the result."""
    page = open_page("/practise")
    press(page.get_by_role("button", name="Start"), "Enter")
    page.get_by_role("heading", name="The call").wait_for()
    page.locator("#listed summary").nth(1).focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator("#latest").wait_for()
    assert page.evaluate("document.activeElement.id") == "latest"


def test_pages_are_accessible(open_page: Callable[..., Page], day_and_night: Callable[..., None]) -> None:
    """The beginning, during a practice, while the short sequence is computed, and the end, with screenshots."""
    page = open_page("/practise", size="phone")
    day_and_night(page, "practise")
    page.goto("/practise/class")
    day_and_night(page, "class")
    begin(page)
    ask(page, "The sub amplifier", "power lamp of the sub amplifier")
    ask(page, "The sub", "With nothing playing")
    day_and_night(page, "practice")
    click(page.get_by_role("button", name="Give up"))
    expect(page.get_by_role("heading", name="Given up")).to_have_count(1)
    day_and_night(page, "practice-given-up")
    expect(page.get_by_text("A shorter path:")).to_have_count(1, timeout=40_000)
    day_and_night(page, "practice-end")
