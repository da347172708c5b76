"""Quantities as text: every notation, errors and hints, and writing."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.units import QuantityError, format_quantity, parse, parse_stiffness, readable_unit

TURN = 2 * math.pi
ROOT3 = math.sqrt(3)
SPELLINGS = [
    ("18 g", "kg", 0.018, 0.0),
    ("18g", "kg", 0.018, 0.0),
    ("1.8e1 g", "kg", 0.018, 0.0),
    ("+18. g", "kg", 0.018, 0.0),
    (".018 kg", "kg", 0.018, 0.0),
    ("18 grams", "kg", 0.018, 0.0),
    ("18 g ± 0.4 g", "kg", 0.018, 0.0004),
    ("18 ± 0.4 g", "kg", 0.018, 0.0004),
    ("(18 ± 0.4) g", "kg", 0.018, 0.0004),
    ("(18 g ± 0.4 g)", "kg", 0.018, 0.0004),
    ("18 g ± 400 mg", "kg", 0.018, 0.0004),
    ("18 g +/- 0.4 g", "kg", 0.018, 0.0004),
    ("18g±0.4g", "kg", 0.018, 0.0004),
    ("18 g ± 0.4", "kg", 0.018, 0.0004),
    ("18 g ± 2 %", "kg", 0.018, 0.00036),
    ("(18 ± 2 %) g", "kg", 0.018, 0.00036),
    ("-18 g ± 2 %", "kg", -0.018, 0.00036),
    ("18 g ± 0.4 g limits", "kg", 0.018, 0.0004 / ROOT3),
    ("(18 ± 0.4) g limits", "kg", 0.018, 0.0004 / ROOT3),
    ("18 g ± 2 % limits", "kg", 0.018, 0.00036 / ROOT3),
    ("\u22124 mm", "m", -0.004, 0.0),
    ("4.35 mm", "m", 0.00435, 0.0),
    ("350 µm", "m", 350e-6, 0.0),
    ("350 \u03bcm", "m", 350e-6, 0.0),
    ("1.5 in", "m", 0.0381, 0.0),  # 25.4 mm an inch, exact
    ("20 rev/s", "rad/s", 20 * TURN, 0.0),
    ("1200 rpm", "rad/s", 20 * TURN, 0.0),
    ("1200 rev/min", "rad/s", 20 * TURN, 0.0),
    ("7200 deg/s", "rad/s", 20 * TURN, 0.0),
    ("20 turns/s", "rad/s", 20 * TURN, 0.0),
    ("2 /s", "1/s", 2.0, 0.0),
    ("2/s", "1/s", 2.0, 0.0),
    ("2 1/s", "1/s", 2.0, 0.0),
    ("2 Hz", "1/s", 2.0, 0.0),
    ("2 s^-1", "1/s", 2.0, 0.0),
    ("120 per minute", "1/s", 2.0, 0.0),
    ("120 /min ± 6 /min", "1/s", 2.0, 0.1),
    ("110 degC", "K", 383.15, 0.0),
    ("110 °C", "K", 383.15, 0.0),
    ("110 degC ± 2 K", "K", 383.15, 2.0),
    ("110 ± 2 degC", "K", 383.15, 2.0),
    ("230 degF ± 9 degF", "K", 383.15, 5.0),
    ("383.15 K", "K", 383.15, 0.0),
    ("600 m/s^2", "m/s^2", 600.0, 0.0),
    ("600 m/s²", "m/s^2", 600.0, 0.0),
    ("600 m s^-2", "m/s^2", 600.0, 0.0),
    ("600 g_0", "m/s^2", 600 * 9.80665, 0.0),  # standard gravity: SI brochure, exact
    ("2.2 Ah", "C", 7920.0, 0.0),
    ("2200 mAh", "C", 7920.0, 0.0),
    ("60 mohm", "ohm", 0.06, 0.0),
    ("60 mΩ", "ohm", 0.06, 0.0),
    ("1400 rpm/V", "rad/s/V", 1400 / 60 * TURN, 0.0),
    ("8 kJ/m^2", "J/m^2", 8000.0, 0.0),
    ("0.8 J/cm^2", "J/m^2", 8000.0, 0.0),
    ("4e-5 kg m^2", "kg m^2", 4e-5, 0.0),
    ("400 g*cm^2", "kg m^2", 4e-5, 0.0),
    ("400 g·cm²", "kg m^2", 4e-5, 0.0),
    ("2.7 g/cm^3", "kg/m^3", 2700.0, 0.0),
    ("12 J/K", "J/K", 12.0, 0.0),
    ("12 J/degC", "J/K", 12.0, 0.0),
    ("200 W/(m K)", "W/m/K", 200.0, 0.0),
    ("3 min", "s", 180.0, 0.0),
    ("60 mph", "m/s", 26.8224, 0.0),
    ("90 km/h", "m/s", 25.0, 0.0),
    ("0.75", "", 0.75, 0.0),
    ("0.75 ± 0.05", "", 0.75, 0.05),
    ("0.75 ± 4 %", "", 0.75, 0.03),
]
REFUSED = [
    *(("18", "kg"), ("18 ± 1", "kg"), ("18 mm", "kg"), ("18 g ± 1 mm", "kg"), ("18,5 g", "kg"), ("18 g ± -1 g", "kg")),
    *(("18 g limits", "kg"), ("", "kg"), ("g", "kg"), ("18 g 3", "kg"), ("18 ± 1 ± 2 g", "kg"), ("1e999 g", "kg")),
    *(("(18 ± 0.4 g", "kg"), ("nan g", "kg"), ("0x10 g", "kg"), ("1_000 g", "kg"), ("18 KG", "kg"), ("18 g g", "kg")),
    *(("18 ± 2 % g", "kg"), ("18 __import__", "kg"), ("18 " + "m" * 99, "kg"), ("18 g^999999999", "kg")),
    *(("20 /s", "rad/s"), ("20 Hz", "rad/s"), ("20 s^-1", "rad/s"), ("1400 /s/V", "rad/s/V"), ("2 rpm", "1/s")),
    *(("110 degC ± 2 %", "K"), ("600 g", "m/s^2"), ("5 %", ""), ("5 mm", ""), ("0.7 ± 5 mm", "")),
]


@pytest.mark.parametrize("text, unit, value, uncertainty", SPELLINGS)
def test_every_notation_gives_value_and_uncertainty(text: str, unit: str, value: float, uncertainty: float) -> None:
    found = parse(text, unit, "1")
    assert found.value == pytest.approx(value, rel=1e-14)
    assert found.standard_uncertainty == pytest.approx(uncertainty, rel=1e-12)
    assert found.rectangular == ("limits" in text)


@pytest.mark.parametrize("text", ["4.02 mm", "0.402 cm", "4.02e-3 m"])
def test_equal_lengths_in_different_units_are_identical(text: str) -> None:
    # Exact: a planned crush is written in millimetres and must read back as the same number.
    assert parse(text, "m", "1").value == 0.00402


@pytest.mark.parametrize("text, unit", REFUSED)
def test_invalid_quantity_is_refused_with_a_hint(text: str, unit: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse(text, unit, "an example")
    assert caught.value.hint


@pytest.mark.parametrize(
    "text, unit, hint",
    [
        ("600 g", "m/s^2", 'for multiples of standard gravity write "600 g_0"'),
        ("2.2 aH", "C", 'did you mean "Ah"? write it like "2.2 Ah"'),
        ("18 KG", "kg", 'did you mean "kg"? write it like "2.2 Ah"'),
        ("5 %", "", "write 0.05"),
        ("18,5 g", "kg", 'decimals have a point, not a comma; write it like "2.2 Ah"'),
    ],
)
def test_hint_of_a_common_mistake(text: str, unit: str, hint: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse(text, unit, "2.2 Ah")
    assert caught.value.hint == hint


@pytest.mark.parametrize(
    "text, value, unit",
    [
        ("40 kN/m", 40e3, "N/m"),
        ("40 N/mm", 40e3, "N/m"),
        ("5e6 N/m^1.5", 5e6, "N/m^1.5"),
        ("5 N/mm^1.5", 5 * 1000**1.5, "N/m^1.5"),
        ("5 kN/m**2", 5e3, "N/m^2"),
    ],
)
def test_stiffness_unit_follows_the_exponent(text: str, value: float, unit: str) -> None:
    found = parse_stiffness(text, "40 kN/m")
    assert (found.value, found.unit) == (pytest.approx(value, rel=1e-12), unit)


@pytest.mark.parametrize("text", ["40 kN", "40", "3 kg/m", "3 N m", "3 florins"])
def test_invalid_stiffness_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_stiffness(text, "40 kN/m")


UNITS = [
    ("kg", "g"), ("kg", "oz"), ("m", "mm"), ("m", "in"), ("m/s", "km/h"), ("rad/s", "rpm"), ("1/s", "/min"),
    ("s", "min"), ("K", "degC"), ("K", "K"), ("C", "Ah"), ("ohm", "mohm"), ("N/m^1.5", "kN/m^1.5"),
    ("rad/s/V", "rpm/V"), ("", ""), ("kg m^2", "g cm^2"), ("J/m^2", "kJ/m^2"), ("Pa", "MPa"),
]  # fmt: skip
SIZES = st.floats(1e-6, 1e9)


@given(st.sampled_from(UNITS), SIZES, st.one_of(st.just(0.0), st.floats(1e-5, 0.5)))
def test_written_quantity_reads_back(units: tuple[str, str], value: float, share: float) -> None:
    unit, written = units
    text = format_quantity(value, share * value, unit, written=written)
    found = parse(text, unit, "1")
    # two digits of the uncertainty are kept; without one, ten digits of the value, of a temperature in degC of 273.15 K
    assert found.standard_uncertainty == pytest.approx(share * value, rel=0.06)
    assert found.value == pytest.approx(value, abs=0.051 * share * value + 1e-9 * (value + 300 * (unit == "K")))


@given(SIZES, st.sampled_from(["kg", "m", "s", "N/m", "J", "W", "Pa", "ohm", "V", "N"]))
def test_readable_unit_gives_a_number_between_1_and_1000(value: float, unit: str) -> None:
    text = format_quantity(value, unit=unit)
    assert text.endswith(readable_unit(value, unit))
    if 1.0 <= value <= 1e5:
        assert 1.0 <= float(text.split()[0]) <= 1000.0 or unit in ("s", "m")


@pytest.mark.parametrize(
    "value, uncertainty, unit, text",
    [
        (0.018, 0.0004, "kg", "18.00 g ± 0.40 g"),
        (0.0180123, 0.00041, "kg", "18.01 g ± 0.41 g"),
        (0.018, 0.0, "kg", "18 g"),
        (41234.0, 996.0, "N/m", "41.2 kN/m ± 1.0 kN/m"),
        (383.15, 2.0, "K", "110.0 degC ± 2.0 K"),
        (0.7512, 0.0831, "", "0.751 ± 0.083"),
        (125.66370614359172, 0.0, "rad/s", "1200 rpm"),
        (2.0, 0.0, "1/s", "2 /s"),
        (4e-5, 2e-6, "kg m^2", "400 g cm^2 ± 20 g cm^2"),
        (0.0, 0.0, "m", "0 m"),
    ],
)
def test_quantity_is_written_to_two_digits(value: float, uncertainty: float, unit: str, text: str) -> None:
    assert format_quantity(value, uncertainty, unit) == text


def test_pint_is_imported_lazily() -> None:
    code = (
        "import sys, stager.config\nfrom stager.units import parse\nbefore = 'pint' in sys.modules\n"
        "parse('18 g', 'kg', '18 g')\nnames = ('pint', 'scipy.optimize', 'dask')\n"
        "print(before, *(name in sys.modules for name in names))\n"
        "import scipy.optimize, dask"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True", "False", "False"]
