"""Limits that depend on unknown data are not judged, and never reported as satisfied."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.constraints import NotJudged, OperatingPoint, evaluate_limits, not_judged
from stager.constraints.limit import FIND_OUT
from stager.model.launcher import Launcher
from stager.model.projectile import DISC
from stager.model.requirements import LimitValues
from stager.model.stage import Hold, Stage, Tyre, WheelMaterial
from stager.physics.chain import throw
from stager.physics.safety import TOY_LIMITS
from stager.physics.wheel import (
    WHEEL_MATERIALS,
    lift_off_speed,
    retention_speed,
    sure_speed,
    unknown_burst,
    unknown_strength,
)
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
    """Return by limit: True satisfied, False broken, None not judged; no limit is in two states."""
    found = evaluate_limits(given)
    unknown = not_judged(given)
    assert {one.name for one in found}.isdisjoint(one.name for one in unknown)
    return {one.name: one.satisfied for one in found} | {one.name: None for one in unknown}


def unknown(given: OperatingPoint) -> dict[str, NotJudged]:
    return {one.name: one for one in not_judged(given)}


def held(held_by: Hold, **changes: Any) -> Launcher:
    """Return the complete launcher with another tyre fastening, of which only `changes` are known."""
    old = FULL.template.wheel.tyre
    assert isinstance(old, Tyre)
    bare = {"bond_strength": None, "lip_strength": None, "clamp_force": None, "hub_friction": None}
    tyre = replace(old, held_by=held_by, **{**bare, **changes})
    return replace(FULL, template=replace(FULL.template, wheel=replace(FULL.template.wheel, tyre=tyre)))


def test_every_limit_is_judged_if_all_data_are_known() -> None:
    assert unknown(point(FULL)) == {}


@pytest.mark.parametrize(
    "machine, key, torn",
    [
        (held(Hold.LIP), "stage.wheel.tyre.lip_strength", 99.0),
        (held(Hold.BOND), "stage.wheel.tyre.bond_strength", 345.0),
        (held(Hold.CLAMP, clamp_force=200.0), "stage.wheel.tyre.hub_friction", 99.0),
    ],
)
def test_tyre_of_unknown_hold_is_not_judged_past_its_lift_off_speed(machine: Launcher, key: str, torn: float) -> None:
    # Stretch alone holds the tyre up to sqrt(5.52 MPa x 0.05 / 1250 kg/m^3) = 14.86 m/s.
    assert unknown(point(machine))["tyre_retention"].missing == key
    assert states(point(machine, [8.0, 14.0]))["tyre_retention"] is True
    # The rubber itself tears, a ring at sqrt(12 MPa / 1250 kg/m^3) = 98 m/s, a bonded tread at sqrt(37/3) times that.
    assert states(point(machine, [8.0, torn]))["tyre_retention"] is False


def test_stretched_tyre_is_judged_without_a_strength() -> None:
    assert states(point(held(Hold.STRETCH)))["tyre_retention"] is False
    assert states(point(held(Hold.STRETCH), [8.0, 14.0]))["tyre_retention"] is True


@pytest.mark.parametrize("hold", list(Hold))
@pytest.mark.parametrize("strength", [None, 1e5])
@pytest.mark.parametrize("tensile", [None, 12e6])
def test_sure_speed_lies_between_lift_off_and_retention_speed(
    hold: Hold, strength: float | None, tensile: float | None
) -> None:
    one = held(hold, lip_strength=strength, bond_strength=strength, clamp_force=100.0).template.wheel
    assert one.tyre is not None
    one = replace(one, tyre=replace(one.tyre, material=replace(one.tyre.material, tensile_strength=tensile)))
    assert float(lift_off_speed(one.tyre)) <= float(sure_speed(one)) <= float(retention_speed(one))  # type: ignore[arg-type]


@pytest.mark.parametrize("hold", list(Hold))
def test_tyre_turning_is_not_judged_without_hub_friction(hold: Hold) -> None:
    key = "stage.wheel.tyre.bond_strength" if hold is Hold.BOND else "stage.wheel.tyre.hub_friction"
    assert unknown(point(held(hold, clamp_force=200.0), [8.0, 9.0]))["tyre_turning"].missing == key


def test_hub_of_unknown_strength_is_not_judged() -> None:
    bare = launcher(material=None)
    found = unknown(point(bare))
    assert found["burst"].missing == found["rim_safety"].missing == "stage.wheel.material"
    weak = replace(FULL.template.wheel.material, yield_strength=None, tensile_strength=None)  # type: ignore[type-var]
    found = unknown(point(launcher(material=weak)))
    assert found["burst"].missing == "stage.wheel.tensile_strength"
    assert found["rim_safety"].missing == "stage.wheel.yield_strength"
    # A brittle hub breaks before it yields: its tensile strength is enough.
    breaks = replace(weak, tensile_strength=290e6, brittle=True)
    assert not {"burst", "rim_safety"} & unknown(point(launcher(material=breaks))).keys()


@pytest.mark.parametrize("yielding", [None, 40e6, 200e6])
@pytest.mark.parametrize("tearing", [None, 50e6, 290e6])
@pytest.mark.parametrize("brittle", [True, False])
@pytest.mark.parametrize("fast", [20.0, 120.0, 220.0])
def test_hub_kept_with_some_strengths_is_kept_with_any_true_ones(
    yielding: float | None, tearing: float | None, brittle: bool, fast: float
) -> None:
    # A material yields before it tears. Where one strength is unknown it may be anything that allows.
    material = replace(
        FULL.template.wheel.material, yield_strength=yielding, tensile_strength=tearing, brittle=brittle,
    )  # type: ignore[type-var]  # fmt: skip

    def of(**strengths: float | None) -> dict[str, bool | None]:
        made = replace(FULL.template.wheel, material=replace(material, **strengths))  # type: ignore[arg-type]
        return states(point(replace(FULL, template=replace(FULL.template, wheel=made)), [8.0, fast]))

    found = of()
    most = np.inf if tearing is None else tearing
    for true in (1e5, 1e6, 1e7, 1e8):
        if yielding is None and true <= most:
            for name in ("rim_safety", "burst"):
                assert found[name] is not True or of(yield_strength=true)[name] is True
        if tearing is None and true >= (yielding or 0.0):
            for name in ("rim_safety", "burst"):
                assert found[name] is not True or of(tensile_strength=true)[name] is True
    if yielding is None and not brittle:
        assert found["rim_safety"] is not True


@pytest.mark.parametrize("material", WHEEL_MATERIALS.values(), ids=lambda material: material.name)
def test_hub_of_a_listed_material_lacks_no_strength(material: WheelMaterial) -> None:
    one = replace(FULL.template.wheel, material=material)
    assert unknown_strength(one) is None
    assert unknown_burst(one) is None


def test_one_stage_of_unknown_strength_leaves_the_limit_unjudged() -> None:
    bare = replace(FULL.template, wheel=replace(FULL.template.wheel, material=None))
    mixed = replace(FULL, stages=(FULL.template, bare))
    assert states(point(mixed, [8.0, 9.0]))["burst"] is None
    assert states(point(mixed, [8.0, 9.0]))["rim_safety"] is None
    # The stage with known strength can still break the limit.
    assert states(point(mixed, [900.0, 9.0]))["burst"] is False


COLD = replace(FULL.template, drive=replace(FULL.template.drive, heat=None))  # type: ignore[type-var]


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize(
    ("limit", "bare", "broken", "wide"),
    [
        ("cost", replace(FULL.template, cost=None), 30.0, 1e3),
        ("mass", replace(FULL.template, mass=None), 0.5, 10.0),
        ("winding_temperature", COLD, 295.0, 2e3),
        ("rim_safety", replace(FULL.template, wheel=replace(FULL.template.wheel, material=None)), 1e6, 1e-3),
    ],
)
def test_what_is_known_of_some_stages_is_enough_to_break_a_limit(
    limit: str, bare: Stage, broken: float, wide: float, place: int
) -> None:
    stages = (bare, FULL.template) if place == 0 else (FULL.template, bare)
    mixed = replace(FULL, stages=stages)
    assert states(point(mixed, [8.0, 9.0], limit_values(**{limit: broken})))[limit] is False
    assert states(point(mixed, [8.0, 9.0], limit_values(**{limit: wide})))[limit] is None
    none = replace(FULL, template=bare, stages=())
    assert states(point(none, [8.0, 9.0], limit_values(**{limit: broken})))[limit] is None


def test_toy_limit_per_area_needs_the_contact_area() -> None:
    values = limit_values(toy=BY_AREA)
    bare = replace(FULL, projectile=replace(FULL.projectile, contact_area=None))
    found = unknown(point(bare, [8.0, 9.0], values))["toy"]
    assert found.missing == "projectile.contact_area"
    assert found.bound is None  # The frontal area would allow 2.84 J.
    touching = replace(FULL, projectile=replace(FULL.projectile, contact_area=3e-5))
    assert states(point(touching, values=values))["toy"] is False  # 0.075 J
    # 2500 J/m^2 on the frontal area is 2.84 J; the contact area is no larger.
    assert states(point(bare, [8.0, 20.0], values))["toy"] is (False if _energy(bare, [8.0, 20.0]) > 2.836 else None)
    light = replace(bare, projectile=replace(bare.projectile, mass=0.0005))
    assert states(point(light, [8.0, 9.0], values))["toy"] is True  # at most 0.08 J: the area is not needed


def _energy(machine: Launcher, speeds: Any) -> float:
    return 0.5 * float(machine.projectile.mass) * float(throw(machine, np.asarray(speeds)).exit_speed) ** 2


def test_energy_per_area_of_a_disc_needs_its_thickness() -> None:
    flat = replace(FULL, projectile=replace(FULL.projectile, shape=DISC, thickness=None))
    assert unknown(point(flat))["energy_per_area"].missing == "projectile.thickness"


def test_drive_without_supply_is_not_judged() -> None:
    found = unknown(point(launcher(supply=None)))
    assert found["drive_reach"].missing == found["throttle"].missing == "supply"
    assert "drive_reach" not in unknown(point(launcher(drive=None, supply=None)))


def test_average_power_and_winding_temperature_need_a_rate() -> None:
    found = unknown(point(replace(FULL, feed=replace(FULL.feed, rate=None))))
    assert found["average_power"].missing == found["winding_temperature"].missing == "feed.rate"


def test_each_unjudged_limit_says_what_to_find_out() -> None:
    bare = launcher(drive=None, supply=None, material=None, tyre=replace(wheel().tyre, held_by=Hold.BOND))  # type: ignore[type-var]
    for one in [*not_judged(point(bare)), *not_judged(point(launcher(supply=None)))]:
        assert one.missing in FIND_OUT
        assert one.find_out == FIND_OUT[one.missing]
