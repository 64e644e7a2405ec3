"""A newcomer's car on the phone, tapped from the list of jobs to a plan: taps and keys are counted; pages are looked at and checked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from browser_acts import click

from gainwright.jobfile import read_job_text

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Locator, Page

MOST_TAPS = 60
COUNTING = """
for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, () => {
  sessionStorage.setItem(kind, Number(sessionStorage.getItem(kind) || 0) + 1);
}, true);
"""
TARGET = 44
SMALL = """target => [...document.querySelectorAll("main :is(a, button, input, select, summary, label.choice)")]
  .filter(e => e.checkVisibility() && e.type !== "hidden" && !e.closest("svg"))
  .map(e => [e.textContent.trim().slice(0, 30) || e.name, (e.closest("label") || e).getBoundingClientRect()])
  .filter(([, r]) => Math.round(r.width) < target || Math.round(r.height) < target).map(([name]) => name)"""


class Thumb:
    """A thumb on the phone: it taps what it sees, and types."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.chosen = 0

    def tap(self, what: Locator) -> None:
        """Tap something."""
        what.tap()

    def go(self, button: str = "Next") -> None:
        """Tap the button that goes on, and wait for the next page."""
        before = self.page.url
        self.page.get_by_role("button", name=button).tap()
        self.page.wait_for_url(lambda url: url != before)

    def type(self, field: str, text: str) -> None:
        """Tap a field and type; a field that has the caret already isn't tapped."""
        found = self.page.locator(f"[name='{field}']")
        if not found.evaluate("field => field === document.activeElement"):
            found.tap()
        self.page.keyboard.type(text)

    def choose(self, field: str, option: str) -> None:
        """Choose from a list: a tap that opens it, and one in the phone's own list, which no page sees."""
        self.page.locator(f"[name='{field}']").select_option(option)
        self.chosen += 2

    def taps(self) -> int:
        """Return the taps so far."""
        return int(self.page.evaluate("Number(sessionStorage.getItem('pointerdown'))")) + self.chosen

    def keys(self) -> int:
        """Return the keys so far."""
        return int(self.page.evaluate("Number(sessionStorage.getItem('keydown'))"))


def amplifier(thumb: Thumb, watts: str, filter_: str) -> None:
    """Type the figures of an amplifier from its manual, and its filter as it is set."""
    thumb.type("power:0:w", watts)
    thumb.type("power:0:ohm", "4")
    thumb.type("sensitivity:first", "0,2")
    thumb.type("sensitivity:second", "5")
    thumb.choose(f"{filter_}:shape", "linkwitz-riley")
    thumb.choose(f"{filter_}:slope", "24")
    thumb.type(f"{filter_}:corner", "80")
    thumb.go()


def test_newcomers_car_takes_fewer_than_60_taps(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """Head unit, two amplifiers, front speakers, a subwoofer, a meter, with every figure of their manuals: a plan without a blocker.

    One device is given a name of its own, and one lead is changed and changed back by tapping its two ends.
    """
    page = open_page("/", size="phone")
    page.context.add_init_script(COUNTING)
    page.reload()
    thumb = Thumb(page)
    thumb.tap(page.get_by_role("link", name="Start a new job"))
    page.wait_for_url("**/jobs/start")
    thumb.type("title", "Blue estate")
    thumb.type("customer", "Hill")
    thumb.go()
    thumb.tap(page.get_by_text("Multimeter"))
    thumb.go()
    for number, device in enumerate(("head_unit", "amplifier_2", "amplifier_1", "front", "sub")):
        thumb.tap(page.locator(f"button[value={device}]"))
        page.locator(".named").nth(number).wait_for()
    thumb.tap(page.locator("[name='name:sub_amplifier']"))
    page.keyboard.press("Control+A")
    page.keyboard.type("Amp under the seat")
    thumb.go()
    speakers, subwoofer = (page.locator(f"[data-input='lead:{end}']") for end in ("front_speakers", "subwoofer"))
    thumb.tap(page.locator("[data-output=front_amplifier]"))
    thumb.tap(subwoofer)
    assert "Front amplifier" in subwoofer.inner_text()
    thumb.tap(subwoofer)
    thumb.tap(page.locator("[data-output=amp_under_the_seat]"))
    assert "Amp under the seat" in subwoofer.inner_text()
    assert "Front amplifier" in speakers.inner_text()
    thumb.go()
    thumb.type("rated_output", "4")
    thumb.type("volume.steps", "40")
    thumb.go()
    amplifier(thumb, "75", "high_pass")
    amplifier(thumb, "300", "low_pass")
    for field, figure in (("impedance", "4"), ("power", "60"), ("sensitivity", "88")):
        thumb.type(field, figure)
    thumb.go()
    thumb.choose("coils:coils", "2 parallel")
    thumb.type("coils:each", "8")
    thumb.type("power", "300")
    thumb.go()
    page.locator("#findings").get_by_text("no problems found").wait_for()
    taps, keys = thumb.taps(), thumb.keys()
    print(f"{taps} taps, {keys} keys")  # noqa: T201  figures of the release notes
    assert 40 < taps < MOST_TAPS
    job = page.url.split("/")[4]
    text = api.get(f"/api/jobs/{job}").json()["text"]
    read = read_job_text(text)
    assert read.job.stages["amp_under_the_seat"].name == "Amp under the seat"
    assert "sensitivity: 0.2 V .. 5 V" in text
    assert not [f for f in api.get(f"/api/jobs/{job}/chain/findings").json() if f["severity"] == "blocker"]


def test_wiring_without_scripts_is_a_list_for_each_input(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """The same page with lists; nothing that needs a script is shown."""
    job = begun(api)
    page = open_page(f"/jobs/{job}/start/wiring", size="phone", scripts=False)
    assert page.locator("[data-output]").first.is_hidden()
    page.locator("[name='lead:subwoofer']").select_option("front_amplifier")
    click(page.get_by_role("button", name="Next"))
    assert "feeds nothing" in page.locator("li", has_text="Sub amplifier").get_by_role("alert").inner_text()
    page.locator("[name='lead:subwoofer']").select_option("sub_amplifier")
    click(page.get_by_role("button", name="Next"))
    page.wait_for_url("**/figures/head_unit")
    page.locator("[name='volume.steps']").fill("many")
    click(page.get_by_role("button", name="Next"))
    assert page.locator("[name='volume.steps']").input_value() == "many"
    assert page.locator("fieldset", has_text="Highest number").get_by_role("alert").is_visible()


def begun(api: httpx.Client) -> str:
    """Return the id of a job whose devices were chosen, as the pages store it."""
    answer = api.post("/jobs/start", data={"title": "Blue estate", "customer": ""}, follow_redirects=True)
    job = str(answer.url).split("/")[4]
    for seen, device in enumerate(("head_unit", "amplifier_2", "amplifier_1", "front", "sub"), start=1):
        api.post(f"/jobs/{job}/start/devices", data={"seen": str(seen), "add": device})
    api.post(f"/jobs/{job}/start/devices", data={"seen": "6", "next": "1"})
    return job


def test_pages_conform_to_wcag(
    open_page: Callable[..., Page], api: httpx.Client, day_and_night: Callable[..., None]
) -> None:
    """Each page in both colour schemes; on the phone every target is at least 44 px, and 320 px are wide enough."""
    job = begun(api)
    pages = ("car", "instruments", "devices", "wiring", "figures/front_amplifier", "figures/subwoofer", "check?check=1")
    page = open_page("/jobs/start", size="phone")
    for address in pages:
        page.goto(f"/jobs/{job}/start/{address}")
        if "instruments" in address:
            for name in ("Multimeter", "Recorder", "Lamp"):
                page.get_by_role("checkbox", name=name).check()
        if "amplifier" in address:
            page.locator("[name='high_pass:shape']").select_option("bessel")
        day_and_night(page, f"start-{address.split('?')[0].replace('/', '-')}")
        assert page.evaluate(SMALL, TARGET) == [], address
        page.set_viewport_size({"width": 320, "height": 640})
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, address
        page.set_viewport_size({"width": 390, "height": 844})
