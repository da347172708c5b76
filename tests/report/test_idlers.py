"""An idler is not set to a speed, and no screen says so."""

from __future__ import annotations

import re

import pytest

import stager
from tests.cli.run import ROOT

IDLER = {"stage.layout": "idler", "stage.idler.inertia": "4e-5 kg m^2", "limits.stages": 2}


@pytest.mark.parametrize("rods", [False, True])
def test_settings_of_stages_with_idlers_have_one_speed_each(rods: bool) -> None:
    rod = {"projectile.shape": "rod", "projectile.length": "60 mm", "stage.crush": "1 mm"} if rods else {}
    launcher = stager.load(ROOT / "configs" / "seed_ball.toml").replace(IDLER | rod)
    plan = launcher.plan(draws=0)
    assert plan.best is not None
    assert plan.best.count > 0
    for answer in (plan, launcher.simulate(*plan.wheel_speed), launcher.check(*plan.wheel_speed)):
        screen = answer.answer().screen
        assert screen is not None
        for table in screen.tables:
            cells = [cell for row in table.rows for cell in row]
            assert not [cell for cell in cells if re.fullmatch(r"[\d.]+:[\d.]+", cell)]
            assert "side B" not in [column.head for column in table.columns]
