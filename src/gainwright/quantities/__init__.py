"""Text to value and back: a number with a unit, a reference and a spread.

The only room that knows units. Everything behind it works on plain SI floats and arrays with the unit in the name.
"""

from gainwright.quantities.dimensions import DIMENSIONS, Dimension
from gainwright.quantities.drawing import draw, latin_hypercube, uniform_points
from gainwright.quantities.quantity import Quantity, parse, quantity
from gainwright.quantities.spreads import Exact, Normal, Spread, Uniform, Unknown

__all__ = [
    "DIMENSIONS",
    "Dimension",
    "Exact",
    "Normal",
    "Quantity",
    "Spread",
    "Uniform",
    "Unknown",
    "draw",
    "latin_hypercube",
    "parse",
    "quantity",
    "uniform_points",
]
