"""Units: "18 g ± 0.5 g" to an SI value with its standard uncertainty, and back for people.

The known units are defined for pint, which is used here only and loaded at the first quantity; an unknown unit gets the
nearest one as a hint. Angle is a dimension here, so that a rate ("2 /s") and an angular speed ("120 rpm") are not mixed
up.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from functools import lru_cache
from typing import Any, TypeVar

_PREFIXES = """
nano- = 1e-9 = n-
micro- = 1e-6 = µ- = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
deci- = 1e-1 = d-
hecto- = 1e2 = h-
kilo- = 1e3 = k-
mega- = 1e6 = M-
giga- = 1e9 = G-
"""
_UNITS = """
meter = [length] = m = metre
gram = [mass] = g = gramme
second = [time] = s = sec
ampere = [current] = A = amp
kelvin = [temperature]; offset: 0 = K
radian = [angle] = rad
minute = 60 * second = min
hour = 3600 * second = h = hr
inch = 0.0254 * meter = in
foot = 0.3048 * meter = ft = feet
yard = 0.9144 * meter = yd
mile = 1609.344 * meter = mi
thou = 2.54e-5 * meter
micron = 1e-6 * meter
tonne = 1e6 * gram = t
pound = 453.59237 * gram = lb = lbs
ounce = 28.349523125 * gram = oz
grain = 0.06479891 * gram = gr
turn = 6.283185307179586 * radian = _ = rev = revolution = turns
degree = 0.017453292519943295 * radian = deg = arcdegree
revolutions_per_minute = turn / minute = rpm
revolutions_per_second = turn / second = rps
hertz = 1 / second = Hz
liter = 1e-3 * meter ** 3 = L = l = litre
kilometer_per_hour = 1000 / 3600 * meter / second = kph = kmh
mile_per_hour = 0.44704 * meter / second = mph
foot_per_second = 0.3048 * meter / second = fps
knot = 1852 / 3600 * meter / second = kn
standard_gravity = 9.80665 * meter / second ** 2 = g_0 = g0 = g_n
newton = 1000 * gram * meter / second ** 2 = N
kilogram_force = 9.80665 * newton = kgf = kp
gram_force = 9.80665e-3 * newton = gf
pound_force = 4.4482216152605 * newton = lbf
ounce_force = 0.27801385095378125 * newton = ozf
pascal = newton / meter ** 2 = Pa
bar = 1e5 * pascal
atmosphere = 101325 * pascal = atm
pound_force_per_square_inch = 6894.757293168361 * pascal = psi
joule = newton * meter = J
calorie = 4.184 * joule = cal
foot_pound = 1.3558179483314004 * joule = ftlb = ft_lb
watt = joule / second = W
horsepower = 745.6998715822702 * watt = hp
watt_hour = 3600 * joule = Wh
volt = watt / ampere = V
ohm = volt / ampere = Ω
siemens = ampere / volt = S
coulomb = ampere * second = C
ampere_hour = 3600 * coulomb = Ah
farad = coulomb / volt = F
degree_Celsius = kelvin; offset: 273.15 = degC = celsius
degree_Fahrenheit = 5 / 9 * kelvin; offset: 255.3722222222222 = degF = fahrenheit
"""
_SAME = {
    "°C": "degC", "℃": "degC", "°F": "degF", "°": "deg", "μ": "µ", "Ω": "Ω", "·": "*", "⋅": "*", "×": "*",
}  # fmt: skip
_TOKEN = re.compile(
    r"\s*(?:(?P<name>[^\W\d]\w*)|(?P<power>(?:\^|\*\*)\s*-?\d{1,2}(?:\.\d{1,6})?(?!\d)|⁻?[¹²³⁴])|(?P<other>[*/.()]))\s*"
)
_ONE_PER = re.compile(r"1\s*(?=/)")
_LONGEST = 60
"""Most characters of a unit."""
_SHORT = 10
"""Characters of a factor that is exact in so many digits."""
_PER = re.compile(r"^(?:/|per\b)\s*")
_DEGREES = re.compile(r"\b(degC|degF|celsius|fahrenheit)\b")
_PRODUCT = re.compile(r"[\s*/^²³]")


class UnknownUnit(ValueError):
    """A text that is not a known unit; near: the nearest one, "": none."""

    def __init__(self, written: str) -> None:
        self.near = _near(written)
        super().__init__(written)


@contextmanager
def _not_loading(name: str) -> Iterator[None]:
    """Keep a library from being loaded meanwhile: pint loads some only because they are installed."""
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
    try:
        with _not_loading("scipy"), _not_loading("dask"):
            import pint

        registry: Any = pint.UnitRegistry(None)
        registry.load_definitions([line for line in (_PREFIXES + _UNITS).splitlines() if line])
        registry.parse_units("kg * m / s ** 2")
    except ImportError:
        raise
    except Exception as error:
        # Some releases of pint do not work with releases of their dependencies.
        raise ImportError(f"pint cannot be used: {type(error).__name__}: {error}") from error
    return registry


@lru_cache(maxsize=1000)
def unit(written: str) -> Any:
    """Return the pint unit of a text. Raises UnknownUnit."""
    plain = _plain(written)
    if len(plain) > _LONGEST or not _is_product(plain):
        raise UnknownUnit(written)
    registry = _registry()
    try:
        return registry.parse_units(plain)
    except Exception as error:
        # pint's parser raises a dozen kinds of errors, down to those of Python's tokenizer.
        raise UnknownUnit(written) from error


def _is_product(plain: str) -> bool:
    """Return whether a text has only names, products, quotients, brackets and short powers: pint computes 9**9**9."""
    start = _ONE_PER.match(plain)
    at, before = start.end() if start else 0, ""
    while at < len(plain):
        found = _TOKEN.match(plain, at)
        if found is None or (found["power"] and before not in ("name", ")")):
            return False
        at, before = found.end(), "name" if found["name"] else found["other"] or "power"
    return True


def _plain(written: str) -> str:
    plain = written.strip()
    for sign, same in _SAME.items():
        plain = plain.replace(sign, same)
    plain = _PER.sub("1/", plain)
    # Within a product a degree is a temperature difference.
    return _DEGREES.sub(_size_name, plain) if _PRODUCT.search(plain) else plain


def _size_name(match: re.Match[str]) -> str:
    return "delta_degree_Fahrenheit" if "F" in match[1].upper() else "delta_degree_Celsius"


def same_kind(written: str, si: str) -> bool:
    """Return whether two units have the same dimension."""
    return bool(unit(written).dimensionality == unit(si).dimensionality)


def is_turning(written: str) -> bool:
    """Return whether a text is a unit of angular speed."""
    try:
        return same_kind(written, "rad/s")
    except UnknownUnit:
        return False


@lru_cache(maxsize=1000)
def _factor(written: str, si: str, *, difference: bool) -> float | None:
    """Return the factor between two units; None where they differ by an offset."""
    source, target = (_size(name) if difference else unit(name) for name in (written, si))
    quantity = _registry().Quantity
    if quantity(0.0, source).to(target).magnitude:
        return None
    factor = float(quantity(1.0, source).to(target).magnitude)
    short = f"{factor:.12g}"
    return float(short) if len(short) < _SHORT else factor


def _size(written: str) -> Any:
    found = unit(written)
    return _registry().Unit(f"delta_{found}") if str(found).startswith("degree_") else found


def convert(value: float, written: str, si: str) -> float:
    """Return `value` of one unit in another; temperatures are absolute."""
    factor = _factor(written, si, difference=False)
    if factor is None:
        return float(_registry().Quantity(value, unit(written)).to(unit(si)).magnitude)
    return _scaled(value, factor)


def convert_difference(value: float, written: str, si: str) -> float:
    """Return a difference in one unit in another: temperatures without offset."""
    return _scaled(value, _factor(written, si, difference=True) or 1.0)


def _scaled(value: float, factor: float) -> float:
    """Return value × factor; for a factor 1/n the decimal is divided, so that 4.02 mm is 0.00402 m to the last bit."""
    whole = round(1 / factor)
    if whole > 1 and abs(whole * factor - 1) < 1e-12:
        return float(Decimal(repr(float(value))) / whole)
    return value * factor


def dimensions(written: str) -> dict[str, float]:
    """Return the powers of the base dimensions by name ("length", "mass", …)."""
    return {name.strip("[]"): float(power) for name, power in unit(written).dimensionality.items()}


@lru_cache(maxsize=1)
def _names() -> dict[str, str]:
    """Return short names of units, with and without prefix, by their lower-case form."""
    shorts = [[part.strip() for part in line.split(";")[-1].split("=")][1:] for line in _UNITS.splitlines() if line]
    flat = [name for names in shorts for name in names if name.isidentifier() and name != "_" and len(name) < 6]
    common = ("mm", "cm", "km", "kg", "mg", "ms", "kN", "mN", "kPa", "MPa", "GPa", "kJ", "mJ", "kW", "mW", "mA", "mV")
    return {"nm": "N m"} | {name.lower(): name for name in (*flat, *common, "mohm", "mAh")}


def _near(written: str) -> str:
    close = get_close_matches(written.lower(), _names(), n=1, cutoff=0.6)
    return _names()[close[0]] if close else ""


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
