"""The chain in the browser: viewed, edited, rearranged and undone, at phone and desktop size, with and without scripts."""

from __future__ import annotations

import itertools
import re
from typing import TYPE_CHECKING

import pytest
from browser_acts import EACH_SIZE_AND_WAY, OTHER_SIZE_AND_WAY, click, mark

from gainwright.adapters.store import open_store
from gainwright.jobfile import example_text, read_job_text

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Locator, Page, Route
    from web_server import WebServer

AT_CHAIN = re.compile(r"/chain(\?.*)?$")
BOTH_SIZES = pytest.mark.parametrize("size", ["phone", "desktop"])
BOTH_WAYS = pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])


def text_of(api: httpx.Client, job: str) -> str:
    """The file as it is kept."""
    return str(api.get(f"/api/jobs/{job}").json()["text"])


def stages_of(api: httpx.Client, job: str) -> dict[str, str]:
    """Each stage with what feeds it, as it is kept."""
    leads = api.get(f"/api/jobs/{job}/chain").json()["leads"]
    return {lead["target"]: lead["source"] for lead in leads}


def box(page: Page, name: str) -> Locator:
    """The link of a stage in the drawing that is seen at this size."""
    return page.locator(f'svg.chain:visible a[href$="/stage/{name}"]')


def press(button: Locator, part: str = "#main") -> None:
    """Press a button, and wait until its part of the page, or the page, is another."""
    page = button.page
    mark(page.locator(part))
    click(button)
    page.locator(f"{part}:not([data-old])").wait_for()


def save(page: Page) -> None:
    """Send the form of keys."""
    press(page.get_by_role("button", name="Save"))


@EACH_SIZE_AND_WAY
def test_stage_form_is_reached_from_the_drawing_and_saved(
    open_page: Callable[..., Page], api: httpx.Client, job: str, size: str, scripts: bool
) -> None:
    """What is typed is in the file, with a decimal comma too, and undo reverts it."""
    page = open_page(f"/jobs/{job}/chain", size=size, scripts=scripts)
    for name in read_job_text(example_text("two_way_and_sub")).job.stages:
        assert box(page, name).count() == 1
    click(box(page, "head"))
    assert page.get_by_role("heading", level=1).inner_text().startswith("head")
    page.get_by_label("Rated output").fill("4,5 V ± 5 %")
    save(page)
    assert "rated_output: 4.5 V ± 5 %" in text_of(api, job)
    assert "# the maker's figure" in text_of(api, job)
    press(page.get_by_role("button", name="Undo"))
    assert text_of(api, job) == example_text("two_way_and_sub")
    assert page.get_by_label("Rated output").input_value() == "4 V"
    press(page.get_by_role("button", name="Redo"))
    assert page.get_by_label("Rated output").input_value() == "4.5 V ± 5 %"


def test_missing_key_shows_what_is_assumed_and_why(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """The catalogue's value with its spread and its reason is shown at the field until a value is given, and again once it is removed."""
    page = open_page(f"/jobs/{job}/chain/stage/amp_sub")
    click(page.get_by_text(re.compile("more, assumed")))
    told = page.locator(".field", has=page.get_by_label("Input impedance"))
    assert "15 kohm ± 30 %" in told.inner_text()
    assert "common practice" in told.inner_text()
    page.get_by_label("Input impedance").fill("22 kohm")
    save(page)
    assert "input_impedance: 22 kohm" in text_of(api, job)
    assert "Assumed" not in page.locator(".field", has=page.get_by_label("Input impedance")).inner_text()
    page.get_by_label("Input impedance").fill("")
    save(page)
    assert text_of(api, job) == example_text("two_way_and_sub")


@BOTH_WAYS
def test_invalid_value_is_reported_at_its_field_and_nothing_is_lost(
    open_page: Callable[..., Page], api: httpx.Client, job: str, scripts: bool
) -> None:
    """The page comes back with the file's error, the field marked, everything typed still there, nothing saved."""
    page = open_page(f"/jobs/{job}/chain/stage/head", scripts=scripts)
    page.get_by_label("Rated output").fill("4 ohm")
    page.get_by_label("Volume steps").fill("50")
    save(page)
    field = page.locator(".field", has=page.get_by_label("Rated output"))
    alert = field.get_by_role("alert").inner_text()
    assert "hm is a unit of resistance" in alert
    assert "stages." not in alert, "a place in the file tells nothing beside the field"
    assert page.get_by_label("Rated output").get_attribute("aria-invalid") == "true"
    assert page.get_by_label("Rated output").input_value() == "4 ohm"
    assert page.get_by_label("Volume steps").input_value() == "50"
    assert text_of(api, job) == example_text("two_way_and_sub")
    page.get_by_label("Rated output").fill("5 V")
    save(page)
    assert "volume: {steps: 50, at: 30}" in text_of(api, job)


@OTHER_SIZE_AND_WAY
def test_stage_is_added_moved_renamed_and_removed(
    open_page: Callable[..., Page], api: httpx.Client, job: str, size: str, scripts: bool
) -> None:
    """All without the text of the file; each step shows in the wiring, and at the end the chain is wired as before."""
    before = stages_of(api, job)
    page = open_page(f"/jobs/{job}/chain", size=size, scripts=scripts)
    click(page.get_by_role("link", name="Add to the chain"))
    form = page.locator("form[action$=add_stage]")
    form.get_by_role("radio", name="line driver").check()
    form.get_by_label("Name").fill("driver")
    form.get_by_label("Where").select_option("lead:head.front-desk")
    press(form.get_by_role("button"))
    alert = page.get_by_role("alert")
    assert "its gain" in alert.inner_text(), "a line driver without its gain is refused"
    form = page.locator("form[action$=add_stage]")
    assert form.get_by_label("Name").input_value() == "driver"
    form.get_by_label("Line driver: gain").fill("6 dB")
    click(form.get_by_role("button"))
    page.wait_for_url("**/stage/driver")
    assert stages_of(api, job)["driver"] == "head"
    page.get_by_label("Move to").select_option("lead:knob-amp_sub")
    click(page.get_by_role("button", name="Move", exact=True))
    page.get_by_text("Fed from knob").wait_for()
    assert stages_of(api, job)["amp_sub"] == "driver"
    click(page.get_by_role("button", name="Earlier"))
    page.get_by_text("Fed from desk.sub").wait_for()
    assert stages_of(api, job)["knob"] == "driver"
    page.get_by_label("New name").fill("booster")
    click(page.get_by_role("button", name="Rename"))
    page.wait_for_url("**/stage/booster")
    assert stages_of(api, job)["knob"] == "booster"
    click(page.get_by_role("button", name="Remove", exact=True))
    page.wait_for_url(AT_CHAIN)
    assert stages_of(api, job) == before


def test_branch_is_added_and_removed(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """An output of the processor with amplifier and speaker, and all of it removed with the speaker's branch."""
    page = open_page(f"/jobs/{job}/chain/stage/desk")
    click(page.get_by_role("link", name="add a branch"))
    form = page.locator("form[action$=add_branch]")
    form.get_by_label("new output").fill("rear")
    form.get_by_label("Routed from the input").fill("front")
    form.get_by_label("Amplifier's name").fill("amp_rear")
    form.get_by_label("Amplifier's rated power").fill("50 W @ 4 ohm")
    form.get_by_label("Speaker's name").fill("rear")
    click(form.get_by_role("button"))
    page.wait_for_url("**/stage/amp_rear")
    assert "rear: {from: front}" in text_of(api, job)
    page.goto(f"/jobs/{job}/chain/stage/rear")
    click(page.get_by_role("button", name="Remove with its branch"))
    page.wait_for_url(AT_CHAIN)
    assert text_of(api, job) == example_text("two_way_and_sub")


def test_a_stage_is_rewired_in_its_form(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Another source by the key `from`; a wiring that would leave an output without a speaker is refused with its place."""
    page = open_page(f"/jobs/{job}/chain/stage/amp_high")
    page.get_by_label("Fed from").fill("desk.woofer")
    save(page)
    assert "desk.tweeter.left reaches no speaker" in page.get_by_role("alert").inner_text()
    page.get_by_label("Fed from").fill("left: desk.tweeter.left, right: desk.tweeter.right")
    save(page)
    assert "from: {left: desk.tweeter.left, right: desk.tweeter.right}" in text_of(api, job)


def test_outputs_and_inputs_are_changed(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """One renamed, one fed from another input and removed, an input added."""
    page = open_page(f"/jobs/{job}/chain/stage/desk")
    form = page.locator("form[action$=rename_output]")
    form.get_by_label("Output").select_option("tweeter")
    form.get_by_label("New name").fill("high")
    click(form.get_by_role("button"))
    page.locator("legend", has_text="Output high").wait_for()
    assert "from: desk.high" in text_of(api, job)
    form = page.locator("form[action$=remove_output]")
    form.locator("select[name=output]").select_option("high")
    form.get_by_label("is then fed from").select_option("woofer")
    click(form.get_by_role("button"))
    page.locator("legend", has_text="Output high").wait_for(state="detached")
    assert "amp_high:  {kind: amplifier, from: desk.woofer" in text_of(api, job)
    form = page.locator("form[action$=add_input]")
    form.get_by_label("New input").fill("aux")
    form.get_by_label("fed from").fill("head.front")
    click(form.get_by_role("button"))
    page.get_by_label("Input aux").wait_for()
    assert "aux: head.front" in text_of(api, job)


def test_sections_and_instruments_have_forms(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Allowance by output, the supply, access times, an instrument of each kind added and removed."""
    page = open_page(f"/jobs/{job}/chain/section/allowance")
    page.get_by_label("woofer", exact=True).fill("7 dB")
    save(page)
    page.goto(f"/jobs/{job}/chain/section/vehicle")
    page.get_by_label("Supply, at rest").fill("12,4 V ± 0,2 V")
    save(page)
    page.goto(f"/jobs/{job}/chain/section/access")
    click(page.get_by_text("more, "))
    page.get_by_label("head", exact=True).fill("20 min")
    save(page)
    page.goto(f"/jobs/{job}/chain/add")
    form = page.locator("form[action$=add_instrument]")
    form.get_by_role("radio", name="recorder").check()
    form.get_by_label("Name").fill("card")
    form.get_by_label("full-scale").fill("1.5 V")
    click(form.get_by_role("button"))
    page.wait_for_url("**/instrument/card")
    text = text_of(api, job)
    assert "woofer: 7 dB" in text
    assert "resting: 12.4 V ± 0.2 V" in text
    assert "access: {head: 20 min}" in text
    assert "full_scale: 1.5 V" in text
    click(page.get_by_role("button", name="Remove"))
    page.wait_for_url(AT_CHAIN)
    assert "card" not in text_of(api, job)


@BOTH_WAYS
def test_two_people_at_one_stage_lose_nothing(
    open_page: Callable[..., Page], api: httpx.Client, job: str, scripts: bool
) -> None:
    """The second to save gets a conflict, sees both versions, and saves on top of the other's; keys that only the other changed keep the other's values."""
    first = open_page(f"/jobs/{job}/chain/stage/head", scripts=scripts)
    second = open_page(f"/jobs/{job}/chain/stage/head", size="phone", scripts=scripts)
    first.get_by_label("Rated output").fill("5 V")
    first.get_by_label("Volume steps").fill("45")
    save(first)
    second.get_by_label("Rated output").fill("6 V")
    save(second)
    assert "somebody else changed this job" in second.get_by_role("alert").inner_text()
    row = second.locator("#both tr", has_text="Rated output").inner_text()
    assert [part in row for part in ("4 V", "5 V", "6 V")] == [True] * 3
    assert "rated_output: 5 V" in text_of(api, job), "nothing is overwritten unasked"
    assert second.get_by_label("Rated output").input_value() == "6 V"
    assert second.get_by_label("Volume steps").input_value() == "45"
    save(second)
    assert "rated_output: 6 V" in text_of(api, job)
    assert "steps: 45" in text_of(api, job)
    form = first.locator("form[action$=rename_stage]")
    form.get_by_label("New name").fill("radio_9")
    press(form.get_by_role("button"))
    assert "somebody else changed this job" in first.get_by_role("alert").inner_text()
    assert "radio_9" not in text_of(api, job)


@EACH_SIZE_AND_WAY
def test_the_file_is_edited_as_text_with_errors_at_their_lines(
    open_page: Callable[..., Page], api: httpx.Client, job: str, size: str, scripts: bool
) -> None:
    """The same error as on the command line, its line marked and shown beside the text; corrected, it is saved with its comments."""
    page = open_page(f"/jobs/{job}/chain/text", size=size, scripts=scripts)
    area = page.get_by_label("Text of the job file")
    text = area.input_value()
    assert text == example_text("two_way_and_sub")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "rated_output" in row)
    area.fill(text.replace("rated_output: 4 V", "rated_output: 4 ohm"))
    press(page.get_by_role("button", name="Save"), "#checked")
    alert = page.get_by_role("alert").inner_text()
    assert f"job:{line}:5: stages.head.rated_output" in alert
    assert page.locator(".numbers b").inner_text().strip() == f"▶{line}"
    assert "rated_output: 4 ohm" in page.locator("pre.place").inner_text()
    assert text_of(api, job) == example_text("two_way_and_sub")
    page.get_by_label("Text of the job file").fill(text.replace("rated_output: 4 V", "rated_output: 5 V") + "# mine\n")
    click(page.get_by_role("button", name="Check"))
    page.get_by_text("This is a valid job file").wait_for()
    assert text_of(api, job) == example_text("two_way_and_sub")
    click(page.get_by_role("button", name="Save"))
    page.get_by_text("Revision 2").first.wait_for()
    assert text_of(api, job) == text.replace("rated_output: 4 V", "rated_output: 5 V") + "# mine\n"
    press(page.get_by_role("button", name="Undo"))
    assert page.get_by_label("Text of the job file").input_value() == text


def test_text_is_checked_while_typing(open_page: Callable[..., Page], job: str) -> None:
    """A mistake is reported and marked without a click, the caret stays where it is, and the correction is noticed too."""
    page = open_page(f"/jobs/{job}/chain/text")
    area = page.get_by_label("Text of the job file")
    area.press("Control+Home")
    area.press_sequentially("bogus: 1\n")
    page.locator(".numbers b", has_text="▶1").wait_for()
    assert "'bogus' is unknown" in page.get_by_role("alert").inner_text()
    area.press("ArrowUp")
    area.press_sequentially("# ")
    page.get_by_text("This is a valid job file").wait_for()
    assert page.locator(".numbers b").count() == 0
    assert area.input_value().startswith("# bogus: 1\n")


def held(page: Page, job: str, *, saving: bool) -> list[Route]:
    """Hold what a page of the text sends, either what is to be saved or what is only checked; return what is held."""
    found: list[Route] = []

    def hold(route: Route) -> None:
        post = route.request.method == "POST"
        if post and ("save=1" in (route.request.post_data or "")) == saving:
            found.append(route)
        else:
            route.continue_()

    page.route(f"**/jobs/{job}/chain/text", hold)
    return found


def test_saving_does_not_wait_for_a_slow_check(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """The check while typing is abandoned on Save, even if it never answers."""
    page = open_page(f"/jobs/{job}/chain/text")
    checks = held(page, job, saving=False)
    area = page.get_by_label("Text of the job file")
    area.press("Control+End")
    with page.expect_request(lambda r: r.method == "POST"):
        area.press_sequentially("# mine\n")
    click(page.get_by_role("button", name="Save"))
    page.get_by_text("Revision 2").first.wait_for()
    assert checks
    assert text_of(api, job).endswith("# mine\n")


def test_text_typed_while_saving_is_checked_afterwards(open_page: Callable[..., Page], job: str) -> None:
    """Saving takes a while; the page doesn't claim that what was typed meanwhile is saved."""
    page = open_page(f"/jobs/{job}/chain/text")
    saving = held(page, job, saving=True)
    area = page.get_by_label("Text of the job file")
    area.press("Control+End")
    area.press_sequentially("# mine\n")
    page.get_by_text("This is a valid job file").wait_for()
    click(page.get_by_role("button", name="Save"))
    area.press_sequentially("bogus: 1\n")
    page.wait_for_timeout(1000)  # its check falls due while the text is being saved
    saving[0].continue_()
    page.get_by_text("'bogus' is unknown").wait_for()


def test_two_people_at_one_text_see_both(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """The stored and the own text line by line; the own text is still in the editor and is saved on request."""
    page = open_page(f"/jobs/{job}/chain/text")
    area = page.get_by_label("Text of the job file")
    mine = area.input_value() + "# mine\n"
    theirs = area.input_value() + "# theirs\n"
    api.put(f"/api/jobs/{job}/text", json={"text": theirs, "seen": 1}).raise_for_status()
    area.fill(mine)
    click(page.get_by_role("button", name="Save"))
    page.get_by_role("alert").wait_for()
    rows = page.locator(".lines tr").all_inner_texts()
    assert any("now" in row and "# theirs" in row for row in rows)
    assert any("yours" in row and "# mine" in row for row in rows)
    assert text_of(api, job) == theirs
    assert page.get_by_label("Text of the job file").input_value() == mine
    click(page.get_by_role("button", name="Save"))
    page.get_by_text("Revision 3").first.wait_for()
    assert text_of(api, job) == mine


@BOTH_WAYS
def test_findings_are_shown_at_their_stages(open_page: Callable[..., Page], api: httpx.Client, scripts: bool) -> None:
    """Those of `gainwright check`: on the drawing by shape and word, in the list, and on the stage's own page."""
    job = api.post("/api/jobs", json={"like": "full_range"}).json()["id"]
    findings = api.get(f"/api/jobs/{job}/chain/findings").json()
    assert [f["where"] for f in findings if f["severity"] == "caution"] == ["amp_rear"]
    changed = api.get(f"/api/jobs/{job}").json()["text"] + f"# not checked yet, {scripts}\n"
    api.put(f"/api/jobs/{job}/text", json={"text": changed, "seen": 1}).raise_for_status()
    page = open_page(f"/jobs/{job}/chain", scripts=scripts)
    if not scripts:
        click(page.get_by_role("button", name="Check"))
    page.locator("#findings h3", has_text="amp_rear").wait_for()
    assert "lowest load it is rated for" in page.locator("#findings").inner_text()
    assert "1 caution" in str(box(page, "amp_rear").get_attribute("aria-label"))
    assert box(page, "amp_rear").locator("path.mark:not(.hollow)").count() == 1
    click(box(page, "amp_rear"))
    page.wait_for_url("**/stage/amp_rear")
    assert "lowest load it is rated for" in page.locator("main").inner_text()


def test_markup_and_strange_names_do_nothing(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """Markup in a note and in typed text is shown as text; names from the address reach nothing."""
    text = example_text("one_amplifier").replace("    rated_output", '    note: "<b>x</b> {{ 7*7 }}"\n    rated_output')
    job = api.post("/api/jobs", json={"text": text}).json()["id"]
    page = open_page(f"/jobs/{job}/chain/stage/head")
    assert page.get_by_label("Note").input_value() == "<b>x</b> {{ 7*7 }}"
    page.get_by_label("Rated output").fill('"><img src=x onerror=alert(1)>')
    save(page)
    assert page.locator("main img").count() == 0
    for path in ("stage/none", "stage/..%2f..", "section/none", "instrument/head", "stage/%3Cb%3E"):
        assert api.get(f"/jobs/{job}/chain/{path}").status_code == 404
    assert api.post(f"/jobs/{job}/chain/edit/none", data={"seen": "1"}).status_code == 422
    assert api.post(f"/jobs/{job}/chain/stage/head", data={"seen": "x"}).status_code == 422
    assert api.post(f"/jobs/{job}/chain/stage/head", data={"seen": "1", "was": "[", "title": "x"}).status_code in (
        303,
        404,
    )


def test_unreadable_job_is_corrected_as_text(open_page: Callable[..., Page], server: WebServer) -> None:
    """The chain page of a job that another program wrote leads to its text, with what is wrong and where."""
    store = open_store(str(server.folder / "store.sqlite"))
    text = example_text("one_amplifier").replace("    minimum_load: 2 ohm", "    shininess: 3")
    job = store.jobs.add(title="from elsewhere", text=text).id
    store.close()
    page = open_page(f"/jobs/{job}/chain")
    assert "shininess" in page.get_by_role("alert").inner_text()
    area = page.get_by_label("Text of the job file")
    area.fill(area.input_value().replace("    shininess: 3\n", ""))
    click(page.get_by_role("button", name="Save"))
    page.get_by_text("Revision 2").first.wait_for()
    page.goto(f"/jobs/{job}/chain")
    assert box(page, "amp").count() == 1


@BOTH_SIZES
def test_a_form_is_filled_in_by_keyboard_alone(
    open_page: Callable[..., Page], api: httpx.Client, job: str, size: str
) -> None:
    """Every field is reached by the tab key, the focused one is never under the bar at the bottom, and Enter saves."""
    page = open_page(f"/jobs/{job}/chain/stage/amp_sub", size=size)
    page.locator("#keys details summary", has_text="more,").press("Enter")
    fields = page.locator("#keys .field").locator("input, select, textarea")
    reached = set()
    page.get_by_label("Fed from").focus()
    for _ in range(fields.count() + 3):
        name = page.evaluate("(e => e.form?.id === 'keys' ? e.name : '')(document.activeElement)")
        if name:
            reached.add(name)
            box_ = page.evaluate("(r => [r.top, r.bottom])(document.activeElement.getBoundingClientRect())")
            bar = page.evaluate("document.querySelector('.save').getBoundingClientRect().top")
            assert box_[0] < bar, f"{name} is under the bar"
        page.keyboard.press("Tab")
    assert reached >= {str(field.get_attribute("name")) for field in fields.all() if field.is_visible()}
    page.get_by_label("Sensitivity").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("0,25 .. 4 V")
    mark(page.locator("#main"))
    page.keyboard.press("Enter")
    page.locator("#main:not([data-old])").wait_for()
    assert "sensitivity: 0.25 .. 4 V" in text_of(api, job)


def test_the_api_does_what_the_pages_do(api: httpx.Client, job: str) -> None:
    """Forms with assumptions, keys, edits; a stale writer gets 409, a refusal 422 with its place."""
    shown = api.get(f"/api/jobs/{job}/chain").json()
    assert shown["order"][0] == "head"
    amp = next(form for form in shown["forms"] if form["path"] == ["stages", "amp_front"])
    noise = next(f for f in amp["fields"] if f["name"].endswith(".headroom"))
    assert noise["assumed"]["value"] == "0 .. 0.5 dB"
    assert "CTA-2006" in noise["assumed"]["reason"]
    done = api.put(f"/api/jobs/{job}/chain/keys", json={"seen": 1, "texts": {"stages.head.volume.at": "25"}})
    assert "at: 25" in done.json()["text"]
    stale = {"seen": 1, "what": "remove_stage", "stage": "knob"}
    assert api.post(f"/api/jobs/{job}/chain/edits", json=stale).status_code == 409
    done = api.post(f"/api/jobs/{job}/chain/edits", json={**stale, "seen": 2})
    assert "knob" not in done.json()["text"]
    refused = api.post(f"/api/jobs/{job}/chain/edits", json={"seen": 3, "what": "remove_stage", "stage": "sub"})
    assert refused.status_code == 422
    assert "reaches no speaker" in refused.json()["what"]
    wrong = api.put(f"/api/jobs/{job}/chain/keys", json={"seen": 3, "texts": {"stages.head.rated_output": "4 ohm"}})
    assert wrong.json()["where"].endswith("stages.head.rated_output")


def test_pages_conform_to_wcag(
    open_page: Callable[..., Page],
    both_sizes: Callable[..., None],
    day_and_night: Callable[..., None],
    api: httpx.Client,
    job: str,
) -> None:
    """Every page of the chain, with its findings, an error and a conflict, in light and dark mode, with screenshots."""
    api.get(f"/api/jobs/{job}/chain/findings")
    page = open_page(f"/jobs/{job}/chain", size="phone")
    page.locator("#findings details").wait_for()
    day_and_night(page, "chain")
    for path in ("stage/amp_sub", "stage/desk", "section/allowance", "instrument/meter", "add", "text"):
        page.goto(f"/jobs/{job}/chain/{path}")
        day_and_night(page, f"chain-{path.replace('/', '-')}")
    page.get_by_label("Text of the job file").fill(example_text("two_way_and_sub").replace("4 V  ", "4 ohm"))
    page.get_by_role("alert").wait_for()
    both_sizes(page, "chain-text-wrong")
    page.goto(f"/jobs/{job}/chain/stage/head")
    for details in page.locator("details").all():
        click(details.locator("summary"))
    page.get_by_label("Rated output").fill("5 V")
    api.put(f"/api/jobs/{job}/chain/keys", json={"seen": 1, "texts": {"stages.head.rated_output": "3 V"}})
    save(page)
    page.locator("#both").wait_for()
    both_sizes(page, "chain-conflict")


@pytest.mark.parametrize("example", ["two_way_and_sub", "bridged_pair", "active_three_way", "full_range"])
def test_the_drawing_is_readable_on_a_small_phone(
    open_page: Callable[..., Page], api: httpx.Client, example: str
) -> None:
    """At 360 px every stage has a line of its own, 44 px high, with its full name at normal size, in signal order."""
    job = api.post("/api/jobs", json={"like": example}).json()["id"]
    page = open_page(f"/jobs/{job}/chain", size="phone", scripts=False)  # nothing is swapped while it is measured
    page.set_viewport_size({"width": 360, "height": 740})
    order = api.get(f"/api/jobs/{job}/chain").json()["order"]
    links = page.locator("svg.chain:visible a")
    assert links.count() == len(order)
    tops, names = [], []
    for link in links.all():
        name = str(link.locator("text.name").text_content())
        rectangle = link.bounding_box()
        text = link.locator("text.name").bounding_box()
        assert rectangle is not None
        assert text is not None
        assert rectangle["height"] >= 40
        assert text["height"] >= 14
        assert text["x"] + text["width"] <= 360
        tops.append(rectangle["y"])
        names.append(name)
    assert sorted(names) == sorted(name.replace("_", " ") for name in order)
    assert tops == sorted(tops)
    assert min(b - a for a, b in itertools.pairwise(tops)) >= 44
    leads = api.get(f"/api/jobs/{job}/chain").json()["leads"]
    place = {name: names.index(name.replace("_", " ")) for name in order}
    assert all(place[lead["source"]] < place[lead["target"]] for lead in leads)
    assert page.locator("svg.chain:visible path.lead").count() == len(leads)
