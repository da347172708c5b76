"""Limits on turning wheels where the projectile drives one beyond its set speed.

The greatest speed of each wheel is that of the reference solver; what a wheel withstands follows from it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, no_throw
from stager.model.arrays import Floats
from stager.model.launcher import Feed, Launcher
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import IDLER, PAIR, RAIL, Layout
from stager.optimise.planner import plan
from stager.physics.chain import throw
from tests.constraints.machines import FULL, limit_values
from tests.optimise.machines import scenario
from tests.oracle.throw import throw as oracle

LAYOUTS = pytest.mark.parametrize("layout", [PAIR, RAIL, IDLER], ids=lambda layout: layout.name)
ON_TURNING = [limit for limit in LIMITS if limit.turning]
SET = ("crush", "drive_reach")
"""Limits of kind WHEEL on set speeds: a wheel grows with the set speed, and its motor has to reach that alone."""


def braking(layout: Layout, inertia: float, feed: float = 14.0) -> Launcher:
    """Return a launcher whose light wheels are slower than what is fed."""
    stage = replace(FULL.template, layout=layout, wheel=replace(FULL.template.wheel, inertia=inertia))
    if layout is IDLER:
        stage = replace(stage, idler_inertia=2e-5)
    return replace(FULL, feed=Feed(speed=feed, rate=2.0), template=stage)


def test_every_limit_of_a_wheel_is_on_its_set_or_its_turning_speed() -> None:
    wheel = {limit.name for limit in LIMITS if limit.kind is Kind.WHEEL}
    assert wheel == {limit.name for limit in ON_TURNING} | set(SET)


@LAYOUTS
@pytest.mark.parametrize("inertia", [3e-6, 2e-5, 4e-4])
def test_limits_are_judged_at_the_greatest_speed_of_a_wheel(layout: Layout, inertia: float) -> None:
    machine, given = braking(layout, inertia), limit_values()
    speed = np.array([4.0, 5.0])
    point = OperatingPoint(launcher=machine, limit_values=given, throw=throw(machine, speed))
    most = [float(stage.top.max()) for stage in oracle(machine, list(speed)).stages]
    assert max(most) > 4.5
    assert point.turning == pytest.approx(most, rel=1e-3)
    turned = OperatingPoint(launcher=machine, limit_values=given, throw=no_throw(np.array(most)))
    for limit in ON_TURNING:
        here, there = evaluate(limit, point), evaluate(limit, turned)
        assert here is not None
        assert there is not None
        if limit.name == "tyre_turning":  # That of no throw does not slip beyond its set speed.
            assert here.value >= 0.99 * there.value
        else:
            assert here.value == pytest.approx(there.value, rel=2e-3)
    reach = next(limit for limit in LIMITS if limit.name == "drive_reach")
    still = OperatingPoint(launcher=machine, limit_values=given, throw=no_throw(speed))
    here, there = evaluate(reach, point), evaluate(reach, still)
    assert here is not None
    assert there is not None
    assert here.value == there.value


def test_planned_wheels_keep_their_limit_where_the_projectile_drives_them() -> None:
    asked, share, machine = 11.0, 0.95, braking(PAIR, 4e-6)
    loose = limit_values(grip_margin=0.0, stages=2, exit_energy=50.0)

    def planned(given: LimitValues) -> tuple[Floats, float]:
        task = replace(scenario(machine, Goal(aim=Aim.REACH, exit_speed=asked)), limit_values=given)
        best = plan(task, draws=0, certified=False).best
        assert best is not None
        assert best.feasible
        return best.lead, max(float(stage.top.max()) for stage in oracle(machine, list(best.lead)).stages)

    free, most = planned(loose)
    assert most > 1.5 * free.max()
    given = replace(loose, wheel_speed=share * most)
    # Settings exist: slower first wheels brake less, and the second one brakes the rest.
    speed = np.random.default_rng(0).uniform(0.3, share * most, (20000, 2))
    point = OperatingPoint(launcher=machine, limit_values=given, throw=throw(machine, speed))
    assert ((np.abs(point.outlet_speed / asked - 1) < 1e-3) & (point.turning.max(axis=-1) <= share * most)).any()
    assert planned(given)[1] <= share * most * (1 + 1e-4)
