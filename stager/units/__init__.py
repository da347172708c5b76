"""Units: "18 g ± 0.5 g" to an SI value with its standard uncertainty, and back for people.

units.py  the known units and conversion, by pint, which is used here only and loaded at the first quantity
text.py   read a quantity
show.py   write a quantity
"""

from stager.units.show import ScreenUnit, format_quantity, readable_unit, screen_unit, show
from stager.units.text import NUMBER, Measured, QuantityError, parse, parse_stiffness, stiffness_unit, written_unit
from stager.units.units import is_turning

__all__ = [
    "NUMBER",
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
