"""A new job without a file, page by page, in this process: what each stores, its errors at their fields, and the plan of the result."""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING, Any

import pytest
from starlette.testclient import TestClient

from gainwright.composition import compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from collections.abc import Iterator


AMPLIFIER = {
    "power:0:w": "75",
    "power:0:ohm": "4",
    "unknown:sensitivity": "yes",
    "high_pass:shape": "off",
    "low_pass:shape": "off",
}


class Start:
    """The pages as a person without scripts uses them: each form is sent with the revision that its page shows."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.job = ""

    def get(self, page: str) -> Any:
        """Return a page of the job's start."""
        return self.client.get(f"/jobs/{self.job}/start/{page}")

    def send(self, page: str, **given: str) -> Any:
        """Send a page's form, and return the page that it leads to."""
        shown = self.get(page).text
        seen = re.search(r'name="seen" value="(\d+)"', shown)
        assert seen, shown
        return self.client.post(f"/jobs/{self.job}/start/{page}", data={"seen": seen[1], **given})

    def begin(self, *devices: str) -> None:
        """Begin a job and add devices."""
        done = self.client.post("/jobs/start", data={"title": "Blue estate", "customer": "Ms Hill"})
        self.job = done.url.path.split("/")[2]
        for device in devices:
            assert self.send("devices", add=device).status_code == 200

    @property
    def text(self) -> str:
        """The file as it is stored."""
        return str(self.client.get(f"/api/jobs/{self.job}").json()["text"])


def leads(page: str) -> dict[str, str]:
    """Return what a wiring page shows as chosen for each input."""
    lists = re.findall(r'<select name="(lead:[\w.]+)"(.*?)</select>', page, re.DOTALL)
    return {name: "".join(re.findall(r'value="([^"]*)" selected', options)) for name, options in lists}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A client of an app in this process."""
    world = compose()
    site = Site(world, world.store(str(tmp_path_factory.mktemp("start") / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        yield client


@pytest.fixture
def start(client: TestClient) -> Start:
    """The pages, before a job is begun."""
    client.headers["accept-language"] = "en"
    return Start(client)


def wrong(answer: Any) -> list[str]:
    """Return the errors at the fields of a page, without markup."""
    assert answer.status_code == 422
    found = re.findall(r'<p class="wrong"[^>]*>(.*?)</p>', answer.text, re.DOTALL)
    assert found, "no error is at a field"
    assert answer.text.count('aria-invalid="true"') + answer.text.count('class="picks"') > 0
    words = [html.unescape(" ".join(re.sub(r"<[^>]*>", "", one).split())) for one in found]
    assert not [one for one in words if re.search(r"job:\d|stages\.", one)], "a place in the file tells nothing here"
    return words


def test_start_is_the_first_way_to_a_new_job(start: Start) -> None:
    """It stands before the list, examples and the upload."""
    page = start.client.get("/").text
    assert page.index('href="/jobs/start"') < page.index('id="list"') < page.index('action="/jobs/upload"')
    assert "Which car?" in start.client.get("/jobs/start").text


def test_car_without_a_name_is_asked_for(start: Start) -> None:
    """At its field; nothing is stored, and what was typed stays."""
    before = start.client.get("/api/jobs").json()
    answer = start.client.post("/jobs/start", data={"title": " ", "customer": "Ms Hill"})
    assert wrong(answer) == ["the car has no name. write what you call it, for example Blue estate."]
    assert 'value="Ms Hill"' in answer.text
    assert start.client.get("/api/jobs").json() == before
    start.begin()
    assert wrong(start.send("car", title="x" * 301))[0].startswith("it is too long; it has at most 300")
    assert start.send("car", title="Red van", customer="").url.path.endswith("/instruments")
    assert start.text == "format: 1\ntitle: Red van\n"


def test_instruments_are_ticked(start: Start) -> None:
    """A recorder needs its figure or unknown, a lamp what lights it; back on the page the ticks are there."""
    start.begin()
    told = wrong(start.send("instruments", **{"have:recorder": "yes", "have:lamp": "yes", "lamp:of": "thd"}))
    assert len(told) == 2
    given = {"have:meter": "yes", "meter:true_rms": "no", "have:recorder": "yes", "recorder:full_scale:unknown": "yes"}
    assert start.send("instruments", **given).url.path.endswith("/devices")
    assert "meter: {kind: multimeter, true_rms: no}" in start.text
    assert "full_scale: unknown" in start.text
    page = start.get("instruments").text
    assert re.findall(r'name="have:(\w+)" value="yes" checked', page) == ["meter", "recorder"]


def test_devices_are_added_named_and_removed(start: Start) -> None:
    """Each press is stored; a typed name counts with the next press, whichever it is; without source and speakers one doesn't go on."""
    start.begin("amplifier_2")
    assert [one.split(".")[0] for one in wrong(start.send("devices", next="1"))] == [
        "what plays is missing",
        "the speakers are missing",
    ]
    start.send("devices", add="head_unit", **{"name:front_amplifier": "Amp under the seat"})
    assert "amp_under_the_seat:" in start.text
    assert "name: Amp under the seat" in start.text
    start.send("devices", add="front")
    start.send("devices", add="front")
    assert "name: Front speakers 2" in start.text
    start.send("devices", remove="front_speakers_2")
    assert "Front speakers 2" not in start.text
    assert wrong(start.send("devices", next="1", **{"name:front_speakers": " "}))[0].startswith("it has no name")
    assert start.send("devices", next="1").url.path.endswith("/wiring")
    assert "from: amp_under_the_seat" in start.text, "connected in the usual way"


def test_wiring_is_chosen(start: Start) -> None:
    """Shown with the usual leads; what is missing is told at its device, and what was chosen stays chosen."""
    start.begin("head_unit", "amplifier_2", "front")
    page = start.send("devices", next="1").text
    assert '<option value="head_unit.front" selected>Head unit, front</option>' in page
    told = wrong(start.send("wiring", **{"lead:front_amplifier": "head_unit.rear", "lead:front_speakers": ""}))
    assert [one.split(".")[0] for one in told] == ["its output feeds nothing", "nothing is connected to its input"]
    leads = {"lead:front_amplifier": "head_unit.rear", "lead:front_speakers": "front_amplifier"}
    assert start.send("wiring", **leads).url.path.endswith("/figures/head_unit")
    assert "outputs: {rear: {}}" in start.text
    assert '<option value="head_unit.rear" selected>' in start.get("wiring").text


def test_figures_are_typed_or_unknown(start: Start) -> None:
    """Watts and ohms, three pickers for a filter; each error at its figure, all at once, and what was typed stays."""
    start.begin("head_unit", "amplifier_2", "front")
    start.send("devices", next="1")
    page = start.get("figures/front_amplifier").text
    assert re.findall(r'name="unknown:(\w+)" value="yes" data-unknown checked', page) == ["power", "sensitivity"]
    given = {
        "power:0:w": "75",
        "sensitivity:first": "",
        "high_pass:shape": "linkwitz-riley",
        "high_pass:slope": "18",
        "high_pass:corner": "80",
    }
    answer = start.send("figures/front_amplifier", **given)
    told = wrong(answer)
    assert [one.split(";")[0] for one in told] == [
        "75 W: into how many ohms",
        "it is empty. write the figure, or tick unknown.",
        "'linkwitz-riley 18 at 80 Hz' is not a valid filter",
    ]
    assert 'name="power:0:w" value="75"' in answer.text
    done = start.send("figures/front_amplifier", **{**AMPLIFIER, **given, "power:0:ohm": "4", "high_pass:slope": "24"})
    assert done.url.path.endswith("/figures/front_speakers")
    assert "high_pass: linkwitz-riley 24 at 80 Hz" in start.text
    assert "power: 75 W @ 4 ohm" in start.text


def test_result_is_a_job_with_a_plan_and_pages_speak_of_it_by_its_names(start: Start) -> None:
    """The whole way of a common car: no blocker, a plan whose sentences use the typed name, and no key on the pages."""
    start.begin("head_unit", "amplifier_2", "amplifier_1", "front", "sub")
    start.send("devices", next="1", **{"name:sub_amplifier": "Amp under the seat"})
    start.send("wiring", **leads(start.get("wiring").text))
    start.send("figures/head_unit", **{"rated_output": "4", "volume.steps": "40"})
    start.send("figures/front_amplifier", **AMPLIFIER)
    start.send("figures/amp_under_the_seat", **{**AMPLIFIER, "power:0:w": "300", "power:0:ohm": "2"})
    start.send("figures/front_speakers", **{"impedance": "4", "power": "60", "unknown:sensitivity": "yes"})
    done = start.send(
        "figures/subwoofer",
        **{"coils:coils": "2 parallel", "coils:each": "4", "power": "300", "unknown:sensitivity": "yes"},
    )
    assert done.url.path.endswith("/start/check")
    checked = start.client.get(f"/jobs/{start.job}/start/check?check=1").text
    assert "blocker" not in checked
    assert "amp_under_the_seat." not in checked
    assert "the amp under the seat" in checked
    assert not [
        f for f in start.client.get(f"/api/jobs/{start.job}/chain/findings").json() if f["severity"] == "blocker"
    ]
    job = read_job_text(start.text).job
    assert job.customer == "Ms Hill"
    assert "Amp under the seat" in start.client.get(f"/jobs/{start.job}/chain").text
    assert "<h1>Amp under the seat" in start.client.get(f"/jobs/{start.job}/chain/stage/amp_under_the_seat").text


def test_job_that_was_begun_is_continued(start: Start) -> None:
    """Its page and its chain lead to where the start stands; a job that is finished leads to its own page."""
    start.begin("head_unit")
    assert start.client.get(f"/jobs/{start.job}").url.path.endswith("/start/wiring")
    start.send("devices", remove="head_unit")
    assert start.client.get(f"/jobs/{start.job}/chain").url.path.endswith("/start/devices")
    assert start.get("check").url.path.endswith("/start/devices")
    finished = start.client.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"]
    assert start.client.get(f"/jobs/{finished}").url.path == f"/jobs/{finished}"
    for page in ("car", "instruments", "devices", "wiring", "figures/desk", "check"):
        assert start.client.get(f"/jobs/{finished}/start/{page}").status_code == 200
    assert start.client.get(f"/jobs/{finished}/start/figures/nothing").status_code == 404


def test_pages_of_an_example_change_nothing_that_was_not_changed(start: Start) -> None:
    """Sent as they are shown, they leave the file of an example as it is, comments and all."""
    start.job = start.client.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"]
    before = example_text("two_way_and_sub")
    wired = leads(start.get("wiring").text)
    assert start.send("wiring", **wired).status_code == 200
    assert start.text == before
    start.send("car", title="Blue estate, two-way front and one subwoofer")
    assert start.text == before


def test_each_page_can_be_undone(start: Start) -> None:
    """One press goes one step back and stays at the page, or where the start stands."""
    start.begin("head_unit", "amplifier_1", "sub")
    revision = start.client.get(f"/api/jobs/{start.job}").json()["revision"]

    def undo(back: str) -> str:
        seen = start.client.get(f"/api/jobs/{start.job}").json()["revision"]
        done = start.client.post(f"/jobs/{start.job}/chain/undo", data={"seen": str(seen), "back": back})
        assert done.status_code == 200
        return str(done.url.path)

    assert (
        f'name="seen" value="{revision}"><input type="hidden" name="back" value="start/devices"'
        in start.get("devices").text
    )
    start.send("devices", next="1")
    assert undo("start/figures/subwoofer").endswith("/start/wiring"), "not connected any more"
    assert undo("start/devices").endswith("/start/devices")
    assert "subwoofer" not in start.text
    assert undo("start/../../x").endswith("/start/wiring")


def test_somebody_else_was_faster(start: Start) -> None:
    """A form of an older revision is refused with what was typed still there."""
    start.begin("head_unit")
    data = {"seen": "1", "name:head_unit": "Radio", "add": "front"}
    answer = start.client.post(f"/jobs/{start.job}/start/devices", data=data)
    assert answer.status_code == 409
    assert "somebody else changed this job" in answer.text
    assert 'value="Radio"' in answer.text
    assert "speaker" not in start.text


def test_start_in_german(start: Start) -> None:
    """Texts, errors and ready-made names are in the page's language; keys stay English, so that the wiring can be guessed."""
    start.client.headers["accept-language"] = "de"
    assert "das Auto hat keinen Namen" in start.client.post("/jobs/start", data={"title": ""}).text
    start.begin("head_unit", "amplifier_1", "sub")
    assert "name: Bassendstufe" in start.text
    assert start.send("devices", next="1").url.path.endswith("/wiring")
    assert "from: sub_amplifier" in start.text
