"""The type of value of each key of a job, as metadata on the model's fields; forms are built from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

FieldTypeName = Literal[
    "fixed",
    "quantity",
    "text",
    "long_text",
    "choice",
    "yes_no",
    "filter",
    "filter_range",
    "ends",
    "coils",
    "accuracy",
    "loudness",
    "lines",
    "marks",
    "whole",
    "number",
    "sides",
    "names",
    "wire",
    "source",
]


class Needed:
    """Marks a key with a default that has to be given all the same, except where the class says otherwise."""


NEEDED = Needed()


@dataclass(frozen=True, slots=True)
class FieldType:
    """The type of value of a key. It is part of the `Annotated` type of the field; pydantic ignores it.

    Attributes
    ----------
    name : `fixed` has one value, `lines` one value a line, `marks` a name and its condition a line, `ends` the two ends of a control, `loudness` a sound level,
        `whole` an integer, `source` one or several references to outputs, `names` several names, `wire` the size of a wire.
    dimension : of a quantity, a key of `DIMENSIONS`; empty otherwise.
    example : a valid text.
    choices : the allowed words.
    bare_number : whether a number without a unit is valid.
    """

    name: FieldTypeName
    dimension: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()
    bare_number: bool = False


def is_needed(info: FieldInfo) -> bool:
    """Return whether a key of the model has to be given."""
    return info.is_required() or any(isinstance(mark, Needed) for mark in info.metadata)
