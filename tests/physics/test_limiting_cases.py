"""Limiting cases with closed answers. All derived by hand from momentum and energy; the belt problem is textbook."""

from __future__ import annotations

import numpy as np
import pytest

from stager.model.projectile import BALL, DISC, HOLLOW_BALL, RING, Shape
from stager.model.stage import PAIR, RAIL
from stager.physics.chain import throw
from stager.physics.friction import Constant, Falling
from tests.physics.machines import launcher, with_mass

MU, R_WHEEL, R_BALL = 0.5, 0.04, 0.02


def _press(stiffness: float, depth: float) -> float:
    """∫N dx = (4/3) k d a with a = √(2(R + r)d), small crush."""
    return 4 / 3 * stiffness * depth * np.sqrt(2 * (R_WHEEL + R_BALL) * depth)


def test_a_slipping_pair_gains_four_mu_press_over_m() -> None:
    machine = launcher()
    done = throw(machine, np.array([60.0]))
    expected = np.sqrt(2.0**2 + 4 * MU * _press(2e5, 1e-4) / 0.02)
    assert float(done.exit_speed) == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("shape", [BALL, DISC, RING, HOLLOW_BALL], ids=lambda shape: shape.name)
def test_a_slipping_rail_carries_spin_along(shape: Shape) -> None:
    machine = launcher(layout=RAIL, shape=shape, crush=1e-4)
    done = throw(machine, np.array([60.0]), entry_spin=2.0 / R_BALL)
    gain = 4 * MU * _press(2e5, 1e-4) / (0.02 * (1 + shape.inertia_factor))
    assert float(done.exit_speed) == pytest.approx(np.sqrt(4.0 + gain), rel=5e-3)


def test_full_grip_of_a_pair_takes_the_mean_of_the_wheels_and_spins_by_their_difference() -> None:
    # Two-wheel kinematics: v = (uA + uB)/2, spin = (uA − uB)/(2r); rigid ball rolling on both wheels.
    machine = launcher(stiffness=2e6, crush=1e-3, law=Constant(1.0))
    done = throw(machine, np.array([6.0]), np.array([4.0]))
    assert float(done.exit_speed) == pytest.approx(5.0, rel=1.5e-2)
    assert float(done.spin) == pytest.approx(2.0 / (2 * R_BALL), rel=1.5e-2)


def test_full_grip_of_a_rail_halves_the_wheel_and_rolls() -> None:
    machine = launcher(layout=RAIL, stiffness=2e6, crush=1e-3, law=Constant(1.0))
    done = throw(machine, np.array([8.0]))
    assert float(done.exit_speed) == pytest.approx(4.0, rel=2e-2)
    assert float(done.spin) * R_BALL == pytest.approx(float(done.exit_speed), rel=1e-2)


def test_light_wheels_in_full_grip_share_momentum() -> None:
    inertia = 4e-5
    machine = launcher(stiffness=2e6, crush=4e-4, inertia=inertia, law=Constant(1.0))
    done = throw(machine, np.array([10.0]))
    shared = 2 * inertia / R_WHEEL**2
    assert float(done.exit_speed) == pytest.approx((shared * 10.0 + 0.02 * 2.0) / (shared + 0.02), rel=1e-2)


def test_half_the_work_of_a_belt_becomes_heat_and_n_steps_save_n_over_n_plus_one() -> None:
    # From rest by sliding friction: ½mu² of heat; n equal steps: heat ½mu²/n, efficiency n/(n + 1). Textbook belt.
    machine = launcher(feed=0.05, stiffness=4e7, crush=5e-5, law=Constant(1.0))
    for n in (1, 2, 4):
        done = throw(machine, 6.0 * np.arange(1, n + 1) / n)
        kinetic = 0.5 * 0.02 * float(done.exit_speed) ** 2
        assert float(done.stages.slip_heat.sum()) == pytest.approx(kinetic / n, rel=1.5e-2)
        assert kinetic / float(done.stages.wheel_work.sum()) == pytest.approx(n / (n + 1), rel=1e-2)


def test_equal_work_stages_go_as_the_root_of_n() -> None:
    # Kinematics of equal energy a stage: v_n = v_1 √n.
    machine = launcher(feed=0.3, crush=1e-3)
    speeds = throw(machine, np.full(5, 150.0)).stages.exit_speed
    assert speeds / speeds[0] == pytest.approx(np.sqrt(np.arange(1, 6)), rel=4e-3)


@pytest.mark.parametrize(("mu", "jams"), [(0.95, True), (1.05, False)])
def test_bite_needs_more_friction_than_the_slope_of_entry(mu: float, jams: bool) -> None:
    # Rolling-mill bite condition μ > tan φ at no entry speed; cos φ = h/(R + r).
    machine = launcher(feed=0.02, crush=4e-3, creep=1e-3)
    tangent = np.tan(np.arccos((0.06 - 2e-3) / 0.06))
    biting = launcher(feed=0.02, crush=4e-3, creep=1e-3, law=Constant(mu * tangent))
    assert machine.contact.creep == biting.contact.creep
    assert bool(throw(biting, np.array([5.0])).jammed) is jams


def test_a_constant_law_gives_a_second_equal_stage_at_most_41_per_cent() -> None:
    # Common practice, no source: a second wheel added 54 % on one launcher. With constant friction it cannot.
    machine = launcher(feed=0.3, crush=1e-3)
    both = throw(machine, np.full(2, 100.0)).stages.exit_speed
    assert both[1] / both[0] - 1 <= 0.415


def test_a_falling_law_reaches_54_per_cent_with_a_second_wheel() -> None:
    # Common practice, no source. Friction that fades quickly lets the second, faster wheel slip less.
    machine = launcher(feed=0.5, crush=2e-3, law=Falling(1.0, 0.1, 8.0, 2.0), mass=0.01, rebound=0.9,
                       creep=0.1, stiffness=6e4)  # fmt: skip
    speeds = np.linspace(1.0, 30.0, 150)
    first = throw(machine, speeds[:, None]).exit_speed
    best = speeds[np.argmax(first)]
    second = throw(machine, np.column_stack([np.full(speeds.size, best), speeds])).exit_speed
    assert second.max() / first.max() - 1 >= 0.54


def test_the_fastest_setting_lies_below_the_fall_off() -> None:
    # Common practice, no source: past the best wheel speed more wheel speed gives less exit speed.
    machine = launcher(feed=1.0, crush=2e-3, law=Falling(0.8, 0.2, 6.0, 1.0))
    speeds = np.linspace(1.0, 60.0, 120)
    exits = throw(machine, speeds[:, None]).exit_speed
    best = int(np.argmax(exits))
    assert 0 < best < 119
    assert np.all(np.diff(exits[best:]) <= 1e-6)


def test_scaling_mass_stiffness_and_inertia_together_changes_nothing() -> None:
    machine = launcher(inertia=4e-5, crush=2e-3)
    speeds = np.array([8.0, 12.0])
    assert throw(with_mass(machine, 3.0), speeds).exit_speed == pytest.approx(
        float(throw(machine, speeds).exit_speed), rel=1e-6
    )


def test_heavy_wheels_never_throw_slower_for_a_faster_entry() -> None:
    machine = launcher(crush=2e-3, law=Falling(0.8, 0.2, 6.0, 1.0))
    entries = np.linspace(0.5, 15.0, 40)
    exits = throw(machine, np.array([14.0]), entry_speed=entries).exit_speed
    assert np.all(np.diff(exits) >= -1e-5)


def test_a_batch_is_a_loop() -> None:
    machine = launcher(inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    speeds = np.random.default_rng(1).uniform(4.0, 25.0, (12, 3))
    together = throw(machine, speeds)
    alone = [throw(machine, row) for row in speeds]
    assert together.exit_speed == pytest.approx(np.array([one.exit_speed for one in alone]), rel=1e-12)


@pytest.mark.parametrize("layout", [PAIR, RAIL], ids=lambda layout: layout.name)
def test_the_energy_book_closes(layout: object) -> None:
    machine = launcher(layout=layout, inertia=4e-5, crush=4e-3, rebound=0.8, creep=0.15, stiffness=4e4,  # type: ignore[arg-type]
                       law=Falling(0.75, 0.22, 9.0))  # fmt: skip
    done = throw(machine, np.linspace(5.0, 30.0, 60)[:, None])
    stage = done.stages
    moving = 0.5 * machine.projectile.mass * (stage.exit_speed**2 - stage.entry_speed**2)
    spinning = 0.5 * machine.projectile.spin_inertia * (stage.exit_spin**2 - stage.entry_spin**2)
    left = stage.wheel_work - moving - spinning - stage.slip_heat - stage.crush_loss
    scale = np.maximum(np.abs(stage.wheel_work), 0.5 * machine.projectile.mass * stage.entry_speed**2)
    assert np.max(np.abs(left / scale)) <= 1e-6


def test_nothing_moves_before_wheels_at_rest() -> None:
    # No speed at all to evaluate an error by, alone and in a batch: a jam, without a warning.
    still = throw(launcher(), np.zeros((40, 1)), entry_speed=0.0)
    assert (still.exit_speed == 0).all()
    assert throw(launcher(), np.zeros(1), entry_speed=0.0).exit_speed == 0
