"""Parts of a catalogue: chosen by number, written by a plan, counted in cost and mass."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager import api
from stager.config import load
from stager.physics.parts import choose, fitted
from tests.broken.corpus import RIGHT

PARTS = """cost = 40.0
mass = "600 g"
wheel_options = [
  {name = "small", radius = "30 mm", width = "18 mm", material = "acetal", mass = "30 g", cost = 4.0},
  {name = "wide", radius = "50 mm", inertia = "2e-4 kg m^2", cost = 9.0},
]
drive_options = [{name = "slow", speed_constant = "900 rpm/V", resistance = "90 mohm", cost = 3.0}]
"""
TEXT = RIGHT.replace('crush = "4 mm"\n', f'crush = "4 mm"\n{PARTS}').replace("stages = 4", "stages = 2")


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "parts.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_number_puts_the_part_in(tmp_path: Path) -> None:
    chosen = TEXT + '[[stages]]\nwheel_option = 1\nspeed = "3000 rpm"\n[[stages]]\ndrive_option = 1\n'
    launcher = load(_file(tmp_path, chosen)).scenario().launcher
    first, second = launcher.stages
    assert (first.wheel.name, first.wheel_options, len(first.drive_options)) == ("small", (), 1)
    assert first.speed == pytest.approx(3000 / 60 * 2 * 3.14159265 * 0.03)
    assert second.drive is not None
    assert (second.drive.name, second.drive_options, len(second.wheel_options)) == ("slow", (), 2)


def test_cost_and_mass_change_by_the_parts(tmp_path: Path) -> None:
    stage = load(_file(tmp_path, TEXT)).scenario().launcher.template
    assert fitted(stage, 0, 0).cost == 40.0
    assert fitted(stage, 1, 1).cost == pytest.approx(40.0 + 2 * (4.0 + 3.0))
    assert fitted(stage, 1, 0).mass is not None
    assert float(fitted(stage, 1, 0).mass or 0.0) < 0.6
    # The wide wheel's mass is not known: nothing is made up.
    assert fitted(stage, 2, 0).mass == 0.6
    assert choose(stage, None, None) == stage
    with pytest.raises(IndexError):
        fitted(stage, 3, 0)


def test_a_plan_writes_what_it_chose(tmp_path: Path) -> None:
    loaded = api.load(_file(tmp_path, TEXT.replace(" ± 0.5 g", "").replace(" ± 0.08", "")))
    plan = loaded.plan()
    assert plan.best is not None
    assert plan.catalogue is not None
    out = tmp_path / "planned.toml"
    loaded.save_plan(plan, out)
    again = api.load(out)
    wheels = [stage.wheel.name for stage in again.scenario.launcher.stages]
    assert wheels == [wheel if wheel != "as written" else "" for wheel, _ in plan.catalogue.chosen]
    assert float(again.throw().exit_speed) == pytest.approx(plan.best.exit_speed, rel=1e-5)
    assert again.plan().catalogue is None
