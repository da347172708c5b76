"""Reading tables of throws as spreadsheets write them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stager.config import load
from stager.errors import InputErrors
from stager.fit.table import Throws, read, reader
from stager.model.launcher import Launcher
from stager.units import convert
from tests.drive.machines import DRIVE
from tests.drive.machines import launcher as driven

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def launcher() -> Launcher:
    return load(ROOT / "configs/seed_ball.toml").scenario().launcher


def _read(tmp_path: Path, launcher: Launcher, text: str) -> Throws:
    path = tmp_path / "throws.csv"
    path.write_bytes(text.encode())
    return read(path, launcher)


@pytest.mark.parametrize("unit", ["m/s", "km/h"])
@pytest.mark.parametrize("step", [0.001, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0])
def test_step_of_the_chronograph_is_read_from_its_column(
    tmp_path: Path, launcher: Launcher, step: float, unit: str
) -> None:
    speeds = step * np.array([47, 59, *np.random.default_rng(1).integers(20, 60, 12)])
    rows = "".join(f"12,{speed:.9g}\n" for speed in (*speeds, 0.0))
    found = _read(tmp_path, launcher, f"wheel_1 [m/s],exit_speed [{unit}]\n{rows}").step
    assert found is not None
    np.testing.assert_allclose(found[:-1], step / speeds)
    assert np.isnan(found[-1])


def test_distance_that_is_measured_once_gives_no_step(tmp_path: Path, launcher: Launcher) -> None:
    table = "wheel_1 [m/s],flight_time [ms],distance [m]\n12,500,5\n12,251,5\n"
    found = _read(tmp_path, launcher, table).step
    assert found is not None
    np.testing.assert_allclose(found, [1 / 500, 1 / 251], rtol=0.01)  # Drag adds little.


def _errors(tmp_path: Path, launcher: Launcher, text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        _read(tmp_path, launcher, text)
    return [str(error).replace(str(tmp_path / "throws.csv"), "T") for error in caught.value.errors]


def test_units_builds_and_missing_stages_are_read(tmp_path: Path, launcher: Launcher) -> None:
    throws = _read(
        tmp_path, launcher,
        "# a fine evening\nthrow,build,wheel_1 [rpm],wheel_2 [m/s],exit_speed [km/h],note\n"
        "3,A,3000,,36,first\n\n5,B,3000,15.5,54,\n7,B,,14,,slipped\n",
    )  # fmt: skip
    assert throws.exit_speed == pytest.approx([10.0, 15.0])
    assert throws.order.tolist() == [3, 5]
    assert throws.build.tolist() == ["A", "B"]
    assert throws.line.tolist() == [3, 5]
    assert throws.without_speed == (6,)
    assert throws.present.tolist() == [[True, False], [True, True]]
    speeds = throws.chosen(throws.present[:, 1]).surface_speed(launcher, (0, 1), 0)[0]
    # 3000 rpm of a wheel of 40 mm: 2π·50·0.04.
    assert speeds == pytest.approx([100 * math.pi * 0.04, 15.5])


def test_equal_settings_share_a_number(tmp_path: Path, launcher: Launcher) -> None:
    throws = _read(tmp_path, launcher, "wheel_1 [rpm],exit_speed [m/s]\n3000,9\n2500,8\n3000,9.1\n")
    assert throws.settings[0] == throws.settings[2] != throws.settings[1]


def test_decimal_commas_and_semicolons_are_read(tmp_path: Path, launcher: Launcher) -> None:
    text = "\ufeffsep=;\nThrow;Wheel 1 (rpm);Exit speed (m/s);;\n1;3.000;9,25;;\n2;3.200,5;9,5;;\n;;;;\n"
    assert "two ways" in _errors(tmp_path, launcher, text)[0]
    throws = _read(tmp_path, launcher, text.replace("3.000", "3000"))
    assert throws.exit_speed == pytest.approx([9.25, 9.5])
    assert throws.wheels[0].values[1] == pytest.approx(3200.5 * math.pi / 30)


def test_comma_before_three_digits_is_ambiguous_alone(tmp_path: Path, launcher: Launcher) -> None:
    head = "wheel_1 [rpm];exit_speed [m/s]\n"
    assert "two ways" in _errors(tmp_path, launcher, head + "3000;9,125\n")[0]
    assert _read(tmp_path, launcher, head + "3000;9,125\n3000;9,5\n").exit_speed[0] == 9.125
    assert _read(tmp_path, launcher, head + "3,000;9.5\n").wheels[0].values[0] == pytest.approx(100 * math.pi)


def test_throttle_is_converted_by_drive_and_supply(tmp_path: Path, launcher: Launcher) -> None:
    head = "throttle_1 [%],exit_speed [m/s],supply [V]\n"
    throws = _read(tmp_path, launcher, head + "40,8,14.8\n40,7,12\n40,8,\n")
    full, flat, own = throws.surface_speed(launcher, (0,), 0)[:, 0]
    # Kv · throttle · V · R, less the effect of windage and no-load current.
    assert 0.9 * 1400 * math.pi / 30 * 0.4 * 14.8 * 0.04 < full < 1400 * math.pi / 30 * 0.4 * 14.8 * 0.04
    assert flat < full
    assert own == pytest.approx(full)


KINDS = {
    "m/s": reader.SPEEDS, "rad/s": reader.TURNING, "V": reader.VOLTS, "K": reader.TEMPERATURES, "m": reader.LENGTHS,
    "s": reader.TIMES,
}  # fmt: skip
ELSEWHERE = {"1/min": "rpm", "C": "degC"}
"""Units that mean something else in a configuration, with the unit that they mean in a table."""


@pytest.mark.parametrize("written, si", [(name, si) for si, found in KINDS.items() for name in found])
def test_units_of_tables_are_those_of_configurations(written: str, si: str) -> None:
    for value in (0.0, 7.5):
        assert KINDS[si][written].to_si(value) == pytest.approx(convert(value, ELSEWHERE.get(written, written), si))
        assert KINDS[si][written].from_si(KINDS[si][written].to_si(value)) == pytest.approx(value, abs=1e-12)


def test_throttle_of_many_launchers_turns_the_wheels_of_each(tmp_path: Path) -> None:
    def powered(constant: Any, radius: Any) -> Launcher:
        return driven(drive=replace(DRIVE, speed_constant=constant), radius=radius)

    each = [(160.0, 0.05), (150.0, 0.045), (130.0, 0.04), (90.0, 0.03)]
    head = "throttle_1 [%],throttle_2 [%],exit_speed [m/s],supply [V]\n"
    throws = _read(tmp_path, powered(150.0, 0.04), head + "40,50,8,14.8\n40,60,7,12\n35,60,8,\n")
    together = throws.surface_speed(powered(*np.array(each).T[:, :, None]), (0, 1), 0)
    assert together.shape == (4, 3, 2)
    for row, one in zip(together, each, strict=True):
        assert row == pytest.approx(throws.surface_speed(powered(*one), (0, 1), 0), rel=1e-9)
    assert (np.diff(together, axis=0) < 0).all()


def test_two_wheel_speeds_of_a_pair_are_read(tmp_path: Path, launcher: Launcher) -> None:
    throws = _read(tmp_path, launcher, "wheel_1 [m/s],wheel_1b [m/s],exit_speed [m/s]\n10,8,9\n10,,10\n")
    assert throws.surface_speed(launcher, (0,), 1)[:, 0].tolist() == [8, 10]


def test_all_errors_are_reported_together(tmp_path: Path, launcher: Launcher) -> None:
    found = _errors(
        tmp_path, launcher,
        "throw,weel_1 [rpm],wheel_1 [furlong],wheel_2 [rpm],throttle_3 [%],exit_speed [m/s],exit_speed [m/s]\n"
        "1,,,3000,50,fast,\n2,,,-5,120,9,,8\n",
    )  # fmt: skip
    assert [line.split(": ", 2)[0] for line in found] == ["T:1", "T:1", "T:1", "T:2", "T:3", "T:3", "T:3"]
    for line, words in zip(
        found,
        ("weel_1", "furlong", "there already", '"fast" is not a number', "8 cells", "0 or more", "full throttle"),
        strict=True,
    ):
        assert words in line


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no table"),
        ("wheel_1 [rpm]\n3000\n", "no column exit_speed"),
        ("exit_speed [m/s]\n9\n", "no column of wheel speeds"),
        ("wheel_1,exit_speed [m/s]\n9,9\n", "names no unit"),
        ("wheel_0 [rpm],exit_speed [m/s]\n9,9\n", "counted from 1"),
        ("wheel_1b [rpm],exit_speed [m/s]\n9,9\n", "without its side A"),
        ("wheel_1 [rpm],exit_speed [m/s]\n,9\n", "no wheel speed at all"),
        ("wheel_1 [rpm],wheel_1b [rpm],exit_speed [m/s]\n,9,9\n", "none of side A"),
    ],
)
def test_missing_columns_and_values_are_input_errors(tmp_path: Path, launcher: Launcher, text: str, words: str) -> None:
    assert words in "\n".join(_errors(tmp_path, launcher, text))


def test_throttle_without_drive_is_an_input_error(tmp_path: Path, launcher: Launcher) -> None:
    bare = replace(launcher, template=replace(launcher.template, drive=None))
    assert "stage.drive" in _errors(tmp_path, bare, "throttle_1 [%],exit_speed [m/s]\n40,9\n")[0]


def test_unknown_columns_are_ignored_and_listed(tmp_path: Path, launcher: Launcher) -> None:
    throws = _read(tmp_path, launcher, "wheel_1 [rpm],exit_speed [m/s],operator\n3000,9,Kim\n")
    assert throws.passed == ("operator",)


def test_missing_file_is_an_input_error(tmp_path: Path, launcher: Launcher) -> None:
    with pytest.raises(InputErrors, match="no such file"):
        read(tmp_path / "missing.csv", launcher)
