"""Launchers built from values, changed launchers, and results as rows."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

import stager
from stager.api.results import table_rows
from stager.config.toml import show_tree

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


@pytest.mark.parametrize(
    ("key", "value", "same"),
    [
        ("contact.rebound", np.float64(0.7), 0.7), ("limits.stages", np.int64(2), 2),
        ("stage.drive.governed", np.bool_(True), True), ("title", np.str_("thrower"), "thrower"),
        ("stage.crush_range", ("2 mm", "6 mm"), ["2 mm", "6 mm"]),
        ("measuring", {"exit_speed": np.float64(1.01)}, {"exit_speed": 1.01}),
    ],
)  # fmt: skip
def test_values_of_numpy_and_tuples_are_as_those_of_python(key: str, value: object, same: object) -> None:
    launcher = stager.load(CONFIG)
    assert launcher.replace({key: value}).configuration.raw == launcher.replace({key: same}).configuration.raw
    parts = [{"title": "", "x": one} for one in (value, same)]
    assert show_tree(parts[0]) == show_tree(parts[1])


@pytest.mark.parametrize("value", [None, Path("x"), b"bytes", {1, 2}])
def test_a_value_that_no_file_can_hold_is_an_input_error_at_its_key(value: object) -> None:
    with pytest.raises(stager.InputErrors, match=r"seed_ball\.toml: contact\.rebound: cannot be"):
        stager.load(CONFIG).replace({"contact.rebound": value})


def test_an_unknown_trade_is_an_input_error() -> None:
    with pytest.raises(stager.InputError, match="nothing to trade for"):
        stager.load(CONFIG).plan(trade="colour")


def test_rows_of_a_curve_have_no_cells_of_measured_throws() -> None:
    points, records = [1.0, 2.0], [{"throw": 1.0}, {"throw": 2.0}]
    document = {"wheel_speed_m_s": points, "exit_speed_m_s": points, "measured": records}
    assert table_rows(document, "wheel_speed_m_s") == [
        {"wheel_speed_m_s": 1.0, "exit_speed_m_s": 1.0}, {"wheel_speed_m_s": 2.0, "exit_speed_m_s": 2.0}
    ]  # fmt: skip


def test_picture_of_a_stage_that_always_jams_says_so() -> None:
    slippery = {"law": "constant", "coefficient": 0.02}
    picture = stager.load(CONFIG, {"contact.friction": slippery}).sweep(1).picture()
    assert picture.alt.endswith("It jams at every wheel speed.")
    assert picture.caption.startswith("It jams at every wheel speed.")


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
