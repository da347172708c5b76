"""Read a quantity: from text to SI value and standard uncertainty."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar

from stager.units.units import UnknownUnit, convert, convert_difference, dimensions, same_kind

Found = TypeVar("Found")
NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
"""Pattern of a number with a decimal point."""
_PART = re.compile(rf"\s*(?P<number>{NUMBER})\s*(?P<unit>[^\d\s.,_+-].*?|1/.*?)?\s*")
_BRACKET = re.compile(r"\s*\((?P<inside>[^()]*)\)\s*(?P<unit>.*?)\s*")
_COMMA = re.compile(r"\d,\d")
_LIMITS = re.compile(r"\s+limits\s*$")
_KINDS = {
    "kg": "a mass", "m": "a length", "m/s": "a speed", "m/s^2": "an acceleration", "1/s": "a rate", "N": "a force",
    "s": "a time", "kg m^2": "a moment of inertia", "kg/m^3": "a density", "Pa": "a pressure or stress",
    "rad/s": "a rate of turning", "rad": "an angle",
    "rad/s/V": "a speed constant", "ohm": "an electrical resistance", "A": "a current",
    "V": "a voltage", "C": "a charge", "J/K": "a heat capacity", "K/W": "a thermal resistance",
    "W/m/K": "a thermal conductivity", "K": "a temperature", "J": "an energy", "J/m^2": "an energy per area",
    "W": "a power", "N/m": "a force per length",
}  # fmt: skip


class QuantityError(ValueError):
    """A text that is not the expected quantity; hint: a correct example."""

    def __init__(self, message: str, hint: str = "") -> None:
        self.hint = hint
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Measured:
    """An SI value with its standard uncertainty.

    rectangular: the distribution is uniform between limits, else normal
    unit: the SI unit; written: the unit in the text
    low, high: range of such a quantity
    """

    value: float
    standard_uncertainty: float = 0.0
    rectangular: bool = False
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    written: str = ""

    def holds(self, values: Any) -> Any:
        """Return whether each of `values` [SI] is within the range, ends included."""
        return (values >= self.low) & (values <= self.high)


@dataclass(frozen=True, slots=True)
class _Written:
    """Numbers and units of a text; spread: what follows ±, None: no ±; share: it is in per cent of the value."""

    value: float
    unit: str
    spread: float | None = None
    spread_unit: str = ""
    share: bool = False
    rectangular: bool = False


LONGEST = 100
"""Most characters of a quantity."""
MOST_POWER = 10
"""Greatest power of a length in a stiffness."""


def parse(text: str, unit: str, example: str) -> Measured:
    """Return the quantity in `text`, of the dimension of `unit` (an SI unit; "" for a pure number).

    Raises QuantityError, whose hint shows `example`.
    """
    hint = f'write it like "{example}"' if unit or "±" in example else f"write it like {example}"
    found = _split(text, hint)
    _match(found.unit, f"{found.value:g}", unit, hint)
    value = convert(found.value, found.unit, unit) if unit else found.value
    spread = 0.0
    if found.spread is not None:
        spread = _spread(found, value, unit, hint)
    if not (math.isfinite(value) and math.isfinite(spread)):
        raise QuantityError(f'"{text}" is not a finite number', hint)
    return Measured(
        value, spread / math.sqrt(3) if found.rectangular else spread, found.rectangular, unit, written=found.unit
    )


def written_unit(text: str) -> str:
    """Return the unit in a text, "" where it has none. Raises QuantityError where the text is not a quantity."""
    return _split(text, "write a number and its unit").unit


def parse_stiffness(text: str, example: str) -> Measured:
    """Return a force per length^exponent; the exponent is in the unit of the result, e.g. "N/m^1.5"."""
    hint = f'write it like "{example}"'
    written = _split(text, hint).unit
    if not written:
        return parse(text, "N/m", example)
    found = _known(dimensions, written, hint)
    power = 1 - found.pop("length", 0.0)
    if found != {"mass": 1.0, "time": -2.0} or not 0 < power <= MOST_POWER:
        raise QuantityError(f'"{written}" is not a force per length, or per length^exponent', hint)
    return parse(text, stiffness_unit(power), example)


def stiffness_unit(exponent: float) -> str:
    """Return the SI unit of a stiffness with an exponent."""
    return "N/m" if exponent == 1 else f"N/m^{exponent:g}"


def _spread(found: _Written, value: float, unit: str, hint: str) -> float:
    """Return the number after ± in SI: a half-width or a standard uncertainty."""
    spread = found.spread or 0.0
    if spread < 0:
        raise QuantityError(f"its uncertainty must not be negative (got ± {spread:g})", hint)
    if found.share:
        if unit == "K":
            raise QuantityError("the uncertainty of a temperature is in K, not in %", hint)
        return abs(value) * spread / 100
    written = found.spread_unit or found.unit
    _match(written, f"± {spread:g}", unit, hint)
    return convert_difference(spread, written, unit) if unit else spread


def _match(written: str, number: str, unit: str, hint: str) -> None:
    """Raise QuantityError where a written unit cannot be converted to `unit`."""
    if not unit:
        if written == "%":
            raise QuantityError("is a pure number, not a percentage", f"write {float(number.strip('± ')) / 100:g}")
        if written:
            raise QuantityError(f'is a pure number, without "{written}"', hint)
        return
    if not written:
        raise QuantityError(f"{number} needs a unit", hint)
    if _known(lambda text: same_kind(text, unit), written, hint):
        return
    if unit == "m/s^2" and written == "g":
        raise QuantityError('"g" is a gram', f'for multiples of standard gravity write "{number} g_0"')
    if unit.startswith("rad/s") and same_kind(written, unit.replace("rad", "1")):
        raise QuantityError(f'"{written}" does not say what turns: rev, rad or deg', hint)
    raise QuantityError(f'"{written}" does not measure {_kind(unit)}', hint)


def _kind(unit: str) -> str:
    return _KINDS.get(unit, f"what is asked for ({unit})")


def _known(look: Callable[[str], Found], written: str, hint: str) -> Found:
    try:
        return look(written)
    except UnknownUnit as error:
        near = f'did you mean "{error.near}"? ' if error.near else ""
        raise QuantityError(f'"{written}" is not a unit that is known', near + hint) from error


@lru_cache(maxsize=1000)
def _split(text: str, hint: str) -> _Written:
    if len(text) > LONGEST:
        message = f'"{text[:20].strip()}…" is too long for a quantity ({len(text)} characters, at most {LONGEST})'
        raise QuantityError(message, hint)
    plain = text.replace("+/-", "±").replace("+-", "±").replace("−", "-")
    rectangular = bool(_LIMITS.search(plain))
    parts = _LIMITS.sub("", plain).split("±")
    outside = ""
    if len(parts) == 2 and (bracket := _BRACKET.fullmatch("±".join(parts))):
        parts, outside = bracket["inside"].split("±"), bracket["unit"]
    matches = [_PART.fullmatch(part) for part in parts]
    numbers = [(float(match["number"]), (match["unit"] or "").strip()) for match in matches if match]
    if len(numbers) != len(parts) or len(parts) > 2 or (rectangular and len(parts) == 1):
        raise QuantityError(f'cannot read "{text}" as a quantity', _unread(plain, hint))
    (value, unit), (spread, spread_unit) = numbers[0], numbers[1] if len(parts) == 2 else (None, "")
    share = spread_unit == "%"
    if outside and not (unit or (spread_unit and not share)):
        unit, spread_unit = outside, spread_unit if share else outside
    elif outside:
        raise QuantityError(f'cannot read "{text}" as a quantity', hint)
    return _Written(value, unit or ("" if share else spread_unit), spread, spread_unit, share, rectangular)


def _unread(text: str, hint: str) -> str:
    if _COMMA.search(text):
        return f"decimals have a point, not a comma; {hint}"
    if _LIMITS.search(text) and "±" not in text:
        return f'"limits" follows what stands after ±, as in "18 g ± 0.5 g limits"; {hint}'
    return hint
