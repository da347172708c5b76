"""What is said of a projectile that jams: its cause, without which it gets through."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import stager
from stager.api import Loaded
from stager.config.scaffold import start
from tests.cli.run import TEMPLATE

RAIL = "contact.rail_friction.coefficient"


@pytest.fixture
def rods(tmp_path: Path) -> Loaded:
    """Return the starting launcher of rods on rails."""
    path = tmp_path / "rods.toml"
    answers = {"shape": "rod", "layout": "rail", "mass": "1.2 g", "width": "12.7 mm", "length": "72 mm"}
    path.write_text(start(TEMPLATE.read_text(encoding="utf-8"), path, answers), encoding="utf-8")
    return stager.load(path)


@pytest.mark.parametrize(
    ("jams", "throws", "reason"),
    [
        ({RAIL: 0.8}, {RAIL: 0.1}, "needs a rail that rubs less"),
        ({"stage.wheel.inertia": "2e-8 kg m^2"}, {"stage.wheel.inertia": "2e-5 kg m^2"}, "stops its wheel"),
        ({"stage.crush": "4 mm"}, {"stage.crush": "0.6 mm"}, "pushes back harder"),
    ],
)
def test_cause_of_a_jam_is_told(rods: Loaded, jams: dict[str, Any], throws: dict[str, Any], reason: str) -> None:
    jammed = rods.replace(jams).simulate(12)
    assert jammed.jammed
    screen = jammed.answer().screen
    assert screen is not None
    assert reason in screen.headline
    assert not rods.replace(throws).simulate(12).jammed
