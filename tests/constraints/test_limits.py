"""Every limit: satisfied below its bound, broken above, skipped where it does not apply, with a remedy."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from stager.constraints import (
    LIMITS,
    Limit,
    LimitResult,
    OperatingPoint,
    evaluate,
    evaluate_limits,
    not_judged,
    slacks,
)
from stager.constraints.wheels import SPEED_CEILINGS
from stager.model.launcher import Launcher
from stager.model.projectile import DISC
from stager.model.requirements import LimitValues
from stager.model.stage import Hold
from stager.physics.chain import throw
from stager.physics.wheel import allowable_speed
from tests.constraints.machines import FULL
from tests.constraints.machines import limit_values as limits_of
from tests.drive.machines import ALUMINIUM, DRIVE, HEAT, SUPPLY, launcher, wheel

SPEEDS = np.array([8.0, 11.0])
SLIPPING = np.array([[8.0, 39.0], [9.0, 50.0], [25.0, 25.0]])
"""Wheel speeds beyond the grip limit of the last stage, where later throws may leave faster than the first [m/s]."""
BY_NAME = {limit.name: limit for limit in LIMITS}


def design(machine: Launcher = FULL, speeds: Any = SPEEDS, **given: Any) -> OperatingPoint:
    return OperatingPoint(
        launcher=machine, limit_values=limits_of(**given), throw=throw(machine, np.asarray(speeds)),
        grip_limit=1.5 * np.asarray(speeds),
    )  # fmt: skip


@pytest.fixture(scope="module")
def found() -> dict[str, LimitResult]:
    return {verdict.name: verdict for verdict in evaluate_limits(design(), remedies=True)}


def test_every_limit_applies_to_the_complete_launcher(found: dict[str, LimitResult]) -> None:
    later = {verdict.name for verdict in evaluate_limits(design(speeds=SLIPPING[0]))}
    assert set(found) == set(BY_NAME) - {"later_energy"}
    assert later == set(BY_NAME)
    assert len(BY_NAME) == len(LIMITS)
    assert all(verdict.slack >= 0 for verdict in found.values())


def test_every_limit_value_has_its_limit() -> None:
    assert {field.name for field in fields(LimitValues)} - {"confidence"} <= set(BY_NAME)


def test_every_limit_has_a_remedy(found: dict[str, LimitResult]) -> None:
    # Fewer stages help only where there are too many.
    assert [name for name, verdict in found.items() if not verdict.remedy] == ["stages"]
    assert not any("  " in verdict.remedy or verdict.remedy.endswith(".") for verdict in found.values())


@pytest.mark.parametrize(
    "name", sorted({field.name for field in fields(LimitValues)} - {"stages", "toy", "confidence"})
)
def test_limit_is_broken_just_past_its_value(name: str, found: dict[str, LimitResult]) -> None:
    verdict, limit = found[name], BY_NAME[name]
    step = 1e-3 * abs(float(verdict.value)) * (1 if limit.floor else -1)
    broken = evaluate(limit, design(**{name: float(verdict.value) + step}))
    kept = evaluate(limit, design(**{name: float(verdict.value) - step}))
    assert broken is not None
    assert kept is not None
    assert broken.slack < 0 < kept.slack
    assert float(broken.value) == pytest.approx(float(verdict.value))


@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)
def test_batch_equals_single_evaluations(limit: Limit) -> None:
    rows = SLIPPING[:2] if limit.name == "later_energy" else np.array([[8.0, 11.0], [9.0, 12.0]])
    both = evaluate(limit, design(speeds=rows))
    for row in range(2):
        one = evaluate(limit, design(speeds=rows[row]))
        assert both is not None
        assert one is not None
        assert np.broadcast_to(both.slack, (2,))[row] == pytest.approx(float(one.slack), abs=1e-6)


def test_limits_of_missing_parts_do_not_apply() -> None:
    bare = launcher(drive=None, supply=None, material=None, tyre=None)
    names = {verdict.name for verdict in evaluate_limits(design(bare))}
    assert names.isdisjoint(
        {"burst", "rim_safety", "tyre_retention", "tyre_turning", "throttle", "drive_reach", "motor_speed"}
    )
    assert names.isdisjoint({"average_power", "peak_power", "supply_current", "winding_temperature", "settled_loss"})
    assert {"exit_energy", "wheel_speed", "slip_heat"} <= names


def with_drive(drive: Any, rate: float | None, **wheel: Any) -> Launcher:
    """Return the launcher with another drive, rate and wheel."""
    changed = replace(FULL.template, drive=drive, wheel=replace(FULL.template.wheel, **wheel))
    return replace(FULL, template=changed, feed=replace(FULL.feed, rate=rate))


@pytest.mark.parametrize(
    "machine, missing",
    [
        (FULL, {}),
        (
            with_drive(None, 2.0, material=None),
            {
                "average_power": "stage.drive", "peak_power": "stage.drive", "supply_current": "stage.drive",
                "settled_loss": "stage.drive", "winding_temperature": "stage.drive", "crush": "stage.wheel.material",
                "rim_safety": "stage.wheel.material", "burst": "stage.wheel.material",
            },
        ),
        (with_drive(DRIVE, 2.0), {"winding_temperature": "stage.drive.heat"}),
        (
            with_drive(replace(DRIVE, heat=HEAT), None),
            {"settled_loss": "feed.rate", "average_power": "feed.rate", "winding_temperature": "feed.rate"},
        ),
    ],
)  # fmt: skip
def test_limit_without_its_data_is_not_judged(machine: Launcher, missing: dict[str, str]) -> None:
    given = design(machine)
    assert {limit.name: limit.missing for limit in not_judged(given)} == missing
    assert set(missing).isdisjoint(verdict.name for verdict in evaluate_limits(given))


def test_limits_are_finite_without_stages() -> None:
    slack = [float(verdict.slack) for verdict in evaluate_limits(design(speeds=np.zeros(0)))]
    assert slack
    assert np.isfinite(slack).all()


def broken(machine: Launcher, speeds: Any = SPEEDS) -> set[str]:
    return {verdict.name for verdict in evaluate_limits(design(machine, speeds)) if (verdict.slack < 0).any()}


def test_physical_limits_apply_without_limit_values() -> None:
    weak = replace(ALUMINIUM, yield_strength=2e5, tensile_strength=3e5)
    assert "burst" in broken(launcher(material=weak), [8.0, 30.0])
    loose = wheel(tyre=replace(wheel().tyre, held_by=Hold.STRETCH, stretch=0.01))  # type: ignore[type-var]
    assert "tyre_retention" in broken(replace(FULL, template=replace(FULL.template, wheel=loose)))
    slow = launcher(supply=replace(SUPPLY, voltage=1.0))
    assert {"drive_reach", "throttle"} <= broken(slow)
    assert "motor_speed" in broken(launcher(drive=replace(DRIVE, max_speed=200.0)))


def test_shared_supply_sag_breaks_the_throttle_limit() -> None:
    tired = launcher(supply=replace(SUPPLY, voltage=2.25, resistance=0.1))
    assert broken(tired) == {"throttle"}


def test_wheel_speed_ceilings_are_where_limits_become_active() -> None:
    stage = FULL.stage(0)
    for name, ceiling in SPEED_CEILINGS.items():
        verdict = evaluate(BY_NAME[name], design(speeds=[float(ceiling(FULL, stage)), 1.0]))
        assert verdict is not None
        assert float(verdict.value) == pytest.approx(1.0)
    verdict = evaluate(BY_NAME["rim_safety"], design(speeds=[float(allowable_speed(stage.wheel, 3.0)), 1.0]))
    assert verdict is not None
    assert float(verdict.value) == pytest.approx(3.0)


def test_crush_grows_with_wheel_speed() -> None:
    slow, fast = (evaluate(BY_NAME["crush"], design(speeds=[speed, speed])) for speed in (5.0, 60.0))
    assert slow is not None
    assert fast is not None
    assert 4e-3 == slow.value < fast.value


@pytest.mark.parametrize("over, kept", [(0.0, True), (5e-6, False), (3e-5, False)])
def test_crush_at_its_limit_is_kept_although_wheels_grow_a_little(over: float, kept: bool) -> None:
    # A tyre grows by some micrometres at speed, less than a gap can be set to, so that much does not count.
    least = replace(FULL, projectile=replace(FULL.projectile, max_crush=4e-3 - over))
    verdict = evaluate(BY_NAME["crush"], design(least, speeds=[6.0, 8.0]))
    assert verdict is not None
    assert verdict.satisfied is kept


def test_energy_per_area_uses_the_frontal_area() -> None:
    flat = replace(FULL, projectile=replace(FULL.projectile, shape=DISC, thickness=0.01))
    verdict = evaluate(BY_NAME["energy_per_area"], design(flat))
    energy = evaluate(BY_NAME["exit_energy"], design(flat))
    assert verdict is not None
    assert energy is not None
    assert float(verdict.value) == pytest.approx(float(energy.value) / (0.038 * 0.01))


@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)
@pytest.mark.parametrize("speeds", [SLIPPING[0], np.array([[12.0, 9.0], [8.0, 30.0], [3.0, 3.1]])])
def test_slack_of_a_limit_is_that_of_its_worst_stage(limit: Limit, speeds: Any) -> None:
    point = design(speeds=speeds)
    result, found = evaluate(limit, point), slacks(limit, point)
    assert result is not None
    assert found is not None
    assert found.shape[-1] == (1 if limit.each is None else 2)
    assert np.broadcast_to(found.min(axis=-1), np.shape(result.slack)) == pytest.approx(result.slack)


def test_slack_of_a_stage_does_not_depend_on_the_others() -> None:
    point = replace(design(speeds=np.array([[12.0, 9.0], [12.0, 30.0]])), grip_limit=np.full((2, 2), 40.0))
    found = {limit.name: slacks(limit, point) for limit in LIMITS if limit.each is not None and limit.name != "crush"}
    assert {"acceleration", "grip_margin", "wheel_speed", "burst", "tyre_retention", "rim_safety"} <= set(found)
    for name, slack in found.items():
        assert slack is not None
        assert slack[0, 0] == pytest.approx(slack[1, 0]), name
        assert slack[0, 1] != slack[1, 1], name
