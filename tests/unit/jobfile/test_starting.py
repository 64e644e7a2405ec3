"""A job begun without a file: keys made of names, devices, the usual wiring, figures that may be unknown; the file's reader decides."""

from __future__ import annotations

import pytest

from gainwright.errors import CallError
from gainwright.jobfile import errors_of, example_text, read_job_text
from gainwright.jobfile.starting.at_hand import shown_at_hand, with_at_hand
from gainwright.jobfile.starting.devices import DEVICES, add_device, remove_device, rename_device
from gainwright.jobfile.starting.figure_values import is_unknown, shown_parts, with_figures
from gainwright.jobfile.starting.figures import figures_of
from gainwright.jobfile.starting.leads import AS_WRITTEN, leads_of, outputs, stages_of_text, usual_leads, with_leads
from gainwright.jobfile.starting.names import key_of

BEGUN = "format: 1\ntitle: Blue estate\n"


def begun(*devices: str) -> str:
    """Return a begun job with some devices, not wired."""
    text = BEGUN
    for device in devices:
        text = add_device(text, device)
    return text


def usually(*devices: str) -> str:
    """Return a job of some devices with the usual wiring."""
    text = begun(*devices)
    done, wrong = with_leads(text, usual_leads(stages_of_text(text)))
    assert wrong == {}
    return done


@pytest.mark.parametrize(
    ("name", "taken", "key"),
    [
        ("Amp under the seat", (), "amp_under_the_seat"),
        ("  Anna's  4-channel (old) ", (), "anna_s_4_channel_old"),
        ("Endstufe für Tür", (), "endstufe_für_tür"),
        ("Front amplifier", ("front_amplifier",), "front_amplifier_2"),
        ("…", (), "device"),
        ("x" * 70, ("x" * 40,), "x" * 36 + "_2"),
    ],
)
def test_key_is_made_of_the_name(name: str, taken: tuple[str, ...], key: str) -> None:
    """Letters and digits in lower case, at most 40, and a number when it is taken: a key that the reader takes."""
    assert key_of(name, taken) == key
    text = f"{BEGUN}stages: {{{key}: {{kind: head_unit, rated_output: 4 V}}, s: {{kind: speaker, from: {key}}}}}"
    assert errors_of(text) == []


@pytest.mark.parametrize("device", sorted(DEVICES))
def test_each_device_can_be_part_of_a_job(device: str) -> None:
    """Between a source and speakers, in the usual wiring, each is a job; a device of several stages shares a chassis."""
    parts = DEVICES[device].parts
    kind = parts[0].keys["kind"]
    rest = ["head_unit"] * (kind != "head_unit") + [
        choice
        for choice in ("five_channel_amplifier", "front", "rear", "sub")
        if kind != "amplifier" or choice != "five_channel_amplifier"
    ]
    if kind == "head_unit" and len(parts) > 1:  # it drives the front speakers itself
        rest = ["amplifier_1", "front", "sub"]
    text = (
        usually(*rest, device)
        if kind != "speaker"
        else usually("head_unit", "five_channel_amplifier", device, "rear", "sub")
    )
    job = read_job_text(text).job
    mine = [s for s in job.stages.values() if s.kind == kind]
    alike = [part for part in parts if part.keys["kind"] == kind]
    assert len(mine) >= len(alike)
    assert all(stage.name for stage in job.stages.values())
    if len(alike) > 1:
        assert {stage.chassis for stage in mine} == {device}  # type: ignore[union-attr]


def test_usual_wiring_of_a_common_car() -> None:
    """Front and sub outputs of the head unit, each amplifier to the speakers of its purpose; a rear output that feeds nothing is left out."""
    read = read_job_text(usually("head_unit", "amplifier_2", "amplifier_1", "front", "sub"))
    leads = {(str(run).removeprefix("lead:")) for run in read.wiring.leads}
    assert leads == {
        "head_unit.front-front_amplifier",
        "head_unit.sub-sub_amplifier",
        "front_amplifier-front_speakers",
        "sub_amplifier-subwoofer",
    }
    assert [str(n) for n in read.wiring.outputs("head_unit")] == [
        "head_unit.front.left",
        "head_unit.front.right",
        "head_unit.sub.mono",
    ]
    assert [n.side for n in read.wiring.outputs("front_amplifier")] == ["left", "right"]
    assert [n.side for n in read.wiring.outputs("sub_amplifier")] == ["mono"]


def test_usual_wiring_of_a_kept_radio_with_processor_and_knob() -> None:
    """Converter, processor and level control stand in the usual order; tweeters and woofers get processor outputs of their own."""
    devices = (
        "factory_radio",
        "converter",
        "processor",
        "level_control",
        "four_channel_amplifier",
        "amplifier_1",
        "tweeter",
        "woofer",
        "sub",
    )
    leads = leads_of(stages_of_text(usually(*devices)))
    assert leads["converter", ""] == "factory_radio.front"
    assert leads["processor", "front"] == "converter"
    assert leads["level_control", ""] == "processor.sub"
    assert leads["sub_amplifier", ""] == "level_control"
    assert {leads["front_amplifier", ""], leads["rear_amplifier", ""]} == {"processor.tweeter", "processor.woofer"}


def test_missing_leads_are_told_at_their_device() -> None:
    """An input without a source, an output that feeds nothing, a circle; nothing is written."""
    text = begun("head_unit", "line_driver", "amplifier_2", "front")
    leads = usual_leads(stages_of_text(text))
    for changed, where, what in (
        ({("front_speakers", ""): ""}, "front_speakers", "nothing is connected"),
        ({("front_speakers", ""): "line_driver"}, "front_amplifier", "feeds nothing"),
        ({("line_driver", ""): "front_amplifier", ("front_amplifier", ""): "line_driver"}, "line_driver", "circle"),
    ):
        done, wrong = with_leads(text, leads | changed)
        assert done == text
        assert what in wrong[where].what
        assert wrong[where].where == "", "no place in the file"


def test_an_input_of_several_outputs_stays_as_it_is() -> None:
    """A joined input made elsewhere isn't offered for change, and is kept."""
    text = usually("head_unit", "amplifier_1", "sub").replace(
        "from: head_unit.sub", "from: [head_unit.sub, head_unit.front]"
    )
    text = text.replace("{sub: {sides: [mono]}}", "{sub: {sides: [mono]}, front: {sides: [mono]}}")
    leads = leads_of(stages_of_text(text))
    assert leads["sub_amplifier", ""] == AS_WRITTEN
    assert with_leads(text, leads) == (text, {})


def test_outputs_that_can_be_connected() -> None:
    """A head unit offers front, rear and sub, a processor one for each purpose of the speakers."""
    stages = stages_of_text(begun("head_unit", "processor", "tweeter", "sub"))
    assert [o.reference for o in outputs(stages)] == [
        "head_unit.front",
        "head_unit.rear",
        "head_unit.sub",
        *(f"processor.{n}" for n in ("sub", "tweeter", "front")),
    ]


def test_devices_are_renamed_and_removed() -> None:
    """The key follows the name, leads follow the key; a removed device leaves the inputs that it fed open."""
    text = usually("head_unit", "amplifier_1", "sub")
    text = rename_device(text, "sub_amplifier", "Amp under the seat")
    job = read_job_text(text).job
    assert job.stages["amp_under_the_seat"].name == "Amp under the seat"
    assert leads_of(stages_of_text(text))["subwoofer", ""] == "amp_under_the_seat"
    assert rename_device(text, "amp_under_the_seat", "Amp under the seat") == text
    open_ = remove_device(text, "amp_under_the_seat")
    assert "from" not in stages_of_text(open_)["subwoofer"]
    assert rename_device(open_, "subwoofer", "Box")[-40:].strip().endswith("name: Box")
    assert stages_of_text(remove_device(remove_device(open_, "head_unit"), "subwoofer")) == {}
    for name in ("", "  ", "…", "x" * 61):
        with pytest.raises(CallError):
            rename_device(text, "subwoofer", name)
    assert (
        add_device(begun("head_unit"), "front", into=lambda name: f"{name} (de)").count("name: Front speakers (de)")
        == 1
    )


AMPLIFIER = {
    "power:0:w": "75",
    "power:0:ohm": "4",
    "power:1:w": "110 W",
    "power:1:ohm": "2",
    "sensitivity:first": "0,2",
    "sensitivity:second": "5",
    "high_pass:shape": "linkwitz-riley",
    "high_pass:slope": "24",
    "high_pass:corner": "80",
    "low_pass:shape": "off",
}


def test_figures_are_written_as_in_the_file_and_shown_again() -> None:
    """Bare numbers get their units, a decimal comma becomes a point; what was written is shown in the fields it came from."""
    text = usually("head_unit", "amplifier_2", "front")
    text, wrong = with_figures(text, "front_amplifier", AMPLIFIER, ())
    assert wrong == {}
    stage = stages_of_text(text)["front_amplifier"]
    assert stage["power"] == ["75 W @ 4 ohm", "110 W @ 2 ohm"]
    assert stage["sensitivity"] == "0.2 V .. 5 V"
    assert stage["high_pass"] == "linkwitz-riley 24 at 80 Hz"
    assert "low_pass" not in stage
    shown = {
        part: value
        for f in figures_of("front_amplifier", {"front_amplifier": stage})
        for part, value in shown_parts(f, stage).items()
    }
    assert {**shown, **{k: v for k, v in AMPLIFIER.items() if k not in ("power:1:w", "sensitivity:first")}} == shown
    assert (shown["power:1:w"], shown["sensitivity:first"]) == ("110", "0.2")
    again, wrong = with_figures(text, "front_amplifier", shown, ())
    assert (again, wrong) == (text, {})


def test_unknown_figures() -> None:
    """A needed one is `unknown` in the file, another isn't there; a figure that is typed counts, an empty one that isn't unknown is refused."""
    text = usually("head_unit", "amplifier_2", "front")
    text, _ = with_figures(text, "front_amplifier", AMPLIFIER, ())
    empty = dict.fromkeys(AMPLIFIER, "")
    done, wrong = with_figures(text, "front_amplifier", empty, ["power", "sensitivity"])
    assert wrong == {}
    stage = stages_of_text(done)["front_amplifier"]
    assert stage["power"] == "unknown"
    assert "sensitivity" not in stage
    assert is_unknown(
        figures_of("front_amplifier", {"front_amplifier": stage})[0], {"power:0:w": "", "power:0:ohm": "4"}
    )
    done, _ = with_figures(
        text, "front_amplifier", {**empty, "power:0:w": "60", "power:0:ohm": "4"}, ["power", "sensitivity"]
    )
    assert stages_of_text(done)["front_amplifier"]["power"] == "60 W @ 4 ohm"
    _, wrong = with_figures(text, "front_amplifier", empty, ())
    assert {key: error.what for key, error in wrong.items()} == {"power": "it is empty", "sensitivity": "it is empty"}


@pytest.mark.parametrize(
    ("field", "typed", "figure", "what"),
    [
        ("power:0:w", "abc", "power", "'abc' is not a valid power"),
        ("power:0:ohm", "", "power", "75 W: into how many ohms"),
        ("power:0:w", "", "power", "4 ohm: how many watts"),
        ("power:1:ohm", "4", "power", "same load is rated twice"),
        ("power:0:w", "200 W max", "power", "is a peak figure"),
        ("sensitivity:second", "", "sensitivity", "gain fully down are missing"),
        ("sensitivity:second", "0.2", "sensitivity", "are the same"),
        ("high_pass:slope", "18", "high_pass", "linkwitz-riley 18 at 80 Hz"),
        ("high_pass:corner", "", "high_pass", "corner missing"),
        ("high_pass:corner", "80 ohm", "high_pass", "ohm is a unit of resistance"),
        ("high_pass:corner", "unknown", "high_pass", "not a valid filter"),
    ],
)
def test_wrong_figures_are_told_at_their_figure(field: str, typed: str, figure: str, what: str) -> None:
    """Each by its figure and no other, with what would be right."""
    text = usually("head_unit", "amplifier_2", "front")
    _, wrong = with_figures(text, "front_amplifier", {**AMPLIFIER, field: typed}, ())
    assert list(wrong) == [figure]
    assert what in wrong[figure].what
    assert wrong[figure].rule or wrong[figure].remedy


def test_voice_coils() -> None:
    """Several coils in place of an impedance, and back; the unit is added."""
    text = usually("head_unit", "amplifier_1", "sub")
    for given, keys in (
        ({"coils:coils": "2 series", "coils:each": "2"}, {"coils": "2 x 2 ohm series"}),
        ({"coils:coils": "one coil", "coils:each": "4 ohm ± 5 %"}, {"impedance": "4 ohm ± 5 %"}),
        ({"coils:coils": "one coil", "coils:each": ""}, {}),
    ):
        text, wrong = with_figures(text, "subwoofer", given, ["coils", "power", "sensitivity"])
        assert wrong == {}
        stage = stages_of_text(text)["subwoofer"]
        assert {key: stage[key] for key in ("coils", "impedance") if key in stage} == keys
        assert (
            shown_parts(figures_of("subwoofer", {"subwoofer": stage})[0], stage)["coils:coils"] == given["coils:coils"]
        )
    _, wrong = with_figures(
        text, "subwoofer", {"coils:coils": "2 parallel", "coils:each": "0"}, ["power", "sensitivity"]
    )
    assert "above zero" in f"{wrong['coils'].what} {wrong['coils'].rule}"


def test_instruments_at_hand() -> None:
    """Ticked ones are in the file, complete; one without its figure is told at its field; others stay."""
    text = f"{BEGUN}instruments: {{card: {{kind: recorder, full_scale: 2 V}}}}\n"
    given = {
        "have:meter": "yes",
        "meter:true_rms": "yes",
        "have:scope": "yes",
        "have:lamp": "yes",
        "lamp:of": "thd",
        "lamp:over": "3",
    }
    done, wrong = with_at_hand(text, given)
    assert wrong == {}
    assert (
        errors_of(f"{done}stages: {{h: {{kind: head_unit, rated_output: 4 V}}, s: {{kind: speaker, from: h}}}}\n") == []
    )
    assert list(shown_at_hand(done)) == [
        "have:meter",
        "have:scope",
        "have:lamp",
        "meter:true_rms",
        "recorder:full_scale",
        "lamp:of",
        "lamp:over",
    ]
    assert shown_at_hand(done)["lamp:over"] == "3"
    back, wrong = with_at_hand(done, {"have:scope": "yes"})
    assert wrong == {}
    assert set(shown_at_hand(back)) & {"have:meter", "have:lamp"} == set()
    assert "card" in back
    _, wrong = with_at_hand(text, {"have:recorder": "yes", "have:lamp": "yes", "lamp:of": "level", "lamp:over": "half"})
    assert set(wrong) == {"recorder:full_scale", "lamp:over"}
    assert with_at_hand(with_at_hand(BEGUN, {"have:meter": "yes"})[0], {})[0].strip() == BEGUN.strip()


@pytest.mark.parametrize("example", ["two_way_and_sub", "bridged_pair", "strapped_pair", "digital_player"])
def test_what_is_sent_as_it_is_shown_changes_nothing(example: str) -> None:
    """Leads and figures that these pages can't show in full (separate coils, one sensitivity, a digital source) are kept."""
    text = example_text(example)
    stages = stages_of_text(text)
    assert with_leads(text, leads_of(stages)) == (text, {})
    for key, stage in stages.items():
        shown = {figure: shown_parts(figure, stage) for figure in figures_of(key, stages)}
        unknown = [figure.key for figure, parts in shown.items() if is_unknown(figure, parts)]
        given = {part: value for parts in shown.values() for part, value in parts.items()}
        assert with_figures(text, key, given, unknown) == (text, {}), key


def test_text_that_a_person_wrote_is_kept() -> None:
    """Comments and the order of keys stay when figures and leads of a finished job are changed."""
    text = usually("head_unit", "amplifier_1", "sub").replace(
        "rated_output: unknown", "rated_output: unknown   # ask the maker"
    )
    done, wrong = with_figures(text, "head_unit", {"rated_output": "4", "volume.steps": ""}, ["volume.steps"])
    assert wrong == {}
    assert "rated_output: 4 V" in done
    assert "# ask the maker" in done
