"""Limiting cases with closed-form answers from momentum and energy; the belt problem is from textbooks."""

from __future__ import annotations

import numpy as np
import pytest

from stager.model.projectile import BALL, DISC, HOLLOW_BALL, RING, Shape
from stager.model.stage import RAIL
from stager.physics.chain import throw
from stager.physics.friction import Constant, Falling
from tests.physics.machines import launcher, with_mass

MU, R_WHEEL, R_BALL = 0.5, 0.04, 0.02


def _normal_force_integral(stiffness: float, depth: float) -> float:
    """Return ∫N dx = (4/3) k d a with a = √(2(R + r)d), small crush."""
    return 4 / 3 * stiffness * depth * np.sqrt(2 * (R_WHEEL + R_BALL) * depth)


def test_exit_speed_of_a_slipping_pair() -> None:
    machine = launcher()
    done = throw(machine, np.array([60.0]))
    expected = np.sqrt(2.0**2 + 4 * MU * _normal_force_integral(2e5, 1e-4) / 0.02)
    assert float(done.exit_speed) == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("shape", [BALL, DISC, RING, HOLLOW_BALL], ids=lambda shape: shape.name)
def test_exit_speed_of_a_slipping_rail_with_rolling_entry(shape: Shape) -> None:
    machine = launcher(layout=RAIL, shape=shape, crush=1e-4)
    done = throw(machine, np.array([60.0]), entry_spin=2.0 / R_BALL)
    gain = 4 * MU * _normal_force_integral(2e5, 1e-4) / (0.02 * (1 + shape.inertia_factor))
    assert float(done.exit_speed) == pytest.approx(np.sqrt(4.0 + gain), rel=5e-3)


def test_full_grip_of_a_pair_gives_mean_speed_and_spin_by_difference() -> None:
    # Two-wheel kinematics: v = (uA + uB)/2, spin = (uA − uB)/(2r); rigid ball rolling on both wheels.
    machine = launcher(stiffness=2e6, crush=1e-3, law=Constant(1.0))
    done = throw(machine, np.array([6.0]), np.array([4.0]))
    assert float(done.exit_speed) == pytest.approx(5.0, rel=1.5e-2)
    assert float(done.spin) == pytest.approx(2.0 / (2 * R_BALL), rel=1.5e-2)


def test_full_grip_on_a_rail_rolls_at_half_the_wheel_speed() -> None:
    machine = launcher(layout=RAIL, stiffness=2e6, crush=1e-3, law=Constant(1.0))
    done = throw(machine, np.array([8.0]))
    assert float(done.exit_speed) == pytest.approx(4.0, rel=2e-2)
    assert float(done.spin) * R_BALL == pytest.approx(float(done.exit_speed), rel=1e-2)


def test_light_wheels_in_full_grip_conserve_momentum() -> None:
    inertia = 4e-5
    machine = launcher(stiffness=2e6, crush=4e-4, inertia=inertia, law=Constant(1.0))
    done = throw(machine, np.array([10.0]))
    shared = 2 * inertia / R_WHEEL**2
    assert float(done.exit_speed) == pytest.approx((shared * 10.0 + 0.02 * 2.0) / (shared + 0.02), rel=1e-2)


def test_belt_heat_and_efficiency_of_n_equal_steps() -> None:
    # From rest by sliding friction: ½mu² of heat; n equal steps: heat ½mu²/n, efficiency n/(n + 1). Textbook belt.
    machine = launcher(feed=0.05, stiffness=4e7, crush=5e-5, law=Constant(1.0))
    for n in (1, 2, 4):
        done = throw(machine, 6.0 * np.arange(1, n + 1) / n)
        kinetic = 0.5 * 0.02 * float(done.exit_speed) ** 2
        assert float(done.stages.slip_heat.sum()) == pytest.approx(kinetic / n, rel=1.5e-2)
        assert kinetic / float(done.stages.wheel_work.sum()) == pytest.approx(n / (n + 1), rel=1e-2)


def test_speed_of_equal_work_stages_grows_as_root_n() -> None:
    # Kinematics of equal energy a stage: v_n = v_1 √n.
    machine = launcher(feed=0.3, crush=1e-3)
    speeds = throw(machine, np.full(5, 150.0)).stages.exit_speed
    assert speeds / speeds[0] == pytest.approx(np.sqrt(np.arange(1, 6)), rel=4e-3)


@pytest.mark.parametrize(("mu", "jams"), [(0.95, True), (1.05, False)])
def test_bite_condition_of_rolling_mills(mu: float, jams: bool) -> None:
    # Rolling-mill bite condition μ > tan φ at no entry speed; cos φ = h/(R + r).
    machine = launcher(feed=0.02, crush=4e-3, creep=1e-3)
    tangent = np.tan(np.arccos((0.06 - 2e-3) / 0.06))
    biting = launcher(feed=0.02, crush=4e-3, creep=1e-3, law=Constant(mu * tangent))
    assert machine.contact.creep == biting.contact.creep
    assert bool(throw(biting, np.array([5.0])).jammed) is jams


def test_second_stage_gains_at_most_41_percent_at_constant_friction() -> None:
    # Common practice, no source: a second wheel added 54 % on one launcher. With constant friction it cannot.
    machine = launcher(feed=0.3, crush=1e-3)
    both = throw(machine, np.full(2, 100.0)).stages.exit_speed
    assert both[1] / both[0] - 1 <= 0.415


def test_second_stage_gains_54_percent_at_falling_friction() -> None:
    # Common practice, no source. Friction that fades quickly lets the second, faster wheel slip less.
    machine = launcher(feed=0.5, crush=2e-3, law=Falling(1.0, 0.1, 8.0, 2.0), mass=0.01, rebound=0.9,
                       creep=0.1, stiffness=6e4)  # fmt: skip
    speeds = np.linspace(1.0, 30.0, 150)
    first = throw(machine, speeds[:, None]).exit_speed
    best = speeds[np.argmax(first)]
    second = throw(machine, np.column_stack([np.full(speeds.size, best), speeds])).exit_speed
    assert second.max() / first.max() - 1 >= 0.54


def test_exit_speed_falls_past_grip_limit() -> None:
    # Common practice, no source: past the best wheel speed more wheel speed gives less exit speed.
    machine = launcher(feed=1.0, crush=2e-3, law=Falling(0.8, 0.2, 6.0, 1.0))
    speeds = np.linspace(1.0, 60.0, 120)
    exits = throw(machine, speeds[:, None]).exit_speed
    best = int(np.argmax(exits))
    assert 0 < best < 119
    assert np.all(np.diff(exits[best:]) <= 1e-6)


def test_exit_speed_is_invariant_to_scaling_mass_stiffness_and_inertia() -> None:
    machine = launcher(inertia=4e-5, crush=2e-3)
    speeds = np.array([8.0, 12.0])
    assert throw(with_mass(machine, 3.0), speeds).exit_speed == pytest.approx(
        float(throw(machine, speeds).exit_speed), rel=1e-6
    )


def test_exit_speed_of_heavy_wheels_rises_with_entry_speed() -> None:
    machine = launcher(crush=2e-3, law=Falling(0.8, 0.2, 6.0, 1.0))
    entries = np.linspace(0.5, 15.0, 40)
    exits = throw(machine, np.array([14.0]), entry_speed=entries).exit_speed
    assert np.all(np.diff(exits) >= -1e-5)


def test_projectile_at_rest_between_standing_wheels_jams() -> None:
    # The error control has no speed to scale with; the result is a jam, without a warning.
    still = throw(launcher(), np.zeros((40, 1)), entry_speed=0.0)
    assert (still.exit_speed == 0).all()
    assert throw(launcher(), np.zeros(1), entry_speed=0.0).exit_speed == 0
