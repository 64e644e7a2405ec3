"""The corridor page: controls moved, updated at once, saved and undone; the API gives the same as the command line."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from browser_acts import click, press

from gainwright.app.jobs.corridor import path_tones
from gainwright.jobfile import controls, example_text, read_job_text, with_settings
from gainwright.results import to_json
from gainwright.solve import Chain, levels

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Page


def margin_of(page: Page, place: str) -> str:
    """Return the margin that the drawing shows at a place of the first path."""
    group = page.locator(".passage .at", has=page.get_by_text(place, exact=True)).first
    return str(group.locator("text").nth(1).text_content())


def test_levels_over_the_api_are_those_of_the_solver(api: httpx.Client, job: str) -> None:
    """The API gives the solver's levels for the same job, tone and settings; an invalid setting is refused."""
    found = api.get(f"/api/jobs/{job}/levels", params={"tone": 50, "level": -8, "set": "head.volume=36"})
    read = with_settings(read_job_text(example_text("two_way_and_sub")).job, {"head.volume": "36"})
    assert found.json() == to_json(levels(Chain(read), tone_hz=50, level_dbfs=-8))
    refused = api.get(f"/api/jobs/{job}/levels", params={"tone": 50, "set": "head.volume=99"})
    assert refused.status_code == 422
    assert "40" in refused.json()["rule"]
    assert api.get(f"/api/jobs/{job}/levels", params={"tone": -4}).status_code == 422


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_control_is_moved_and_the_corridor_follows(open_page: Callable[..., Page], job: str, size: str) -> None:
    """A number and a slider move the same control; the margin falls by what the volume adds; the job isn't changed."""
    page = open_page(f"/jobs/{job}/corridor?tone=50&level=0", size=size)
    before = margin_of(page, "head sub")
    page.get_by_label("volume", exact=True).fill("38")
    page.get_by_text("volume of the head unit 30 → 38").wait_for()
    after = margin_of(page, "head sub")
    read = read_job_text(example_text("two_way_and_sub")).job
    chain = Chain(with_settings(read, {"head.volume": "38"}))
    node = next(n for n in levels(chain, tone_hz=50, level_dbfs=0).paths[0].nodes if n.node.startswith("head.sub"))
    assert after != before
    assert f"{node.margin_db:.1f} dB to spare" in after
    slider = page.get_by_label("volume of the head unit, slider")
    assert slider.input_value() == "38"
    slider.focus()
    page.keyboard.press("ArrowLeft")
    page.get_by_text("volume of the head unit 30 → 37").wait_for()
    assert page.get_by_label("volume", exact=True).input_value() == "37"


def test_dragged_slider_ends_at_its_last_position(open_page: Callable[..., Page], job: str) -> None:
    """However fast a slider is dragged, the corridor shows the position where it was released."""
    page = open_page(f"/jobs/{job}/corridor?tone=50&level=0")
    page.evaluate(
        """() => { const s = [...document.querySelectorAll("[data-mirrors]")].find((e) => e.dataset.mirrors === "c-head.volume");
        for (let i = 1; i < 40; i += 1) { s.value = String(i); s.dispatchEvent(new Event("input", { bubbles: true })); } }"""
    )
    page.get_by_text("volume of the head unit 30 → 39").wait_for()


def test_clipping_is_shown_by_word_and_shape(open_page: Callable[..., Page], job: str) -> None:
    """Where it clips there is a word and a square, and the path with the smallest margin of those that the tone is made for is shown."""
    page = open_page(f"/jobs/{job}/corridor?tone=50&level=0&set.amp_sub.gain=100&set.head.volume=40", size="phone")
    shown = page.locator(".passage")
    assert shown.count() == 1
    words = str(shown.locator("svg").text_content())
    assert "■ clips by" in words
    assert shown.locator(".pinch").count() == 1
    assert "clips by" in page.get_by_role("status").first.inner_text()


def test_settings_are_saved_in_the_file_and_undone(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Saved controls are in the job file, comments and everything else as before; undo restores the file."""
    before = api.get(f"/api/jobs/{job}").json()["text"]
    page = open_page(f"/jobs/{job}/corridor")
    page.get_by_label("volume", exact=True).fill("33")
    page.locator("fieldset", has_text="The front amplifier").get_by_label("gain", exact=True).fill("12,5")
    page.get_by_text("gain of the front amplifier 0 → 12.5 %").wait_for()
    click(page.get_by_role("button", name="Save these settings"))
    page.get_by_text("as revision 2 of the job").wait_for()
    text = api.get(f"/api/jobs/{job}").json()["text"]
    stand = controls(read_job_text(text).job)
    assert (stand["head.volume"], stand["amp_front.gain"]) == ("33.0", "12.5 %")
    assert [line for line in before.splitlines() if "#" in line and "volume" not in line] == [
        line for line in text.splitlines() if "#" in line and "volume" not in line
    ]
    click(page.get_by_role("button", name="Undo"))
    page.get_by_text("Settings as in the job").wait_for()
    assert api.get(f"/api/jobs/{job}").json()["text"] == before
    assert page.get_by_label("volume", exact=True).input_value() == "30"


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_boost_reduces_the_margin_by_its_gain(
    open_page: Callable[..., Page], look: Callable[..., None], api: httpx.Client, job: str, size: str
) -> None:
    """A peak at the tone raises it by its gain (W3C Audio EQ Cookbook: |H| at the centre); two bands are saved as a list."""
    typed = "peak +6 dB at 50 Hz q 1; low-shelf -3 dB at 5 kHz q 0.7"

    def behind_the_head_unit(*settings: str) -> list[float]:
        """Volts of the subwoofer's path from the processor on."""
        asked: dict[str, Any] = {"tone": 50, "level": -40, "set": settings}
        found = api.get(f"/api/jobs/{job}/levels", params=asked).json()["paths"][0]
        assert found["path"] == "sub.mono"
        return [node["v_rms"] for node in found["nodes"][1:]]

    lifted = np.divide(behind_the_head_unit(f"desk.sub.equaliser={typed}"), behind_the_head_unit())
    # the shelf's corner lies two decades over the tone: it does to it what it does to direct current, within 0.001 dB
    assert 20 * np.log10(lifted) == pytest.approx([6.0 - 3.0] * 3, abs=1e-3)
    page = open_page(f"/jobs/{job}/corridor?tone=50&level=-40", size=size)
    click(page.get_by_text("Filters, bands and switches: The desk"))
    page.locator('[name="set.desk.sub.equaliser"]').fill(typed)
    page.get_by_text("equaliser of the sub output of the desk flat →").wait_for()
    look(page, f"corridor-bands-{size}")
    click(page.get_by_role("button", name="Save these settings"))
    page.get_by_text("as revision 2 of the job").wait_for()
    read = read_job_text(api.get(f"/api/jobs/{job}").json()["text"]).job
    assert controls(read)["desk.sub.equaliser"] == typed
    assert len(read.model_dump(by_alias=True)["stages"]["desk"]["outputs"]["sub"]["equaliser"]) == 2


def test_long_equalisers_stay_complete(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """31 bands with blanks among them: untouched they don't change; another control is saved without losing one of them."""
    bands = [f"peak  {(-1) ** i * (i % 7) / 2:+g} dB at {20 * 2 ** (i / 3):.5g} Hz q 4.3" for i in range(31)]
    text = example_text("two_way_and_sub").replace("tone: [flat]", f"tone: {json.dumps(bands)}")
    job = api.post("/api/jobs", json={"text": text}).json()["id"]
    page = open_page(f"/jobs/{job}/corridor")
    page.get_by_text("Settings as in the job").wait_for()
    page.get_by_label("volume", exact=True).fill("25")
    page.get_by_text("volume of the head unit 30 → 25").wait_for()
    assert "tone controls" not in page.locator("#moved").inner_text()
    click(page.get_by_role("button", name="Save these settings"))
    page.get_by_text("as revision 2 of the job").wait_for()
    kept = api.get(f"/api/jobs/{job}").json()["text"]
    assert [x for x in kept.splitlines() if x not in text.splitlines()] == [
        x.replace("at: 30", "at: 25") for x in text.splitlines() if x not in kept.splitlines()
    ]
    assert controls(read_job_text(kept).job)["head.tone"] == "; ".join(bands)


def test_empty_field_of_bands_is_flat(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """An empty field means flat; far too long a text is refused with a message."""
    text = example_text("two_way_and_sub").replace("tone: [flat]", "tone: [peak +6 dB at 50 Hz q 1]")
    job = api.post("/api/jobs", json={"text": text}).json()["id"]
    page = open_page(f"/jobs/{job}/corridor")
    click(page.get_by_text("Filters, bands and switches: The head unit"))
    page.locator('[name="set.head.tone"]').fill("")
    page.get_by_text("tone controls of the head unit peak +6 dB at 50 Hz q 1 → flat").wait_for()
    page.locator('[name="set.head.tone"]').fill("peak +1 dB at 50 Hz q 1; " * 100)
    page.get_by_role("alert").wait_for()
    assert "over 2000 characters" in page.get_by_role("alert").inner_text()


def test_settings_based_on_an_older_job_do_not_overwrite_it(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """Saving from an older version gives a conflict, nothing is lost, and it can then be saved on top of the newer one."""
    page = open_page(f"/jobs/{job}/corridor")
    page.get_by_label("volume", exact=True).fill("31")
    page.get_by_text("volume of the head unit 30 → 31").wait_for()
    whole = api.get(f"/api/jobs/{job}").json()
    newer = whole["text"].replace("at: 20 %", "at: 22 %")
    api.put(f"/api/jobs/{job}/text", json={"text": newer, "seen": whole["revision"]}).raise_for_status()
    click(page.get_by_role("button", name="Save these settings"))
    page.get_by_role("alert").wait_for()
    assert api.get(f"/api/jobs/{job}").json()["text"] == newer
    click(page.get_by_role("button", name="Save these settings"))
    page.get_by_text("as revision 3 of the job").wait_for()
    stand = controls(read_job_text(api.get(f"/api/jobs/{job}").json()["text"]).job)
    assert (stand["head.volume"], stand["amp_sub.gain"]) == ("31.0", "22 %")


def test_form_works_without_scripts(open_page: Callable[..., Page], job: str) -> None:
    """A number is typed and Enter shows the corridor; Enter never saves."""
    page = open_page(f"/jobs/{job}/corridor", scripts=False)
    assert page.get_by_role("slider").count() == 0
    field = page.get_by_label("volume", exact=True)
    field.fill("38")
    press(field, "Enter")
    assert "set.head.volume=38" in page.url
    assert "volume of the head unit 30 → 38" in page.locator("main").inner_text()
    press(page.get_by_label("volume", exact=True), "Enter")
    assert "revision 1" not in page.locator("#moved").inner_text()
    assert page.get_by_role("button", name="Save these settings").count() == 1


def test_invalid_settings_are_reported_beside_the_controls(open_page: Callable[..., Page], job: str) -> None:
    """A volume above its steps, an invalid number, an invalid filter: reported, with the focus left where it is."""
    page = open_page(f"/jobs/{job}/corridor")
    field = page.get_by_label("volume", exact=True)
    for typed, told in (("44", "0 to 40"), ("x", "not a number"), ("33", "")):
        field.fill(typed)
        if told:
            page.get_by_role("alert").get_by_text(told).wait_for()
        else:
            page.get_by_role("alert").wait_for(state="detached")
        assert page.evaluate("document.activeElement.id") == "c-head.volume"


def test_corridor_is_accessible(
    open_page: Callable[..., Page], both_sizes: Callable[..., None], day_and_night: Callable[..., None], job: str
) -> None:
    """WCAG 2.2 AA as far as axe can check, in light and dark mode; the table contains the same as the drawing."""
    page = open_page(f"/jobs/{job}/corridor?tone=50&level=0&set.head.volume=38", size="phone")
    day_and_night(page, "corridor", full=["desktop"])
    click(page.get_by_text("As a table"))
    both_sizes(page, "corridor-table")
    told = margin_of(page, "head sub").removeprefix("▲ ")
    assert told in page.locator("#table").inner_text()


def test_each_path_starts_with_its_own_tone(open_page: Callable[..., Page], job: str) -> None:
    """Another path is shown with the tone that it is set up with; one sentence says what to do; the warning is kept for clipping."""
    page = open_page(f"/jobs/{job}/corridor", size="phone", scripts=False)
    tones = path_tones(read_job_text(example_text("two_way_and_sub")).job)
    assert page.get_by_label("Tone, Hz").input_value() == f"{tones['sub.mono'][0]:g}"
    click(page.get_by_role("link", name="tweeter"))
    assert page.get_by_label("Tone, Hz").input_value() == f"{tones['tweeter.left'][0]:g}"
    assert page.get_by_label("Level, dBFS").input_value() == f"{tones['tweeter.left'][1]:g}"
    shown = page.locator(".passage")
    assert shown.count() == 1
    names = shown.locator(".name").all_text_contents()
    assert names == ["head front", "desk tweeter", "amp high"]
    advice = page.get_by_role("status").inner_text()
    assert re.fullmatch(
        r"Nothing clips with this tone: [0-9.]+ dB to spare; turned up further, the .+ clips first\.", advice
    )
    assert "■" not in str(shown.text_content())
    assert shown.locator(".stop").count() == 0
