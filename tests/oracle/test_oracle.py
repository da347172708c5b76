"""The reference solver against closed-form results and its own energy balance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.model.projectile import BALL, ROD, Projectile
from stager.model.stage import IDLER, PAIR, RAIL
from stager.physics.friction import Constant, Falling
from tests.oracle.throw import throw
from tests.physics.machines import launcher

FALLING = Falling(0.8, 0.25, 6.0)
MACHINES = {
    "pair": launcher(law=FALLING, crush=4e-3, rebound=0.7, inertia=4e-5, stiffness=3e4),
    "rail": launcher(
        layout=RAIL, law=FALLING, crush=3e-3, rebound=0.7, inertia=4e-5, stiffness=3e4, feed=4.0, rail_law=Constant(0.3)
    ),
    "idler": launcher(layout=IDLER, law=FALLING, crush=4e-3, rebound=0.7, inertia=4e-5, stiffness=3e4, creep=0.1),
}


def rod(machine: Launcher, length: float) -> Launcher:
    """Return the launcher with a rod, and less crush so that it passes a rail as well."""
    return replace(
        machine, projectile=Projectile(shape=ROD, mass=0.02, diameter=0.04, length=length),
        template=replace(machine.template, crush=1.2e-3),
    )  # fmt: skip


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("length", [0.0, 0.05])
def test_energy_balance_closes(name: str, length: float) -> None:
    # First law: work of the wheels = gain of kinetic energy + slip heat + crush loss.
    machine = MACHINES[name] if length == 0.0 else rod(MACHINES[name], length)
    done = throw(machine, [10.0, 15.0])
    inertia = BALL.inertia_factor * 0.02 * 0.02**2
    gain = 0.02 * (done.exit_speed**2 - machine.feed.speed**2) / 2 + inertia * done.spin**2 / 2
    spent = sum(stage.slip_heat + stage.crush_loss for stage in done.stages)
    assert not done.jammed
    assert sum(stage.wheel_work for stage in done.stages) == pytest.approx(gain + spent, rel=1e-8)


@pytest.mark.parametrize("name", MACHINES)
def test_result_does_not_depend_on_the_tolerance(name: str) -> None:
    loose, tight = (throw(MACHINES[name], [10.0, 15.0], tolerance=tolerance) for tolerance in (1e-9, 1e-12))
    assert loose.exit_speed == pytest.approx(tight.exit_speed, rel=2e-7)


@pytest.mark.parametrize("exponent", [1.0, 1.5])
@pytest.mark.parametrize(("layout", "sides"), [(PAIR, 2), (IDLER, 2), (RAIL, 1)])
def test_exit_speed_without_friction(layout: object, sides: int, exponent: float) -> None:
    # Work of a spring that gives back the share e: ½m(v0² − v1²) = sides·(1 − e) k dⁿ⁺¹/(n + 1).
    stiffness = 3e4 if exponent == 1.0 else 1e6
    machine = launcher(
        layout=layout, law=Constant(0.0), crush=2e-3, rebound=0.6, stiffness=stiffness, feed=6.0,  # type: ignore[arg-type]
        exponent=exponent,
    )  # fmt: skip
    depth = 2e-3 / sides
    energy = stiffness * depth ** (exponent + 1) / (exponent + 1)
    done = throw(machine, [20.0])
    assert done.exit_speed == pytest.approx(np.sqrt(36.0 - 2 * sides * 0.4 * energy / 0.02), rel=1e-8)


def test_jam_if_crush_energy_exceeds_kinetic_energy() -> None:
    # ½mv0² = 2·½kd² in a pair without friction.
    machine = launcher(law=Constant(0.0), crush=4e-3, stiffness=3e4, rebound=0.5)
    barely = np.sqrt(2 * 3e4 * 2e-3**2 / 0.02)
    assert throw(machine, [20.0], entry_speed=0.9999 * barely).jammed
    assert not throw(machine, [20.0], entry_speed=1.5 * barely).jammed
