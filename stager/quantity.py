"""Units at the edge: "18 g ± 0.5 g" to an SI value with its standard uncertainty, and back for people.

The only module that knows pint, and it loads it with the first quantity.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_PATTERN = re.compile(
    rf"""^\s*(?:
        \(\s*(?P<v1>{_NUMBER})\s*±\s*(?P<u1>{_NUMBER})\s*\)\s*(?P<unit1>[^±\d\s(][^±]*)?
      | (?P<v2>{_NUMBER})\s*(?P<unit2>[^±\d\s(%][^±]*?)?\s*(?:±\s*(?P<u2>{_NUMBER})\s*(?P<unit3>%|[^±\d\s(][^±]*)?)?
    )\s*$""",
    re.VERBOSE,
)
_TURNS = re.compile(r"rev|rpm|rad|turn|deg")
_LIMITS = re.compile(r"\s+limits\s*$")


class QuantityError(ValueError):
    """A text that is not the quantity asked for; `hint` says what would be right."""

    def __init__(self, message: str, hint: str = "") -> None:
        self.hint = hint
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Measured:
    """An SI value with its standard uncertainty; rectangular: between limits, else normal.

    unit: the SI unit; low, high: the range in which such a quantity can lie.
    """

    value: float
    standard_uncertainty: float = 0.0
    rectangular: bool = False
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf


@contextmanager
def _unseen(name: str) -> Iterator[None]:
    """While this lasts, a library that is not loaded yet cannot be: pint loads scipy only because it is there."""
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[name]


@lru_cache(maxsize=1)
def _registry() -> Any:
    with _unseen("scipy"):
        import pint

    registry: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=":auto:")
    registry.define("rev = turn")
    registry.define("mohm = milliohm")
    return registry


def parse(text: str, unit: str, example: str) -> Measured:
    """Read `text` as a quantity in the dimension of `unit` (an SI unit; "" for a pure number).

    Raises QuantityError, whose hint shows `example`.
    """
    plain = text.replace("+/-", "±")
    rectangular = bool(_LIMITS.search(plain))
    plain = _LIMITS.sub("", plain)
    match = _PATTERN.match(plain)
    if match is None:
        raise QuantityError(f'cannot read "{text}" as a quantity', f'write it like "{example}"')
    value = float(match["v1"] or match["v2"])
    spread = match["u1"] or match["u2"]
    value_unit, spread_unit = (match["unit1"] or match["unit2"] or "").strip(), (match["unit3"] or "").strip()
    if spread is not None and match["u2"] and not value_unit and spread_unit != "%":
        value_unit = spread_unit
    si = _convert(value, value_unit, unit, example)
    uncertainty = 0.0
    if spread is not None:
        number = float(spread)
        if number < 0:
            raise QuantityError(f'the uncertainty in "{text}" must not be negative', f'write it like "{example}"')
        if spread_unit == "%":
            uncertainty = abs(si) * number / 100
        else:
            uncertainty = _convert_difference(number, spread_unit or value_unit, unit, example)
    if rectangular:
        uncertainty /= math.sqrt(3)
    return Measured(si, uncertainty, rectangular, unit)


def parse_stiffness(text: str, example: str) -> Measured:
    """Read a force per length to some power; the result's unit says which, e.g. "N/m^1.5"."""
    match = _PATTERN.match(_LIMITS.sub("", text.replace("+/-", "±")))
    written = "" if match is None else (match["unit1"] or match["unit2"] or match["unit3"] or "")
    if match is None or not written.strip():
        return parse(text, "N/m", example)
    try:
        dimensions = dict(_registry().Unit(written.strip()).dimensionality)
    except Exception as error:
        raise QuantityError(f'"{written.strip()}" is not a unit that is known', f'write it like "{example}"') from error
    power = 1 - float(dimensions.pop("[length]", 0))
    if dimensions != {"[mass]": 1, "[time]": -2} or power <= 0:
        raise QuantityError(f'"{written.strip()}" is not a force per length^exponent', f'write it like "{example}"')
    return parse(text, f"N/m^{power:g}", example)


def _convert(value: float, written: str, unit: str, example: str) -> float:
    if not unit:
        if written:
            raise QuantityError(f'is a pure number, without "{written}"', f'write it like "{example}"')
        return value
    if not written:
        raise QuantityError(f"{value:g} needs a unit", f'write it like "{example}"')
    return float(_quantity(value, written, unit, example).to(unit).magnitude)


def _convert_difference(value: float, written: str, unit: str, example: str) -> float:
    if written in ("degC", "celsius", "°C", "K"):
        return value
    return _convert(value, written, unit, example)


def _quantity(value: float, written: str, unit: str, example: str) -> Any:
    registry = _registry()
    hint = f'write it like "{example}"'
    if written.startswith("/"):
        written = "1" + written
    if unit == "rad/s" and not _TURNS.search(written):
        raise QuantityError(f'"{written}" says no turn', hint)
    if unit == "rad/s/V" and not _TURNS.search(written):
        raise QuantityError(f'"{written}" says no turn', hint)
    try:
        quantity = registry.Quantity(value, registry.Unit(written) if written != "degC" else registry.degC)
    except Exception:
        try:
            quantity = value * registry.parse_expression(written)
        except Exception as error:
            raise QuantityError(f'"{written}" is not a unit that is known', hint) from error
    if not hasattr(quantity, "dimensionality") or quantity.dimensionality != registry.Unit(unit).dimensionality:
        if unit == "m/s^2" and written == "g":
            hint = f'for multiples of standard gravity write "{value:g} g_0"'
        raise QuantityError(f'"{written}" is no unit for this (in SI: {unit})', hint)
    return quantity


def show(value: float, unit: str, *, digits: int = 6) -> str:
    """`value` in `unit` as the text that `parse` reads back, to `digits` significant digits."""
    return f"{value:.{digits}g} {unit}".strip()


def show_measured(value: float, standard_uncertainty: float, unit: str) -> str:
    """Value and standard uncertainty as a text that `parse` reads back."""
    if not standard_uncertainty:
        return show(value, unit, digits=10)
    if not unit:
        return f"{value:.8g} ± {standard_uncertainty:.3g}"
    return f"{value:.8g} {unit} ± {standard_uncertainty:.3g} {unit}"
