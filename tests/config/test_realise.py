"""A launcher built with other values than the file's, and the inheritance of stages from [stage]."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from stager.model.launcher import Scenario
from stager.physics import chain
from stager.physics.friction import Falling
from tests.config.test_load import loaded

STAGES = '[[stages]]\ncrush = "3 mm"\n[[stages]]\n[stages.wheel]\nradius = "30 mm"\n'


@pytest.fixture
def scenario(tmp_path: Path) -> Scenario:
    return loaded(tmp_path, ('layout = "pair"', 'layout = "pair"\nspeed = "600 rpm"'), end=STAGES).scenario()


def test_each_value_has_one_key(scenario: Scenario) -> None:
    assert scenario.values["stage.crush"] == 0.004
    assert scenario.values["stages.1.crush"] == 0.003
    assert scenario.values["stages.2.wheel.radius"] == 0.03
    assert "stages.2.crush" not in scenario.values
    assert "stages.1.wheel.radius" not in scenario.values
    assert not any(key.startswith(("limits", "goal")) for key in scenario.values)


def test_common_key_changes_the_stages_that_inherit_it(scenario: Scenario) -> None:
    launcher = scenario.realise({"stage.crush": 0.005, "stage.wheel.radius": 0.05, "stage.wheel.tyre.depth": 0.002})
    assert [launcher.stage(k).crush for k in range(4)] == [0.003, 0.005, 0.005, 0.005]
    assert [launcher.stage(k).wheel.radius for k in range(4)] == [0.05, 0.03, 0.05, 0.05]
    assert [launcher.stage(k).wheel.hub_radius for k in range(3)] == pytest.approx([0.048, 0.028, 0.048])


def test_stage_key_changes_that_stage_only(scenario: Scenario) -> None:
    launcher = scenario.realise({"stages.1.crush": 0.002, "stages.2.wheel.radius": 0.02})
    assert [launcher.stage(k).crush for k in range(3)] == [0.002, 0.004, 0.004]
    assert [launcher.stage(k).wheel.radius for k in range(3)] == [0.04, 0.02, 0.04]


def test_surface_speed_from_rpm_follows_the_radius(scenario: Scenario) -> None:
    turning = 20 * math.pi
    as_given, wider = scenario.launcher, scenario.realise({"stage.wheel.radius": 0.05})
    assert [as_given.stage(k).speed for k in range(3)] == pytest.approx([turning * r for r in (0.04, 0.03, 0.04)])
    assert [wider.stage(k).speed for k in range(3)] == pytest.approx([turning * r for r in (0.05, 0.03, 0.05)])
    assert scenario.realise({"stage.speed": 7.0, "stage.speed_b": 6.0}).stage(0).speed_b == 6.0


def test_keys_missing_in_the_file_can_be_set(scenario: Scenario) -> None:
    launcher = scenario.realise({"feed.rate": 3.0, "contact.friction.fade_exponent": 1.5})
    assert launcher.feed.rate == 3.0
    friction = launcher.contact.friction
    assert isinstance(friction, Falling)
    assert friction.fade_exponent == 1.5
    assert launcher.contact.rail_friction is friction


@pytest.mark.parametrize("key", ["stage.cruch", "stages.1.wheel.radius", "stages.4.crush", "limits.length"])
def test_key_without_effect_is_refused(key: str, scenario: Scenario) -> None:
    with pytest.raises(KeyError, match=key):
        scenario.realise({key: 1.0})


def test_arrays_of_values_give_the_results_of_single_values(scenario: Scenario) -> None:
    values = {
        "projectile.mass": np.array([0.016, 0.018, 0.021]),
        "contact.friction.static": np.array([0.6, 0.75, 0.8]),
        "stage.wheel.radius": np.array([0.035, 0.04, 0.05]),
        "stages.1.crush": np.array([0.002, 0.003, 0.004]),
    }
    speeds = np.array([12.0, 16.0])
    together = chain.throw(scenario.realise(values), speeds)
    rows = [{key: float(column[k]) for key, column in values.items()} for k in range(3)]
    single = [chain.throw(scenario.realise(row), speeds) for row in rows]
    np.testing.assert_allclose(together.exit_speed, [float(throw.exit_speed) for throw in single], rtol=1e-9)
    assert np.ptp(together.exit_speed) > 0.1


OVERRIDES = [
    ('pitch = "90 mm"', "", (None, 0.09)),
    ('clearance = "8 mm"', 'pitch = "95 mm"', (0.008, None)),
]


@pytest.mark.parametrize("own, common, found", OVERRIDES)
def test_pitch_and_clearance_override_each_other(
    own: str, common: str, found: tuple[float | None, float | None], tmp_path: Path
) -> None:
    whole = ('crush = "4 mm"', f'crush = "4 mm"\n{common}')
    launcher = loaded(tmp_path, whole, end=f"[[stages]]\n{own}\n").scenario().launcher
    clearance, pitch = found
    assert launcher.stages[0].pitch == pitch
    assert clearance is None or launcher.stages[0].clearance == clearance


def test_named_material_overrides_material_values(tmp_path: Path) -> None:
    full = ('material = "aluminium"', 'density = "1.1 g/cm^3"\nyield_strength = "40 MPa"')
    configuration = loaded(tmp_path, full, end='[[stages]]\n[stages.wheel]\nmaterial = "steel"\n')
    launcher = configuration.scenario().launcher
    common, own = launcher.template.wheel.material, launcher.stages[0].wheel.material
    assert common is not None
    assert own is not None
    assert (common.density, common.yield_strength) == (1100.0, 40e6)
    assert own.name == "steel"
    lighter = configuration.scenario().realise({"stage.wheel.density": 900.0})
    assert [lighter.stage(k).wheel.material.density for k in range(2)] == [own.density, 900.0]
    assert own.density > 7000
