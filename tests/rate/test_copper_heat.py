"""Copper heat of a contact against an independent integration of the motor current through the nip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from stager.model.arrays import Floats
from stager.model.stage import PAIR, RAIL, Layout
from stager.physics.chain import throw
from stager.physics.friction import Constant
from stager.physics.rate import build_cycle, contact_energies, settled
from tests.drive.machines import DRIVE, launcher

SPEED, FEED = 12.0, 2.0


def _integrate_copper_heat(friction: float, limit: float, idle: float, inertia: float) -> float:
    """Return ∫Ri² dt [J] of one motor of a pair, from the equations of motion in time; rebound 1, no wheel growth."""
    radius, half, crush, stiffness, creep, mass = 0.04, 0.019, 2e-3, 4e4, 0.15, 0.018
    pull, resistance = 1 / DRIVE.speed_constant, DRIVE.resistance
    axis = radius + half - crush
    reach = float(np.sqrt((radius + half) ** 2 - axis**2))

    def change(_: float, state: Floats) -> list[float]:
        place, speed, turning, _ = state
        far = np.hypot(place, axis)
        normal, sine, cosine = stiffness * max(radius + half - far, 0.0), place / far, axis / far
        grip = friction * normal * np.tanh((turning * radius - speed * cosine) / creep)
        current = np.clip(idle + pull * (SPEED / radius - turning) / resistance, 0.0, max(limit, idle))
        drive = pull * (current - idle)
        push = 2 * (grip * cosine + normal * sine) / mass
        return [speed, push, (drive - radius * grip) / inertia, resistance * current**2]

    def out(_: float, state: Floats) -> float:
        return float(state[0] - reach)

    out.terminal = True  # type: ignore[attr-defined]
    start = [-reach, FEED, SPEED / radius, 0.0]
    solved = solve_ivp(change, (0.0, 0.1), start, method="LSODA", rtol=1e-10, atol=1e-12, events=out, max_step=1e-4)
    return float(solved.y[3, -1])


# Full grip at the end; slip throughout; a controller that limits the current. Light wheels slow down and come back
# within the contact.
@pytest.mark.parametrize("inertia", [1e-4, 4e-5, 1e-5, 4e-6])
@pytest.mark.parametrize("friction, limit", [(0.5, 30.0), (0.2, 30.0), (0.5, 4.0), (0.5, np.inf)])
def test_copper_heat_of_a_contact_matches_the_integrated_current(friction: float, limit: float, inertia: float) -> None:
    machine = launcher(drive=replace(DRIVE, current_limit=limit), tyre=None, inertia=inertia, material=None, feed=FEED)
    law = Constant(friction)
    machine = replace(machine, contact=replace(machine.contact, friction=law, rail_friction=law, rebound=1.0))
    speeds = np.array([SPEED])
    done = throw(machine, speeds)
    cycle = build_cycle(machine, 1.0, done.stages.contact_time.max(), speeds)
    assert cycle is not None
    found = contact_energies(cycle, cycle.target, done)
    expected = _integrate_copper_heat(friction, limit, float(cycle.holding.current[0]), inertia)
    assert float(found.copper[0]) == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("layout", [PAIR, RAIL])
@pytest.mark.parametrize("governed", [False, True])
def test_copper_heat_is_at_most_that_of_the_current_limit_where_the_projectile_drives_a_wheel(
    layout: Layout, governed: bool
) -> None:
    # A slow last wheel brakes the projectile, which turns it many times as fast as its motor does.
    machine = launcher(layout=layout, drive=replace(DRIVE, current_limit=20.0, governed=governed), rate=4.65, feed=2.0)
    for last in (0.5, 1.1, 3.0, 8.0):
        state = settled(machine, 4.65, np.array([20.0, 32.0, last]))
        assert state is not None
        copper = np.asarray(state.energies.copper)
        assert (copper >= 0).all()
        assert (copper <= 20.0**2 * DRIVE.resistance / 4.65).all()
        assert 0 <= float(state.average_power) <= 14.8**2 / (4 * 0.03)
