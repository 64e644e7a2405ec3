"""Text to value and back: a number with a unit, a reference and a spread.

The only room that knows units. Everything behind it works on plain SI floats and arrays with the unit in the name.
"""

from gainwright.quantities.bounds import check_bounds
from gainwright.quantities.dimensions import DIMENSIONS, Dimension
from gainwright.quantities.drawing import draw, latin_hypercube, uniform_points
from gainwright.quantities.quantity import Quantity, parse, quantity
from gainwright.quantities.spreads import Exact, Normal, Spread, Uniform, Unknown
from gainwright.quantities.typed_answers import (
    ROW_EXAMPLE,
    Lead,
    Row,
    Volts,
    cells_of,
    read_choice,
    read_lead,
    read_ohms,
    read_position,
    read_row,
    read_several,
    read_step,
    read_volts,
    row_of,
)
from gainwright.quantities.typed_numbers import (
    OPEN,
    OVER_RANGE,
    decimal,
    is_bare,
    plain_number,
    read_measured,
    refused,
    tidied,
    whole_number,
)

__all__ = [
    "DIMENSIONS",
    "OPEN",
    "OVER_RANGE",
    "ROW_EXAMPLE",
    "Dimension",
    "Exact",
    "Lead",
    "Normal",
    "Quantity",
    "Row",
    "Spread",
    "Uniform",
    "Unknown",
    "Volts",
    "cells_of",
    "check_bounds",
    "decimal",
    "draw",
    "is_bare",
    "latin_hypercube",
    "parse",
    "plain_number",
    "quantity",
    "read_choice",
    "read_lead",
    "read_measured",
    "read_ohms",
    "read_position",
    "read_row",
    "read_several",
    "read_step",
    "read_volts",
    "refused",
    "row_of",
    "tidied",
    "uniform_points",
    "whole_number",
]
