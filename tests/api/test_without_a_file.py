"""Launchers built from values, changed launchers, and results as rows."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest

import stager

CONFIG = Path("configs/seed_ball.toml")
EXACT = {
    "projectile.mass": "18 g", "feed.speed": "1.2 m/s", "stage.crush": "4 mm", "contact.friction.static": 0.75,
    "contact.friction.sliding": 0.22, "contact.friction.fade_speed": "9 m/s",
}  # fmt: skip
"""Values without uncertainty, so that no ensemble is drawn."""
VALUES = tomllib.loads(CONFIG.read_text(encoding="utf-8"))


def test_launcher_from_values_equals_the_one_from_a_file() -> None:
    built, loaded = stager.build(VALUES), stager.load(CONFIG)
    assert float(built.simulate(12).exit_speed) == float(loaded.simulate(12).exit_speed)
    assert built.scenario.uncertain == loaded.scenario.uncertain


def test_invalid_value_is_an_input_error() -> None:
    with pytest.raises(stager.InputErrors, match=r"projectile\.mass"):
        stager.build({**VALUES, "projectile": {**VALUES["projectile"], "mass": "18 mm"}})


def test_replace_leaves_the_original_unchanged() -> None:
    launcher = stager.build(VALUES)
    heavier = launcher.replace({"projectile.mass": "25 g"})
    assert float(heavier.simulate(12).exit_speed) < float(launcher.simulate(12).exit_speed)
    assert float(launcher.scenario.launcher.projectile.mass) == pytest.approx(0.018)


def test_results_give_rows_of_plain_values() -> None:
    launcher = stager.build(VALUES)
    throw = launcher.simulate(12, 17)
    rows = throw.to_rows()
    assert [row["wheel_speed_m_s"] for row in rows] == [12.0, 17.0]
    assert rows[-1]["exit_speed_m_s"] == float(throw.exit_speed)
    limits = launcher.check(12).to_rows()
    assert {"name", "used", "allowed", "kept"} <= set(limits[0])
    curve = launcher.replace(EXACT).sweep(1)
    points = curve.to_rows()
    assert len(points) > 20
    assert set(points[0]) == {"wheel_speed_m_s", "exit_speed_m_s"}
    assert all(math.isfinite(value) for row in points for value in row.values())
