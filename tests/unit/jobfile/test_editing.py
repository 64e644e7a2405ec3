"""Edits of a job file's text: only what is requested changes, names and wiring follow, and impossible edits are refused."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import editing, example_text, read_job_text

if TYPE_CHECKING:
    from collections.abc import Callable

TWO_WAY = example_text("two_way_and_sub")
THREE_WAY = example_text("active_three_way")
BRIDGED = example_text("bridged_pair")


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Return the lines that went and those that came, without their indent."""
    lines = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    return [x[2:].strip() for x in lines if x[0] == "-"], [x[2:].strip() for x in lines if x[0] == "+"]


def test_new_keys_are_placed_where_one_would_write_them() -> None:
    """Into braces in a flow mapping, on a line of its own in a block, a section in its order."""
    text = editing.set_key(TWO_WAY, ("stages", "amp_front", "gain", "at"), "5 %")
    assert "sensitivity: 0.3 .. 6 V, gain: {at: 5 %}}" in text
    assert changed_lines(TWO_WAY, editing.set_key(TWO_WAY, ("stages", "head", "lead", "length"), "5 m")) == (
        [],
        ["lead: {length: 5 m}"],
    )
    text = editing.set_key(TWO_WAY, ("thd_limit",), "2 %")
    assert text.index("allowance:") < text.index("thd_limit: 2 %") < text.index("instruments:")
    assert changed_lines(TWO_WAY, text) == ([], ["thd_limit: 2 %"])


def test_a_comment_beside_a_value_stays_in_its_column() -> None:
    """A longer value takes its space from the blanks before the comment."""
    text = editing.set_key(TWO_WAY, ("stages", "head", "rated_output"), "5 V ± 5 %")
    before = next(line for line in TWO_WAY.splitlines() if "the maker's figure" in line)
    after = next(line for line in text.splitlines() if "the maker's figure" in line)
    assert after.index("#") == before.index("#")
    assert "rated_output: 5 V ± 5 %" in after


@pytest.mark.parametrize(
    "title", ["a: b # c 'd' \"e\"", "2024", "yes", "null", " x", "- x", "[x", "*x", "ü\tb", "1e3", "x:"]
)
def test_any_text_reads_back_as_it_was_typed(title: str) -> None:
    """Text that YAML would take for something else is quoted."""
    assert read_job_text(editing.set_key(TWO_WAY, ("title",), title)).job.title == title
    flow = editing.set_key(TWO_WAY, ("vehicle", "description"), title)
    assert read_job_text(flow).job.vehicle.description == title


def test_single_value_becomes_a_mapping() -> None:
    """`allowance: 4 dB` gets an output beside it."""
    text = editing.set_key(THREE_WAY, ("allowance", "high"), "3 dB")
    assert "allowance: {all: 4 dB, high: 3 dB}" in text
    assert "allowance" not in editing.unset_key(THREE_WAY, ("allowance", "all"))


def test_items_of_a_list_on_lines_keep_their_comments() -> None:
    """A list with a comment inside is changed item by item."""
    text = TWO_WAY.replace(
        "    power: [500 W @ 2 ohm, 300 W @ 4 ohm]\n",
        "    power:\n      - 500 W @ 2 ohm  # as sold\n      - 300 W @ 4 ohm\n",
    )
    changed = editing.set_key(text, ("stages", "amp_sub", "power"), ["510 W @ 2 ohm", "300 W @ 4 ohm", "160 W @ 8 ohm"])
    gone, came = changed_lines(text, changed)
    assert gone == ["- 500 W @ 2 ohm  # as sold"]
    assert came == ["- 510 W @ 2 ohm  # as sold", "- 160 W @ 8 ohm"]
    one = editing.set_key(text, ("stages", "amp_sub", "power"), "510 W @ 2 ohm")
    assert "# as sold" in one


def test_stage_is_inserted_into_a_lead() -> None:
    """It takes its input from what fed the lead, and the next stage is fed from it."""
    text = editing.add_stage(TWO_WAY, "line_driver", "driver", "lead:head.front-desk", values={"gain": "6 dB"})
    assert changed_lines(TWO_WAY, text) == (
        ["inputs: {front: head.front, sub: head.sub}"],
        ["driver:", "kind: line_driver", "from: head.front", "gain: 6 dB", "inputs: {front: driver, sub: head.sub}"],
    )
    sides = editing.add_stage(BRIDGED, "level_control", "knob", "output:head.sub")
    read = read_job_text(sides).job.stages
    assert (read["amp_a"].source, read["amp_b"].source) == ("knob.left", "knob.right")  # type: ignore[union-attr]


def test_a_new_stage_must_have_its_required_keys() -> None:
    """An amplifier without its rating is refused, with what to do."""
    with pytest.raises(JobError, match=r"stages.new.power: its power is missing"):
        editing.add_stage(TWO_WAY, "amplifier", "new", "output:desk.sub")


def test_second_source_at_an_input_has_its_sides() -> None:
    """A second head unit at a mono input gives mono."""
    text = editing.add_stage(TWO_WAY, "head_unit", "radio", "input:desk.sub", values={"rated_output": "2 V"})
    read = read_job_text(text)
    assert read.job.stages["desk"].inputs["sub"] == ["head.sub", "radio"]  # type: ignore[union-attr]
    assert [n.side for n in read.wiring.outputs("radio")] == ["mono"]


def test_removing_a_stage_closes_the_chain() -> None:
    """Also through a processor, each output by the input that it used."""
    read = read_job_text(editing.remove_stage(TWO_WAY, "desk")).job
    assert [read.stages[s].source for s in ("knob", "amp_front", "amp_high")] == [  # type: ignore[union-attr]
        "head.sub",
        "head.front",
        "head.front",
    ]
    assert "attenuates only" not in editing.remove_stage(TWO_WAY, "knob")


def test_branch_is_removed_with_everything_that_led_only_there() -> None:
    """Speaker, amplifier, control, the processor's output and input, the source's output, and its allowance."""
    text = editing.remove_branch(TWO_WAY, "sub")
    read = read_job_text(text).job
    assert list(read.stages) == ["head", "desk", "amp_front", "amp_high", "woofer", "tweeter"]
    assert list(read.stages["desk"].outputs) == ["tweeter", "woofer"]  # type: ignore[union-attr]
    assert list(read.stages["desk"].inputs) == ["front"]  # type: ignore[union-attr]
    assert list(read.stages["head"].outputs) == ["front"]  # type: ignore[union-attr]
    assert "sub" not in read.allowance


REFUSED: list[tuple[Callable[[], str], str]] = [
    (lambda: editing.remove_stage(TWO_WAY, "head"), "desk takes its signal from head and would have none"),
    (lambda: editing.remove_stage(TWO_WAY, "sub"), "without sub, head.sub.mono reaches no speaker"),
    (lambda: editing.remove_branch(TWO_WAY, "head"), "no speaker is left"),
    (lambda: editing.move_stage(TWO_WAY, "desk", "lead:amp_sub-sub"), "several inputs or outputs"),
    (lambda: editing.move_stage(TWO_WAY, "knob", "lead:knob-amp_sub"), "is already there"),
    (lambda: editing.rewire(TWO_WAY, "amp_high", "desk.woofer"), "desk.tweeter.left reaches no speaker"),
    (lambda: editing.rewire(TWO_WAY, "knob", "amp_sub"), "circle"),
    (lambda: editing.rewire(TWO_WAY, "knob", "nothing"), "nothing is not a stage"),
    (lambda: editing.rename_stage(TWO_WAY, "knob", "sub"), "sub is already taken"),
    (lambda: editing.rename_stage(TWO_WAY, "knob", "a b"), "not a valid name"),
    (lambda: editing.remove_output(TWO_WAY, "desk", "tweeter"), "amp_high would have no source"),
    (lambda: editing.remove_input(TWO_WAY, "desk", "sub"), "the output sub takes only from sub"),
    (lambda: editing.add_output(TWO_WAY, "desk", "x", [], takes="front"), "x would feed nothing"),
    (lambda: editing.add_stage(TWO_WAY, "toaster", "x", "output:desk.sub"), "not a kind"),
    (lambda: editing.add_stage(TWO_WAY, "converter", "x", "output:desk.none"), "not a place"),
    (lambda: editing.set_key(TWO_WAY, ("stages", "head", "bogus"), "1"), "unknown"),
    (lambda: editing.unset_key(TWO_WAY, ("stages", "head", "rated_output")), "missing"),
]


@pytest.mark.parametrize(("edit", "told"), REFUSED, ids=[told for _, told in REFUSED])
def test_impossible_edits_are_refused_with_a_sentence(edit: Callable[[], str], told: str) -> None:
    """The sentence names the thing, and most say what to do."""
    with pytest.raises(JobError, match=told) as error:
        edit()
    assert error.value.where


def test_references_follow_a_renamed_stage() -> None:
    """`from`, inputs, access, allowance by its full name; keys that mean an output of that name stay."""
    text = editing.set_key(TWO_WAY, ("access", "desk"), "20 min")
    text = editing.set_key(text, ("allowance", "desk.tweeter"), "6 dB")
    text = editing.set_key(text, ("tones", "sub"), "50 Hz")
    read = read_job_text(editing.rename_stage(text, "desk", "mixer")).job
    assert list(read.access) == ["mixer"]
    assert "mixer.tweeter" in read.allowance
    assert read.stages["knob"].source == "mixer.sub"  # type: ignore[union-attr]
    read = read_job_text(editing.rename_stage(text, "sub", "box")).job
    assert list(read.tones) == ["sub"], "the outputs of that name are still there"
    read = read_job_text(
        editing.rename_stage(editing.set_key(TWO_WAY, ("tones", "amp_sub"), "50 Hz"), "amp_sub", "a")
    ).job
    assert list(read.tones) == ["a"]


def test_references_follow_a_renamed_output_and_input() -> None:
    """With and without a side, and the input that an output used implicitly."""
    read = read_job_text(editing.rename_output(BRIDGED, "head", "sub", "low")).job
    assert read.stages["amp_a"].source == "head.low.left"  # type: ignore[union-attr]
    implied = TWO_WAY.replace("sub:     {from: sub,   low_pass", "sub:     {low_pass")
    read = read_job_text(editing.rename_input(implied, "desk", "sub", "low")).job
    assert read.stages["desk"].outputs["sub"].source == "low"  # type: ignore[union-attr]


def test_a_moved_stage_keeps_its_keys_and_comments() -> None:
    """Its keys and comments stay; the chain closes at the old place and opens at the new one."""
    text = editing.move_stage(TWO_WAY, "knob", "lead:head.sub-desk")
    read = read_job_text(text).job
    assert read.stages["desk"].inputs["sub"] == "knob"  # type: ignore[union-attr]
    assert read.stages["knob"].source == "head.sub"  # type: ignore[union-attr]
    assert read.stages["amp_sub"].source == "desk.sub"  # type: ignore[union-attr]
    assert "kind: level_control                # attenuates only" in text
    assert list(read.stages)[:3] == ["head", "knob", "desk"]
    place = editing.previous_place(TWO_WAY, "amp_sub")
    assert place == "lead:desk.sub-knob"
    swapped = editing.move_stage(TWO_WAY, "amp_sub", place)
    assert read_job_text(swapped).job.stages["sub"].source == "knob"  # type: ignore[union-attr]
    assert editing.next_place(swapped, "amp_sub") == "output:knob.out"
    back = editing.move_stage(swapped, "amp_sub", "output:knob.out")
    assert read_job_text(back).job == read_job_text(TWO_WAY).job


def test_a_branch_is_added_at_a_new_output() -> None:
    """An output, an amplifier and a speaker are added together, since any part alone would lead nowhere."""
    text = editing.add_branch(TWO_WAY, "desk", "amp_rear", "rear", power="50 W @ 4 ohm", output="rear", takes="front")
    read = read_job_text(text)
    assert [p.name for p in read.wiring.paths if p.speaker == "rear"] == ["rear.left", "rear.right"]
    one = example_text("one_amplifier")
    assert (
        len(read_job_text(editing.add_branch(one, "head", "a", "b", power="50 W @ 4 ohm", output="x")).job.stages) == 5
    )


def test_a_file_with_shared_values_is_edited_elsewhere_or_refused() -> None:
    """An alias isn't resolved: its value must be changed in the text by hand."""
    text = TWO_WAY.replace("rated_output: 4 V ", "rated_output: &v 4 V ").replace(
        "output_limit: 4 V", "output_limit: *v"
    )
    assert "title: x" in editing.set_key(text, ("title",), "x")
    with pytest.raises(JobError, match="can't be edited here"):
        editing.set_key(text, ("stages", "desk", "output_limit"), "5 V")
    with pytest.raises(JobError, match="can't be edited here"):
        editing.set_key(text, ("stages", "head", "rated_output"), "5 V")


def test_instruments_are_added_renamed_and_removed() -> None:
    """Removing the last one removes its section."""
    text = editing.add_instrument(TWO_WAY, "recorder", "card", values={"full_scale": "2 V"})
    assert "card:\n    kind: recorder\n    full_scale: 2 V\n" in text
    assert "  dial:       {kind: multimeter" in editing.rename_instrument(TWO_WAY, "meter", "dial")
    assert "instruments" not in editing.remove_instrument(example_text("one_amplifier"), "meter")


def test_no_place_between_a_strapped_pair_and_its_speaker() -> None:
    """A stage in one of the two leads would part the pair from its load: only places before the amplifiers are offered."""
    offered = {p.id for p in editing.places(editing.Draft(example_text("strapped_pair"))) if p.kind != "input"}
    assert {"lead:amp_a-sub", "lead:amp_b-sub", "output:amp_a.out", "output:amp_b.out"} & offered == set()
    for place in offered:
        editing.add_stage(example_text("strapped_pair"), "level_control", "new_one", place)


def test_cables_follow_the_stages_that_they_feed() -> None:
    """A renamed stage is renamed in what a cable feeds; a removed one goes from it."""
    text = editing.add_cable(TWO_WAY, "main", feeds=["amp_front", "amp_high"], values={"wire": "4 AWG"})
    assert read_job_text(editing.rename_stage(text, "amp_high", "amp_top")).job.supply["main"].feeds == (
        "amp_front",
        "amp_top",
    )
    assert read_job_text(editing.remove_branch(text, "amp_high")).job.supply["main"].feeds == ("amp_front",)
    with pytest.raises(JobError, match="main is already taken"):
        editing.add_cable(text, "main")
    assert editing.remove_cable(text, "main").rstrip() == TWO_WAY.rstrip()
