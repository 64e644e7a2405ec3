"""The chain's forms in this process: pickers beside the text, what tells that it was saved, errors at their field, names with spaces."""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING, Any

import pytest
from starlette.testclient import TestClient

from gainwright.composition import compose
from gainwright.jobfile import example_text
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from collections.abc import Iterator

AMP = "stages.amp_sub"


class Forms:
    """The forms of one job, sent as a browser without scripts sends them: every field as it is shown, unless changed."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.job = str(client.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"])

    @property
    def text(self) -> str:
        """The file as it is stored."""
        return str(self.client.get(f"/api/jobs/{self.job}").json()["text"])

    def shown(self, stage: str) -> dict[str, str]:
        """Return the fields of a stage's form as they are shown."""
        page = self.client.get(f"/jobs/{self.job}/chain/stage/{stage}").text
        form = page[page.index('id="keys"') : page.index('<div class="save">')]
        found = {}
        for name, value in re.findall(r'<input[^>]*? name="([^"]+)"[^>]*? value="([^"]*)"', form):
            found[name] = html.unescape(value)
        for name, value in re.findall(r'<textarea[^>]*? name="([^"]+)"[^>]*>(.*?)</textarea>', form, re.DOTALL):
            found[name] = html.unescape(value)
        for name, options in re.findall(r'<select[^>]*? name="([^"]+)"[^>]*>(.*?)</select>', form, re.DOTALL):
            chosen = re.findall(r"<option([^>]*) selected>([^<]*)", options)
            attributes, words = chosen[0] if chosen else ('value=""', "")
            value = re.findall(r'value="([^"]*)"', attributes)
            found[name] = html.unescape(value[0] if value else words)
        return found

    def save(self, stage: str, changed: dict[str, str] | None = None) -> Any:
        """Send the form of a stage with some fields changed, and return the page that it leads to."""
        given = self.shown(stage) | {f"stages.{stage}.{name}": value for name, value in (changed or {}).items()}
        return self.client.post(f"/jobs/{self.job}/chain/stage/{stage}", data=given)

    def edit(self, what: str, **given: str) -> Any:
        """Make one change to the chain."""
        seen = str(self.client.get(f"/api/jobs/{self.job}").json()["revision"])
        return self.client.post(f"/jobs/{self.job}/chain/edit/{what}", data={"seen": seen, "back": "add", **given})


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A client of an app in this process."""
    world = compose()
    site = Site(world, world.store(str(tmp_path_factory.mktemp("forms") / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        yield client


@pytest.fixture
def forms(client: TestClient) -> Forms:
    """The forms of a fresh job."""
    return Forms(client)


def test_form_that_is_sent_as_it_is_shown_changes_nothing_and_says_so(forms: Forms) -> None:
    """No new version; after a change it says which it was saved as, and an older address doesn't say so any more."""
    assert "Nothing to save" in forms.save("amp_sub").text
    assert forms.text == example_text("two_way_and_sub")
    saved = forms.save("amp_sub", {"sensitivity": "0.3 .. 5 V"})
    revision = forms.client.get(f"/api/jobs/{forms.job}").json()["revision"]
    assert f"Saved as revision {revision}." in saved.text
    forms.save("amp_sub", {"sensitivity": "0.2 .. 5 V"})
    assert "Saved as" not in forms.client.get(str(saved.url)).text


def test_filter_is_picked_or_written(forms: Forms) -> None:
    """The one that was changed counts; both show the same afterwards."""
    assert {
        name: value for name, value in forms.shown("amp_sub").items() if ".low_pass" in name and "range" not in name
    } == {
        f"{AMP}.low_pass:shown": "butterworth 24 at 250 Hz",
        f"{AMP}.low_pass": "butterworth 24 at 250 Hz",
        f"{AMP}.low_pass:shape": "butterworth",
        f"{AMP}.low_pass:slope": "24",
        f"{AMP}.low_pass:corner": "250",
    }
    forms.save("amp_sub", {"low_pass:corner": "90,5"})
    assert "low_pass: butterworth 24 at 90.5 Hz" in forms.text
    forms.save("amp_sub", {"low_pass": "bessel 12 at 3.2 kHz ± 5 %"})
    assert forms.shown("amp_sub")[f"{AMP}.low_pass:corner"] == "3.2 kHz ± 5 %"
    forms.save("amp_sub", {"low_pass:shape": "off"})
    assert "low_pass: off" in forms.text
    forms.save("amp_sub", {"low_pass:shape": "", "low_pass:slope": "", "low_pass:corner": ""})
    assert "butterworth" not in forms.text[forms.text.index("amp_sub:") : forms.text.index("amp_front:")]


def test_ratings_are_picked_or_written(forms: Forms) -> None:
    """Watts and ohms in pairs; a rating that there is no room for stays."""
    forms.save("amp_sub", {"power:0:w": "480", "power:2:w": "200", "power:2:ohm": "8"})
    assert "power: [480 W @ 2 ohm, 300 W @ 4 ohm, 200 W @ 8 ohm]" in forms.text
    forms.save("amp_sub", {"power": "500 W @ 2 ohm\n300 W @ 4 ohm\n200 W @ 8 ohm\n900 W @ 1 ohm"})
    forms.save("amp_sub", {"power:0:w": "510"})
    assert "power: [510 W @ 2 ohm, 300 W @ 4 ohm, 200 W @ 8 ohm, 900 W @ 1 ohm]" in forms.text


@pytest.mark.parametrize(
    ("changed", "label", "what"),
    [
        ({"low_pass:corner": ""}, "Low-pass", "corner missing"),
        ({"low_pass:shape": "linkwitz-riley", "low_pass:slope": "18"}, "Low-pass", "slopes are 12, 24, 36, 48"),
        ({"power:0:ohm": ""}, "Rated power", "500 W: into how many ohms"),
        ({"sensitivity": "5 ohm"}, "Sensitivity", "ohm is a unit of resistance"),
    ],
)
def test_error_is_at_its_field_with_what_was_typed(
    forms: Forms, changed: dict[str, str], label: str, what: str
) -> None:
    """Not above the form, and without the place in the file; nothing is stored."""
    page = forms.save("amp_sub", changed)
    assert page.status_code == 422
    fields = re.findall(r'<div class="field.*?\n</div>\n', page.text.replace("\n\n", "\n"), re.DOTALL)
    here = [field for field in page.text.split('<div class="field') if 'class="wrong"' in field]
    assert fields
    assert len(here) == 1
    assert f">{label}" in here[0]
    assert what in html.unescape(here[0])
    assert "stages." not in re.sub(r"<[^>]*>", "", here[0].split('class="wrong"')[1].split("</p>")[0])
    assert 'aria-invalid="true"' in here[0]
    for value in changed.values():
        assert not value or f'value="{value}"' in here[0]
    assert forms.text == example_text("two_way_and_sub")


def test_names_with_spaces(forms: Forms) -> None:
    """Typed when a stage is added or renamed: the key is made of it, pages show what was typed; a word alone is the key, as before."""
    added = forms.edit(
        "add_stage", kind="line_driver", new="Driver in the boot", place="lead:desk.sub-knob", **{"values.gain": "6 dB"}
    )
    assert str(added.url).endswith("/stage/driver_in_the_boot")
    assert "<h1>Driver in the boot" in added.text
    assert "name: Driver in the boot" in forms.text
    places = forms.client.get(f"/jobs/{forms.job}/chain/add").text
    assert "between Driver in the boot and knob" in places
    renamed = forms.edit("rename_stage", stage="knob", new="Knob by the gear lever")
    assert str(renamed.url).endswith("/stage/knob_by_the_gear_lever")
    assert "from: knob_by_the_gear_lever" in forms.text
    forms.edit("rename_stage", stage="amp_high", new="amp_top")
    assert "amp_top:" in forms.text
    assert "name: amp_top" not in forms.text
    branch = {"source": "desk.woofer", "amplifier": "Amp of the door", "speaker": "Door left", "power": "50 W @ 4 ohm"}
    assert str(forms.edit("add_branch", **branch).url).endswith("/stage/amp_of_the_door")
    assert "name: Door left" in forms.text
    instrument = forms.edit("add_instrument", kind="multimeter", new="My meter")
    assert str(instrument.url).endswith("/instrument/my_meter")
    drawn = forms.client.get(f"/jobs/{forms.job}/chain").text
    assert 'aria-label="Driver in the boot, line driver' in drawn


def test_refused_change_names_the_device_and_no_place_in_the_file(forms: Forms) -> None:
    """What is wrong, at which device by its name; the text of the file keeps line and column."""
    forms.edit("rename_stage", stage="knob", new="Knob by the gear lever")
    page = forms.edit(
        "add_stage", kind="line_driver", new="Driver in the boot", place="lead:desk.sub-knob_by_the_gear_lever"
    )
    assert re.findall(r"<strong>([^<]*)</strong>: its gain is missing", page.text) == ["driver_in_the_boot"]
    page = forms.edit("remove_branch", stage="head")
    assert page.status_code == 422
    assert not re.search(
        r"job:\d|stages\.", re.sub(r"<[^>]*>", "", page.text.split('id="trouble"')[1].split("</div>")[0])
    )


def test_text_of_the_file_says_that_it_was_saved(forms: Forms) -> None:
    """After Save, not after Check."""
    data = {"seen": "1", "text": forms.text.replace("4 V ", "5 V ", 1)}
    assert (
        "Saved as revision" not in forms.client.post(f"/jobs/{forms.job}/chain/text", data={**data, "check": "1"}).text
    )
    assert "Saved as revision 2." in forms.client.post(f"/jobs/{forms.job}/chain/text", data={**data, "save": "1"}).text
