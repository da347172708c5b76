"""Ranges of quantities: both ends are accepted or refused as declared, and no value outside is accepted."""

from __future__ import annotations

import math
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from stager.config import field_types
from stager.config.field_types import QuantityKind
from stager.units import Measured

KINDS: dict[str, QuantityKind] = {
    name: found
    for name, annotated in vars(field_types).items()
    for found in get_args(annotated)[1:]
    if type(found) is QuantityKind
}
UNITS = {"N/m^n": "N/m"}
# Ends of the ranges in SI units, of a stiffness those of the force at a crush of 1 mm. A narrower range refuses files
# that could be read before, a wider one accepts typing errors, and draws of builds end there.
RANGES = {
    "kg": {"Mass": (1e-6, 100), "StageMass": (1e-6, 1e4)},
    "m": {
        "Length": (1e-5, 100), "Distance": (0, 1000), "Crush": (1e-6, 1), "Bore": (0, 1), "Clearance": (0, 10),
        "Travel": (1e-5, 100), "MuzzleHeight": (0, 1000),
    },
    "m/s": {
        "Speed": (1e-3, 100), "ExitSpeed": (1e-3, 3000), "FadeSpeed": (1e-4, 1e4), "Creep": (1e-5, 100),
        "SlipSpeed": (0, 1e4),
    },
    "s/m": {"Stiffening": (-0.05, 0.05)}, "m/s^2": {"Acceleration": (1, 1e8)}, "1/s": {"Rate": (1e-4, 1e3)},
    "N": {"Force": (0, 1e6), "Push": (1e-3, 1e6)}, "m^2": {"Area": (1e-10, 100)},
    "s": {"Time": (1e-3, 1e7), "ReturnTime": (0, 1e4)}, "N/m^n": {"Stiffness": (1e-3, 1e6)},
    "": {
        "Confidence": (0.5, 0.999), "Exponent": (1, 3), "Share": (0, 1), "LossShare": (1e-6, 1),
        "PositiveShare": (1e-3, 1), "Friction": (0, 10), "PositiveNumber": (1e-3, 1e3), "Number": (0, 1e3),
        "Poisson": (0, 0.5), "ShoreA": (20, 80), "Stretch": (0, 1), "GripMargin": (0, 0.9), "Calibration": (0.1, 10),
        "Money": (0, 1e12), "Drag": (1e-3, 100),
    },
    "kg m^2": {"Inertia": (1e-12, 1e3), "RotorInertia": (0, 100)}, "kg/m^3": {"Density": (1, 3e4)},
    "Pa": {"Stress": (1e3, 1e13), "Bond": (1, 1e10)}, "rad/s/V": {"SpeedConstant": (1e-2, 1e4)},
    "ohm": {"Resistance": (1e-5, 1e4), "SupplyResistance": (0, 1e4)},
    "A": {"Current": (1e-3, 1e5), "NoLoadCurrent": (0, 1e4)},
    "rad/s": {"AngularSpeed": (1, 1e5), "Spin": (-1e5, 1e5), "FeedSpin": (-1e5, 1e5)},
    "V": {"Voltage": (0.1, 1e4)}, "C": {"Charge": (1, 1e7)}, "J/K": {"HeatCapacity": (1e-3, 1e6)},
    "K/W": {"ThermalResistance": (1e-4, 1e4)},
    "W/m/K": {"HubConductivity": (1e-3, 1e4), "Conductivity": (1e-3, 1e4)}, "K": {"Temperature": (150, 1500)},
    "J": {"Energy": (1e-6, 1e6), "EnergyLoss": (0, 1e6)}, "J/m^2": {"EnergyPerArea": (1e-3, 1e9)},
    "W": {"Power": (1e-3, 1e7)}, "rad": {"Tilt": (-math.pi / 2, math.pi / 2)},
}  # fmt: skip


def accepted(kind: QuantityKind, value: float) -> bool:
    try:
        kind.read(Measured(value, unit=UNITS.get(kind.unit, kind.unit)))
    except PydanticCustomError:
        return False
    return True


def ends(kind: QuantityKind) -> tuple[tuple[float, bool], tuple[float, bool]]:
    """Return the lower and upper end of the range [SI units], each with whether it is included."""
    scale = 1e3 if kind.unit == "N/m^n" else 1.0
    low = (kind.above, False) if kind.above >= kind.at_least * scale else (kind.at_least * scale, True)
    return low, (kind.at_most * scale, True)


def test_units_and_ranges_are_those_promised() -> None:
    expected = {name: (unit, *map(float, ends)) for unit, kinds in RANGES.items() for name, ends in kinds.items()}
    found = {name: (kind.unit, max(kind.above, kind.at_least), kind.at_most) for name, kind in KINDS.items()}
    assert found == expected
    assert all(kind.above == 0.0 for kind in KINDS.values() if math.isfinite(kind.above))


@pytest.mark.parametrize("unit, force", [("N/m", 1.0), ("N/m^1.5", 1e3**0.5), ("N/m^2", 1e3), ("N/m^3", 1e6)])
def test_range_of_a_stiffness_is_one_of_forces_whatever_the_exponent(unit: str, force: float) -> None:
    kind = KINDS["Stiffness"]
    for end, inside, outside in ((1e-3, 1 + 1e-9, 0.9), (1e6, 1 - 1e-9, 1.1)):
        stiffness = end * force * 1e3
        found = kind.read(Measured(stiffness * inside, unit=unit))
        assert found.unit == unit
        assert (found.low, found.high) == pytest.approx((force, force * 1e9))
        with pytest.raises(PydanticCustomError, match="must be at"):
            kind.read(Measured(stiffness * outside, unit=unit))


ENDS = {
    "crush_range": (field_types.CrushRange, "m", 1e-6, 1.0),
    "radius_range": (field_types.RadiusRange, "m", 1e-5, 100.0),
    "inertia_range": (field_types.InertiaRange, "kg m^2", 1e-12, 1e3),
}


@pytest.mark.parametrize("name", ENDS)
def test_range_of_a_variable_has_two_rising_certain_ends_within_the_range_of_the_quantity(name: str) -> None:
    annotated, unit, least, most = ENDS[name]
    (kind,) = get_args(annotated)[1:]
    assert kind.end.unit == unit

    def texts(*numbers: float | str) -> list[str]:
        return [f"{number} {unit}" for number in numbers]

    found = kind.read(texts(least, most))
    assert (found.low.value, found.high.value) == (least, most)
    assert kind.read(found) is found
    assert kind.read(list(kind.examples)).low.value < kind.read(list(kind.examples)).high.value
    middle = math.sqrt(least * most)
    refused = {
        "must be two": ([], texts(middle), texts(least, middle, most), texts(least)[0], None, 3),
        "must rise": (texts(middle, middle), texts(most, least)),
        "must be at least": (texts(least * 0.9, most),),
        "must be at most": (texts(least, most * 1.1),),
        "have no uncertainty": (
            [f"{middle} {unit} ± 1 %", *texts(most)],
            [*texts(least), f"{middle} {unit} ± 1 %"],
        ),
        "must be a": ([3, 4], [True, False], [texts(least)[0], None]),
    }
    for message, values in refused.items():
        for value in values:
            with pytest.raises(PydanticCustomError, match=f"{message}|needs a unit|cannot read") as caught:
                kind.read(value)
            assert kind.shown in str((caught.value.context or {})["hint"])


SPREADS: dict[str, str] = {
    name: found.unit
    for name, annotated in vars(field_types).items()
    for found in get_args(annotated)[1:]
    if isinstance(found, field_types.SpreadKind)
}


@pytest.mark.parametrize("name", SPREADS)
def test_spread_is_at_least_0_and_a_share_below_all(name: str) -> None:
    (kind,) = get_args(vars(field_types)[name])[1:]
    unit = SPREADS[name]
    for text, value, relative in (("0 %", 0.0, True), ("99.9%", 0.999, True), (f"0 {unit}", 0.0, False)):
        found = kind.read(text)
        assert (found.value, found.relative) == (pytest.approx(value), relative)
        assert kind.read(found) is found
    # A quantity has no upper end: two of its units are not 200 %.
    assert kind.read(f"2 {unit}").value == 2.0
    assert kind.read(kind.example).value > 0
    for text in (
        "100 %",
        "-1 %",
        f"-1 {unit}",
        f"2 {unit} ± 1 {unit}",
        "2 % ± 1 %",
        "2",
        "2 florins",
        0.02,
        True,
        None,
    ):
        with pytest.raises(PydanticCustomError) as caught:
            kind.read(text)
        assert "for example" in str((caught.value.context or {})["hint"])


@pytest.mark.parametrize("name", KINDS)
def test_uncertainty_is_refused_below_rounding(name: str) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    unit = UNITS.get(kind.unit, kind.unit)
    for value in ((low + high) / 2, low + 0.9 * (high - low)):
        least = max(1e-9 * abs(value), 1e-15)
        assert kind.read(Measured(value, least, unit=unit)).standard_uncertainty == least
        assert kind.read(Measured(value, 0.0, unit=unit)).standard_uncertainty == 0.0
        with pytest.raises(PydanticCustomError, match="too small to matter") as caught:
            kind.read(Measured(value, 0.9 * least, unit=unit))
        assert "±" in str((caught.value.context or {})["hint"])


def test_speed_of_a_wheel_is_a_speed_or_a_rate_of_turning_within_its_range() -> None:
    (kind,) = get_args(field_types.WheelSpeed)[1:]
    for text in ("0 m/s", "3000 m/s", "0 rpm", "1e5 rad/s", "0 m/s : 3000 m/s", "3 m/s : 4000 rpm"):
        found = kind.read(text)
        assert kind.read(found) is found
        assert (found.side_b is None) == (":" not in text)
    for text, message in (
        ("-1 m/s", "must be at least 0 m/s"), ("3001 m/s", "must be at most 3000 m/s"),
        ("-1 rpm", "must be at least 0 rpm"), ("1.1e5 rad/s", "must be at most 100000 rad/s"),
        ("3 m/s : -1 m/s", "at least 0 m/s"), ("1 m/s:2 m/s:3 m/s", "two wheels at most"), ("3", "needs a unit"),
        ("3:4", "needs a unit"), (3, "3 needs a unit"), (2.5, "2.5 needs a unit"), (True, "must be a speed"),
        (None, "must be a speed"), ([], "must be a speed"), ("fast", "cannot read"),
        ("3 g", "does not measure a speed"),
    ):  # fmt: skip
        with pytest.raises(PydanticCustomError, match=message) as caught:
            kind.read(text)
        assert (caught.value.context or {})["hint"]


def test_option_is_a_name_or_a_number_from_0() -> None:
    (kind,) = get_args(field_types.OptionName)[1:]
    assert [kind.read(one) for one in (0, 7, "small", "a\x1bb")] == [0, 7, "small", r"a\x1bb"]
    for wrong in (-1, True, False, 1.0, None, []):
        with pytest.raises(PydanticCustomError, match="must be") as caught:
            kind.read(wrong)
        assert (caught.value.context or {})["hint"] == "0: the part as written, 1: the first option"


@pytest.mark.parametrize("name", KINDS)
def test_ends_of_a_range_are_accepted_as_declared(name: str) -> None:
    (low, low_in), (high, high_in) = ends(KINDS[name])
    assert math.isfinite(low)
    assert math.isfinite(high)
    assert accepted(KINDS[name], low) == low_in
    assert accepted(KINDS[name], high) == high_in
    assert not accepted(KINDS[name], math.nextafter(low, -math.inf))
    assert not accepted(KINDS[name], math.nextafter(high, math.inf))
    assert accepted(KINDS[name], math.nextafter(low, math.inf))
    assert accepted(KINDS[name], math.nextafter(high, -math.inf))


@pytest.mark.parametrize("name", KINDS)
@given(data=st.data())
def test_values_are_accepted_within_the_range_only(name: str, data: Any) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    width = high - low
    value = data.draw(st.floats(low - width, high + width))
    found = kind.read(Measured((low + high) / 2, unit=UNITS.get(kind.unit, kind.unit)))
    inside = low < value < high
    assert accepted(kind, value) or not inside
    assert bool(found.holds(value)) or not inside
    assert not accepted(kind, value) or low <= value <= high
    assert not found.holds(value) or low <= value <= high


@pytest.mark.parametrize("name", KINDS)
def test_uncertainty_wider_than_the_range_is_refused(name: str) -> None:
    kind = KINDS[name]
    (low, _), (high, _) = ends(kind)
    for spread, valid in ((high - low, True), (2 * (high - low), False)):
        found = Measured((low + high) / 2, standard_uncertainty=spread, unit=UNITS.get(kind.unit, kind.unit))
        try:
            kind.read(found)
        except PydanticCustomError:
            assert not valid
        else:
            assert valid


@pytest.mark.parametrize("name", [name for name, kind in KINDS.items() if math.isfinite(kind.above)])
def test_zero_is_refused_as_not_above_zero(name: str) -> None:
    """The end 0 is named in words that hold for every unit, not the smallest value accepted."""
    kind = KINDS[name]
    for value in (kind.above, math.nextafter(kind.above, -math.inf)):
        with pytest.raises(PydanticCustomError, match="must be above"):
            kind.read(Measured(value, unit=UNITS.get(kind.unit, kind.unit)))
