"""Text to value and back: a number with a unit, a reference and a spread.

The only package that knows units. Everything else works on plain SI floats and arrays with the unit in the name.
"""

from gainwright.quantities.bounds import check_bounds
from gainwright.quantities.dimensions import DIMENSIONS, Dimension
from gainwright.quantities.quantity import Quantity, parse, quantity, reaches_zero
from gainwright.quantities.random_draws import draw, latin_hypercube, uniform_points
from gainwright.quantities.spellings import with_dots, with_points
from gainwright.quantities.spreads import Exact, Normal, Spread, Uniform, Unknown
from gainwright.quantities.typed_answers import (
    ROW_EXAMPLE,
    LeadReading,
    StepReading,
    VoltageReading,
    read_choice,
    read_lead,
    read_ohms,
    read_position,
    read_row,
    read_row_cells,
    read_several,
    read_step,
    read_volts,
    split_cells,
)
from gainwright.quantities.typed_numbers import (
    NUMBER,
    OPEN,
    OVER_RANGE,
    decimal,
    is_bare,
    normalise_text,
    read_measured,
    read_plain_number,
    unreadable,
    whole_number,
)

__all__ = [
    "DIMENSIONS",
    "NUMBER",
    "OPEN",
    "OVER_RANGE",
    "ROW_EXAMPLE",
    "Dimension",
    "Exact",
    "LeadReading",
    "Normal",
    "Quantity",
    "Spread",
    "StepReading",
    "Uniform",
    "Unknown",
    "VoltageReading",
    "check_bounds",
    "decimal",
    "draw",
    "is_bare",
    "latin_hypercube",
    "normalise_text",
    "parse",
    "quantity",
    "reaches_zero",
    "read_choice",
    "read_lead",
    "read_measured",
    "read_ohms",
    "read_plain_number",
    "read_position",
    "read_row",
    "read_row_cells",
    "read_several",
    "read_step",
    "read_volts",
    "split_cells",
    "uniform_points",
    "unreadable",
    "whole_number",
    "with_dots",
    "with_points",
]
