"""Finding a fault on the page: a simulated rig answers each test until its fault is found; and every other way to use the page."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from browser_acts import click
from playwright.sync_api import expect

from gainwright.app.practice.practice import with_gains_set
from gainwright.diagnose import Cause, Diagnoser, make_diagnosis, short_name
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.results import to_json
from gainwright.simulated import SimulatedHiddenRigs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import httpx
    from playwright.sync_api import Page
    from web_server import WebServer

TEXT = example_text("two_way_and_sub")
JOB = read_job_text(TEXT).job
MOST_TESTS = 20
HOSTILE = "<img src=x onerror=alert(1)><b>bold</b> {{ 7*7 }} \" '"


def seen(page: Page) -> str:
    """Return the revision that the page was made from."""
    return str(page.locator('input[name="seen"]').first.input_value())


def done(page: Page, act: Callable[[], object]) -> None:
    """Do something on the page and wait until the page shows the case after it."""
    before = seen(page)
    act()
    expect(page.locator('input[name="seen"]').first).not_to_have_value(before)


def asked(page: Page) -> dict[str, Any]:
    """Return the entry that the page asks for."""
    entry: dict[str, Any] = json.loads(page.locator('.ask form:not(.mended) input[name="entry"]').input_value())
    return entry


def answer(page: Page, result: dict[str, Any]) -> None:
    """Answer the test on the page as a person does: press a word, or type what was read."""
    form = page.locator('.ask form[action$="/answer"]:not(.mended)')
    if "resistance" in result:
        form.locator('input[name="text"]').fill(str(result["resistance"]).removesuffix(" ohm"))
        form.locator('input[name="second"]').fill(str(result["between_conductors"]).removesuffix(" ohm"))
        done(page, form.get_by_role("button", name="Enter").click)
        return
    value = str(next(v for k, v in result.items() if k != "thd"))
    button = form.locator(f'button[name="choice"][value="{value.replace("_", " ")}"]')
    if button.count():
        done(page, button.click)
        return
    form.locator('input[name="text"]').fill(value.removesuffix(" V").removesuffix(" ohm").replace(".", ","))
    if "thd" in result:
        form.locator('input[name="second"]').fill(str(result["thd"]).removesuffix(" %"))
    done(page, form.get_by_role("button", name="Enter").click)


def begin(page: Page, job: str, *, heard: str = "silent") -> None:
    """Begin a case: the caller hears the subwoofer so, which is tapped."""
    page.goto(f"/jobs/{job}/fault")
    for name, value in (("wrong", "speaker"), ("speaker:which", "sub"), ("speaker:sounds", heard)):
        page.locator(f'input[name="{name}"][value="{value}"]').check(force=True)
    click(page.get_by_role("button", name="Open case"))
    page.get_by_role("heading", name="Likely causes").wait_for()


@pytest.fixture
def case(api: httpx.Client, job: str) -> dict[str, Any]:
    """A case about a fresh job: the subwoofer is silent."""
    said = {"job": job, "evidence": [{"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"}]}
    found: dict[str, Any] = api.post("/api/cases", json=said).raise_for_status().json()
    return found


def reopen_all(api: httpx.Client) -> None:
    """Reopen what other tests closed: a cause that was found before is suspected sooner."""
    for kept in api.get("/api/cases").json():
        if kept["closed"]:
            api.post(f"/api/cases/{kept['name']}/reopen", json={"seen": kept["revision"]}).raise_for_status()


@pytest.mark.parametrize(
    ("size", "scripts", "cause", "where"),
    [
        ("phone", True, "lead_open", "lead:knob-amp_sub"),
        ("desktop", False, "output_muted", "desk.sub"),
        ("desktop", True, "amplifier_no_supply", "amp_sub"),
        ("phone", False, "speaker_open", "sub"),
    ],
)
def test_rig_answers_until_its_fault_is_found_closed_and_counted(
    open_page: Callable[..., Page], api: httpx.Client, job: str, *, size: str, scripts: bool, cause: str, where: str
) -> None:
    """The readings of a simulated chain with a hidden fault, typed into the page as they are asked for, lead to the fault."""
    rig = SimulatedHiddenRigs().hidden(with_gains_set(JOB), seed=5, cause=cause, where=where)
    reopen_all(api)
    page = open_page("/", size=size, scripts=scripts)
    begin(page, job)
    for _ in range(MOST_TESTS):
        if page.locator(".mended").count():
            break
        entry = asked(page)
        found = rig.answer(read_entry(entry, JOB, answered=False))
        answer(page, {k: v for k, v in found.items() if k not in entry})
    assert page.locator(".mended").count() == 1
    name = short_name(Cause(cause, where), JOB)
    believed = page.locator(".question").first.inner_text() + page.locator(".ask").inner_text()
    assert name in believed  # by itself, or as one of those that no test tells apart
    page.locator('select[name="was"]').select_option(f"{cause}|{where}")
    page.get_by_label("Note").fill("it was the plug")
    click(page.get_by_role("button", name="Close case"))
    page.get_by_role("heading", name="What it was").wait_for()
    assert name in page.locator(".question").first.inner_text()
    assert "it was the plug" in page.locator(".ask").inner_text()
    counted = {c["cause"]: c for c in api.get("/api/tally").json()["causes"]}
    assert counted[cause]["cases"] == 1
    assert counted[cause]["tests"] >= 1
    assert counted[cause]["minutes"] > 0
    page.goto("/cases/tally")
    assert page.get_by_role("row", name=cause.replace("_", " ")).count() == 1


def test_dont_know_cant_reach_undo_and_correct(
    open_page: Callable[..., Page], api: httpx.Client, case: dict[str, Any]
) -> None:
    """A test that can't be answered isn't asked again; the last step is undone; an earlier answer is corrected."""
    address = f"/cases/{case['name']}"
    page = open_page(address)
    first = asked(page)
    done(page, page.get_by_role("button", name="Don't know").click)
    assert asked(page) != first
    assert page.get_by_text("not known:").count() == 1
    second = asked(page)
    done(page, page.get_by_role("button", name="Can't reach").click)
    unreachable = api.get(f"/api/cases/{case['name']}").json()["unreachable"]
    assert len(unreachable) == 1
    assert asked(page) != second
    done(page, page.get_by_role("button", name="Undo last step").click)
    assert api.get(f"/api/cases/{case['name']}").json()["unreachable"] == []
    assert asked(page) == second
    row = page.locator(".found > li").first
    click(row.get_by_text("Correct"))
    done(page, row.get_by_role("button", name="faint").click)
    assert "faint" in page.locator(".found > li").first.inner_text()
    kept = api.get(f"/api/cases/{case['name']}").json()
    assert [e["is"] for e in kept["evidence"]] == ["faint"]
    assert kept["dialogue"][-1]["believed"] is not None


def test_invalid_answer_is_reported_and_stays_in_the_field(
    open_page: Callable[..., Page], api: httpx.Client, case: dict[str, Any]
) -> None:
    """A word instead of volts is refused beside the field, with the word still in it; nothing is stored."""
    page = open_page(f"/cases/{case['name']}")
    for _ in range(8):
        if page.locator("input#answer").count():
            break
        done(page, page.get_by_role("button", name="Don't know").click)
    before, entry = seen(page), asked(page)
    page.locator("input#answer").fill("three <b>volts</b>")
    click(page.get_by_role("button", name="Enter", exact=True).first)
    assert page.get_by_role("alert").inner_text()
    assert page.locator("input#answer").input_value() == "three <b>volts</b>"
    assert asked(page) == entry
    assert seen(page) == before
    assert len(api.get(f"/api/cases/{case['name']}").json()["evidence"]) == 1


def test_another_test_and_an_own_observation_are_accepted(open_page: Callable[..., Page], case: dict[str, Any]) -> None:
    """Any of the next tests can be made instead; an observation that wasn't asked for can be added."""
    page = open_page(f"/cases/{case['name']}")
    click(page.get_by_text("Another test instead"))
    words = page.locator(".tests a").nth(1).inner_text()
    click(page.locator(".tests a").nth(1))
    page.wait_for_url("**test=3")
    assert page.locator(".ask .question").inner_text() == words
    click(page.get_by_text("Add another finding"))
    own = page.locator(".own form")
    own.get_by_label("something was inspected").check()
    own.get_by_label("Where").fill("Power lamp of the sub amplifier")
    own.get_by_label("Result").fill("off")
    done(page, own.get_by_role("button", name="Add finding").click)
    assert "Power lamp of the sub amplifier: off" in page.locator(".found").inner_text()
    assert page.url.endswith(case["name"])
    click(page.get_by_text("Add another finding"))
    own.get_by_label("a signal was measured").check()
    own.get_by_label("Where").fill("amp_subb.out.mono")
    own.get_by_label("Result").fill("0,02")
    click(own.get_by_role("button", name="Add finding"))
    assert "did you mean amp_sub.out.mono" in page.get_by_role("alert").inner_text()
    assert own.get_by_label("Where").input_value() == "amp_subb.out.mono"
    own.get_by_label("Where").fill("amp_sub.out.mono")
    done(page, own.get_by_role("button", name="Add finding").click)
    assert "0.02 V at the output of the sub amplifier (50 Hz at -8 dBFS)" in page.locator(".found").inner_text()


def test_two_people_on_one_case_lose_nothing(
    open_page: Callable[..., Page], api: httpx.Client, case: dict[str, Any]
) -> None:
    """The second is shown the other's change beside their own entry, and may add it all the same; sent twice it counts once."""
    name = case["name"]
    one, two = open_page(f"/cases/{name}"), open_page(f"/cases/{name}", size="phone")
    entry, old = asked(one), seen(one)
    rig = SimulatedHiddenRigs().hidden(with_gains_set(JOB), seed=5, cause="amplifier_no_supply", where="amp_sub")
    found = rig.answer(read_entry(entry, JOB, answered=False))
    answer(one, {k: v for k, v in found.items() if k not in entry})
    click(two.get_by_text("Add another finding"))
    form = two.locator('.ask form[action$="/answer"]:not(.mended)')
    field = form.locator('input[name="text"]')
    if field.count():
        field.fill("7.7")
        click(form.get_by_role("button", name="Enter"))
    else:
        click(form.locator('button[name="choice"]').last)
    two.get_by_role("heading", name="What you entered").wait_for()
    assert "in the meantime" in two.get_by_role("alert").inner_text()
    kept = api.get(f"/api/cases/{name}").json()
    assert len(kept["evidence"]) == 2
    assert two.locator(".found > li").count() == 2
    done(two, two.get_by_role("button", name="Enter anyway").click)
    after = api.get(f"/api/cases/{name}").json()
    assert after["evidence"][:2] == kept["evidence"]
    assert len(after["evidence"]) == 3
    again = {"seen": old, "entry": json.dumps(entry), "choice": "", "text": "", "second": ""}
    text = str(next(v for k, v in found.items() if k not in entry)).replace("_", " ")
    answered = api.post(f"/cases/{name}/answer", data=again | {"text": text})
    assert answered.status_code == 303
    assert len(api.get(f"/api/cases/{name}").json()["evidence"]) == 3


def test_answer_without_network_is_kept_and_sent_later(
    open_page: Callable[..., Page], api: httpx.Client, case: dict[str, Any]
) -> None:
    """While the server can't be reached an answer stays on the device; then it is sent automatically."""
    page = open_page(f"/cases/{case['name']}", size="phone")
    page.context.set_offline(True)
    form = page.locator('.ask form[action$="/answer"]:not(.mended)')
    if form.locator('input[name="text"]').count():
        form.locator('input[name="text"]').fill("0,02")
        click(form.get_by_role("button", name="Enter"))
    else:
        click(form.locator('button[name="choice"]').first)
    box = page.get_by_text("kept on this device, waiting to be sent").bounding_box()
    assert box is not None
    assert 0 <= box["y"] < 844, "where the answer was given"
    assert len(api.get(f"/api/cases/{case['name']}").json()["evidence"]) == 1
    done(page, lambda: page.context.set_offline(False))
    assert len(api.get(f"/api/cases/{case['name']}").json()["evidence"]) == 2


def test_keyboard_alone_begins_and_answers(open_page: Callable[..., Page], job: str) -> None:
    """By keyboard a symptom is chosen, the case opened and a test answered; the focus goes to the next answer."""
    page = open_page(f"/jobs/{job}/fault")
    page.locator('input[name="wrong"]').first.focus()
    page.keyboard.press("Space")
    assert page.locator('input[name="wrong"][value="nothing"]').is_checked()
    page.get_by_label("Name of the case").focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Likely causes").wait_for()
    page.wait_for_load_state()
    begun = page.locator(".found > li").count()
    page.locator("#answer").focus()
    if page.locator("#answer").evaluate("e => e.tagName") == "INPUT":
        page.keyboard.type("0.02")
    done(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate("document.activeElement.id") == "answer"
    assert page.locator(".found > li").count() == begun + 1


def test_case_begins_with_the_readings_of_the_set_up_run(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """The readings of the set-up run become evidence, and can be removed one by one."""
    page = open_page(f"/jobs/{job}/fault?from=run")
    assert page.get_by_text("has no usable readings").count() == 1
    for step in api.get(f"/api/jobs/{job}/run").json()["steps"]:
        if step["asked"] in ("volts", "supply"):
            said = {
                "step": step["id"],
                "text": "12.6" if step["asked"] == "supply" else "0.002",
                "seen": 0,
                "sure": True,
            }
            api.post(f"/api/jobs/{job}/run", json=said).raise_for_status()
    evidence = api.get(f"/api/jobs/{job}/run").json()["evidence"]
    assert len(evidence) >= 2
    page.reload()
    assert page.get_by_label(f"Include the {len(evidence)} readings").is_checked()
    click(page.get_by_role("button", name="Open case"))
    expect(page.locator(".found > li")).to_have_count(len(evidence))
    name = page.url.rpartition("/")[2]
    assert api.get(f"/api/cases/{name}").json()["evidence"] == evidence
    done(page, page.get_by_role("button", name="Undo last step").click)
    assert page.locator(".found > li").count() == len(evidence) - 1


ODD: list[dict[str, Any]] = [
    {},
    {"at": 3},
    {"at": "amp_sub.out.mono", "tone": [], "reads": {}},
    {"at": "amp_sub.out.mono", "tone": "50 Hz", "reads": "nan V"},
    {"at": "amp_sub.out.mono", "tone": "50 Hz", "reads": "1e999 V"},
    {"at": "amp_sub.out.mono", "tone": "50 Hz", "reads": 10**400},
    {"at": "amp_sub.out.mono", "tone": 1e308, "reads": "1 V"},
    {"at": "amp_sub.out.mono", "tone": "50 Hz", "level": "1e308 dBFS", "reads": "1 V"},
    {"at": "amp_sub.out.mono", "tone": "50 Hz", "set": {"head.volume": "1e9"}, "reads": "1 V"},
    {"at": "amp_sub.out.mono", "tone": "50 Hz", "thd": "1e300 %"},
    {"heard": "sub", "is": "silent\x00"},
    {"heard": "\ud800", "is": "silent"},
    {"check": "sub.resistance", "reads": -1},
    {"check": "amp_sub.supply_voltage", "reads": True},
    {"check": "amp_sub.gain", "is": "1e999 %"},
    {"swap": "amp_front", "tone": "50 Hz", "fault": 1},
    {"heard": "sub", "is": "silent", "note": "x" * 5000},
    {"heard": "sub", "is": "silent", "deep": [[[[[[{}]]]]]]},
]


def test_odd_entries_never_cause_an_internal_error(api: httpx.Client, job: str) -> None:
    """Any entry gives a diagnosis or a sentence; the case page always works afterwards."""
    kept = api.post("/api/cases", json={"job": job}).json()
    name = kept["name"]
    for entry in ODD:
        body = json.dumps({"evidence": [entry], "seen": kept["revision"], "entry": entry, "text": "1"})
        for path in (f"jobs/{job}/diagnosis", f"cases/{name}/add", f"cases/{name}/answer", f"cases/{name}/dont-know"):
            answered = api.post(f"/api/{path}", content=body, headers={"content-type": "application/json"})
            assert answered.status_code in (200, 400, 409, 422), (path, entry, answered.text[:300])
        assert api.get(f"/cases/{name}").status_code == 200, entry
        kept = api.get(f"/api/cases/{name}").json()


def test_markup_is_text(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """Markup in a title, a note, an entry or a job has no effect anywhere."""
    lines = [f"title: {json.dumps(HOSTILE)}" if line.startswith("title:") else line for line in TEXT.splitlines()]
    job = api.post("/api/jobs", json={"text": "\n".join(lines) + "\n"}).raise_for_status().json()["id"]
    page = open_page(f"/jobs/{job}/fault")
    assert page.get_by_label("Title").input_value() == HOSTILE
    page.get_by_label("Title").fill(f"T {HOSTILE}")
    click(page.get_by_role("button", name="Open case"))
    assert page.get_by_role("heading", level=1).inner_text() == f"T {HOSTILE}"
    click(page.get_by_text("Add another finding"))
    page.locator(".own").get_by_label("Where").fill(HOSTILE)
    page.locator(".own").get_by_label("Result").fill(HOSTILE)
    click(page.get_by_role("button", name="Add finding"))
    assert "<img" in page.get_by_role("alert").inner_text()
    page.get_by_label("Note").fill(f"N {HOSTILE}")
    click(page.get_by_role("button", name="Close case"))
    page.get_by_role("heading", name="What it was").wait_for()
    assert page.locator(".note").inner_text() == f"N {HOSTILE}"
    for path in (f"/jobs/{job}/fault", "/cases", "/cases/tally", "/practise"):
        page.goto(path)
        assert page.locator("main img:not(.drawn)").count() == 0
        assert page.locator("main b", has_text="bold").count() == 0
    taken = api.post(f"/jobs/{job}/fault", data={"name": "<b>x</b>", "title": "x"})
    assert taken.status_code == 422
    assert "<b>x" not in taken.text


def test_taken_or_reserved_name_is_refused(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Two cases never share a name, and none is named like the tally page."""
    api.post("/api/cases", json={"job": job, "name": "blue one"}).raise_for_status()
    page = open_page(f"/jobs/{job}/fault")
    for name, told in [("blue one", "already"), ("tally", "can't be called"), ("a/b", "can't be the name")]:
        page.get_by_label("Name of the case").fill(name)
        click(page.get_by_role("button", name="Open case"))
        assert told in page.get_by_role("alert").inner_text()
        assert page.get_by_label("Name of the case").input_value() == name
    assert page.get_by_role("link", name="Blue estate").count() == 1


def test_case_can_use_the_changed_job(
    open_page: Callable[..., Page], api: httpx.Client, case: dict[str, Any], job: str
) -> None:
    """A case keeps the job it was opened with until it is told to use the newer one; its evidence stays."""
    now = api.get(f"/api/jobs/{job}").json()
    newer = now["text"] + "# a later word\n"
    api.put(f"/api/jobs/{job}/text", json={"text": newer, "seen": now["revision"]}).raise_for_status()
    page = open_page(f"/cases/{case['name']}")
    done(page, page.get_by_role("button", name="Use the current job").click)
    kept = api.get(f"/api/cases/{case['name']}").json()
    assert kept["job"] == newer
    assert len(kept["evidence"]) == 1
    assert page.get_by_text("The job was changed").count() == 0


def test_diagnosis_over_http_is_that_of_the_command(api: httpx.Client, job: str) -> None:
    """Evidence posted for a job gives what `diagnose --json` prints: the same causes with the same probabilities."""
    reopen_all(api)
    entries = [
        {"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"},
        {"at": "amp_sub.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS", "reads": "0.0 V"},
        {"check": "amp_sub.power_lamp", "is": "off"},
    ]
    over = api.post(f"/api/jobs/{job}/diagnosis", json={"evidence": entries}).raise_for_status().json()
    here = to_json(make_diagnosis(Diagnoser(JOB), [read_entry(e, JOB) for e in entries]))
    assert over.keys() == here.keys()
    assert {(c["cause"], c["where"]) for c in over["causes"]} == {(c["cause"], c["where"]) for c in here["causes"]}
    assert sum(c["probability"] for c in over["causes"]) == pytest.approx(1)
    assert over["evidence"][1]["said"] == here["evidence"][1]["said"]
    top = {(c["cause"], c["where"]): c["probability"] for c in over["causes"]}
    for c in here["causes"]:
        assert top[c["cause"], c["where"]] == pytest.approx(c["probability"], abs=1e-6)
    bad = api.post(f"/api/jobs/{job}/diagnosis", json={"evidence": [{"check": "amp_subb.power_lamp", "is": "off"}]})
    assert bad.status_code == 422
    assert "amp_sub" in bad.json()["remedy"]
    nowhere = api.post(f"/api/jobs/{job}/diagnosis", json={"unreachable": ["moon"]})
    assert (nowhere.status_code, nowhere.json()["code"]) == (422, "unknown_place")


def test_case_survives_a_killed_server(open_page: Callable[..., Page], server: WebServer, case: dict[str, Any]) -> None:
    """Everything answered is there when the server was killed and started again; the dialogue continues from there."""
    page = open_page(f"/cases/{case['name']}")
    done(page, page.get_by_role("button", name="Don't know").click)
    before = asked(page)
    server.kill()
    server.start()
    page.reload()
    assert page.get_by_text("not known:").count() == 1
    assert asked(page) == before
    done(page, page.get_by_role("button", name="Undo last step").click)


def test_pages_are_accessible(
    open_page: Callable[..., Page],
    each_size: Callable[[Page], Iterator[str]],
    both_sizes: Callable[..., None],
    look: Callable[..., None],
    day_and_night: Callable[..., None],
    api: httpx.Client,
    job: str,
    case: dict[str, Any],
) -> None:
    """The beginning, a case during its search with everything unfolded, and in dark mode, with screenshots."""
    page = open_page(f"/jobs/{job}/fault", size="phone")
    both_sizes(page, "fault")
    now, name = case, case["name"]
    for entry in (
        {"at": "knob.out.mono", "with": "meter", "tone": "50 Hz", "level": "-8 dBFS", "reads": "0.11 V"},
        {"check": "amp_sub.power_lamp", "is": "on"},
    ):
        now = (
            api.post(f"/api/cases/{name}/add", json={"seen": now["revision"], "entry": entry}).raise_for_status().json()
        )
    page.goto(f"/cases/{name}")
    for size in each_size(page):
        assert page.locator("svg.chain:visible").count() == 1
        look(page, f"case-{size}")
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    page.locator(".moved img").scroll_into_view_if_needed()
    expect(page.locator(".moved img")).to_have_js_property("complete", value=True, timeout=30_000)
    assert page.locator(".moved img").evaluate("img => img.decode().then(() => img.naturalWidth)") > 300
    day_and_night(page, "case-unfolded")


def test_customer_gets_a_page(api: httpx.Client, case: dict[str, Any]) -> None:
    """The page for the customer can be viewed, and downloaded as a PDF, with the chain drawn."""
    html = api.get(f"/cases/{case['name']}/customer.html")
    assert html.status_code == 200
    assert "<svg" in html.text
    assert "default-src 'none'" in html.headers["content-security-policy"]
    pdf = api.get(f"/cases/{case['name']}/customer.pdf")
    assert pdf.content.startswith(b"%PDF-")
    assert "attachment" in pdf.headers["content-disposition"]
    assert api.get(f"/cases/{case['name']}/customer.exe").status_code == 422
