"""Wheel speed to exit speed against printed numbers: bite, belts, sliding that turns into rolling.

Each number was read in the source named beside it unless it is marked as from memory or as a derivation.
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
    """Where `passes` turns from true (at `low`) to false (at `high`), to 1e-3."""
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
def test_rolling_mill_bite(roll_diameter: float, friction: float, thickness: float, printed: float) -> None:
    """Rolls draw in drafts up to μ²R. The small difference shrinks with feed speed."""
    machine = _rod(launcher(law=Constant(friction), feed=1e-4, mass=1.0, creep=1e-4), 0.05, thickness)

    def bites(draft: float) -> bool:
        stage = replace(
            machine.template, crush=draft, wheel=replace(machine.template.wheel, radius=roll_diameter / 2)
        )  # fmt: skip
        return not bool(throw(replace(machine, template=stage), np.array([1.0])).jammed)

    found = _threshold(bites, 0.5 * printed, 1.5 * printed)
    compare("greatest draft of a rolling mill (m)", "examination pages after Groover, ch. 19", printed, found, rel=0.01)


def _sliding(shape: Shape, *, feed: float, radius: float = 0.02, push: float = 1500.0) -> Launcher:
    """What enters slides on a rail, held down by `push` [N] under a wheel without friction.

    A large wheel and a small crush: it slides far and climbs little.
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


@pytest.mark.parametrize(
    ("shape", "printed"),
    [(BALL, 0.7143), (HOLLOW_BALL, 0.6), (DISC, 0.6667), (RING, 0.5)],
    ids=lambda value: getattr(value, "name", ""),
)
def test_sliding_turns_into_rolling(shape: Shape, printed: float) -> None:
    """v/v0 = 1/(1 + β), β moment of inertia by m r²: any text on mechanics (from memory)."""
    done = throw(_sliding(shape, feed=8.5), np.array([8.5]))
    source = "any text on mechanics: 1/(1 + β)"
    compare("share of speed left once it rolls (-)", source, printed, done.exit_speed / 8.5, rel=0.01, read=False)
    assert float(done.spin) * 0.02 == pytest.approx(float(done.exit_speed), rel=0.01)


def test_bowling_ball_ends_at_its_printed_speed() -> None:
    """8.5 m/s, μ 0.21, 11 cm: rolls at 6.1 m/s (Halliday, Resnick, Walker, ch. 11; answer from memory)."""
    done = throw(_sliding(BALL, feed=8.5, radius=0.11), np.array([8.5]))
    source = "Halliday, Resnick, Walker, ch. 11"
    compare("speed of a bowling ball once it rolls (m/s)", source, 6.1, done.exit_speed, rel=0.01, read=False)


def test_bowling_ball_slows_and_spins_up_at_its_printed_rates() -> None:
    """8.10 m/s, μ 0.19, 11 cm: 1.86 m/s² and 42.3 rad/s² (physicsforums.com, thread 394359)."""
    done = throw(_sliding(BALL, feed=8.10, radius=0.11, push=100.0), np.array([8.10]))
    assert 6.0 < float(done.exit_speed) < 8.09
    rates = done.spin / (8.10 - done.exit_speed)
    compare("spin gained by speed lost (1/m)", "physicsforums.com, thread 394359", 42.3 / 1.86, rates, rel=0.005)


def test_ball_struck_low_rolls_off_slowly() -> None:
    """Struck 2R/3 below its centre it leaves with backspin 5/3·v0/R and rolls at 0.238 v0 (jiskha.com, 1337145166)."""
    done = throw(_sliding(BALL, feed=3.0), np.array([3.0]), entry_spin=-5 / 3 * 3.0 / 0.02)
    compare("share of speed left, struck low (-)", "jiskha.com, 1337145166", 0.238, done.exit_speed / 3.0, rel=0.02)


def test_ball_struck_high_speeds_up() -> None:
    """Struck 4R/5 above its centre it leaves with topspin 2·v0/R and rolls at 9/7 v0 (physweb.bgu.ac.il, 22_8_422)."""
    done = throw(_sliding(BALL, feed=3.0), np.array([3.0]), entry_spin=2.0 * 3.0 / 0.02)
    source = "physweb.bgu.ac.il, exercise 22_8_422"
    compare("share of speed left, struck high (-)", source, 9 / 7, done.exit_speed / 3.0, rel=0.01)


@pytest.mark.parametrize(("shape", "printed"), [(RING, 1 / 2), (DISC, 1 / 3)], ids=["hoop", "disc"])
def test_spinning_wheel_set_down_runs_off(shape: Shape, printed: float) -> None:
    """A hoop set down with ω ends at ωr/2 (esaral.com, 81041), a uniform wheel at ωr/3 (philoid.com, 133002)."""
    slow, rim = 0.3, 10.0
    done = throw(_sliding(shape, feed=slow), np.array([1.0]), entry_spin=rim / 0.02)
    # What it brings along counts too: v = (v0 + β ω r)/(1 + β).
    source = "esaral.com, 81041" if shape is RING else "philoid.com, 133002"
    share = (done.exit_speed - (1 - printed) * slow) / rim
    compare("share of rim speed of a spinning wheel set down (-)", source, printed, share, rel=0.0104)


def test_full_grip_gives_the_mean_speed_and_the_difference_as_spin() -> None:
    """Wheels at 30 and 20 m/s, ball of 73.5 mm: 25 m/s and 1299.2 rpm (a derivation, stated in many papers)."""
    machine = launcher(crush=1e-3, stiffness=2e7, feed=5.0, mass=0.05, creep=1e-2)
    ball = replace(machine, projectile=replace(machine.projectile, diameter=0.0735))
    done = throw(ball, np.array([30.0]), np.array([20.0]))
    assert float(done.exit_speed) == pytest.approx(25.0, rel=0.015)
    assert float(done.spin) * 60 / (2 * np.pi) == pytest.approx(1299.2, rel=0.005)


def _belt(normal: float, mass: float, friction: float, length: float, feed: float) -> Launcher:
    """A box on a belt: a rod between wheels that each press it all along with `normal` [N]."""
    crush = 1e-6
    pressed = 2 * normal / crush
    machine = launcher(law=Constant(friction), feed=feed, mass=mass, crush=crush, stiffness=pressed, creep=1e-4)
    return _rod(machine, length)


def test_box_on_a_belt_slips_its_printed_distance() -> None:
    """Belt at 2 m/s, μ 0.5, g 10: slips 0.4 m against the belt (studyadda.com, 282931): as far as it goes itself."""
    mass, slow = 1.0, 0.02

    def still_slips(length: float) -> bool:
        done = throw(_belt(mass * 10 / 2, mass, 0.5, length, slow), np.array([2.0]))
        return float(done.exit_speed) < 0.995 * 2.0

    found = _threshold(still_slips, 0.2, 0.8)
    compare("slip of a box on a belt (m)", "studyadda.com, 282931", 0.4, found, rel=0.02)


def test_package_comes_to_rest_in_its_printed_distance() -> None:
    """5 m/s, μ 0.15, g 9.81: 8.4947 m (web.mst.edu, best practices in mechanics, ch. 2, problem 1)."""
    mass = 15.0

    def passes(length: float) -> bool:
        return float(throw(_belt(mass * 9.81 / 2, mass, 0.15, length, 5.0), np.array([0.0])).exit_speed) > 0.05

    found = _threshold(passes, 5.0, 12.0)
    source = "web.mst.edu, best practices in mechanics, ch. 2"
    compare("way of a package to rest (m)", source, 8.4947, found, rel=0.005)


def test_belt_works_twice_what_the_sand_gains() -> None:
    """5.10 kg of sand onto a belt at 0.600 m/s: 1.836 J of work, 0.918 J of it in the sand (greekchat.com, 2009853)."""
    mass = 5.10
    done = throw(_belt(mass * 9.81 / 2, mass, 0.5, 0.5, 0.006), np.array([0.600]))
    source = "greekchat.com, 2009853"
    compare("work of a belt on sand (J)", source, 1.836, done.stages.wheel_work.sum(), rel=0.015)
    compare("energy of sand on a belt (J)", source, 0.918, mass * done.exit_speed**2 / 2, rel=0.01)
    assert float(done.stages.slip_heat.sum()) == pytest.approx(0.918, rel=0.03)
