"""Wiring: sides, shares, branches, mixing, and every kind of mistake."""

from __future__ import annotations

import copy
import pickle
from typing import Any

import pytest

from gainwright.errors import JobError
from gainwright.model import Job, Node, Port, Wiring, resolve

HEAD = {"kind": "head_unit", "rated_output": "2 V", "outputs": {"front": {}, "sub": {"sides": ["mono"]}}}
AMP = {"kind": "amplifier", "power": "100 W @ 4 ohm"}


def wired(**stages: Any) -> Wiring:
    """Resolve a job of these stages after a head unit with a stereo and a mono output."""
    return resolve(Job.model_validate({"format": 1, "stages": {"head": HEAD, **stages}}))


def amp(source: Any, **more: Any) -> dict[str, Any]:
    """Return an amplifier."""
    return {**AMP, "from": source, **more}


def speaker(source: Any, **more: Any) -> dict[str, Any]:
    """Return a speaker."""
    return {"kind": "speaker", "from": source, "impedance": "4 ohm", **more}


def refused(**stages: Any) -> JobError:
    """Return the error of an invalid wiring."""
    with pytest.raises(JobError) as caught:
        wired(**stages)
    return caught.value


SUB = {"amp_sub": amp("head.sub"), "sub": speaker("amp_sub")}
FRONT = {"amp": amp("head.front"), "door": speaker("amp")}


def test_sides_come_from_the_source() -> None:
    """A stereo output makes a stereo amplifier and two speakers' paths."""
    found = wired(**SUB, **FRONT)
    assert [str(n) for n in found.outputs("amp")] == ["amp.out.left", "amp.out.right"]
    assert [p.name for p in found.paths] == ["sub.mono", "door.left", "door.right"]
    assert [str(n) for n in found.paths[1].nodes] == ["head.front.left", "amp.out.left"]


def test_stages_in_any_order_are_resolved_in_signal_order() -> None:
    """The order of the file doesn't matter."""
    backwards = dict(reversed(list({**SUB, **FRONT}.items())))
    found = wired(**backwards)
    assert found.order.index("amp") < found.order.index("door")
    assert found.order[0] == "head"


def test_one_output_may_branch() -> None:
    """Two amplifiers on one output."""
    found = wired(**FRONT, rear=amp("head.front"), shelf=speaker("rear"), **SUB)
    left = Node("head", "front", "left")
    assert {p.stage for p in found.ports_fed_by(left)} == {"amp", "rear"}


def test_bridged_amplifier_mixes_both_sides() -> None:
    """Half of each."""
    found = wired(**FRONT, big=amp("head.front", bridged=True), box=speaker("big"), **SUB)
    (node,) = found.outputs("big")
    assert node.side == "mono"
    assert [r.share for r in found.routes[node]] == [0.5, 0.5]


def test_mono_feeds_both_sides_unattenuated() -> None:
    """An amplifier that gives its sides."""
    found = wired(**FRONT, wide=amp("head.sub", sides=["left", "right"]), box=speaker("wide"))
    assert [found.routes[n][0].share for n in found.outputs("wide")] == [1.0, 1.0]


def test_mixed_sources_share_equally() -> None:
    """Two monos into one."""
    found = wired(
        desk={"kind": "processor", "inputs": {"in": "head.front", "s": "head.sub"},
              "outputs": {"a": {"from": "in", "sides": ["mono"]}, "b": {"from": "s"}}},
        both=amp(["desk.a", "desk.b"]), box=speaker("both"),
    )  # fmt: skip
    assert [f.share for f in found.feeds[Port("both", "in", "mono")]] == [0.5, 0.5]


def test_a_mapping_names_each_side() -> None:
    """Left and right from different places."""
    found = wired(**SUB, odd=amp({"left": "head.front.right", "right": "head.front.left"}), box=speaker("odd"))
    assert str(found.feeds[Port("odd", "in", "left")][0].node) == "head.front.right"


def test_coils_with_an_amplifier_each() -> None:
    """Two amplifiers on two coils: two ports, one speaker."""
    found = wired(
        a=amp("head.front.left"), b=amp("head.front.right"),
        box=speaker({"coil_1": "a", "coil_2": "b"}, impedance=None, coils="2 x 2 ohm separate"), **SUB,
    )  # fmt: skip
    assert {p.input for p in found.ports("box")} == {"coil_1", "coil_2"}


def test_leads_are_named_by_their_ends() -> None:
    """`lead:FROM-TO`, with the output where there are several."""
    names = {str(run) for run in wired(**SUB, **FRONT).leads}
    assert names == {"lead:head.sub-amp_sub", "lead:amp_sub-sub", "lead:head.front-amp", "lead:amp-door"}


DESK = {"kind": "processor", "inputs": {"in": "head.front"}, "outputs": {"a": {}}}


@pytest.mark.parametrize(
    ("stages", "code", "where", "says"),
    [
        ({"amp": amp("haed.front"), "door": speaker("amp"), **SUB}, "dangling_reference", "stages.amp.from", "head"),
        ({"amp": amp("head.fornt"), "door": speaker("amp"), **SUB}, "dangling_reference", "stages.amp.from", "front"),
        ({"amp": amp("head"), "door": speaker("amp"), **SUB}, "bad_wiring", "stages.amp.from", "several outputs"),
        ({"amp": amp("head.front.top"), "door": speaker("amp"), **SUB}, "dangling_reference", "stages.amp.from", "side"),
        ({**SUB}, "bad_wiring", "stages.head.outputs.front", "reaches no speaker"),
        ({**SUB, **FRONT, "more": amp("door")}, "bad_wiring", "stages.more.from", "is a speaker"),
        ({**SUB, "a": amp("b"), "b": amp("a"), "door": speaker("a")}, "bad_wiring", "stages.", "circle"),
        ({**SUB, "a": amp("a"), "door": speaker("a")}, "bad_wiring", "stages.a", "circle: a -> a"),
        ({**SUB, "a": amp([]), "door": speaker("a")}, "bad_wiring", "stages.a.from", "no source is named"),
        ({"a": amp(["head.front", "head.sub"]), "door": speaker("a")}, "bad_wiring", "stages.a.from", "are joined"),
        ({"a": amp({"up": "head.sub"}), "door": speaker("a"), **FRONT}, "dangling_reference", "stages.a.from.up", "side"),
        ({"a": amp({"left": "head.front"}), "door": speaker("a"), **SUB}, "bad_wiring", "stages.a.from.left", "several sides"),
        ({**SUB, **FRONT, "desk": {**DESK, "outputs": {"a": {"from": "inn"}}}}, "dangling_reference", "stages.desk.outputs.a.from", "did you mean in"),
        ({**SUB, **FRONT, "desk": {**DESK, "outputs": {"a": {"from": "in.mono"}}}}, "dangling_reference", "stages.desk.outputs.a.from", "side"),
        ({**SUB, **FRONT, "desk": {**DESK, "inputs": {"x": "head.front", "y": "head.sub"}}}, "bad_wiring", "stages.desk.outputs.a", "its input is not given"),
        ({**SUB, **FRONT, "desk": {**DESK, "outputs": {"a": {"from": []}}}}, "bad_wiring", "stages.desk.outputs.a", "add from: in"),
        ({**FRONT, "amp_sub": amp("head.sub"), "sub": speaker("amp_sub", sides=["left"])}, "bad_wiring", "stages.sub.sides", "leave sides out"),
    ],
)  # fmt: skip
def test_wrong_wirings(stages: dict[str, Any], code: str, where: str, says: str) -> None:
    """Each says where, what, and how to fix it."""
    error = refused(**stages)
    assert error.code == code, str(error)
    assert error.where.startswith(where), str(error)
    assert says in str(error)


def test_job_without_a_source_is_refused() -> None:
    """A chain begins with a source."""
    with pytest.raises(JobError, match="no stage is a head_unit"):
        resolve(Job.model_validate({"format": 1, "stages": {"amp": amp("head"), "door": speaker("amp")}}))


def test_places_are_found_again_by_their_texts() -> None:
    """Also as copies and from another process, where texts have other hashes; a node is never a port."""
    node, port = Node("head", "front", "left"), Port("head", "front", "left")
    known = {node: 1, port: 2}
    assert (known[Node("head", "front", "left")], known[Port("head", "front", "left")]) == (1, 2)
    for place in (node, port):
        for again in (copy.deepcopy(place), pickle.loads(pickle.dumps(place))):  # noqa: S301  our own
            assert again == place
            assert known[again] == known[place]
        assert b"_hash" not in pickle.dumps(place)
    assert sorted([node, Node("amp", "out", "right")])[1] == node
