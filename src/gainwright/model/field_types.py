"""The type of value of each key of a job, as metadata on the model's fields; forms are built from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
    "source",
]


@dataclass(frozen=True, slots=True)
class FieldType:
    """The type of value of a key. It is part of the `Annotated` type of the field; pydantic ignores it.

    Attributes
    ----------
    name : `fixed` has one value, `lines` one value a line, `marks` a name and its condition a line, `ends` the two ends of a control, `loudness` a sound level,
        `whole` an integer, `source` one or several references to outputs.
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
