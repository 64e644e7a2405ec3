"""Ten typical chains for a call about a car that has no job file: devices in the usual wiring, every figure unknown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.jobfile.editing import TextDraft, put_key
from gainwright.jobfile.starting.devices import add_device
from gainwright.jobfile.starting.leads import of_kind, role_of, stages_of_text, usual_leads, with_leads
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

METER = {"meter": {"kind": "multimeter"}}
_BEGUN = """# Begun in a call without a job file: what nobody said is unknown.
format: 1
"""


@dataclass(frozen=True, slots=True)
class TypicalChain:
    """A chain to choose.

    Attributes
    ----------
    id : in commands, forms and the API.
    title, about : for people: what drives what, and where the signal comes from.
    devices : ids of `devices.DEVICES`, in signal order.
    """

    id: str
    title: str
    about: str
    devices: tuple[str, ...]

    @property
    def has_sub(self) -> bool:
        """Whether a subwoofer is in it."""
        return "sub" in self.devices


@dataclass(frozen=True, slots=True)
class Extra:
    """Something that may be there too: its id, and in words."""

    id: str
    title: str


_FACTORY = say("factory radio, a converter in its speaker wires")
_LINE = say("radio with line outputs")
_DOORS = ("front", "rear")
CHAINS = (
    TypicalChain(
        "factory_doors_and_sub",
        say("Four-channel amplifier on the doors, mono amplifier on a sub"),
        _FACTORY,
        ("factory_radio", "converter", "four_channel_amplifier", "amplifier_1", *_DOORS, "sub"),
    ),
    TypicalChain(
        "radio_doors_and_sub",
        say("Four-channel amplifier on the doors, mono amplifier on a sub"),
        _LINE,
        ("head_unit", "four_channel_amplifier", "amplifier_1", *_DOORS, "sub"),
    ),
    TypicalChain(
        "factory_sub",
        say("Mono amplifier on a sub, the doors on the radio"),
        _FACTORY,
        ("factory_radio", "converter", "amplifier_1", *_DOORS, "sub"),
    ),
    TypicalChain(
        "radio_sub",
        say("Mono amplifier on a sub, the doors on the radio"),
        _LINE,
        ("radio_with_power", "amplifier_1", "front", "sub"),
    ),
    TypicalChain(
        "radio_doors",
        say("Four-channel amplifier on the doors, no sub"),
        _LINE,
        ("head_unit", "four_channel_amplifier", *_DOORS),
    ),
    TypicalChain(
        "radio_bridged",
        say("One four-channel amplifier: two channels on the front doors, two bridged on a sub"),
        _LINE,
        ("head_unit", "four_channel_bridged", "front", "sub"),
    ),
    TypicalChain(
        "radio_five_channel",
        say("Five-channel amplifier on the doors and a sub"),
        _LINE,
        ("head_unit", "five_channel_amplifier", *_DOORS, "sub"),
    ),
    TypicalChain(
        "factory_processor",
        say("Signal processor, four-channel amplifier on the doors, mono amplifier on a sub"),
        say("factory radio, its speaker wires into the processor"),
        ("factory_radio", "processor", "four_channel_amplifier", "amplifier_1", *_DOORS, "sub"),
    ),
    TypicalChain(
        "radio_processor",
        say("Signal processor, four-channel amplifier on the doors, mono amplifier on a sub"),
        _LINE,
        ("head_unit", "processor", "four_channel_amplifier", "amplifier_1", *_DOORS, "sub"),
    ),
    TypicalChain("radio_only", say("No amplifier: the radio drives the doors"), "", ("factory_radio", *_DOORS)),
)
"""The chains, the commonest first (common practice, no published source)."""
EXTRAS = (
    Extra("knob", say("a bass knob on a wire of the sub's amplifier")),
    Extra("speaker_wires", say("no converter: the amplifiers take the radio's speaker wires")),
    Extra("meter", say("a multimeter is at hand")),
)


def typical_chain(id_: str) -> TypicalChain:
    """Return a chain by its id. CallError: there is none; the rule lists them."""
    found = next((chain for chain in CHAINS if chain.id == id_), None)
    if found is None:
        raise CallError(
            say("there is no typical chain {id}", id=repr(id_[:40])),
            code="no_such_chain",
            rule=say("there is {listed}", listed=_listed(CHAINS)),
        )
    return found


def chain_text(id_: str, extras: Collection[str] = (), *, title: str = "", into: Callable[[str], str] = str) -> str:
    """Return the job file of a typical chain: valid for every command, its ratings unknown, ears alone to test with.

    Parameters
    ----------
    extras : ids of `EXTRAS`; those that the chain has no place for are left out.
    title : of the job; the chain's own when empty.
    into : translates the ready-made title and names.

    Raises
    ------
    CallError : there is no such chain, or no such extra.
    """
    chain = typical_chain(id_)
    unknown = [extra for extra in extras if extra not in {e.id for e in EXTRAS}]
    if unknown:
        raise CallError(
            say("there is no {unknown} to add", unknown=repr(unknown[0][:40])),
            code="no_such_extra",
            rule=say("there is {listed}", listed=_listed(EXTRAS)),
        )
    direct = "speaker_wires" in extras and "converter" in chain.devices
    devices = [device for device in chain.devices if not (direct and device == "converter")]
    text = _BEGUN
    for device in devices:
        text = add_device(text, device, into=into)
    draft = TextDraft(text)
    put_key(draft, ("title",), title or into(chain.title))
    put_key(draft, ("instruments",), METER if "meter" in extras else {})
    stages = stages_of_text(draft.text)
    speaker_level = direct or "factory_radio" in devices
    for key in of_kind(stages, "processor", *(["amplifier"] if direct else [])) if speaker_level else []:
        put_key(draft, ("stages", key, "high_level"), "yes")
    if "knob" in extras and chain.has_sub:
        sub = next(key for key in of_kind(stages, "amplifier") if role_of(key) == "sub")
        put_key(draft, ("stages", sub, "remote_level"), {})
    text = draft.checked()
    done, wrong = with_leads(text, usual_leads(stages_of_text(text)))
    assert not wrong, wrong  # noqa: S101  the chains are ours, and a test makes each of them
    return done


def _listed(of: tuple[TypicalChain, ...] | tuple[Extra, ...]) -> str:
    return ", ".join(one.id for one in of)
