"""What was read, looked at and heard at a chain: facts, one class a kind of entry. What they mean is found elsewhere."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainSerializer, PlainValidator, WithJsonSchema

from gainwright.errors import QuantityError
from gainwright.model.fields import AmpsRead, Fraction, Frozen, Level, OhmsRead, ToneField, Voltage, VoltsRead
from gainwright.model.instruments import NO_MARK
from gainwright.quantities import Quantity

Heard = Literal["silent", "faint", "normal", "distorted", "hum", "whine"]
PlayedSide = Literal["both", "left", "right"]


def _word(value: Any) -> Any:
    """Take the words `on`, `off`, `yes`, `no` also where a YAML 1.1 writer made them truth values."""
    return {True: "on", False: "off"}.get(value, value) if isinstance(value, bool) else value


def _lit(value: Any) -> tuple[str, ...]:
    """Take the marks that are lit as a list, one by its name, or `none`; each once, in the order written."""
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list | tuple) or not all(isinstance(name, str) for name in names):
        raise QuantityError(
            "what an indicator shows is no list of marks",
            code="bad_value",
            remedy=f"write the marks that are lit, [clip], or {NO_MARK}",
        )
    lit = tuple(dict.fromkeys(name.strip() for name in names))
    if NO_MARK in lit and len(lit) > 1:
        raise QuantityError(
            f"{NO_MARK} stands beside a mark", code="bad_value", remedy=f"write the marks that are lit, or {NO_MARK}"
        )
    return () if lit == (NO_MARK,) else lit


MarksLit = Annotated[
    tuple[str, ...],
    PlainValidator(_lit),
    PlainSerializer(lambda lit: list(lit) or NO_MARK),
    WithJsonSchema({"anyOf": [{"const": NO_MARK}, {"type": "array", "items": {"type": "string"}}]}),
]
"""The marks of an indicator that are lit: all of them, and no other."""
Word = Annotated[str, BeforeValidator(_word)]
OnOff = Annotated[Literal["on", "off"], BeforeValidator(_word)]
Settings = dict[str, Annotated[str, BeforeValidator(lambda v: str(v) if isinstance(v, int | float) else v)]]


class Played(Frozen):
    """What was played meanwhile, and how the chain stood.

    Attributes
    ----------
    tone, level : of the tone; `off` when nothing is played.
    set : controls the person believes to stand elsewhere than the job says.
    engine : running unless said.
    side : on which side of the recording the tone is.
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
        """Frequency of the tone, None when none is named."""
        return self.tone.nominal if isinstance(self.tone, Quantity) and self.tone.known else None

    @property
    def silence(self) -> bool:
        """Whether nothing is played at all."""
        return self.tone == "off"

    @property
    def level_dbfs(self) -> float:
        """Level of the tone, full when not said."""
        return self.level.nominal if self.level is not None and self.level.known else 0.0


class OwnSource(Frozen):
    """A source of one's own, put in place of the lead into a stage."""

    into: str
    volts: Voltage


class Reading(Played):
    """What an instrument showed at a node."""

    at: str
    with_: str = Field(default="", alias="with")
    feed: OwnSource | None = None
    reads: VoltsRead | None = None
    thd: Fraction | None = None
    verdict: Literal["clean", "clipped", "distorted", "no_tone", "overloaded_input", "too_short"] | None = None
    shows: MarksLit | None = None
    current: AmpsRead | None = None
    note: str = Field(default="", max_length=1000)


class Check(Frozen):
    """Something that was looked at, or read with everything off."""

    check: str
    is_: Word | None = Field(default=None, alias="is")
    reads: Word | float | None = None
    resistance: OhmsRead | None = None
    between_conductors: OhmsRead | None = None
    engine: OnOff = "on"
    note: str = Field(default="", max_length=1000)


class HeardSpeaker(Played):
    """What a person heard of a speaker; without a tone, of whatever is usually played."""

    heard: str
    is_: Heard | None = Field(default=None, alias="is")
    note: str = Field(default="", max_length=1000)


class Swapped(Played):
    """Two sides exchanged at a stage's inputs, or the two leads of a run, and what the fault did."""

    swap: str
    fault: Literal["moved", "stayed", "none"] | None = None
    note: str = Field(default="", max_length=1000)


Entry = Reading | Check | HeardSpeaker | Swapped
KINDS: dict[str, type[Frozen]] = {"at": Reading, "check": Check, "heard": HeardSpeaker, "swap": Swapped}
"""The key that tells the kind of an entry -> its class."""
RESULTS: dict[str, tuple[str, ...]] = {
    "at": ("reads", "thd", "verdict", "shows", "current"),
    "check": ("is", "reads", "resistance", "between_conductors"),
    "heard": ("is",),
    "swap": ("fault",),
}
"""Kind -> the keys that hold its result."""


EntryMapping = dict[str, str | bool | int | float | list[str] | dict[str, str | bool | int | float] | None]
"""An entry as it stands in an evidence file: key -> what was said; `set` holds control -> value."""


def kind_of(entry: Entry) -> str:
    """Return the key that tells an entry's kind."""
    return next(key for key, cls in KINDS.items() if isinstance(entry, cls))


def as_mapping(entry: Entry) -> EntryMapping:
    """Return an entry as it would stand in a file: only what was said, what it is about first."""
    said = entry.model_dump(by_alias=True, exclude_unset=True, mode="json")
    first = [key for key in (kind_of(entry), "with") if key in said]
    return {key: said[key] for key in (*first, *(k for k in said if k not in first))}
