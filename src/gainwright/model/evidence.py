"""Observations of a chain (read, checked, heard), one class for each kind of entry."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainSerializer, PlainValidator, WithJsonSchema

from gainwright.errors import QuantityError
from gainwright.model.fields import AmpsRead, Fraction, Frozen, Level, OhmsRead, ToneField, Voltage, VoltsRead
from gainwright.model.instruments import NO_MARK
from gainwright.quantities import Quantity
from gainwright.texts import say

Heard = Literal["silent", "faint", "normal", "distorted", "hum", "whine"]
PlayedSide = Literal["both", "left", "right"]


def _word(value: Any) -> Any:
    """Accept the words `on`, `off`, `yes`, `no` where a YAML 1.1 writer turned them into booleans."""
    return {True: "on", False: "off"}.get(value, value) if isinstance(value, bool) else value


def _lit(value: Any) -> tuple[str, ...]:
    """Accept the lit marks as a list, as one name, or as `none`; return each once, in the order written."""
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list | tuple) or not all(isinstance(name, str) for name in names):
        raise QuantityError(
            say("what an indicator shows must be a list of marks"),
            code="bad_value",
            remedy=say("write the marks that are lit, [clip], or {no_mark}", no_mark=NO_MARK),
        )
    lit = tuple(dict.fromkeys(name.strip() for name in names))
    if NO_MARK in lit and len(lit) > 1:
        raise QuantityError(
            say("{no_mark} is given together with a mark", no_mark=NO_MARK),
            code="bad_value",
            remedy=say("write the marks that are lit, or {no_mark}", no_mark=NO_MARK),
        )
    return () if lit == (NO_MARK,) else lit


MarksLit = Annotated[
    tuple[str, ...],
    PlainValidator(_lit),
    PlainSerializer(lambda lit: list(lit) or NO_MARK),
    WithJsonSchema({"anyOf": [{"const": NO_MARK}, {"type": "array", "items": {"type": "string"}}]}),
]
"""All marks of an indicator that are lit."""
Word = Annotated[str, BeforeValidator(_word)]
OnOff = Annotated[Literal["on", "off"], BeforeValidator(_word)]
Settings = dict[str, Annotated[str, BeforeValidator(lambda v: str(v) if isinstance(v, int | float) else v)]]


class Played(Frozen):
    """What was being played, and the state of the chain.

    Attributes
    ----------
    tone, level : of the tone; `off` when nothing is played.
    set : controls that the person believes are set differently from the job.
    engine : whether it was running; `on` by default.
    side : the side of the signal with the tone.
    speakers : whether they are connected.
    """

    tone: ToneField | None = None
    level: Level | None = None
    set: Settings = Field(default_factory=dict)
    engine: OnOff = "on"
    side: PlayedSide = "both"
    speakers: OnOff = "on"

    @property
    def tone_hz(self) -> float | None:
        """Frequency of the tone, None when none is given."""
        return self.tone.nominal if isinstance(self.tone, Quantity) and self.tone.known else None

    @property
    def silence(self) -> bool:
        """Whether nothing is played at all."""
        return self.tone == "off"

    @property
    def level_dbfs(self) -> float:
        """Level of the tone; full level when not given."""
        return self.level.nominal if self.level is not None and self.level.known else 0.0


class SubstituteSource(Frozen):
    """A separate source connected in place of the lead into a stage."""

    into: str
    volts: Voltage


class Reading(Played):
    """What an instrument showed at a node.

    Attributes
    ----------
    against : the other node of a voltage between two outputs; empty for one to ground.
    proves : the filter whose stop band the tone was chosen to lie in; empty for any other reading.
    """

    at: str
    against: str = ""
    proves: str = ""
    with_: str = Field(default="", alias="with")
    feed: SubstituteSource | None = None
    reads: VoltsRead | None = None
    thd: Fraction | None = None
    verdict: Literal["clean", "clipped", "distorted", "no_tone", "overloaded_input", "too_short"] | None = None
    shows: MarksLit | None = None
    current: AmpsRead | None = None
    note: str = Field(default="", max_length=1000)


class Check(Frozen):
    """Something that was inspected, or measured with everything off."""

    check: str
    is_: Word | None = Field(default=None, alias="is")
    reads: Word | float | None = None
    resistance: OhmsRead | None = None
    between_conductors: OhmsRead | None = None
    engine: OnOff = "on"
    note: str = Field(default="", max_length=1000)


class HeardSpeaker(Played):
    """What a person heard from a speaker, with a tone or with ordinary music."""

    heard: str
    is_: Heard | None = Field(default=None, alias="is")
    note: str = Field(default="", max_length=1000)


class SwapTest(Played):
    """Two sides swapped at a stage's inputs, or the two leads of a run, and whether the fault moved."""

    swap: str
    fault: Literal["moved", "stayed", "none"] | None = None
    note: str = Field(default="", max_length=1000)


Entry = Reading | Check | HeardSpeaker | SwapTest
KINDS: dict[str, type[Frozen]] = {"at": Reading, "check": Check, "heard": HeardSpeaker, "swap": SwapTest}
"""The key that identifies the kind of an entry -> its class."""
RESULTS: dict[str, tuple[str, ...]] = {
    "at": ("reads", "thd", "verdict", "shows", "current"),
    "check": ("is", "reads", "resistance", "between_conductors"),
    "heard": ("is",),
    "swap": ("fault",),
}
"""Kind -> the keys that hold its result."""


EntryMapping = dict[str, str | bool | int | float | list[str] | dict[str, str | bool | int | float] | None]
"""An entry as in an evidence file: key -> value; `set` holds control -> value."""


def kind_of(entry: Entry) -> str:
    """Return the key that identifies an entry's kind."""
    return next(key for key, cls in KINDS.items() if isinstance(entry, cls))


def as_mapping(entry: Entry) -> EntryMapping:
    """Return an entry as in a file: only the given keys, the kind first."""
    data = entry.model_dump(by_alias=True, exclude_unset=True, mode="json")
    first = [key for key in (kind_of(entry), "with") if key in data]
    return {key: data[key] for key in (*first, *(k for k in data if k not in first))}
