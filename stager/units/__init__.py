"""Units at the edge: "18 g ± 0.5 g" to an SI value with its standard uncertainty, and back for people.

The only part that knows pint, and it loads it with the first quantity.

units.py   the units and how they convert      text.py   read a quantity      show.py   write one
"""

from stager.units.show import ScreenUnit, format_quantity, readable_unit, screen_unit, show
from stager.units.text import Measured, QuantityError, parse, parse_stiffness, stiffness_unit, written_unit
from stager.units.units import is_turning

__all__ = [
    "Measured",
    "QuantityError",
    "ScreenUnit",
    "format_quantity",
    "is_turning",
    "parse",
    "parse_stiffness",
    "readable_unit",
    "screen_unit",
    "show",
    "stiffness_unit",
    "written_unit",
]
