"""Limits by name: thermal classes, published limits on toys."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stager.config import load
from stager.constraints import exit_cap
from stager.errors import InputErrors
from stager.model.launcher import Scenario
from tests.broken.corpus import VALID

HEAT = """[stage.drive.heat]
winding_capacity = "9 J/K"
winding_to_case = "2 K/W"
case_capacity = "40 J/K"
case_to_air = "6 K/W"
"""


def _scenario_with_limit(tmp_path: Path, limit: str) -> Scenario:
    path = tmp_path / "named.toml"
    text = VALID.replace("[limits]\n", f"{HEAT}[limits]\n{limit}\n")
    path.write_text(text, encoding="utf-8")
    return load(path).scenario()


# IEC 60085:2007.
@pytest.mark.parametrize("name, celsius", [("A", 105), ("B", 130), ("F", 155), ("H", 180)])
def test_thermal_class_gives_its_temperature(name: str, celsius: float, tmp_path: Path) -> None:
    found = _scenario_with_limit(tmp_path, f'winding_temperature = "class {name}"').limit_values.winding_temperature
    assert found == pytest.approx(celsius + 273.15)


def test_unknown_thermal_class_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputErrors, match="winding_temperature"):
        _scenario_with_limit(tmp_path, 'winding_temperature = "class Q"')


@pytest.mark.parametrize(
    "name, energy",
    [
        # 2500 J/m^2 on the contact area, here the circle of 38 mm; 0.5 J and 0.08 J whatever its size.
        ("ASTM F963-17", 2500 * np.pi * 0.019**2),
        ("EN 71-1 before A1:2018 (resilient)", 0.5),
        ("EN 71-1 before A1:2018 (rigid)", 0.08),
    ],
)
def test_toy_limit_caps_the_exit_speed(name: str, energy: float, tmp_path: Path) -> None:
    given = _scenario_with_limit(tmp_path, f'toy = "{name}"')
    projectile = replace(given.launcher.projectile, contact_area=np.pi * 0.019**2)
    launcher = replace(given.launcher, projectile=projectile)
    assert exit_cap(launcher, given.limit_values) == pytest.approx(np.sqrt(2 * energy / 0.018))
