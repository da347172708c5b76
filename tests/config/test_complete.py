"""A configuration with every key: it passes the checks and each key reaches the launcher."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stager.config import schema_json
from stager.config.configuration import Configuration
from stager.config.load import check, merged, read_tree
from stager.config.tables import File
from stager.model.launcher import Measuring, Outlet, Pusher

PATH = Path(__file__).parent / "complete.toml"
TEXT = PATH.read_text(encoding="utf-8")
RAW = read_tree(PATH, TEXT)


@pytest.fixture
def whole() -> Configuration:
    return Configuration(path=PATH, text=TEXT, sha256="", raw=RAW, tree=RAW, file=File.model_validate(merged(RAW)))


def test_complete_configuration_passes_the_checks(whole: Configuration) -> None:
    assert check(whole.file) == []


def _keys(tree: Any) -> set[str]:
    if isinstance(tree, list):
        return {key for item in tree for key in _keys(item)}
    return {*tree, *(key for item in tree.values() for key in _keys(item))} if isinstance(tree, dict) else set()


def test_complete_configuration_has_every_key_of_the_schema() -> None:
    others = {"draws", "spin", "peak", "peak_speed", "width", "case_to_air", "rise_speed"}
    others |= {"wheel_list", "drive_list", "batteries", "battery_list"}  # Beside a list, options are not written out.
    known = {key for table in schema_json()["$defs"].values() for key in table["properties"]}
    assert known - _keys(RAW) <= others


def test_every_key_reaches_the_launcher(whole: Configuration) -> None:
    scenario = whole.scenario()
    launcher, limits = scenario.launcher, scenario.limit_values
    assert launcher.contact.stiffness == pytest.approx(5e6)
    assert (launcher.feed.push, launcher.feed.session) == (3.0, 180.0)
    assert launcher.feed.magazine == 40
    assert launcher.feed.spin == pytest.approx(2 * 6.283185307179586)
    assert launcher.feed.pusher == Pusher(force=6.0, travel=0.03, return_time=0.1)
    assert launcher.projectile.contact_area == pytest.approx(6e-5)
    assert limits.confidence == 0.9
    assert launcher.template.drive is not None
    assert launcher.template.drive.max_speed == pytest.approx(25000 * 0.10471975511965977)
    assert launcher.template.drive.heat is not None
    assert launcher.template.drive.heat.fin_conductivity == 200.0
    assert launcher.supply is not None
    assert launcher.supply.capacity == pytest.approx(7920)
    assert launcher.supply.cells == 4
    assert launcher.template.wheel.radius_range == pytest.approx((0.03, 0.05))
    assert launcher.template.wheel.inertia_range == pytest.approx((2e-5, 8e-5))
    assert [stage.layout.name for stage in launcher.stages] == ["pair", "rail", "idler"]
    assert launcher.stages[1].speed == pytest.approx(4000 * 0.10471975511965977 * 0.04)
    assert launcher.stages[2].pitch == 0.095
    assert [wheel.radius for wheel in launcher.stages[2].wheel_options] == [0.03]
    assert [len(stage.drive_options) for stage in launcher.stages] == [0, 1, 1]
    assert (limits.winding_temperature, limits.acceleration) == (383.15, pytest.approx(5883.99))
    assert scenario.values["stage.wheel.tyre.hardness"] == 70
    assert launcher.outlet == Outlet(loss=0.1, length=0.08)
    assert launcher.measuring == Measuring(wheel_speed=1.0, exit_speed=1.0, distance=2.0)
    assert scenario.realise(scenario.values) == launcher


def test_values_of_optional_parts_can_be_set(whole: Configuration) -> None:
    values = {"stage.wheel_options.1.radius": 0.035, "stage.drive_options.1.resistance": 0.1}
    launcher = whole.scenario().realise(values)
    assert launcher.template.wheel_options[0].radius == 0.035
    assert launcher.stages[1].drive_options[0].resistance == 0.1
