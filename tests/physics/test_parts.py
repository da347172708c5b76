"""What a stage costs and weighs with other parts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from stager.model.stage import PAIR, RAIL, Layout, Stage
from stager.physics.parts import fitted
from stager.physics.wheel import wheel_mass
from tests.drive.machines import DRIVE, launcher, wheel


def _stage(layout: Layout = PAIR, **options: Any) -> Stage:
    return replace(launcher(layout=layout).template, **options)


@pytest.mark.parametrize("layout, driven", [(PAIR, 2), (RAIL, 1)], ids=["pair", "rail"])
def test_other_wheels_add_the_mass_that_follows_from_their_material(layout: Layout, driven: int) -> None:
    wider = wheel(width=0.025, cost=3.0)
    stage = _stage(layout, wheel_options=(wider,))
    other = fitted(stage, 1, 0)
    assert wheel_mass(wider) > wheel_mass(wheel())
    assert other.mass == pytest.approx(0.64 + driven * (wheel_mass(wider) - wheel_mass(wheel())))
    assert other.cost == pytest.approx(38.0 + driven * 3.0)


@pytest.mark.parametrize("unknown", [{"width": None}, {"material": None}], ids=["width", "material"])
def test_mass_of_a_stage_stays_where_that_of_a_wheel_is_unknown(unknown: dict[str, None]) -> None:
    assert fitted(_stage(wheel_options=(wheel(**unknown),)), 1, 0).mass == 0.64
    weighed = replace(wheel(**unknown), mass=wheel_mass(wheel()) + 0.1)
    assert fitted(_stage(wheel_options=(weighed,)), 1, 0).mass == pytest.approx(0.64 + 2 * 0.1)


def test_other_drives_add_what_each_weighs_and_costs_more() -> None:
    light, heavy = replace(DRIVE, mass=0.05, cost=9.0), replace(DRIVE, mass=0.08, cost=13.0)
    other = fitted(_stage(drive=light, drive_options=(heavy,)), 0, 1)
    assert other.mass == pytest.approx(0.64 + 2 * 0.03)
    assert other.cost == pytest.approx(38.0 + 2 * 4.0)
    assert fitted(_stage(drive=DRIVE, drive_options=(heavy,)), 0, 1).mass == 0.64
