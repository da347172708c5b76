"""Shot-to-shot scatter: standard deviations, contributions of each cause, jams."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.model.projectile import Flight, Placement, Spread
from stager.model.stage import IDLER, PAIR, RAIL, Layout
from stager.physics.chain import throw
from stager.physics.scatter import Shots, known_spreads, shots
from tests.drive.machines import launcher

SPEEDS = np.array([8.0, 11.0])
FLIGHT = Flight(height=1.2, tilt=0.1, target=4.0, side_a=Placement.BOTTOM)


def _machine(flight: Flight | None = None, **spreads: Spread) -> Launcher:
    machine = replace(launcher(), flight=flight)
    thrown = {name: spreads[name] for name in ("mass_spread", "diameter_spread") if name in spreads}
    machine = replace(machine, projectile=replace(machine.projectile, **thrown))
    if "feed" in spreads:
        machine = replace(machine, feed=replace(machine.feed, speed_spread=spreads["feed"]))
    if "wheel" in spreads:
        machine = replace(machine, template=replace(machine.template, speed_spread=spreads["wheel"]))
    return machine


def _shots(machine: Launcher, draws: int = 300, seed: int = 1) -> Shots:
    found = shots(machine, SPEEDS, rng=np.random.default_rng(seed), draws=draws)
    assert found is not None
    return found


def test_no_scatter_without_stated_spreads() -> None:
    assert not known_spreads(_machine(FLIGHT), 2)
    assert shots(_machine(FLIGHT), SPEEDS, rng=np.random.default_rng(0)) is None
    assert not known_spreads(_machine(FLIGHT, mass_spread=Spread(0.0)), 2)


def _slope(changed: Launcher, other: Launcher, step: float) -> float:
    ends = [float(throw(one, SPEEDS).exit_speed) for one in (changed, other)]
    return (ends[0] - ends[1]) / step


def test_contribution_of_a_cause_is_slope_times_spread() -> None:
    # First order of the GUM (JCGM 100, 5.1.2): |∂v/∂x|·u for small u; by central differences of throws.
    bare = launcher()
    mass, feed = float(bare.projectile.mass), float(bare.feed.speed)
    found = {one.name: one.exit_speed for one in _shots(
        _machine(mass_spread=Spread(0.002, relative=True), feed=Spread(0.02, relative=True))).causes}  # fmt: skip
    heavy, light = (replace(bare, projectile=replace(bare.projectile, mass=mass * (1 + s))) for s in (1e-3, -1e-3))
    fast, slow = (replace(bare, feed=replace(bare.feed, speed=feed * (1 + s))) for s in (1e-2, -1e-2))
    assert found["projectile mass"] == pytest.approx(abs(_slope(heavy, light, 2e-3)) * 0.002, rel=0.05)
    assert found["feed speed"] == pytest.approx(abs(_slope(fast, slow, 2e-2)) * 0.02, rel=0.05)


@pytest.mark.parametrize("layout", [PAIR, RAIL, IDLER], ids=lambda layout: layout.name)
def test_wheel_spread_of_every_driven_wheel_counts_once(layout: Layout) -> None:
    # First order of the GUM (JCGM 100, 5.1.2): the wheels differ from each other, so their shares add in quadrature.
    machine, spread, step = launcher(layout=layout), 0.01, 0.01
    machine = replace(machine, template=replace(machine.template, crush=2e-3, idler_inertia=1e-6))
    shares = []
    for column in range(SPEEDS.size):
        for side in range(2 if layout.side_b_driven else 1):
            ends = []
            for sign in (1, -1):
                speeds = [SPEEDS.copy(), SPEEDS.copy()]
                speeds[side][column] += sign * step
                done = throw(machine, *(speeds if layout.side_b_driven else speeds[:1]))
                ends.append(float(done.exit_speed))
            shares.append((ends[0] - ends[1]) / (2 * step) * spread)
    spreading = replace(machine, template=replace(machine.template, speed_spread=Spread(spread)))
    (cause,) = _shots(spreading, draws=50).causes
    assert cause.exit_speed == pytest.approx(float(np.linalg.norm(shares)), rel=0.02)


def test_diameter_spread_changes_the_crush() -> None:
    # The free gap (diameter − crush) stays, so crush grows with the diameter.
    bare, wider = launcher(), 2e-4
    ends = []
    for sign in (1, -1):
        stages = tuple(replace(one, crush=one.crush + sign * wider) for one in bare.stages)
        ends.append(float(throw(replace(
            bare, projectile=replace(bare.projectile, diameter=bare.projectile.diameter + sign * wider), stages=stages,
            template=replace(bare.template, crush=bare.template.crush + sign * wider),
        ), SPEEDS).exit_speed))  # fmt: skip
    (cause,) = _shots(_machine(diameter_spread=Spread(wider))).causes
    assert cause.exit_speed == pytest.approx(abs(ends[0] - ends[1]) / 2, rel=0.05)
    assert cause.name == "projectile diameter"


def test_contributions_add_up_in_quadrature() -> None:
    found = _shots(_machine(mass_spread=Spread(0.01, relative=True), feed=Spread(0.03, relative=True),
                            wheel=Spread(0.005, relative=True)), draws=2000)  # fmt: skip
    whole = np.sqrt(sum(one.exit_speed**2 for one in found.causes))
    assert found.exit_speed.standard_deviation == pytest.approx(whole, rel=0.1)
    assert {one.name for one in found.causes} == {"projectile mass", "feed speed", "wheel speed"}
    assert [one.exit_speed for one in found.causes] == sorted((one.exit_speed for one in found.causes), reverse=True)
    # Normal: 95 % within 1.96 standard deviations.
    half = (found.exit_speed.high - found.exit_speed.low) / 2
    assert half == pytest.approx(1.96 * found.exit_speed.standard_deviation, rel=0.1)


def test_group_size_from_direction_spread_alone() -> None:
    # Small angles: 4 m × 5 mrad = 20 mm up and down, 4 m × 3 mrad = 12 mm sideways; the tilt adds 1/cos² at 0.1 rad.
    flight = replace(FLIGHT, tilt_spread=Spread(5e-3), heading_spread=Spread(3e-3))
    found = _shots(_machine(flight), draws=4000)
    assert found.height is not None
    assert found.sideways is not None
    assert found.height.standard_deviation == pytest.approx(0.020, rel=0.06)
    assert found.sideways.standard_deviation == pytest.approx(0.012, rel=0.06)
    assert found.exit_speed.standard_deviation == pytest.approx(0.0, abs=1e-9)
    assert [one.name for one in found.causes] == ["tilt", "heading"]
    assert found.target == 4.0
    # Without spin there is no lift.
    assert found.flown == "with drag"


def test_relative_spread_of_drop_is_twice_that_of_speed() -> None:
    # Drop ½g(x/v)²: its share is twice that of the speed, without air (school mechanics).
    heavy = replace(_machine(replace(FLIGHT, tilt=0.0, drag=1e-9, side_a=None), wheel=Spread(0.004, relative=True)))
    found = _shots(heavy, draws=2000)
    assert found.height is not None
    drop = 1.2 - found.height.middle
    share = found.exit_speed.standard_deviation / found.exit_speed.middle
    assert found.height.standard_deviation / drop == pytest.approx(2 * share, rel=0.05)


def test_wheel_speed_spread_scatters_spin_and_lateral_position() -> None:
    aside = replace(FLIGHT, side_a=Placement.LEFT)
    found = _shots(_machine(aside, wheel=Spread(0.01, relative=True)))
    assert found.sideways is not None
    assert found.sideways.standard_deviation > 1e-4
    assert found.flown == "with drag and lift"


def test_jams_are_counted_and_excluded() -> None:
    machine = _machine(FLIGHT, diameter_spread=Spread(3e-3), feed=Spread(0.4, relative=True))
    machine = replace(machine, contact=replace(machine.contact, friction=replace(
        machine.contact.friction, static=0.3, sliding=0.25)))  # fmt: skip
    found = shots(machine, SPEEDS, rng=np.random.default_rng(2), draws=300)
    assert found is not None
    assert 0 < found.jams < 1
    assert found.exit_speed.low > 0


def test_scatter_is_reproducible_for_a_seed() -> None:
    machine = _machine(FLIGHT, mass_spread=Spread(0.01, relative=True))
    assert _shots(machine, 50, 3) == _shots(machine, 50, 3)
    assert _shots(machine, 50, 3) != _shots(machine, 50, 4)
