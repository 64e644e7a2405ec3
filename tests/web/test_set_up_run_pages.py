"""The set-up run in the browser: one step per screen, at phone and desktop size, by one user or two, through all kinds of interruptions."""

from __future__ import annotations

import io
import re
import threading
import zipfile
from typing import TYPE_CHECKING

import httpx
import numpy as np
import pytest
import soundfile
from browser_acts import EACH_SIZE_AND_WAY, click, press
from playwright.sync_api import expect
from typed_run import Hand
from web_server import WebServer

from gainwright.app.set_up.run import run_of
from gainwright.app.store import RunEntry
from gainwright.jobfile import example_text, instruments, read_job_text
from gainwright.model import TONES_HZ
from gainwright.plan import make_plan

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import APIResponse, Page, Request, Route
    from warm_program import WarmProgram

SUPPLY = "prepare.supply"
FEWEST_ROWS = """() => { window.fewest = 99; document.addEventListener("swapped", () => {
  window.fewest = Math.min(window.fewest, document.querySelectorAll("#found tr").length); }); }"""


def step_page(job: str, step: str) -> str:
    """Return the address of a step."""
    return f"/jobs/{job}/setup/{step}"


def entries(api: httpx.Client, job: str, step: str = "") -> list[dict[str, object]]:
    """Return the entries of a run, of one step when it is named."""
    found = api.get(f"/api/jobs/{job}/run").json()["entries"]
    return [e for e in found if not step or e["step"] == step]


def enter(page: Page, text: str) -> None:
    """Type a reading and enter it."""
    page.locator("#field").fill(text)
    click(page.get_by_role("button", name="Enter", exact=True))


def column(api: httpx.Client, *, seed: int) -> tuple[str, str, list[str]]:
    """Return a fresh job, its step that asks for a column of readings, and what a hand types there."""
    job = api.post("/api/jobs", json={"like": "full_range"}).json()["id"]
    read = read_job_text(example_text("full_range")).job
    run = run_of(make_plan(read), [], instruments(read))
    state = next(s for s in run.steps if s.asked == "column")
    return job, state.step.id, Hand(read, seed=seed).texts(run, state)


@EACH_SIZE_AND_WAY
def test_reading_is_entered_judged_corrected_and_undone(
    open_page: Callable[..., Page], api: httpx.Client, job: str, *, size: str, scripts: bool
) -> None:
    """The expected reading is shown before; afterwards a word: fits, low or high; a later reading replaces it; all stay visible."""
    page = open_page(f"/jobs/{job}/setup", size=size, scripts=scripts)
    page.get_by_role("link", name="Start: step 1").wait_for()
    click(page.get_by_role("link", name="Read the DC supply").first)
    assert "13.5 V to 14.1 V" in page.locator("#expect").inner_text()
    for text, verdict in (("12,1", "lower than expected"), ("15.2 V", "higher than expected"), ("13,8", "fits")):
        if page.locator(".again").count():
            click(page.locator(".again > summary"))
        enter(page, text)
        page.locator("#found").get_by_text(verdict).wait_for()
    click(page.get_by_text("History of this step (3)"))
    assert "12,1" in page.locator("#past").inner_text()
    assert [e["text"] for e in entries(api, job)] == ["12,1", "15.2 V", "13,8"]
    click(page.get_by_role("button", name="Undo: reopen"))
    page.locator("#act").get_by_role("button", name="Enter", exact=True).wait_for()
    assert api.get(f"/api/jobs/{job}/run").json()["next"] == "prepare.speakers"


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])
def test_done_skip_and_back(open_page: Callable[..., Page], api: httpx.Client, job: str, *, scripts: bool) -> None:
    """Done leads to the next step; a skip needs its reason; the previous step is one click away."""
    page = open_page(step_page(job, "prepare.speakers"), size="phone", scripts=scripts)
    click(page.get_by_role("button", name="Done"))
    page.get_by_role("heading", name="Check the measuring lead").wait_for()
    click(page.get_by_text("Skip this step"))
    click(page.get_by_role("button", name="Skip"))
    page.get_by_role("alert").get_by_text("no reason").wait_for()
    page.get_by_label("Reason").fill("new lead, straight out of its bag")
    click(page.get_by_role("button", name="Skip"))
    page.get_by_role("heading", name="Check the lead from the front output of the head unit").wait_for()
    click(page.get_by_role("link", name="Back: step 2.1"))
    page.get_by_text("straight out of its bag").first.wait_for()
    assert [e["kind"] for e in entries(api, job)] == ["done", "skipped"]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("abc", "not a valid reading"),
        ("", "nothing was entered"),
        ("1..2", "not a valid reading"),
        ("3 kg", "not a valid reading"),
    ],
)
def test_invalid_reading_is_reported_and_stays_in_the_field(
    open_page: Callable[..., Page], api: httpx.Client, job: str, typed: str, told: str
) -> None:
    """A mistake is reported with an example, what was typed stays, nothing is stored."""
    page = open_page(step_page(job, SUPPLY))
    enter(page, typed)
    page.get_by_role("alert").get_by_text(told).wait_for()
    assert page.locator("#field").input_value() == typed
    assert entries(api, job) == []


def test_units_over_range_and_leads(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Millivolts and over range by a button, a lead's second value by a choice."""
    page = open_page(step_page(job, "amplifier.amp_front"), size="phone")
    page.get_by_label("mV").check()
    page.get_by_label("Final gain").fill("40")
    enter(page, "350")
    page.get_by_text("350 mV, gain at 40 %").first.wait_for()
    click(page.locator(".again > summary"))
    click(page.get_by_role("button", name="It shows OL"))
    page.locator("#found").get_by_text("over range").wait_for()
    page.goto(step_page(job, "lead.head.front-desk"))
    page.get_by_label("Between its conductors").select_option("not open")
    enter(page, "0,3")
    page.get_by_text("not as expected").first.wait_for()
    values = [e["text"] for e in entries(api, job)]
    assert values == ["350 mV at 40", "OL", "0,3 shorted"]


def test_reading_outside_its_interval_leads_to_the_fault_page(open_page: Callable[..., Page], job: str) -> None:
    """It says what it suggests, then which causes are probable, and the evidence is taken along to the fault page."""
    page = open_page(step_page(job, "speaker.sub"), size="phone")
    enter(page, "open")
    page.get_by_text("Open: coil, terminal or lead").first.wait_for()
    page.locator(".believed").get_by_text("sub is open").wait_for(timeout=20_000)
    click(page.get_by_role("link", name="Find the fault with these readings"))
    page.wait_for_url("**/fault?from=run")
    assert "Include the 1 reading of the set-up run" in page.locator("main").inner_text()


def test_column_of_readings_gives_advice_after_each(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """With a meter the last clean step is found from rising volts; the page says what to read next, and the result can be accepted with one tap."""
    job, step_id, texts = column(api, seed=3)
    page = open_page(step_page(job, step_id), size="phone")
    for text in texts:
        step, volts = text.split(" ")
        page.locator("#field").fill(step)
        page.locator("#volts").fill(volts)
        click(page.get_by_role("button", name="Enter", exact=True))
        page.get_by_role("region", name="Readings so far").get_by_role("cell", name=step, exact=True).wait_for()
    page.get_by_text("Clean up to step").or_(page.get_by_text("Go on: read at step")).first.wait_for(timeout=20_000)
    click(page.get_by_role("button", name="is the last clean one"))
    page.locator("#found").get_by_text("fits").wait_for()
    assert [e["text"] for e in entries(api, job)][:-1] == texts


def test_late_background_answer_does_not_remove_a_newer_row(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """An answer from before the second row arrives after it: the row stays, and the knee is still reported."""
    job, step_id, texts = column(api, seed=8)
    first, second = (text.split(" ") for text in texts[:2])
    page = open_page(step_page(job, step_id), size="phone")
    held: list[tuple[Route, APIResponse]] = []

    def hold(route: Route) -> None:
        if held or route.request.method != "GET" or route.request.resource_type != "fetch":
            route.continue_()
        else:
            held.append((route, route.fetch()))

    page.route(f"**{step_page(job, step_id)}", hold)
    rows = page.get_by_role("region", name="Readings so far")
    for step, volts in (first, second):
        page.locator("#field").fill(step)
        page.locator("#volts").fill(volts)
        click(page.get_by_role("button", name="Enter", exact=True))
        rows.get_by_role("cell", name=step, exact=True).wait_for()
        for _ in range(100):
            if held:
                break
            page.wait_for_timeout(50)
    page.evaluate(FEWEST_ROWS)
    late, answer = held[0]
    assert second[0] not in [c.strip() for c in re.findall(r'<td class="figure">([^<]*)<', answer.text())]
    late.fulfill(response=answer)
    page.locator("#found [data-work]").wait_for(state="detached", timeout=20_000)
    assert rows.get_by_role("row").count() == 3  # its head and both
    page.wait_for_timeout(300)
    assert page.evaluate("window.fewest") >= 3
    assert len(entries(api, job)) == 2


def test_suggested_step_is_selected_when_it_appears_in_the_focused_field(
    open_page: Callable[..., Page], api: httpx.Client
) -> None:
    """The next step to read is put into the field while the cursor is in it: typing replaces it."""
    job, step_id, texts = column(api, seed=10)
    step, volts = texts[0].split(" ")
    page = open_page(step_page(job, step_id), size="phone")
    page.locator("#field").fill(step)
    page.locator("#volts").fill(volts)
    click(page.get_by_role("button", name="Enter", exact=True))
    page.get_by_role("region", name="Readings so far").wait_for()
    page.locator("#field").focus()
    expect(page.locator("#field")).not_to_have_value("")
    page.keyboard.type("31")
    assert page.locator("#field").input_value() == "31"


def test_work_without_an_element_is_no_longer_followed(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """A browser has six connections to a server: rows entered one after the other leave none waiting."""
    job, step_id, texts = column(api, seed=9)
    page = open_page(step_page(job, step_id), size="phone", own_page=True)
    begun: list[Request] = []
    ended: list[Request] = []
    page.route("**/api/work/*/events", lambda route: begun.append(route.request))  # work that goes on and on
    page.on("requestfailed", lambda request: ended.append(request) if "/api/work/" in request.url else None)
    for text in texts[:4]:
        step, volts = text.split(" ")
        page.locator("#field").fill(step)
        page.locator("#volts").fill(volts)
        click(page.get_by_role("button", name="Enter", exact=True))
        page.get_by_role("region", name="Readings so far").get_by_role("cell", name=step, exact=True).wait_for()
    page.wait_for_timeout(300)
    followed = page.locator("[data-followed]").count()
    assert len(begun) >= 4
    assert len(begun) - len(ended) == followed


def test_two_people_on_one_step_lose_nothing(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """The second to enter a value sees both; the other's stays or one's own is entered on top."""
    first, second = open_page(step_page(job, SUPPLY)), open_page(step_page(job, SUPPLY), size="phone")
    enter(first, "13.7")
    first.locator("#found").get_by_text("fits").wait_for()
    enter(second, "13.4")
    second.get_by_role("alert").get_by_text("newer entry").wait_for()
    told = second.get_by_role("alert").inner_text()
    assert "13.7 V" in told
    assert "13.4" in told
    assert [e["text"] for e in entries(api, job)] == ["13.7"]
    second.goto(f"/jobs/{job}/setup")
    click(second.locator(".trouble").get_by_role("link", name="step"))
    assert "13.4" in second.get_by_role("alert").inner_text(), "the question stays until it is answered"
    click(second.get_by_role("button", name="Use mine"))
    second.locator("#found").get_by_text("lower than expected").wait_for()
    assert second.get_by_role("alert").count() == 0
    assert [e["text"] for e in entries(api, job)] == ["13.7", "13.4"]


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])
def test_entry_of_another_device_is_kept_by_choice(
    open_page: Callable[..., Page], api: httpx.Client, job: str, *, scripts: bool
) -> None:
    """What was typed is forgotten only then, and not when the page is loaded again."""
    page = open_page(step_page(job, SUPPLY), size="phone", scripts=scripts)
    api.post(f"/api/jobs/{job}/run", json={"step": SUPPLY, "text": "13.7", "seen": 0}).raise_for_status()
    enter(page, "13.4")
    page.get_by_role("alert").get_by_text("newer entry").wait_for()
    page.goto(step_page(job, SUPPLY))
    page.get_by_role("alert").get_by_text("13.4").wait_for()
    click(page.get_by_role("button", name="Keep that one"))
    expect(page.get_by_role("alert")).to_have_count(0)
    page.goto(step_page(job, SUPPLY))
    page.locator("#found").get_by_text("fits").wait_for()
    assert page.get_by_role("alert").count() == 0
    assert [e["text"] for e in entries(api, job)] == ["13.7"]


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])
def test_lost_decimal_point_is_asked_about(
    open_page: Callable[..., Page], api: httpx.Client, look: Callable[..., None], job: str, *, scripts: bool
) -> None:
    """Nothing is stored before the answer, and the question survives a reload; both answers are buttons at the thumb."""
    page = open_page(step_page(job, SUPPLY), size="phone", scripts=scripts)
    enter(page, "1390")
    asked = page.locator("#act").get_by_role("alert")
    asked.get_by_text("13.90 V?").wait_for()
    assert page.locator("#field").input_value() == "1390"
    look(page, f"setup-asked-{'scripts' if scripts else 'plain'}", full=False)
    page.goto(step_page(job, SUPPLY))
    assert entries(api, job) == []
    click(asked.get_by_role("button", name="13.90 V", exact=True))
    page.locator("#found").get_by_text("fits").wait_for()
    click(page.locator(".again > summary"))
    enter(page, "1390")
    click(asked.get_by_role("button", name="1390 V, as typed"))
    page.locator("#found").get_by_text("higher than expected").wait_for()
    assert page.locator("#found .huge").inner_text() == "1390 V"
    assert "expected 13.8 V" in page.locator("#found").inner_text()
    assert [e["text"] for e in entries(api, job)] == ["13.90", "1390"]


def test_reading_outside_is_read_again_or_explained_first(
    open_page: Callable[..., Page], look: Callable[..., None], job: str
) -> None:
    """Both are the large buttons in the bar; the next step is a link; the advice is that of its side."""
    page = open_page(step_page(job, SUPPLY), size="phone")
    enter(page, "15.2")
    bar = page.locator("#act")
    bar.get_by_text("Read again").wait_for()
    assert bar.locator(".first:visible").all_inner_texts() == ["Read again", "Find out why"]
    assert bar.get_by_role("link", name="Next: step").evaluate("e => e.className") == "onward"
    told = page.locator("#found .outside").inner_text()
    assert "gives too much" in told
    assert "cable" not in told
    look(page, "setup-outside-bar", full=False)
    for name in ("Read again", "Find out why", "Next: step"):
        box = bar.get_by_text(name).bounding_box()
        assert box is not None
        assert box["height"] >= 44
    press(page.locator("#onward"), "Enter")
    enter(page, "-13.8")
    page.locator("#found").get_by_text("Negative:").wait_for()
    assert page.locator("#found .huge").inner_text() == "-13.8 V"
    click(page.get_by_role("link", name="Find out why"))
    page.wait_for_url("**/fault?from=run")


def test_form_that_was_opened_stays_open_when_the_evaluation_ends(open_page: Callable[..., Page], job: str) -> None:
    """A person opened it and hasn't typed yet; what was found in the background comes in beside it."""
    page = open_page(step_page(job, SUPPLY), size="phone")
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/api/work/*/events", hold, times=1)
    enter(page, "15.2")
    press(page.locator("#onward"), "Enter")
    page.locator("#field").wait_for()
    for route in held:
        route.continue_()
    page.locator(".believed").wait_for(timeout=20_000)
    enter(page, "13.8")
    page.locator("#found .huge").get_by_text("13.8 V").wait_for()


def test_conflict_stays_shown_when_the_evaluation_ends(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """The evaluation in the background ends while a person still chooses between two entries: the choice stays."""
    second = open_page(step_page(job, SUPPLY), size="phone")
    api.post(f"/api/jobs/{job}/run", json={"step": SUPPLY, "text": "13.65", "seen": 0}).raise_for_status()
    enter(second, "13.4")
    second.get_by_role("alert").get_by_text("newer entry").wait_for()
    first = open_page(step_page(job, SUPPLY))
    first.locator("#found").get_by_text("No sign of a fault").wait_for(timeout=60_000)
    second.wait_for_timeout(1_500)
    click(second.get_by_role("button", name="Use mine"), timeout=2_000)
    second.locator("#found").get_by_text("lower than expected").wait_for()
    assert [e["text"] for e in entries(api, job)] == ["13.65", "13.4"]


def test_reading_typed_without_a_network_is_sent_when_it_is_back(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """Without a network a reading stays on the phone, while the store is away or the line too slow too, and is entered once when all is back."""
    page = open_page(step_page(job, SUPPLY), size="phone")
    page.context.set_offline(True)
    enter(page, "13,9")
    page.get_by_text("kept on this device").wait_for()
    assert entries(api, job) == []
    answers = [503, 507, 408]
    page.route("**/setup/*", lambda route: route.fulfill(status=[*answers, 503][0], body="<p>not now</p>"))
    page.context.set_offline(False)
    while answers:
        with page.expect_response("**/setup/*"):
            page.evaluate("window.dispatchEvent(new Event('online'))")
        answers.pop(0)
        page.evaluate("new Promise((done) => setTimeout(done, 50))")
        assert page.get_by_text("kept on this device").count() == 1
        assert page.get_by_text("Refused").count() == 0
    page.unroute("**/setup/*")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.locator("#found").get_by_text("fits").wait_for(timeout=20_000)
    assert [e["text"] for e in entries(api, job)] == ["13,9"]


def test_enter_pressed_twice_without_a_network_is_one_entry(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """The first and its repetition are one entry; what is typed next is another, even when it's the same again."""
    page = open_page(step_page(job, "amplifier.amp_sub"), size="phone")
    page.context.set_offline(True)
    for text in ("12", "12", "12.5", "12"):
        enter(page, text) if page.locator("#field").input_value() != text else press(page.locator("#field"), "Enter")
    page.get_by_text("kept on this device").wait_for()
    page.context.set_offline(False)
    page.locator("#onward").wait_for(timeout=20_000)
    page.get_by_text("all your entries have been sent").wait_for(timeout=20_000)
    assert [e["text"] for e in entries(api, job)] == ["12 V", "12.5 V", "12 V"]


def test_offline_reading_in_conflict_is_shown_with_the_other(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """An offline reading that meets another's is not lost: it stays on the phone until it is entered or discarded.

    One of a job that was deleted is sent again with one tap when the job is back (once it had to be typed again).
    """
    page = open_page(step_page(job, SUPPLY), size="phone")
    page.context.set_offline(True)
    enter(page, "13,1")
    page.get_by_text("kept on this device").wait_for()
    api.post(f"/api/jobs/{job}/run", json={"step": SUPPLY, "text": "13.8", "seen": 0}).raise_for_status()
    page.context.set_offline(False)
    page.get_by_text("Refused: 13,1").wait_for(timeout=20_000)
    assert [e["text"] for e in entries(api, job)] == ["13.8"]
    page.goto(f"/jobs/{job}/setup")
    page.get_by_text("Refused: 13,1").wait_for()
    page.goto(step_page(job, SUPPLY))
    click(page.locator(".again > summary"))
    enter(page, "13,1")
    page.locator("#found").get_by_text("lower than expected").wait_for()
    assert page.get_by_text("Refused").count() == 0
    assert [e["text"] for e in entries(api, job)] == ["13.8", "13,1"]
    page.context.set_offline(True)
    click(page.locator(".again > summary"))
    enter(page, "13,2")
    page.get_by_text("kept on this device").wait_for()
    api.put(f"/api/jobs/{job}/shelf", json={"shelf": "deleted", "seen": "kept"}).raise_for_status()
    page.context.set_offline(False)
    page.get_by_text("Refused: 13,2").wait_for(timeout=20_000)
    api.put(f"/api/jobs/{job}/shelf", json={"shelf": "kept"}).raise_for_status()
    click(page.get_by_role("button", name="Send again"))
    page.get_by_text("Refused: 13,2").wait_for(state="detached")
    page.locator("#found").get_by_text("13.2 V").first.wait_for()  # it is taken off the list before it is sent
    assert [e["text"] for e in entries(api, job)] == ["13.8", "13,1", "13,2"]


def test_server_killed_in_the_middle_of_a_run_loses_nothing(open_page: Callable[..., Page], server: WebServer) -> None:
    """Killed between two readings: what was entered is there, what is typed meanwhile is sent once it answers again."""
    with server.client() as api:
        job = api.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
        page = open_page(step_page(job, SUPPLY), size="phone")
        enter(page, "13.8")
        page.locator("#found").get_by_text("fits").wait_for()
        page.goto(step_page(job, "lead.measuring"))
        server.kill()
        enter(page, "0,7 open")
        page.get_by_text("kept on this device").wait_for()
    server.start()
    page.locator("#found").get_by_text("fits").wait_for(timeout=30_000)
    with server.client() as api:
        assert [(e["step"], e["text"]) for e in entries(api, job)] == [(SUPPLY, "13.8"), ("lead.measuring", "0,7 open")]


def test_kill_under_load_loses_no_acknowledged_reading(tmp_path: Path, program: WarmProgram) -> None:
    """Many write at once over HTTP and the server is killed: every acknowledged reading is there, once."""
    server = WebServer(tmp_path, program=program).start()
    try:
        for round_ in range(3):
            _kill_under_load(server, round_)
    finally:
        server.stop()


def _kill_under_load(server: WebServer, round_: int) -> None:
    with server.client() as api:
        job = api.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
        steps = [
            s["id"] for s in api.get(f"/api/jobs/{job}/run").json()["steps"] if s["asked"] in ("lead", "ohm", "supply")
        ]
    acknowledged: list[tuple[str, str]] = []
    enough = threading.Event()

    def write(step: str) -> None:
        seen = 0
        with server.client(timeout=10) as client:
            for i in range(100_000):
                text = f"{1 + i % 7}.{i:05d}"
                try:
                    answer = client.post(f"/api/jobs/{job}/run", json={"step": step, "text": text, "seen": seen})
                except httpx.HTTPError:
                    return
                assert answer.status_code == 201, answer.text
                seen = answer.json()["number"]
                acknowledged.append((step, text))
                if len(acknowledged) > 60 + 25 * round_:
                    enough.set()

    writers = [threading.Thread(target=write, args=(step,)) for step in steps]
    for writer in writers:
        writer.start()
    assert enough.wait(60)
    server.kill()
    for writer in writers:
        writer.join(30)
    server.start()
    with server.client() as api:
        found = entries(api, job)
        there = [(e["step"], e["text"]) for e in found]
        assert set(acknowledged) <= set(there)
        assert len(there) == len(set(there))
        assert len(there) - len(acknowledged) <= len(steps)
        assert [e["number"] for e in found] == list(range(1, len(found) + 1))
        assert api.get("/api/jobs").status_code == 200


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_whole_run_at_the_rig_by_keyboard_alone(
    open_page: Callable[..., Page], api: httpx.Client, look: Callable[..., None], size: str
) -> None:
    """The example's plan from first to last step at a simulated rig, without a pointer; at the end all steps are done and fit."""
    job = api.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
    read = read_job_text(example_text("one_amplifier")).job
    plan, hand = make_plan(read), Hand(read, seed=2)
    page = open_page(f"/jobs/{job}/setup", size=size)
    press(page.get_by_role("link", name="Start: step"), "Enter")
    for step in plan.steps:
        page.wait_for_url(f"**/setup/{step.id}")
        now = [RunEntry(**e) for e in entries(api, job)]  # type: ignore[arg-type]
        run = run_of(plan, now, instruments(read))
        state = run.of(step.id)
        texts = hand.texts(run, state)
        if not texts:
            press(page.locator("#field"), "Enter")
            continue
        if state.asked == "column":
            # with a meter one looks for the knee; here its last clean step is told at once
            page.locator("#field").fill(texts[-6].split(" ")[0])
            press(page.locator("#field"), "Enter")
        else:
            page.locator("#field").fill(texts[0])
            press(page.locator("#field"), "Enter")
        page.locator("#onward").wait_for()
        assert page.evaluate("document.activeElement.id") == "onward"
        if step.phase == "amplifier":
            look(page, f"setup-read-{size}", full=size == "desktop")
        page.keyboard.press("Enter")
    page.wait_for_url("**/setup")
    page.get_by_text("All steps are done").wait_for()
    told = api.get(f"/api/jobs/{job}/run").json()
    assert told["next"] == ""
    assert {s["state"] for s in told["steps"]} == {"done"}
    assert all(s["verdict"] == "fits" for s in told["steps"] if s["asked"]), [
        (s["id"], s["value"]) for s in told["steps"] if s["asked"] and s["verdict"] != "fits"
    ]
    look(page, f"setup-done-{size}")


def test_run_is_continued_on_another_device(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """One device continues another's run; the list shows what is done, skipped, outside."""
    first = open_page(step_page(job, SUPPLY), size="phone")
    enter(first, "12.2")
    first.locator("#onward").wait_for()
    api.post(
        f"/api/jobs/{job}/run", json={"step": "prepare.speakers", "kind": "skipped", "text": "off already", "seen": 0}
    )
    second = open_page(f"/jobs/{job}/setup")
    told = second.locator("main").inner_text()
    lines = api.get(f"/api/jobs/{job}/plan").json()["lines"]
    count = max(line["number"] for line in lines)
    assert f"1 of {count} steps done, 1 skipped, 1 out of range" in told
    assert "off already" in told
    assert "12.2 V" in told
    click(second.get_by_role("link", name="Continue: step 2.1"))
    second.wait_for_url("**/setup/lead.measuring")


def test_readings_refine_what_later_steps_expect(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """After the source was read, the expectation for verifying the other side comes from the readings, and the page says so."""
    job = api.post("/api/jobs", json={"like": "full_range"}).json()["id"]
    plan = make_plan(read_job_text(example_text("full_range")).job)
    source = next(s for s in plan.steps if s.phase == "source" and s.tone_hz)
    step = next(s for s in plan.steps if s.id == "verify.amp_front.out.right")
    for text in ("36 7.9", "37 8.6", "36"):
        seen = max([0, *(int(str(e["number"])) for e in entries(api, job, source.id))])
        api.post(f"/api/jobs/{job}/run", json={"step": source.id, "text": text, "seen": seen}).raise_for_status()
    page = open_page(step_page(job, source.id))
    page.locator("#found").get_by_text("No sign of a fault").wait_for(timeout=60_000)
    page.goto(step_page(job, step.id))
    assert "narrowed by 1 reading so far" in page.locator("#expect").inner_text()


def test_tone_is_the_one_asked_for_and_stops(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """The tone of a step has its frequency and level (checked by numpy's FFT), starts with one tap, and really stops."""
    answer = api.get("/api/tones.wav", params={"hz": 40, "dbfs": -10, "seconds": 2})
    samples, rate = soundfile.read(io.BytesIO(answer.content))
    spectrum = np.abs(np.fft.rfft(samples[rate // 2 : rate // 2 + rate, 0])) / (rate / 2)
    assert int(np.argmax(spectrum)) == 40
    assert 20 * np.log10(spectrum[40]) == pytest.approx(-10, abs=0.01)
    assert api.get("/api/tones.wav", params={"hz": 40, "seconds": 500}).status_code == 422
    assert api.get("/api/tones.wav", params={"hz": TONES_HZ[1], "seconds": 0.1}).status_code == 200  # a job may have it
    page = open_page(step_page(job, "amplifier.amp_sub"), size="phone")
    click(page.get_by_role("button", name="Play 40 Hz"))
    page.get_by_role("button", name="Stop 40 Hz").wait_for()
    assert page.evaluate("document.querySelector('audio').paused") is False
    enter(page, "12")
    page.locator("#onward").wait_for()
    assert page.evaluate("document.querySelector('audio').paused") is False
    click(page.get_by_role("button", name="Stop 40 Hz"))
    assert page.evaluate("[document.querySelector('audio').paused, document.querySelector('audio').currentTime]") == [
        True,
        0,
    ]


def test_all_tones_come_as_one_archive(open_page: Callable[..., Page], job: str) -> None:
    """The whole set is written in the background and downloaded: every tone of the plan and the list."""
    page = open_page(f"/jobs/{job}/setup")
    page.get_by_label("Seconds per tone").fill("1")
    click(page.get_by_role("button", name="Make files"))
    link = page.get_by_role("link", name="Download the tones")
    link.wait_for(timeout=60_000)
    with page.expect_download() as download:
        link.click()
    with zipfile.ZipFile(download.value.path()) as archive:
        names = archive.namelist()
        assert archive.testzip() is None
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    tones = {(s.tone_hz, s.level_dbfs) for s in plan.steps if s.tone_hz is not None}
    assert len([n for n in names if n.endswith(".wav") and "to" not in n]) == len(tones)
    assert "tones.txt" in names


def test_api_refuses_invalid_entries(api: httpx.Client, job: str) -> None:
    """No such step, an invalid reading, a conflict: each with its status; an entry sent twice is the same entry."""
    run = f"/api/jobs/{job}/run"
    assert api.post(run, json={"step": "no.step", "text": "1", "seen": 0}).status_code == 404
    assert api.post(run, json={"step": SUPPLY, "text": "many", "seen": 0}).status_code == 422
    first = api.post(run, json={"step": SUPPLY, "text": "13.8", "seen": 0})
    assert first.status_code == 201
    assert api.post(run, json={"step": SUPPLY, "text": "13.8", "seen": 0}).json()["number"] == first.json()["number"]
    assert api.post(run, json={"step": SUPPLY, "text": "13.9", "seen": 0}).status_code == 409
    again = {"step": SUPPLY, "text": "13.9", "seen": 1, "key": "k"}
    second = [api.post(run, json=again).json()["number"] for _ in range(2)]
    assert second == [2, 2]
    assert [e["key"] for e in entries(api, job)] == ["", "k"]
    asked = api.post(run, json={"step": SUPPLY, "text": "1390", "seen": 2})
    assert (asked.status_code, asked.json()["code"], asked.json()["candidate"]) == (422, "asked_about", "13.90")
    assert len(entries(api, job)) == 2
    assert (
        api.post(run, json={"step": SUPPLY, "text": "1390", "seen": 2, "sure": True}).json()["value"]["value"] == 1390
    )
    assert api.get(f"/api/jobs/{job}/plan").json()["steps"][0]["id"] == "prepare.speakers"


def test_markup_in_a_reason_is_text(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Markup in a reason is shown as typed."""
    hostile = "<img src=x onerror=alert(1)>{{ 7*7 }}"
    api.post(f"/api/jobs/{job}/run", json={"step": SUPPLY, "kind": "skipped", "text": hostile, "seen": 0})
    page = open_page(step_page(job, SUPPLY))
    assert hostile in page.locator("#found").inner_text()
    assert page.locator("main img").count() == 0


def test_steps_are_accessible(
    open_page: Callable[..., Page],
    both_sizes: Callable[..., None],
    day_and_night: Callable[..., None],
    api: httpx.Client,
    job: str,
) -> None:
    """WCAG 2.2 AA as far as axe can check: the list and each kind of step, before and after its reading, in light and dark mode."""
    texts = {SUPPLY: "12.1", "lead.head.front-desk": "0.3 open", "speaker.sub": "open", "amplifier.amp_front": "17.2"}
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    kinds = {s.phase: s.id for s in plan.steps} | {
        "lead": "lead.head.front-desk",
        "coil": "speaker.sub",
        "supply": SUPPLY,
    }
    kinds["gain"] = "amplifier.amp_front"
    page = open_page(f"/jobs/{job}/setup", size="phone")
    both_sizes(page, "setup-begun")
    for name, step in kinds.items():
        page.goto(step_page(job, step))
        both_sizes(page, f"setup-{name}", full=["desktop"])
    for step, text in texts.items():
        api.post(f"/api/jobs/{job}/run", json={"step": step, "text": text, "seen": 0}).raise_for_status()
    page.goto(step_page(job, "speaker.sub"))
    page.locator(".believed").wait_for(timeout=20_000)
    day_and_night(page, "setup-outside")
    page.goto(f"/jobs/{job}/setup")
    both_sizes(page, "setup-list", full=["desktop"])


@pytest.mark.parametrize("size", ["phone"])
def test_field_and_button_are_large_and_within_reach_of_the_thumb(
    open_page: Callable[..., Page], job: str, size: str
) -> None:
    """On a phone the field and its button are in the lower half of the screen, and at least 56 px high."""
    page = open_page(step_page(job, "amplifier.amp_front"), size=size)
    for target in (page.locator("#field"), page.get_by_role("button", name="Enter", exact=True)):
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= 56
        assert 844 / 2 < box["y"] < 844 - box["height"]


def test_list_shows_the_lines_of_the_sheet_in_full_and_in_short(
    open_page: Callable[..., Page], api: httpx.Client, look: Callable[..., None], job: str
) -> None:
    """Each line once with the number it has on paper, its readings under it; the switch shows the short sentences and what to expect."""
    page = open_page(f"/jobs/{job}/setup", size="phone")
    lines = api.get(f"/api/jobs/{job}/plan").json()["lines"]
    told = " ".join(page.locator("main").inner_text().split())
    assert [line["do"] for line in lines if " ".join(line["do"].split()) not in told] == []
    shown = page.locator("ol.steps > li").evaluate_all("items => items.map(item => item.value)")
    assert shown == [line["number"] for line in lines]
    look(page, "setup-lines-phone")
    click(page.get_by_role("link", name="Short form"))
    page.wait_for_url("**/setup?short=true")
    told = " ".join(page.locator("main").inner_text().split())
    assert [line["short"] for line in lines if " ".join(line["short"].split()) not in told] == []
    look(page, "setup-short-phone")
    assert "up to 0.99 ohm is a good lead" in told
    assert page.get_by_role("link", name="Full form").count() == 1
