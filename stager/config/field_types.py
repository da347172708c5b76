"""Types of values in a configuration, each with unit, range and example."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Annotated, Any

from pydantic import AfterValidator, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from stager.errors import printable
from stager.model.arrays import MAX_ANGULAR_SPEED, MAX_SURFACE_SPEED, MAX_VOLTAGE
from stager.model.projectile import Spread
from stager.model.stage import INSULATION
from stager.units import Measured, QuantityError, format_quantity, is_turning, parse, parse_stiffness, written_unit

LEAST_SHARE = 1e-9
"""Least uncertainty, by the value [-]: below, a draw differs from the value by rounding only."""
LEAST_SPREAD = 1e-15
"""Least uncertainty of a value near 0 [SI]: the same."""
UNIT = "x-unit"
"""Key of the SI unit in a quantity's JSON schema."""


@dataclass(frozen=True)
class QuantityKind:
    """A kind of quantity.

    unit: in SI, "" for a pure number; example: text as in a file
    above, at_least, at_most: the range in SI; of a stiffness that of the force at a crush of 1 mm [N]
    named: values by name
    """

    unit: str
    example: str
    above: float = -math.inf
    at_least: float = -math.inf
    at_most: float = math.inf
    named: tuple[tuple[str, float], ...] = ()

    def read(self, raw: Any) -> Measured:
        """Return a quantity from a TOML value. Raises PydanticCustomError with a hint."""
        found = raw if isinstance(raw, Measured) else self._parse(raw)
        scale = _per_force(found.unit) if self.unit == "N/m^n" else 1.0
        low, high = (end * scale for end in (max(self.above, self.at_least), self.at_most))
        found = replace(found, low=low, high=high)
        for broken, words, limit in (
            (found.value <= self.above, "above", self.above),
            (found.value < self.at_least * scale, "at least", self.at_least * scale),
            (found.value > self.at_most * scale, "at most", self.at_most * scale),
        ):
            if broken:
                bound = format_quantity(limit, unit=found.unit, written=found.written)
                raise refusal(f"must be {words} {bound} (got {raw})", f"for example {self.shown}")
        self._check_uncertainty(found, raw)
        return found

    def _check_uncertainty(self, found: Measured, raw: Any) -> None:
        spread, least = found.standard_uncertainty, LEAST_SHARE * abs(found.value)
        if 0 < spread < max(least, LEAST_SPREAD):
            raise refusal(f"has an uncertainty that is too small to matter (got {raw})", "leave out what follows the ±")
        if spread > found.high - found.low:
            raise refusal(f"has an uncertainty wider than any such quantity (got {raw})", f"for example {self.shown}")

    @property
    def shown(self) -> str:
        """The example as it stands in a file."""
        return self.example if not self.unit and "±" not in self.example else f'"{self.example}"'

    def _parse(self, raw: Any) -> Measured:
        if isinstance(raw, bool) or not isinstance(raw, str | int | float):
            raise refusal(f"must be a {'quantity' if self.unit else 'number'}", f"for example {self.shown}")
        if not isinstance(raw, str):
            return self._number(raw)
        for name, value in self.named:
            if raw.strip() == name:
                return Measured(value, unit=self.unit)
        try:
            return parse_stiffness(raw, self.example) if self.unit == "N/m^n" else parse(raw, self.unit, self.example)
        except QuantityError as error:
            raise refusal(str(error), error.hint) from error

    def _number(self, raw: int | float) -> Measured:
        if self.unit:
            raise refusal(f"{raw} needs a unit", f'write it as text with its unit, for example "{self.example}"')
        try:
            value = float(raw)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise refusal("must be a finite number", f"for example {self.shown}")
        return Measured(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        kinds = {"type": "string"} if self.unit else {"type": ["number", "string"]}
        example = self.example if self.unit or "±" in self.example else float(self.example)
        return {**kinds, "examples": [example], UNIT: self.unit or "-"}


def _per_force(unit: str) -> float:
    """Return the stiffness [`unit`, N/m^exponent] for a force of 1 N at a crush of 1 mm."""
    return float(1e3 ** float(unit.partition("^")[2] or 1))


def refusal(text: str, hint: str) -> PydanticCustomError:
    """Return the error for a validator to raise: the problem and a hint."""
    return PydanticCustomError("quantity", "{text}", {"text": text, "hint": hint})


@dataclass(frozen=True)
class SpreadKind:
    """A standard deviation from shot to shot, in a unit or as a share of the quantity in per cent."""

    unit: str
    example: str

    @property
    def shown(self) -> str:
        """The example as it stands in a file."""
        return f'"{self.example}"'

    def read(self, raw: Any) -> Spread:
        """Raises PydanticCustomError with a hint."""
        if isinstance(raw, Spread):
            return raw
        hint = f"for example {self.shown}"
        if not isinstance(raw, str):
            raise refusal("must be a quantity with its unit, or a share in %", hint)
        share = raw.strip().endswith("%")
        text = raw.strip().removesuffix("%").strip() if share else raw
        try:
            found = parse(text, "" if share else self.unit, self.example)
        except QuantityError as error:
            raise refusal(str(error), hint) from error
        if found.standard_uncertainty:
            message = "is a standard deviation, so it has no uncertainty of its own"
            raise refusal(message, f"leave out ± and what follows, {hint}")
        value = found.value / 100 if share else found.value
        if not 0 <= value < (1 if share else math.inf):
            raise refusal(f"must be at least 0, and less than 100 % (got {raw})", hint)
        return Spread(value, relative=share)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "examples": [self.example], UNIT: self.unit}


CLASSES = tuple((f"class {name}", kelvin) for name, kelvin in INSULATION.items())
"""Thermal classes of insulation, as "class F"."""
# Ranges are wide: values outside are typing errors, or break floating-point arithmetic.
Words = Annotated[str, AfterValidator(printable)]
"""A text for screens, with control characters escaped."""
Mass = Annotated[Measured, QuantityKind("kg", "18 g ± 0.5 g", above=0, at_least=1e-6, at_most=100)]
StageMass = Annotated[Measured, QuantityKind("kg", "240 g", above=0, at_least=1e-6, at_most=1e4)]
_LENGTH = QuantityKind("m", "38 mm", above=0, at_least=1e-5, at_most=100)
Length = Annotated[Measured, _LENGTH]
Distance = Annotated[Measured, QuantityKind("m", "2 m", at_least=0, at_most=1000)]
Crush = Annotated[Measured, QuantityKind("m", "4 mm ± 0.2 mm", above=0, at_least=1e-6, at_most=1)]
Bore = Annotated[Measured, QuantityKind("m", "5 mm", at_least=0, at_most=1)]
Clearance = Annotated[Measured, QuantityKind("m", "6 mm", at_least=0, at_most=10)]
Speed = Annotated[Measured, QuantityKind("m/s", "1.2 m/s ± 0.1 m/s", above=0, at_least=1e-3, at_most=100)]
ExitSpeed = Annotated[Measured, QuantityKind("m/s", "18 m/s", above=0, at_least=1e-3, at_most=MAX_SURFACE_SPEED)]
FadeSpeed = Annotated[Measured, QuantityKind("m/s", "9 m/s ± 2 m/s", above=0, at_least=1e-4, at_most=1e4)]
Stiffening = Annotated[Measured, QuantityKind("s/m", "0 s/m ± 0.0075 s/m", at_least=-0.05, at_most=0.05)]
Creep = Annotated[Measured, QuantityKind("m/s", "0.15 m/s", above=0, at_least=1e-5, at_most=100)]
SlipSpeed = Annotated[Measured, QuantityKind("m/s", "2 m/s", at_least=0, at_most=1e4)]
Acceleration = Annotated[Measured, QuantityKind("m/s^2", "6000 m/s^2", above=0, at_least=1, at_most=1e8)]
Rate = Annotated[Measured, QuantityKind("1/s", "2 /s", above=0, at_least=1e-4, at_most=1e3)]
Force = Annotated[Measured, QuantityKind("N", "3 N", at_least=0, at_most=1e6)]
Push = Annotated[Measured, QuantityKind("N", "6 N", above=0, at_least=1e-3, at_most=1e6)]
Area = Annotated[Measured, QuantityKind("m^2", "30 mm^2", above=0, at_least=1e-10, at_most=100)]
Confidence = Annotated[Measured, QuantityKind("", "0.95", at_least=0.5, at_most=0.999)]
Time = Annotated[Measured, QuantityKind("s", "3 min", above=0, at_least=1e-3, at_most=1e7)]
ReturnTime = Annotated[Measured, QuantityKind("s", "0.1 s", at_least=0, at_most=1e4)]
Travel = Annotated[Measured, QuantityKind("m", "30 mm", above=0, at_least=1e-5, at_most=100)]
Stiffness = Annotated[Measured, QuantityKind("N/m^n", "40 kN/m", above=0, at_least=1e-3, at_most=1e6)]
Exponent = Annotated[Measured, QuantityKind("", "1.5", at_least=1, at_most=3)]
Share = Annotated[Measured, QuantityKind("", "0.8", at_least=0, at_most=1)]
LossShare = Annotated[Measured, QuantityKind("", "0.05", above=0, at_least=1e-6, at_most=1)]
PositiveShare = Annotated[Measured, QuantityKind("", "0.8", above=0, at_least=1e-3, at_most=1)]
Friction = Annotated[Measured, QuantityKind("", "0.75 ± 0.08", at_least=0, at_most=10)]
PositiveNumber = Annotated[Measured, QuantityKind("", "1.0", above=0, at_least=1e-3, at_most=1e3)]
Number = Annotated[Measured, QuantityKind("", "0.05", at_least=0, at_most=1e3)]
_INERTIA = QuantityKind("kg m^2", "4e-5 kg m^2", above=0, at_least=1e-12, at_most=1e3)
Inertia = Annotated[Measured, _INERTIA]
RotorInertia = Annotated[Measured, QuantityKind("kg m^2", "2e-6 kg m^2", at_least=0, at_most=100)]
Density = Annotated[Measured, QuantityKind("kg/m^3", "2700 kg/m^3", above=0, at_least=1, at_most=3e4)]
Stress = Annotated[Measured, QuantityKind("Pa", "70 GPa", above=0, at_least=1e3, at_most=1e13)]
Bond = Annotated[Measured, QuantityKind("Pa", "1.5 MPa", above=0, at_least=1, at_most=1e10)]
Poisson = Annotated[Measured, QuantityKind("", "0.33", at_least=0, at_most=0.5)]
ShoreA = Annotated[Measured, QuantityKind("", "70", at_least=20, at_most=80)]
SpeedConstant = Annotated[Measured, QuantityKind("rad/s/V", "1400 rpm/V", above=0, at_least=1e-2, at_most=1e4)]
Resistance = Annotated[Measured, QuantityKind("ohm", "60 mohm", above=0, at_least=1e-5, at_most=1e4)]
SupplyResistance = Annotated[Measured, QuantityKind("ohm", "30 mohm", at_least=0, at_most=1e4)]
Current = Annotated[Measured, QuantityKind("A", "30 A", above=0, at_least=1e-3, at_most=1e5)]
NoLoadCurrent = Annotated[Measured, QuantityKind("A", "1.1 A", at_least=0, at_most=1e4)]
AngularSpeed = Annotated[Measured, QuantityKind("rad/s", "25000 rpm", above=0, at_least=1, at_most=MAX_ANGULAR_SPEED)]
Spin = Annotated[Measured, QuantityKind("rad/s", "20 rev/s", at_least=-MAX_ANGULAR_SPEED, at_most=MAX_ANGULAR_SPEED)]
FeedSpin = Annotated[Measured, QuantityKind("rad/s", "0 rev/s", at_least=-MAX_ANGULAR_SPEED, at_most=MAX_ANGULAR_SPEED)]
Voltage = Annotated[Measured, QuantityKind("V", "14.8 V", above=0, at_least=0.1, at_most=MAX_VOLTAGE)]
Charge = Annotated[Measured, QuantityKind("C", "2.2 Ah", above=0, at_least=1, at_most=1e7)]
Stretch = Annotated[Measured, QuantityKind("", "0.05", at_least=0, at_most=1)]
GripMargin = Annotated[Measured, QuantityKind("", "0.05", at_least=0, at_most=0.9)]
HeatCapacity = Annotated[Measured, QuantityKind("J/K", "12 J/K", above=0, at_least=1e-3, at_most=1e6)]
ThermalResistance = Annotated[Measured, QuantityKind("K/W", "2.5 K/W", above=0, at_least=1e-4, at_most=1e4)]
HubConductivity = Annotated[Measured, QuantityKind("W/m/K", "0.2 W/m/K", above=0, at_least=1e-3, at_most=1e4)]
Conductivity = Annotated[Measured, QuantityKind("W/m/K", "200 W/m/K", above=0, at_least=1e-3, at_most=1e4)]
Temperature = Annotated[Measured, QuantityKind("K", "110 degC", above=0, at_least=150, at_most=1500, named=CLASSES)]
Energy = Annotated[Measured, QuantityKind("J", "8 J", above=0, at_least=1e-6, at_most=1e6)]
EnergyLoss = Annotated[Measured, QuantityKind("J", "0.1 J ± 0.1 J", at_least=0, at_most=1e6)]
Calibration = Annotated[Measured, QuantityKind("", "1 ± 0.02", above=0, at_least=0.1, at_most=10)]
EnergyPerArea = Annotated[Measured, QuantityKind("J/m^2", "8 kJ/m^2", above=0, at_least=1e-3, at_most=1e9)]
Power = Annotated[Measured, QuantityKind("W", "150 W", above=0, at_least=1e-3, at_most=1e7)]
Money = Annotated[Measured, QuantityKind("", "38.0", at_least=0, at_most=1e12)]
MuzzleHeight = Annotated[Measured, QuantityKind("m", "1.2 m", at_least=0, at_most=1000)]
Tilt = Annotated[Measured, QuantityKind("rad", "10 deg", at_least=-math.pi / 2, at_most=math.pi / 2)]
Drag = Annotated[Measured, QuantityKind("", "0.51 ± 0.02", above=0, at_least=1e-3, at_most=100)]
MassSpread = Annotated[Spread, SpreadKind("kg", "2 %")]
LengthSpread = Annotated[Spread, SpreadKind("m", "0.3 mm")]
SpeedSpread = Annotated[Spread, SpreadKind("m/s", "1 %")]
AngleSpread = Annotated[Spread, SpreadKind("rad", "0.3 deg")]


_COUNT = 2
"""Ends of a range."""


@dataclass(frozen=True, slots=True)
class Ends:
    """A range of a quantity, its ends in SI units and without uncertainty."""

    low: Measured
    high: Measured


@dataclass(frozen=True)
class _EndsKind:
    """A range, written as a list of two: what each end is, what they are called, examples."""

    end: QuantityKind
    words: str
    examples: tuple[str, str]

    @property
    def shown(self) -> str:
        """An example as it stands in a file."""
        return "[{}]".format(", ".join(f'"{text}"' for text in self.examples))

    def read(self, raw: Any) -> Ends:
        """Raises PydanticCustomError with a hint."""
        if isinstance(raw, Ends):
            return raw
        hint = f"for example {self.shown}"
        if not isinstance(raw, list) or len(raw) != _COUNT:
            raise refusal(f"must be two {self.words}, the ends of a range", hint)
        low, high = (self._end(text) for text in raw)
        if low.standard_uncertainty or high.standard_uncertainty:
            raise refusal("is a choice, so its ends have no uncertainty", f"leave out ±, {hint}")
        if not low.value < high.value:
            raise refusal(f"must rise from its first end to its second (got {raw[0]} to {raw[1]})", hint)
        return Ends(low, high)

    def _end(self, raw: Any) -> Measured:
        try:
            return self.end.read(raw)
        except PydanticCustomError as error:
            raise refusal(error.message(), f"for example {self.shown}") from error

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        text, count = {"type": "string"}, _COUNT
        return {
            UNIT: self.end.unit,
            "type": "array",
            "items": text,
            "minItems": count,
            "maxItems": count,
            "examples": [list(self.examples)],
        }


_CRUSH = QuantityKind("m", "2 mm", above=0, at_least=1e-6, at_most=1)
CrushRange = Annotated[Ends, _EndsKind(_CRUSH, "lengths", ("2 mm", "6 mm"))]
RadiusRange = Annotated[Ends, _EndsKind(_LENGTH, "lengths", ("30 mm", "50 mm"))]
InertiaRange = Annotated[Ends, _EndsKind(_INERTIA, "inertias", ("2e-5 kg m^2", "8e-5 kg m^2"))]


_HINT = 'write it like "17 m/s", "4000 rpm" or, for the sides of a pair, "12 m/s : 9 m/s"'
_SIDES = 2
"""Sides of a stage."""


@dataclass(frozen=True, slots=True)
class SetSpeed:
    """Set speeds of sides A and B: surface speed [m/s] or angular speed [rad/s] by its unit; side_b None: as A."""

    side_a: Measured
    side_b: Measured | None = None


@dataclass(frozen=True)
class _SpeedKind:
    """A set speed, of one wheel or of the two sides of a pair."""

    surface = QuantityKind("m/s", "17 m/s", at_least=0, at_most=MAX_SURFACE_SPEED)
    turning = QuantityKind("rad/s", "4000 rpm", at_least=0, at_most=MAX_ANGULAR_SPEED)
    shown = '"17 m/s"'

    def read(self, raw: Any) -> SetSpeed:
        """Raises PydanticCustomError with a hint."""
        if isinstance(raw, SetSpeed):
            return raw
        if isinstance(raw, bool) or not isinstance(raw, str | int | float):
            raise refusal("must be a speed", _HINT)
        if not isinstance(raw, str):
            raise refusal(f"{raw} needs a unit", _HINT)
        parts = raw.split(":")
        if len(parts) > _SIDES:
            raise refusal(f"a stage has two wheels at most (got {raw})", _HINT)
        return SetSpeed(*(self._side(text) for text in _with_units(parts)))

    def _side(self, text: str) -> Measured:
        kind = self.turning if is_turning(_unit(text)) else self.surface
        return kind.read(text.strip())

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "examples": ["17 m/s", "4000 rpm", "12 m/s : 9 m/s"]}


def _with_units(parts: list[str]) -> list[str]:
    """Return each part with a unit: "12:9 m/s" has one for both."""
    units = [_unit(part) for part in parts]
    known = next((unit for unit in units if unit), "")
    return [part if unit else f"{part.strip()} {known}".strip() for part, unit in zip(parts, units, strict=True)]


def _unit(text: str) -> str:
    try:
        return written_unit(text)
    except QuantityError as error:
        raise refusal(str(error), _HINT) from error


WheelSpeed = Annotated[SetSpeed, _SpeedKind()]


@dataclass(frozen=True)
class _OptionKind:
    """The number or the name of an option."""

    shown = "1"

    def read(self, raw: Any) -> int | str:
        """Raises PydanticCustomError with a hint."""
        if isinstance(raw, str):
            return printable(raw)
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise refusal("must be a whole number, or a name in quotes", "0: the part as written, 1: the first option")
        if raw < 0:
            raise refusal(f"must be at least 0 (got {raw})", "0: the part as written, 1: the first option")
        return raw

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": ["integer", "string"], "minimum": 0, "examples": [1, "small"]}


OptionName = Annotated[int | str, _OptionKind()]
