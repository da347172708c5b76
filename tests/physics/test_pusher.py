"""What a pusher must do, against the threshold of jams of the oracle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Contact, Feed, Launcher, Pusher
from stager.model.projectile import BALL, DISC, HOLLOW_BALL, ROD, Projectile
from stager.model.stage import IDLER, PAIR, RAIL, Stage, Wheel
from stager.physics.barrel import half_contact
from stager.physics.chain import throw
from stager.physics.friction import Bell, Constant, Falling
from stager.physics.pusher import STANDSTILL, least_force, least_travel, push
from stager.report.drives import pushed
from tests.oracle.throw import throw as oracle


def _drawn(seed: int) -> tuple[Launcher, float]:
    """Return a stage of much crush and little friction, which takes a push, and its wheel speed [m/s]."""
    rng = np.random.default_rng([23, seed])
    size, mass = rng.uniform(0.025, 0.06), rng.uniform(0.004, 0.04)
    shape = (BALL, DISC, HOLLOW_BALL, ROD)[seed % 4]
    friction = (
        Constant(rng.uniform(0.1, 0.25)), Falling(static=0.5, sliding=rng.uniform(0.08, 0.16), fade_speed=3.0),
        Bell(peak=rng.uniform(0.2, 0.35), peak_speed=1.0, width=1.5),
    )[seed % 3]  # fmt: skip
    layout = (PAIR, RAIL, IDLER)[(seed // 2) % 3]
    wheel = Wheel(radius=rng.uniform(0.02, 0.045), inertia=10 ** rng.uniform(-5, -3))
    stage = Stage(
        layout=layout, wheel=wheel, crush=rng.uniform(0.12, 0.25) * size,
        idler_inertia=2e-5 if layout is IDLER else None,
    )  # fmt: skip
    contact = Contact(
        stiffness=rng.uniform(5e3, 30e3), creep=rng.uniform(0.1, 0.5), rebound=0.8, friction=friction,
        rail_friction=friction,
    )  # fmt: skip
    projectile = Projectile(
        shape=shape, mass=mass, diameter=size, thickness=0.012 if shape is DISC else None,
        length=0.07 if shape is ROD else None,
    )  # fmt: skip
    machine = Launcher(projectile=projectile, feed=Feed(speed=0.5), contact=contact, template=stage)
    return machine, float(rng.uniform(6, 25))


def _jams(machine: Launcher, speed: float, entry: float, **push: float) -> bool:
    pushed = replace(machine, feed=replace(machine.feed, **push))
    return oracle(pushed, [speed], entry_speed=entry, tolerance=1e-8).jammed


@pytest.mark.parametrize("entry", [STANDSTILL, 0.5], ids=["from rest", "as fed"])
@pytest.mark.parametrize("seed", range(12))
def test_least_force_is_the_jam_threshold_of_the_oracle(seed: int, entry: float) -> None:
    machine, speed = _drawn(seed)
    force = least_force(machine, speed, entry_speed=entry)
    assert np.isfinite(force)
    assert not _jams(machine, speed, entry, push=1.02 * force)
    if force > 0.0:
        assert _jams(machine, speed, entry, push=force / 1.02)


def test_drawn_stages_take_a_push() -> None:
    found = [least_force(*_drawn(seed), entry_speed=STANDSTILL) for seed in range(12)]
    assert sum(force > 0.0 for force in found) >= 8


@pytest.mark.parametrize("end", [None, -0.004, 0.01])
@pytest.mark.parametrize("seed", range(12))
def test_pushed_projectile_leaves_as_in_the_oracle(seed: int, end: float | None) -> None:
    # A rod is pushed until its rear end is at the axes, not its middle.
    machine, speed = _drawn(seed)
    machine = replace(machine, feed=replace(machine.feed, push=3.0, push_end=end))
    done = throw(machine, [speed], entry_speed=2.0)
    assert float(done.exit_speed) == pytest.approx(oracle(machine, [speed], entry_speed=2.0).exit_speed, rel=1e-6)


@pytest.mark.parametrize("seed", [0, 2, 3, 5])
def test_least_travel_is_where_the_oracle_takes_over(seed: int) -> None:
    machine, speed = _drawn(seed)
    force = 1.25 * least_force(machine, speed, entry_speed=STANDSTILL)
    follow = least_travel(machine, speed, force=force)
    thrown = oracle(machine, [speed], entry_speed=5.0, tolerance=1e-6)
    first = thrown.stages[0].nip.marks[0]
    assert 0.0 < follow < -first
    assert not _jams(machine, speed, STANDSTILL, push=force, push_end=first + 1.02 * follow)
    assert _jams(machine, speed, STANDSTILL, push=force, push_end=first + follow / 1.02)


def test_a_pair_that_bites_takes_no_push() -> None:
    # Source: friction above the tangent of the angle at first touch pulls a resting ball in.
    machine, speed = _drawn(0)
    grippy = replace(machine, contact=replace(machine.contact, friction=Constant(1.2)))
    assert least_force(grippy, speed, entry_speed=STANDSTILL) == 0.0


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("strength", [1.01, 1.6])
def test_pusher_that_is_called_enough_brings_the_projectile_through(seed: int, strength: float) -> None:
    machine, speed = _drawn(seed)
    rest = push(machine, speed).rest
    if rest == 0.0:
        return
    pusher = Pusher(force=strength * rest, travel=1.0, return_time=0.1)
    machine = replace(machine, feed=replace(machine.feed, pusher=pusher))
    follow = push(machine, speed).follow
    pusher = replace(pusher, travel=1.001 * follow)
    said = pushed(replace(machine, feed=replace(machine.feed, pusher=pusher)), speed, None)
    assert said is not None
    assert said["enough"]
    reach = float(np.max(half_contact(machine, 0, np.asarray(speed)))) + (machine.projectile.length or 0.0) / 2
    end = 1.02 * follow - reach
    assert not _jams(machine, speed, STANDSTILL, push=1.02 * strength * rest, push_end=end)
