"""Parts of a catalogue: chosen by number, written by a plan, counted in cost and mass."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from stager import api
from stager.config import load, ranges, variable_values
from stager.errors import InputErrors
from stager.model.stage import PAIR, Stage, Wheel
from stager.physics.parts import choose, fitted, with_variables
from stager.physics.wheel import WHEEL_MATERIALS, wheel_inertia
from tests.broken.corpus import VALID

PARTS = """cost = 40.0
mass = "600 g"
wheel_options = [
  {name = "small", radius = "30 mm", width = "18 mm", material = "acetal", mass = "30 g", cost = 4.0},
  {name = "wide", radius = "50 mm", inertia = "2e-4 kg m^2", cost = 9.0},
]
drive_options = [{name = "slow", speed_constant = "900 rpm/V", resistance = "90 mohm", cost = 3.0}]
"""
TEXT = VALID.replace('crush = "4 mm"\n', f'crush = "4 mm"\n{PARTS}').replace("stages = 4", "stages = 2")


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "parts.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_option_number_selects_the_part(tmp_path: Path) -> None:
    chosen = TEXT + '[[stages]]\nwheel_option = 1\nspeed = "3000 rpm"\n[[stages]]\ndrive_option = 1\n'
    launcher = load(_file(tmp_path, chosen)).scenario().launcher
    first, second = launcher.stages
    assert (first.wheel.name, first.wheel_options, len(first.drive_options)) == ("small", (), 1)
    assert first.speed == pytest.approx(3000 / 60 * 2 * 3.14159265 * 0.03)
    assert second.drive is not None
    assert (second.drive.name, second.drive_options, len(second.wheel_options)) == ("slow", (), 2)


def test_cost_and_mass_follow_the_selected_parts(tmp_path: Path) -> None:
    bare = load(_file(tmp_path, TEXT)).scenario().launcher.template
    assert bare.drive is not None
    assert fitted(bare, 0, 0).cost == 40.0
    assert fitted(bare, 1, 0).cost is None  # The wheel as written has no price.
    stage = replace(bare, wheel=replace(bare.wheel, cost=1.0), drive=replace(bare.drive, cost=2.0))
    assert fitted(stage, 1, 1).cost == pytest.approx(40.0 + 2 * (4.0 - 1.0 + 3.0 - 2.0))
    assert fitted(stage, 1, 0).mass is not None
    assert float(fitted(stage, 1, 0).mass or 0.0) < 0.6
    assert fitted(stage, 2, 0).mass is None  # The wide wheel's mass is unknown.
    assert choose(stage, None, None) == stage
    with pytest.raises(IndexError):
        fitted(stage, 3, 0)


def test_plan_writes_the_selected_parts(tmp_path: Path) -> None:
    loaded = api.load(_file(tmp_path, TEXT.replace(" ± 0.5 g", "").replace(" ± 0.08", "")))
    plan = loaded.plan()
    assert plan.best is not None
    assert plan.catalogue is not None
    out = tmp_path / "planned.toml"
    loaded.save_plan(plan, out)
    again = api.load(out)
    wheels = [stage.wheel.name for stage in again.scenario.launcher.stages]
    assert wheels == [wheel if wheel != "as written" else "" for wheel, _ in plan.catalogue.chosen]
    assert float(again.simulate().exit_speed) == pytest.approx(plan.best.exit_speed, rel=1e-5)
    assert again.plan().catalogue is None


RANGED_CRUSH = VALID.replace('crush = "4 mm"\n', 'crush = "4 mm ± 0.2 mm"\ncrush_range = ["2 mm", "6 mm"]\n').replace(
    "stages = 4", 'stages = 2\nslip_heat = "1 J"\ngrip_margin = 0.05'
)


def test_plan_writes_each_stage_crush_with_its_uncertainty(tmp_path: Path) -> None:
    loaded = api.load(_file(tmp_path, RANGED_CRUSH))
    plan = loaded.plan(draws=0)
    assert plan.best is not None
    assert plan.catalogue is not None
    assert not plan.catalogue.one_for_all
    out = tmp_path / "planned.toml"
    loaded.save_plan(plan, out)
    again = api.load(out)
    assert [float(stage.crush) for stage in again.scenario.launcher.stages] == list(plan.catalogue.design["crush"])
    assert again.scenario.launcher.template.crush_range is None
    spreads = {each.key: each.standard_uncertainty for each in again.scenario.uncertain}
    assert [spreads[f"stages.{number}.crush"] for number in (1, 2)] == pytest.approx([2e-4, 2e-4])
    assert float(again.simulate().exit_speed) == pytest.approx(plan.best.exit_speed, rel=1e-5)


def test_common_crush_is_written_as_one_key(tmp_path: Path) -> None:
    half = RANGED_CRUSH.replace("4 mm ± 0.2 mm", "0.4 cm ± 5 % limits") + '[[stages]]\n[[stages]]\ncrush = "3 mm"\n'
    configuration = load(_file(tmp_path, half))
    # With `limits`, ± is the half-width, 5 % of 4 mm.
    stages = [configuration.scenario().launcher.stage(k) for k in range(2)]

    def values(*crushes: float) -> dict[str, str]:
        return variable_values(configuration, [replace(one, crush=c) for one, c in zip(stages, crushes, strict=True)])

    assert values(0.005, 0.005) == {
        "stage.crush": '"0.5 cm ± 0.02 cm limits"', "stages.2.crush": '"5 mm"',
    }  # fmt: skip
    assert values(0.004, 0.003) == {}
    assert ranges(configuration) == ["stage.crush_range"]


WHEELS = VALID.replace(
    'radius = "40 mm"\n', 'radius = "40 mm ± 0.1 mm"\nradius_range = ["25 mm", "60 mm"]\n', 1
).replace("stages = 4", 'stages = 1\nlength = "100 mm"')


def test_plan_writes_the_selected_wheel_radius_and_inertia(tmp_path: Path) -> None:
    both = 'material = "aluminium"\ninertia_range = ["1e-5 kg m^2", "1 kg m^2"]'
    given = WHEELS.replace('material = "aluminium"', both)
    loaded = api.load(_file(tmp_path, given))
    plan = loaded.plan(draws=0)
    assert plan.best is not None
    assert plan.catalogue is not None
    made = plan.best.design.launcher.stage(0)
    out = tmp_path / "planned.toml"
    loaded.save_plan(plan, out)
    again = api.load(out)
    wheel = again.scenario.launcher.stage(0).wheel
    assert (wheel.radius_range, wheel.inertia_range) == (None, None)
    assert float(wheel.radius) == pytest.approx(plan.catalogue.design["radius"][0], rel=1e-9)
    assert float(wheel_inertia(wheel)) == pytest.approx(plan.catalogue.design["inertia"][0], rel=1e-5)
    assert float(wheel_inertia(wheel)) == pytest.approx(float(wheel_inertia(made.wheel)), rel=1e-5)
    assert float(again.simulate().exit_speed) == pytest.approx(plan.best.exit_speed, rel=1e-5)
    spreads = {each.key: each.standard_uncertainty for each in again.scenario.uncertain}
    # ± 0.1 mm of 40 mm, scaled by ratio.
    assert spreads["stage.wheel.radius"] == pytest.approx(float(wheel.radius) * 0.1 / 40, rel=1e-2)


def test_wheel_of_another_radius_scales_mass_and_inertia() -> None:
    # Mass of a disc scales with R², inertia with R⁴; both scale with the width.
    wheel = Wheel(radius=0.04, inertia=4e-5, mass=0.05, width=0.02)
    stage = Stage(layout=PAIR, wheel=wheel, crush=0.004, mass=0.6)
    larger = with_variables(stage, {"radius": 0.06})
    assert (larger.wheel.inertia, larger.wheel.mass) == (pytest.approx(4e-5 * 1.5**4), pytest.approx(0.05 * 1.5**2))
    assert larger.mass == pytest.approx(0.6 + 2 * 0.05 * (1.5**2 - 1))
    wider = with_variables(larger, {"inertia": 2 * 4e-5 * 1.5**4})
    assert (wider.wheel.width, wider.wheel.mass) == (pytest.approx(0.04), pytest.approx(0.1 * 1.5**2))
    assert wider.wheel.radius == 0.06


def test_inertia_of_a_wheel_with_geometry_is_set_by_its_width() -> None:
    wheel = Wheel(radius=0.04, width=0.02, bore=0.005, material=WHEEL_MATERIALS["acetal"])
    wider = with_variables(Stage(layout=PAIR, wheel=wheel, crush=0.004), {"inertia": 1.7 * wheel_inertia(wheel)})
    assert wider.wheel.inertia is None
    assert wider.wheel.width == pytest.approx(1.7 * 0.02)
    assert wheel_inertia(wider.wheel) == pytest.approx(1.7 * wheel_inertia(wheel))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('radius = "40 mm"\nradius_range = ["45 mm", "60 mm"]', "radius: must lie within radius_range, 45 mm to 60 mm"),
        ('radius = "40 mm"\nradius_range = ["2 mm", "60 mm"]', "radius_range: must begin above"),
        ('radius = "40 mm"\nradius_range = ["60 mm", "20 mm"]', "radius_range: must rise"),
        ('radius = "40 mm"\ninertia_range = ["2 mm", "6 mm"]', "inertia_range"),
    ],
)  # fmt: skip
def test_invalid_range_of_radius_or_inertia_is_an_input_error(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputErrors, match=message):
        load(_file(tmp_path, VALID.replace('radius = "40 mm"', text, 1)))


def test_crush_at_its_limit_loads_in_any_unit(tmp_path: Path) -> None:
    # 0.3 cm is 0.0030000000000000001 m in binary, 3 mm is 0.003 m.
    text = VALID.replace('diameter = "38 mm"\n', 'diameter = "38 mm"\nmax_crush = "3 mm"\n', 1)
    path = tmp_path / "a.toml"
    for crush in ("3 mm", "0.3 cm", "0.003 m"):
        path.write_text(text.replace('crush = "4 mm"', f'crush = "{crush}"'), encoding="utf-8")
        load(path)
