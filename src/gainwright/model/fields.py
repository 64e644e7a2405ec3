"""Field types of the model: text that is parsed into a value and printed back as it was written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any, get_args

from pydantic import BaseModel, ConfigDict, PlainSerializer, PlainValidator, StringConstraints, WithJsonSchema

from gainwright.errors import QuantityError
from gainwright.model.compounds import (
    Accuracy,
    Coils,
    Ends,
    Equaliser,
    FilterRange,
    FilterSetting,
    PowerRating,
    SpeakerSensitivity,
    several_ratings,
)
from gainwright.model.field_types import FieldType, FieldTypeName
from gainwright.model.marks import EXAMPLE as MARK_EXAMPLE
from gainwright.model.marks import Mark
from gainwright.model.wire_sizes import WireSize
from gainwright.quantities import DIMENSIONS, OPEN, OVER_RANGE, Quantity, parse, reaches_zero, read_measured
from gainwright.quantities.dimensions import NAMES
from gainwright.texts import say

LONGEST_VALUE, MOST_VALUES = 200, 64
"""Characters of one value of a job; values of a list of them."""


class Frozen(BaseModel):
    """Base of everything in the model: frozen, no unknown keys."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        arbitrary_types_allowed=True,
        populate_by_name=True,
        defer_build=True,
        allow_inf_nan=False,
    )


def by_kind(union: Any) -> dict[str, Any]:
    """Return kind -> class of a union discriminated by `kind`, in the order of the union."""
    classes = get_args(get_args(union)[0])
    return {get_args(cls.model_fields["kind"].annotation)[0]: cls for cls in classes}


def yaml_kind(value: Any) -> str:
    """Return what a value is, as the author of a file would say it."""
    kinds: dict[type, str] = {
        type(None): say("nothing"),
        dict: say("a mapping"),
        list: say("a list"),
        tuple: say("a list"),
        bool: say("yes or no"),
    }
    return next((words for kind, words in kinds.items() if isinstance(value, kind)), say("something else"))


def _text_field(read: Callable[[Any], Any], write: Callable[[Any], Any], schema: dict[str, Any]) -> tuple[Any, ...]:
    return PlainValidator(read), PlainSerializer(write), WithJsonSchema(schema)


def _scalar(value: Any, example: str) -> str | float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise QuantityError(
            say("{yaml_kind} is where a value is expected", yaml_kind=yaml_kind(value)),
            code="no_quantity",
            remedy=say("write, for example, {example}", example=example),
        )
    if isinstance(value, str) and len(value) > LONGEST_VALUE:
        raise QuantityError(
            say("{text} is too long", text=repr(value[:40] + "…")),
            code="no_quantity",
            rule=say("a value has at most {most} characters", most=LONGEST_VALUE),
            remedy=say("write, for example, {example}", example=example),
        )
    return value


def _few(values: Sequence[Any]) -> Sequence[Any]:
    """Return a list. QuantityError: it has more values than any that is meant."""
    if len(values) > MOST_VALUES:
        raise QuantityError(
            say("{number} values are listed", number=len(values)),
            code="bad_value",
            rule=say("at most {most} are allowed here", most=MOST_VALUES),
            remedy=say("leave some out"),
        )
    return values


def _quantity(dimension: str, *, above_zero: bool = False, least: float = 0.0, example: str = "") -> Any:
    kind = DIMENSIONS[dimension]
    example = example or kind.example

    def read(value: Any) -> Quantity:
        found = value if isinstance(value, Quantity) else parse(_scalar(value, example), dimension)
        if above_zero and found.known and found.nominal > 0:
            kept = found.above_zero()
            if kept is None or kept.nominal < least:
                raise reaches_zero(found)
            return kept
        if above_zero and found.known:
            raise QuantityError(
                say("a {name} of zero can't be", name=NAMES[kind.name]),
                code="out_of_bounds",
                rule=say("it is above zero"),
                remedy=say("write, for example, {example}, or unknown", example=example),
            )
        return found

    unit = "" if kind.unit == "1" else f" in {kind.unit}"
    schema = {
        "type": ["string", "number"] if kind.unit == "1" else "string",
        "description": f"a {kind.name}{unit}, with a spread if it has one, or unknown",
        "examples": [example],
    }
    takes = FieldType("quantity", dimension, example, bare_number=kind.unit == "1")
    return Annotated[Quantity, *_text_field(read, str, schema), takes]


def _reads(dimension: str, *words: str) -> Any:
    """Return a field that holds a quantity or one of some words."""

    def read(value: Any) -> Quantity | str:
        if value is False and "off" in words:
            return "off"
        if isinstance(value, str) and value.strip().lower().replace(" ", "_") in words:
            return value.strip().lower().replace(" ", "_")
        if isinstance(value, bool) or not isinstance(value, str | int | float | Quantity):
            value = _scalar(value, f"{DIMENSIONS[dimension].example}, or {words[0]}")
        if isinstance(value, Quantity):
            return value
        can_be = [word for word in words if word in (OPEN, OVER_RANGE)]
        return read_measured(str(value), dimension, words=can_be, exact=False)

    schema = {"type": "string", "description": f"a {dimension}, or {', '.join(words)}"}
    return Annotated[Quantity | str, *_text_field(read, str, schema)]


def _yes_no(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip().lower() in ("yes", "no"):
        return value.strip().lower() == "yes"
    raise QuantityError(
        say("{text} is neither yes nor no", text=repr(str(value)[:40])), code="bad_value", remedy=say("write yes or no")
    )


YesNo = Annotated[
    bool,
    *_text_field(_yes_no, lambda value: value, {"enum": ["yes", "no", True, False]}),
    FieldType("yes_no", choices=("yes", "no")),
]
"""`yes` and `no` are words in YAML 1.2, not booleans; both spellings are accepted."""

LongText = Annotated[str, StringConstraints(max_length=2000), FieldType("long_text")]
"""A note of several lines."""

Voltage = _quantity("voltage")
Resistance = _quantity("resistance")
AboveZeroVolts = _quantity("voltage", above_zero=True)
AboveZeroOhms = _quantity("resistance", above_zero=True)
AboveZeroRatio = _quantity("ratio", above_zero=True, least=0.001, example="1.2 dB")
Power = _quantity("power")
Frequency = _quantity("frequency")
Time = _quantity("time")
Length = _quantity("length")
Area = _quantity("area")
Current = _quantity("current")
AirVolume = _quantity("air volume")
Inductance = _quantity("inductance")
Charge = _quantity("charge")
AboveZeroLength = _quantity("length", above_zero=True, example="8 mm")
AboveZeroAmps = _quantity("current", above_zero=True)
Fraction = _quantity("fraction")
Ratio = _quantity("ratio")
AboveZeroFraction = _quantity("fraction", above_zero=True, example="1 %")
Level = _quantity("level")
SoundLevel = _quantity("sound level")
Number = _quantity("number")
VoltsRead = _reads("voltage", "over_range")
OhmsRead = _reads("resistance", "open", "over_range")
ToneField = _reads("frequency", "off")
AmpsRead = _reads("current", "over_range")


def _compound(cls: Any, name: FieldTypeName, description: str, example: str, *, accepts_list: bool = False) -> Any:
    def read(value: Any) -> Any:
        if isinstance(value, cls):
            return value
        if accepts_list and isinstance(value, list | tuple):
            return cls.parse([str(_scalar(item, example)) for item in _few(value)])
        return cls.parse(str(_scalar(value, example)))

    schema: dict[str, Any] = {"type": "string", "description": description, "examples": [example]}
    if accepts_list:
        schema = {
            "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
            "description": description,
            "examples": [example],
        }
    return Annotated[cls, *_text_field(read, lambda v: v.as_written(), schema), FieldType(name, example=example)]


FilterField = _compound(
    FilterSetting, "filter", "off, or shape, dB per octave and corner", "linkwitz-riley 24 at 80 Hz"
)
FilterRangeField = _compound(
    FilterRange, "filter_range", "how far the corner can be moved: fixed, or its ends", "50 .. 250 Hz or off"
)
EqualiserField = _compound(
    Equaliser, "lines", "flat, or a list of bands", "peak +3 dB at 50 Hz q 1.2", accepts_list=True
)
VoltageEnds = _compound(Ends.of("voltage"), "ends", "the two ends of a control", "0.2 .. 5 V")
RatioEnds = _compound(Ends.of("ratio"), "ends", "the two ends of a control", "-40 .. 0 dB")
CoilsField = _compound(Coils, "coils", "number of coils, resistance of each and wiring", "2 x 4 ohm parallel")
AccuracyField = _compound(Accuracy, "accuracy", "per cent of the reading, and counts", "1.2 % + 3 counts")
MarkField = _compound(Mark, "text", "when it lights: level, fundamental or thd over a threshold", MARK_EXAMPLE)
WireField = _compound(WireSize, "wire", "American wire gauge or area of the metal", "4 AWG")
SensitivityField = _compound(SpeakerSensitivity, "loudness", "dB at 1 m for 2.83 V, or @ 1 W", "88 dB")


def _ratings(value: Any) -> tuple[PowerRating, ...]:
    items = _few(value) if isinstance(value, list | tuple) else several_ratings(value)
    ratings = tuple(
        item if isinstance(item, PowerRating) else PowerRating.parse(str(_scalar(item, "300 W @ 4 ohm")))
        for item in items
    )
    if not ratings:
        raise QuantityError(say("no rating"), code="no_quantity", remedy=say("write, for example, 300 W @ 4 ohm"))
    loads = [r.load.nominal for r in ratings]
    if len(set(loads)) != len(loads):
        raise QuantityError(
            say("the same load is rated twice"), code="duplicate_rating", remedy=say("keep one rating for each load")
        )
    return ratings


Ratings = Annotated[
    tuple[PowerRating, ...],
    *_text_field(
        _ratings,
        lambda ratings: [r.as_written() for r in ratings],
        {
            "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}],
            "description": "rated power into a load, at 14.4 V and 1 % THD+N (CTA-2006) unless rated_at says otherwise",
            "examples": ["300 W @ 4 ohm"],
        },
    ),
    FieldType("lines", example="300 W @ 4 ohm"),
]
