"""What a key of a job takes, as metadata on the field of the model: forms are built from it."""

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
    """What a key of a job takes. It stands in the `Annotated` type of the field; pydantic leaves it alone.

    Attributes
    ----------
    name : `fixed` has one value, `lines` one value a line, `marks` a name and its condition a line, `ends` the two ends of a control, `loudness` a sound level,
        `whole` an integer, `source` one or several references to outputs.
    dimension : of a quantity, a key of `DIMENSIONS`; empty otherwise.
    example : a valid text.
    choices : the words that may be chosen.
    bare_number : whether a number without a unit is valid.
    """

    name: FieldTypeName
    dimension: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()
    bare_number: bool = False
