"""The known units, defined for pint, and conversion between them; an unknown unit gets the nearest one as a hint.

Angle is a dimension here, so that a rate ("2 /s") and an angular speed ("120 rpm") are not mixed up.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from difflib import get_close_matches
from functools import lru_cache
from typing import Any

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
