"""Nothing that rests on an unknown is called kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.constraints import NotJudged, OperatingPoint, evaluate_limits, not_judged
from stager.constraints.missing import FIND_OUT
from stager.model.launcher import Launcher
from stager.model.projectile import DISC
from stager.model.requirements import LimitValues
from stager.model.wheel import Hold, Tyre
from stager.physics.chain import throw
from stager.physics.safety import TOY_LIMITS
from stager.physics.tyre import lift_off_speed, retention_speed, sure_speed
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import launcher, wheel

SPEEDS = np.array([8.0, 20.0])
BY_AREA = next(limit for limit in TOY_LIMITS if limit.energy_per_area is not None)


def point(machine: Launcher, speeds: Any = SPEEDS, values: LimitValues | None = None) -> OperatingPoint:
    given = limit_values() if values is None else values
    set_to = np.asarray(speeds)
    return OperatingPoint(
        launcher=machine, limit_values=given, throw=throw(machine, set_to), grip_limit=1.5 * set_to
    )  # fmt: skip


def states(given: OperatingPoint) -> dict[str, bool | None]:
    """Kept, broken or not judged, by limit; no limit is two of them."""
    found = evaluate_limits(given)
    unknown = not_judged(given)
    assert {one.name for one in found}.isdisjoint(one.name for one in unknown)
    return {one.name: one.satisfied for one in found} | {one.name: None for one in unknown}


def unknown(given: OperatingPoint) -> dict[str, NotJudged]:
    return {one.name: one for one in not_judged(given)}


def held(held_by: Hold, **changes: Any) -> Launcher:
    """The machine that has it all, with a tyre held in another way; nothing of it known but what is in `changes`."""
    old = FULL.template.wheel.tyre
    assert isinstance(old, Tyre)
    bare = {"bond_strength": None, "lip_strength": None, "clamp_force": None, "hub_friction": None}
    tyre = replace(old, held_by=held_by, **{**bare, **changes})
    return replace(FULL, template=replace(FULL.template, wheel=replace(FULL.template.wheel, tyre=tyre)))


def test_where_all_is_known_all_is_judged() -> None:
    assert unknown(point(FULL)) == {}


@pytest.mark.parametrize(
    "machine, key, torn",
    [
        (held(Hold.LIP), "stage.wheel.tyre.lip_strength", 99.0),
        (held(Hold.BOND), "stage.wheel.tyre.bond_strength", 345.0),
        (held(Hold.CLAMP, clamp_force=200.0), "stage.wheel.tyre.hub_friction", 99.0),
    ],
)
def test_a_tyre_of_unknown_hold_is_not_judged_past_its_stretch(machine: Launcher, key: str, torn: float) -> None:
    # Stretch alone holds to sqrt(5.52 MPa x 0.05 / 1250 kg/m^3) = 14.86 m/s, whatever helps it.
    assert unknown(point(machine))["tyre_retention"].missing == key
    assert states(point(machine, [8.0, 14.0]))["tyre_retention"] is True
    # The rubber itself tears, a ring at sqrt(12 MPa / 1250 kg/m^3) = 98 m/s, a bonded tread at sqrt(37/3) times that.
    assert states(point(machine, [8.0, torn]))["tyre_retention"] is False


def test_a_tyre_that_is_only_stretched_is_judged_without_a_strength() -> None:
    assert states(point(held(Hold.STRETCH)))["tyre_retention"] is False
    assert states(point(held(Hold.STRETCH), [8.0, 14.0]))["tyre_retention"] is True


@pytest.mark.parametrize("hold", list(Hold))
@pytest.mark.parametrize("strength", [None, 1e5])
@pytest.mark.parametrize("tensile", [None, 12e6])
def test_surely_held_never_reaches_beyond_surely_gone(
    hold: Hold, strength: float | None, tensile: float | None
) -> None:
    one = held(hold, lip_strength=strength, bond_strength=strength, clamp_force=100.0).template.wheel
    assert one.tyre is not None
    one = replace(one, tyre=replace(one.tyre, material=replace(one.tyre.material, tensile_strength=tensile)))
    assert float(lift_off_speed(one.tyre)) <= float(sure_speed(one)) <= float(retention_speed(one))  # type: ignore[arg-type]


@pytest.mark.parametrize("hold", list(Hold))
def test_a_tyre_that_may_turn_on_its_hub_is_not_judged(hold: Hold) -> None:
    key = "stage.wheel.tyre.bond_strength" if hold is Hold.BOND else "stage.wheel.tyre.hub_friction"
    assert unknown(point(held(hold, clamp_force=200.0), [8.0, 9.0]))["tyre_turning"].missing == key


def test_a_hub_of_unknown_strength_is_not_judged() -> None:
    bare = launcher(material=None)
    found = unknown(point(bare))
    assert found["burst"].missing == found["rim_safety"].missing == "stage.wheel.material"
    weak = replace(FULL.template.wheel.material, yield_strength=None, tensile_strength=None)  # type: ignore[type-var]
    found = unknown(point(launcher(material=weak)))
    assert found["burst"].missing == "stage.wheel.tensile_strength"
    assert found["rim_safety"].missing == "stage.wheel.yield_strength"


def test_one_stage_of_unknown_strength_is_enough() -> None:
    bare = replace(FULL.template, wheel=replace(FULL.template.wheel, material=None))
    mixed = replace(FULL, stages=(FULL.template, bare))
    assert states(point(mixed, [8.0, 9.0]))["burst"] is None
    assert states(point(mixed, [8.0, 9.0]))["rim_safety"] is None
    # What is known may still break it.
    assert states(point(mixed, [900.0, 9.0]))["burst"] is False


def test_toy_limits_by_area_need_the_area_that_touches() -> None:
    values = limit_values(toy=BY_AREA)
    bare = replace(FULL, projectile=replace(FULL.projectile, contact_area=None))
    found = unknown(point(bare, [8.0, 9.0], values))["toy"]
    assert found.missing == "projectile.contact_area"
    touching = replace(FULL, projectile=replace(FULL.projectile, contact_area=3e-5))
    assert states(point(touching, values=values))["toy"] is False  # 0.075 J
    # 2500 J/m^2 on the whole front is 2.84 J: what touches is no larger.
    assert states(point(bare, [8.0, 20.0], values))["toy"] is (False if _energy(bare, [8.0, 20.0]) > 2.836 else None)
    light = replace(bare, projectile=replace(bare.projectile, mass=0.0005))
    assert states(point(light, [8.0, 9.0], values))["toy"] is True  # at most 0.08 J: no area is asked for


def _energy(machine: Launcher, speeds: Any) -> float:
    return 0.5 * float(machine.projectile.mass) * float(throw(machine, np.asarray(speeds)).exit_speed) ** 2


def test_energy_by_the_area_of_a_disc_needs_its_thickness() -> None:
    flat = replace(FULL, projectile=replace(FULL.projectile, shape=DISC, thickness=None))
    assert unknown(point(flat))["energy_per_area"].missing == "projectile.thickness"


def test_a_drive_without_a_supply_is_not_judged() -> None:
    found = unknown(point(launcher(supply=None)))
    assert found["drive_reach"].missing == found["throttle"].missing == "supply"
    assert "drive_reach" not in unknown(point(launcher(drive=None, supply=None)))


def test_power_and_heat_of_throwing_are_not_judged_by_holding_alone() -> None:
    found = unknown(point(replace(FULL, feed=replace(FULL.feed, rate=None))))
    assert found["average_power"].missing == found["winding_temperature"].missing == "feed.rate"


def test_each_says_what_to_find_out() -> None:
    bare = launcher(drive=None, supply=None, material=None, tyre=replace(wheel().tyre, held_by=Hold.BOND))  # type: ignore[type-var]
    for one in [*not_judged(point(bare)), *not_judged(point(launcher(supply=None)))]:
        assert one.missing in FIND_OUT
        assert one.find_out == FIND_OUT[one.missing]
