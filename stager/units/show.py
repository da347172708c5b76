"""Quantities as text for people, and the units of screens."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stager.units.units import convert, convert_difference

_PREFIXED = {
    "kg": ("mg", "g", "kg", "t"), "m": ("µm", "mm", "m", "km"), "s": ("µs", "ms", "s"),
    "N/m": ("N/m", "kN/m", "MN/m"), "J": ("mJ", "J", "kJ", "MJ"), "W": ("mW", "W", "kW"),
    "J/m^2": ("J/m^2", "kJ/m^2", "MJ/m^2"), "Pa": ("Pa", "kPa", "MPa", "GPa"), "ohm": ("µohm", "mohm", "ohm", "kohm"),
    "kg m^2": ("g cm^2", "kg m^2"), "A": ("mA", "A", "kA"), "V": ("mV", "V", "kV"), "N": ("mN", "N", "kN"),
}  # fmt: skip
_OTHER = {"1/s": "/s", "K": "degC", "rad/s": "rpm", "rad": "deg", "rad/s/V": "rpm/V", "C": "Ah"}
_LARGEST_DIGITS = 10
"""Significant digits of a value without uncertainty."""
_SCREEN = {"K": "degC", "m": "mm"}
"""Unit in which screens show an SI unit, whatever the size."""
_TYPESET = str.maketrans({"2": "²", "3": "³", "^": ""})


def show(value: float, unit: str, *, digits: int = 6) -> str:
    """Return `value` in `unit` as text for `parse`, to `digits` significant digits."""
    return f"{value:.{digits}g} {unit}".strip()


def readable_unit(value: float, unit: str) -> str:
    """Return the usual unit for an SI `value`: "g" for 0.018 kg, "rpm" for an angular speed."""
    if unit in _OTHER:
        return _OTHER[unit]
    size = abs(value)
    choices = _PREFIXED.get(unit, (unit,))
    if not size or not math.isfinite(size):
        return unit
    fitting = [name for name in choices if convert(size, unit, name) >= 1]
    return fitting[-1] if fitting else choices[0]


@dataclass(frozen=True, slots=True)
class ScreenUnit:
    """The unit of a screen or page, typeset: shown value = `scale` × SI value + `offset`."""

    name: str
    scale: float = 1.0
    offset: float = 0.0

    def shown(self, value: float) -> float:
        """Return an SI value in this unit."""
        return self.scale * value + self.offset

    def difference(self, value: float) -> float:
        """Return a difference of SI values in this unit."""
        return self.scale * value


def screen_unit(unit: str) -> ScreenUnit:
    """Return how screens and pages show an SI unit: lengths in mm, temperatures in °C, shares in %.

    unit: "" and "-" for a count or a price, which has none, "share" for a share.
    """
    if unit == "share":
        return ScreenUnit("%", 100.0)
    if unit in ("", "-"):
        return ScreenUnit("")
    name = _SCREEN.get(unit, unit)
    typeset = name.translate(_TYPESET).replace("degC", "°C")
    if name == unit:
        return ScreenUnit(typeset)
    offset = convert(0.0, unit, name)
    return ScreenUnit(typeset, convert_difference(1.0, unit, "K" if name == "degC" else name), offset)


def format_quantity(value: float, standard_uncertainty: float = 0.0, unit: str = "", *, written: str = "") -> str:
    """Return an SI value, with its standard uncertainty, as text for people and for `parse`.

    written: the unit to use; "": `readable_unit`. With an uncertainty both end at its second digit.
    """
    if not unit:
        return _pair(value, standard_uncertainty, "", "")
    used = written or readable_unit(value, unit)
    spread_unit = "K" if used in ("degC", "degF") else used
    return _pair(
        convert(value, unit, used), convert_difference(standard_uncertainty, unit, spread_unit), used, spread_unit
    )


def _pair(value: float, spread: float, unit: str, spread_unit: str) -> str:
    if not (spread and math.isfinite(spread)):
        return show(value, unit, digits=_LARGEST_DIGITS)
    last = math.floor(math.log10(spread)) - 1
    # 9.96 rounds to 10, which has one place less.
    last = math.floor(math.log10(round(spread, -last))) - 1
    return f"{_ending(value, last)} {unit}".strip() + f" ± {_ending(spread, last)} {spread_unit}".rstrip()


def _ending(value: float, last: int) -> str:
    """Return `value` rounded to 10^last."""
    size = max(abs(value), 10.0**last)
    if last < -6 or size >= 1e7:
        exponent = math.floor(math.log10(size))
        return f"{value:.{max(exponent - last, 0)}e}"
    return f"{round(value, -last):.{max(-last, 0)}f}"
