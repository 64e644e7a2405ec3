"""The devices that a new job can be made of, each with its stages and a ready-made name; adding, naming and removing them.

The text need not be a job yet: devices without leads make none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError
from gainwright.jobfile.editing import TextDraft, remove_key, rename_stage
from gainwright.jobfile.editing.scalars import block
from gainwright.jobfile.reading import errors_of
from gainwright.jobfile.starting.names import checked_name, free_name, key_of, taken_keys
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

UNKNOWN = "unknown"
STEREO = ["left", "right"]
MONO = ["mono"]


@dataclass(frozen=True, slots=True)
class Part:
    """A stage of a device: its ready-made names, the first free one is taken, and its keys."""

    names: tuple[str, ...]
    keys: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Device:
    """A device to choose.

    Attributes
    ----------
    id : in forms.
    title, about : for people.
    parts : its stages; several are in one chassis.
    """

    id: str
    title: str
    about: str
    parts: tuple[Part, ...]


def _amplifier(*names: str, sides: list[str], **keys: str) -> Part:
    return Part(names, {"kind": "amplifier", "sides": sides, **keys, "power": UNKNOWN})


def _speaker(*names: str) -> Part:
    return Part(names, {"kind": "speaker"})


_BUILT_IN = {"gain": "fixed", "turn_on": "signal", "lamps": "no", "reachable": "no"}
"""Keys of an amplifier inside a radio: nothing to turn or see, and no wire that turns it on."""
_FRONT, _REAR, _SUB = say("Front amplifier"), say("Rear amplifier"), say("Sub amplifier")

SOURCES = (
    Device(
        "head_unit",
        say("Head unit"),
        say("radio or player with line outputs"),
        (Part((say("Head unit"),), {"kind": "head_unit", "rated_output": UNKNOWN}),),
    ),
    Device(
        "factory_radio",
        say("Radio with speaker wires only"),
        say("it needs a converter, or amplifiers that take speaker level"),
        (Part((say("Factory radio"),), {"kind": "head_unit", "rated_output": UNKNOWN, "speaker_level": "yes"}),),
    ),
    Device(
        "radio_with_power",
        say("Radio that drives the doors and has line outputs"),
        say("its own power for the door speakers, a line output for a further amplifier"),
        (
            Part((say("Radio"),), {"kind": "head_unit", "rated_output": UNKNOWN}),
            _amplifier(say("Power stage of the radio"), sides=STEREO, **_BUILT_IN),
        ),
    ),
)
BETWEEN = (
    Device(
        "processor",
        say("Signal processor"),
        say("filters, equaliser, delay, level for each output"),
        (Part((say("Processor"),), {"kind": "processor"}),),
    ),
    Device(
        "converter",
        say("Converter"),
        say("from speaker wires to line level"),
        (Part((say("Converter"),), {"kind": "converter"}),),
    ),
    Device(
        "line_driver",
        say("Line driver"),
        say("raises the line level"),
        (Part((say("Line driver"),), {"kind": "line_driver", "gain": UNKNOWN}),),
    ),
    Device(
        "level_control",
        say("Level control"),
        say("a knob in the line, within the driver's reach"),
        (Part((say("Level control"),), {"kind": "level_control"}),),
    ),
)
AMPLIFIERS = (
    Device("amplifier_1", say("One channel"), say("a mono amplifier"), (_amplifier(_SUB, sides=MONO),)),
    Device("amplifier_2", say("Two channels"), say("left and right"), (_amplifier(_FRONT, _REAR, sides=STEREO),)),
    Device(
        "amplifier_2_bridged",
        say("Two channels bridged to one"),
        say("both drive one speaker"),
        (_amplifier(_SUB, sides=MONO, bridged="yes"),),
    ),
    Device(
        "four_channel_amplifier",
        say("Four channels"),
        say("two pairs in one case"),
        (_amplifier(_FRONT, sides=STEREO), _amplifier(_REAR, sides=STEREO)),
    ),
    Device(
        "four_channel_bridged",
        say("Four channels, two of them bridged"),
        say("a pair for the doors, the other two together for the subwoofer, in one case"),
        (_amplifier(_FRONT, sides=STEREO), _amplifier(_SUB, sides=MONO, bridged="yes")),
    ),
    Device(
        "five_channel_amplifier",
        say("Five channels"),
        say("two pairs and one for the subwoofer in one case"),
        (_amplifier(_FRONT, sides=STEREO), _amplifier(_REAR, sides=STEREO), _amplifier(_SUB, sides=MONO)),
    ),
)
SPEAKERS = (
    Device(
        "front",
        say("Front speakers"),
        say("a pair, with their own crossover if any"),
        (_speaker(say("Front speakers")),),
    ),
    Device("rear", say("Rear speakers"), say("a pair"), (_speaker(say("Rear speakers")),)),
    Device("sub", say("Subwoofer"), say("one, or several on one amplifier"), (_speaker(say("Subwoofer")),)),
    Device(
        "tweeter", say("Tweeters"), say("a pair with amplifier channels of their own"), (_speaker(say("Tweeters")),)
    ),
    Device(
        "midrange", say("Midranges"), say("a pair with amplifier channels of their own"), (_speaker(say("Midranges")),)
    ),
    Device("woofer", say("Woofers"), say("a pair with amplifier channels of their own"), (_speaker(say("Woofers")),)),
)
GROUPS = {
    say("What plays"): SOURCES,
    say("Amplifiers"): AMPLIFIERS,
    say("Speakers"): SPEAKERS,
    say("In between"): BETWEEN,
}
"""Title of a group -> its devices, in the order in which a page shows them."""
DEVICES = {device.id: device for group in GROUPS.values() for device in group}


def add_device(text: str, device: str, *, into: Callable[[str], str] = str) -> str:
    """Return a text with the stages of a device added, not wired yet.

    Parameters
    ----------
    into : translates a ready-made name.

    Raises
    ------
    CallError : there is no such device.
    JobError : the text isn't YAML.
    """
    chosen = DEVICES.get(device)
    if chosen is None:
        raise CallError(say("there is no device {device}", device=repr(device[:40])), code="no_such_device")
    draft = TextDraft(text)
    powered = [part for part in chosen.parts if part.keys["kind"] == "amplifier"]
    chassis = key_of(chosen.id, taken_keys(draft.plain)) if len(powered) > 1 else ""
    for part in chosen.parts:
        taken = taken_keys(draft.plain)
        # in any language, the key is made of the English name: the usual wiring is guessed from it
        english = next((name for name in part.names if key_of(name) not in taken), part.names[-1])
        names = {str(stage.get("name", "")) for stage in (draft.plain.get("stages") or {}).values()}
        keys = {"kind": part.keys["kind"], "name": free_name(into(english), names), **part.keys}
        _append(draft, key_of(english, taken), keys | ({"chassis": chassis} if chassis and part in powered else {}))
    return draft.checked()


def _append(draft: TextDraft, key: str, keys: dict[str, Any]) -> None:
    """Add a stage at the end of a draft."""
    if draft.plain.get("stages"):
        draft.set(("stages", key), keys)
        return
    draft.unset(("stages",))
    lines = block(keys, 4, "\n")
    draft.text = f"{draft.text.rstrip()}\n\nstages:\n  {key}:{lines}\n"
    draft.plain["stages"] = {key: keys}


def rename_device(text: str, key: str, name: str) -> str:
    """Return a text with a stage called by another name, its key derived from it, and everything that refers to it.

    Raises
    ------
    CallError : there is no such device, or the name can't be one.
    JobError : the text isn't YAML.
    """
    name = checked_name(name)
    draft = TextDraft(text)
    stages = draft.plain.get("stages") or {}
    if key not in stages:
        raise CallError(
            say("this device is no longer there"), code="no_such_device", remedy=say("look at the list as it is now")
        )
    if stages[key].get("name") == name:
        return text
    new = key_of(name, taken_keys(draft.plain) - {key})
    if not errors_of(text):
        return set_name(rename_stage(text, key, new) if new != key else text, new, name)
    draft.set(("stages", key, "name"), name, after="kind")
    if new != key:
        for path, source in _sources(draft):
            if source.split(".")[0] == key:
                draft.set(path, new + source[len(key) :])
        draft.rename(("stages", key), new)
    return draft.checked()


def set_name(text: str, key: str, name: str) -> str:
    """Return a job's text with a stage called as it was typed; a name that is the key itself isn't written.

    Raises
    ------
    CallError : the name can't be one.
    """
    if name == key:
        return text
    draft = TextDraft(text)
    draft.set(("stages", key, "name"), checked_name(name), after="kind")
    return draft.checked()


def remove_device(text: str, key: str) -> str:
    """Return a text without a stage, and without the leads from it.

    Raises
    ------
    JobError : the text isn't YAML.
    """
    draft = TextDraft(text)
    whole = [path[: 4 if path[2] == "inputs" else 3] for path, source in _sources(draft) if source.split(".")[0] == key]
    for path in dict.fromkeys(whole):
        remove_key(draft, path)
    for section in ("access", "allowance", "tones"):
        if isinstance(held := draft.plain.get(section), dict) and key in held:
            remove_key(draft, (section, key))
    stages = draft.plain.get("stages") or {}
    if list(stages) == [key]:
        draft.unset(("stages",))
    else:
        draft.unset(("stages", key))
    return draft.checked()


def _sources(draft: TextDraft) -> list[tuple[tuple[str | int, ...], str]]:
    """Return every source of every stage as written, with its path."""
    found: list[tuple[tuple[str | int, ...], str]] = []
    for key, stage in (draft.plain.get("stages") or {}).items():
        held: list[tuple[tuple[str, ...], Any]] = []
        held += [(("stages", key, "from"), stage["from"])] if "from" in stage else []
        held += [(("stages", key, "inputs", name), source) for name, source in (stage.get("inputs") or {}).items()]
        for path, source in held:
            if isinstance(source, dict):
                found += [((*path, side), str(one)) for side, one in source.items()]
            elif isinstance(source, list):
                found += [((*path, i), str(one)) for i, one in enumerate(source)]
            else:
                found.append((path, str(source)))
    return found
