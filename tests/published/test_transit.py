"""Contact model against printed numbers: rolling-mill bite, belts, sliding to rolling.

Each number was read in the source named beside it unless it is marked as a derivation.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.model.projectile import BALL, DISC, HOLLOW_BALL, RING, ROD, Shape
from stager.model.stage import RAIL
from stager.physics.chain import throw
from stager.physics.friction import Constant
from tests.physics.machines import launcher
from tests.published.inventory import printed as compare


def _threshold(passes: Callable[[float], bool], low: float, high: float) -> float:
    """Bisect for where `passes` turns from true (at `low`) to false (at `high`), to 1e-3."""
    assert passes(low)
    assert not passes(high)
    while high - low > 1e-3 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if passes(middle) else (low, middle)
    return (low + high) / 2


def _rod(machine: Launcher, length: float, diameter: float = 0.04) -> Launcher:
    thrown = replace(machine.projectile, shape=ROD, length=length, diameter=diameter)
    return replace(machine, projectile=thrown)


@pytest.mark.parametrize(
    ("roll_diameter", "friction", "thickness", "printed"),
    [
        (0.500, 0.12, 0.030, 3.6e-3),  # examination page; the data of Groover, ch. 19
        (0.300, 0.10, 0.004, 1.5e-3),  # national examination page: 4 mm sheet, least thickness 2.5 mm
        (0.600, 0.15, 0.045, 6.75e-3),  # Groover's problem family: 45 to 20 mm takes 4 passes
        (0.321, 0.14, 0.048, 3.146e-3),  # printed 48 mm to 44.85 mm
    ],
)
def test_greatest_draft_of_rolling_mills(
    roll_diameter: float, friction: float, thickness: float, printed: float
) -> None:
    # Rolls draw in drafts up to μ²R; the remaining difference shrinks with feed speed.
    machine = _rod(launcher(law=Constant(friction), feed=1e-4, mass=1.0, creep=1e-4), 0.05, thickness)

    def bites(draft: float) -> bool:
        stage = replace(
            machine.template, crush=draft, wheel=replace(machine.template.wheel, radius=roll_diameter / 2)
        )  # fmt: skip
        return not bool(throw(replace(machine, template=stage), np.array([1.0])).jammed)

    found = _threshold(bites, 0.5 * printed, 1.5 * printed)
    compare("greatest draft of a rolling mill (m)", "examination pages after Groover, ch. 19", printed, found, rel=0.01)


def _sliding(shape: Shape, *, feed: float, radius: float = 0.02, push: float = 1500.0) -> Launcher:
    """Return a rail launcher whose frictionless wheel presses the projectile onto the rail with `push` [N].

    A large wheel with a small crush makes the contact long and flat.
    """
    crush = 1e-7
    machine = launcher(
        layout=RAIL, shape=shape, feed=feed, law=Constant(0.0), rail_law=Constant(0.3), crush=crush,
        stiffness=push / crush, creep=1e-3,
    )  # fmt: skip
    wheel = replace(machine.template.wheel, radius=40.0)
    return replace(
        machine, template=replace(machine.template, wheel=wheel),
        projectile=replace(machine.projectile, diameter=2 * radius),
    )  # fmt: skip


@pytest.mark.parametrize("share", [0.0, 0.5, -0.25])
@pytest.mark.parametrize("shape", [BALL, HOLLOW_BALL, DISC, RING], ids=lambda shape: shape.name)
def test_speed_after_sliding_to_rolling(shape: Shape, share: float) -> None:
    """v/v0 = (1 + β s)/(1 + β) by angular momentum about the ground; β = I/(m r²), s = initial rim speed/v0."""
    done = throw(_sliding(shape, feed=8.5), np.array([8.5]), entry_spin=share * 8.5 / 0.02)
    beta = shape.inertia_factor
    assert float(done.exit_speed) / 8.5 == pytest.approx((1 + beta * share) / (1 + beta), rel=0.015)
    assert float(done.spin) * 0.02 == pytest.approx(float(done.exit_speed), rel=0.01)


@pytest.mark.parametrize(
    ("shape", "rim", "printed", "source"),
    [
        (BALL, 0.0, 5 / 7, "UBCMath/pl-ubc-experiments, Rotational-1"),  # slides for 2 v0/(7 μ g)
        (BALL, 0.5, 6 / 7, "infinitylearn.com, 1642941494"),  # enters turning at v0/(2 r)
        (DISC, 0.5, 5 / 6, "byjus.com, solid cylinder projected on a rough surface"),  # slides for v0/(6 μ g)
        (RING, 0.0, 1 / 2, "learn.careers360.com, question 1792"),
    ],
)
def test_share_of_speed_left_after_sliding_to_rolling(shape: Shape, rim: float, printed: float, source: str) -> None:
    done = throw(_sliding(shape, feed=8.5), np.array([8.5]), entry_spin=rim * 8.5 / 0.02)
    compare("share of speed left once it rolls (-)", source, printed, done.exit_speed / 8.5, rel=0.01)


def test_rates_of_a_sliding_bowling_ball() -> None:
    """8.10 m/s, μ 0.19, 11 cm: 1.86 m/s² and 42.3 rad/s² (physicsforums.com, thread 394359)."""
    done = throw(_sliding(BALL, feed=8.10, radius=0.11, push=100.0), np.array([8.10]))
    assert 6.0 < float(done.exit_speed) < 8.09
    rates = done.spin / (8.10 - done.exit_speed)
    compare("spin gained by speed lost (1/m)", "physicsforums.com, thread 394359", 42.3 / 1.86, rates, rel=0.005)


def test_rolling_speed_of_a_ball_struck_low() -> None:
    """Struck 2R/3 below its centre it leaves with backspin 5/3·v0/R and rolls at 0.238 v0 (jiskha.com, 1337145166)."""
    done = throw(_sliding(BALL, feed=3.0), np.array([3.0]), entry_spin=-5 / 3 * 3.0 / 0.02)
    compare("share of speed left, struck low (-)", "jiskha.com, 1337145166", 0.238, done.exit_speed / 3.0, rel=0.02)


def test_rolling_speed_of_a_ball_struck_high() -> None:
    """Struck 4R/5 above its centre it leaves with topspin 2·v0/R and rolls at 9/7 v0 (physweb.bgu.ac.il, 22_8_422)."""
    done = throw(_sliding(BALL, feed=3.0), np.array([3.0]), entry_spin=2.0 * 3.0 / 0.02)
    source = "physweb.bgu.ac.il, exercise 22_8_422"
    compare("share of speed left, struck high (-)", source, 9 / 7, done.exit_speed / 3.0, rel=0.01)


@pytest.mark.parametrize(
    ("shape", "printed", "source"),
    [
        (RING, 1 / 2, "esaral.com, 81041"),
        (DISC, 1 / 3, "philoid.com, 133002"),
        (BALL, 2 / 7, "infinitylearn.com, solid uniform sphere rotating about its axis"),
    ],
    ids=["hoop", "disc", "ball"],
)
def test_rolling_speed_of_a_spinning_wheel_set_down(shape: Shape, printed: float, source: str) -> None:
    """A hoop set down with ω ends at ωr/2, a uniform wheel at ωr/3, a ball at 2ωr/7."""
    slow, rim = 0.3, 10.0
    done = throw(_sliding(shape, feed=slow), np.array([1.0]), entry_spin=rim / 0.02)
    # Corrected for its entry speed: v = (v0 + β ω r)/(1 + β).
    share = (done.exit_speed - (1 - printed) * slow) / rim
    compare("share of rim speed of a spinning wheel set down (-)", source, printed, share, rel=0.0104)


def test_sliding_time_of_a_cylinder_set_down() -> None:
    """125 rad/s, 0.12 m, μ 0.15, g 9.81: slides for 3.4 s (solve.club, rolling of a cylinder) and has gained μ g t."""
    slow, rim = 0.3, 125 * 0.12
    done = throw(_sliding(DISC, feed=slow, radius=0.12), np.array([1.0]), entry_spin=125.0)
    gained = done.exit_speed - slow
    sliding = gained * rim / (rim - slow) / (0.15 * 9.81)
    compare("time until a cylinder set down rolls (s)", "solve.club, rolling of a cylinder", 3.4, sliding, rel=0.02)


def test_speed_and_spin_in_full_grip() -> None:
    """Wheels at 30 and 20 m/s, ball of 73.5 mm: 25 m/s and 1299.2 rpm (a derivation, stated in many papers)."""
    machine = launcher(crush=1e-3, stiffness=2e7, feed=5.0, mass=0.05, creep=1e-2)
    ball = replace(machine, projectile=replace(machine.projectile, diameter=0.0735))
    done = throw(ball, np.array([30.0]), np.array([20.0]))
    assert float(done.exit_speed) == pytest.approx(25.0, rel=0.015)
    assert float(done.spin) * 60 / (2 * np.pi) == pytest.approx(1299.2, rel=0.005)


def _belt(normal: float, mass: float, friction: float, length: float, feed: float) -> Launcher:
    """Return a box on a belt: a rod between wheels that press it with `normal` [N] each over its whole length."""
    crush = 1e-6
    pressed = 2 * normal / crush
    machine = launcher(law=Constant(friction), feed=feed, mass=mass, crush=crush, stiffness=pressed, creep=1e-4)
    return _rod(machine, length)


def test_slip_distance_of_a_box_on_a_belt() -> None:
    """Belt at 2 m/s, μ 0.5, g 10: slips 0.4 m on the belt (studyadda.com, 282931), as far as it moves."""
    mass, slow = 1.0, 0.02

    def still_slips(length: float) -> bool:
        done = throw(_belt(mass * 10 / 2, mass, 0.5, length, slow), np.array([2.0]))
        return float(done.exit_speed) < 0.995 * 2.0

    found = _threshold(still_slips, 0.2, 0.8)
    compare("slip of a box on a belt (m)", "studyadda.com, 282931", 0.4, found, rel=0.02)


def test_stopping_distance_of_a_package() -> None:
    """5 m/s, μ 0.15, g 9.81: 8.4947 m (web.mst.edu, best practices in mechanics, ch. 2, problem 1)."""
    mass = 15.0

    def passes(length: float) -> bool:
        return float(throw(_belt(mass * 9.81 / 2, mass, 0.15, length, 5.0), np.array([0.0])).exit_speed) > 0.05

    found = _threshold(passes, 5.0, 12.0)
    source = "web.mst.edu, best practices in mechanics, ch. 2"
    compare("way of a package to rest (m)", source, 8.4947, found, rel=0.005)


def test_stopping_distance_of_a_second_package() -> None:
    """5 m/s, μ 0.15, g 9.8, 10 kg: 8.5 m (byjus.com, conveyor belt for packages of varied weights)."""
    speeds = [float(throw(_belt(10 * 9.8 / 2, 10.0, 0.15, way, 5.0), np.array([0.0])).exit_speed) for way in (4.0, 8.0)]
    # v² falls linearly along the belt; two values give the point of rest.
    end = 4.0 + 4.0 * speeds[0] ** 2 / (speeds[0] ** 2 - speeds[1] ** 2)
    compare("way of a package to rest (m)", "byjus.com, conveyor belt for packages", 8.5, end, rel=0.005)


def test_belt_work_is_twice_the_energy_of_the_sand() -> None:
    """5.10 kg of sand onto a belt at 0.600 m/s: 1.836 J of work, 0.918 J of it in the sand (greekchat.com, 2009853)."""
    mass = 5.10
    done = throw(_belt(mass * 9.81 / 2, mass, 0.5, 0.5, 0.006), np.array([0.600]))
    source = "greekchat.com, 2009853"
    compare("work of a belt on sand (J)", source, 1.836, done.stages.wheel_work.sum(), rel=0.015)
    compare("energy of sand on a belt (J)", source, 0.918, mass * done.exit_speed**2 / 2, rel=0.01)
    assert float(done.stages.slip_heat.sum()) == pytest.approx(0.918, rel=0.03)
