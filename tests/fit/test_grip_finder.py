"""The grip limit of fit, sweep and plan is the same for the same launcher."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.fit.prediction import finder
from stager.model.stage import IDLER, LAYOUTS, PAIR
from stager.physics.chain import DEFAULT, transit
from stager.physics.friction import Constant, Falling
from stager.physics.grip_limit import FINE, StageArrival, arrive, grip_limit
from tests.physics.machines import launcher
from tests.recovery.bench import scenario

TOP = 60.0


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
@pytest.mark.parametrize("friction", [0.3, 0.574, 0.9])
@pytest.mark.parametrize("falling", [False, True], ids=["constant", "falling"])
def test_quick_and_fine_grip_limits_agree(layout: object, friction: float, falling: bool) -> None:
    # Constant friction gives a plateau, whose edge linear interpolation on a coarse grid would miss.
    law = Falling(friction, 0.4 * friction, 6.0) if falling else Constant(friction)
    machine = launcher(
        layout=layout, law=law, crush=3e-3, stiffness=2e4, creep=0.15, inertia=4e-5, feed=1.2, idler_inertia=1e-5,
    )  # type: ignore[arg-type]  # fmt: skip
    given = replace(scenario("seed_ball"), launcher=machine)
    given = replace(given, limit_values=replace(given.limit_values, wheel_speed=TOP))
    fed = arrive(machine, np.zeros(0), np.zeros(0), TOP)
    quick = finder(given)(machine, 0, fed).wheel_speed
    found = grip_limit(
        machine, 0, fed.entry_speed, fed.entry_spin, np.array([TOP]), refinement=FINE, options=DEFAULT, grid_points=400
    )
    fine = found.wheel_speed
    np.testing.assert_allclose(quick, fine, rtol=4e-3)


def test_batch_of_grip_limits_equals_single_ones() -> None:
    frictions = np.linspace(0.3, 0.9, 40)
    many = launcher(layout=IDLER, law=Constant(frictions), crush=3e-3, stiffness=2e4, creep=0.15, inertia=4e-5)  # type: ignore[arg-type]
    given = replace(scenario("seed_ball"), launcher=launcher(layout=PAIR))
    given = replace(given, limit_values=replace(given.limit_values, wheel_speed=TOP))
    entries = StageArrival(entry_speed=np.full(40, 2.0), entry_spin=np.zeros(40), transit_function=transit)
    together = finder(given)(many, 0, entries).wheel_speed
    for row in (0, 13, 39):
        alone = launcher(
            layout=IDLER, law=Constant(float(frictions[row])), crush=3e-3, stiffness=2e4, creep=0.15, inertia=4e-5
        )
        fine = grip_limit(alone, 0, np.array([2.0]), np.zeros(1), np.array([TOP]), refinement=FINE, grid_points=400)
        np.testing.assert_allclose(together[row], fine.wheel_speed[0], rtol=4e-3)
