"""Order of convergence at fixed steps, and the error at a given tolerance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.model.launcher import Launcher
from stager.model.projectile import ROD, Projectile
from stager.model.stage import IDLER, PAIR, RAIL
from stager.physics.chain import Options, throw
from stager.physics.friction import Bell, Constant, Falling
from tests.physics.machines import launcher

LAYOUTS = {"pair": PAIR, "rail": RAIL, "idler": IDLER}
LAWS = {"falling": Falling(0.7, 0.2, 9.0), "bell": Bell(0.9, 1.5, 2.0), "constant": Constant(0.5)}
MADE = [("pair", False), ("pair", True), ("rail", False), ("idler", False), ("idler", True)]
"""Layouts that a ball, or a rod (True), gets through."""
SPEED = np.array([25.0])


def machine(layout: str, exponent: float, rebound: float = 0.7, law: object = None) -> Launcher:
    """Return a launcher with a smooth friction law and a force jump at the axis plane (rebound below 1)."""
    return launcher(
        layout=LAYOUTS[layout], feed=6.0, crush=2e-3, creep=3.0, law=law or Falling(0.7, 0.2, 9.0), inertia=4e-5,
        stiffness=4e4 * 0.002 ** (1 - exponent), exponent=exponent, rebound=rebound,
    )  # fmt: skip


def order(of: Launcher) -> float:
    """Return the order of convergence: slope of log error against log step."""
    counts = np.array([10, 20, 40, 80])
    best, *speeds = (float(throw(of, SPEED, options=Options(steps=int(n))).exit_speed) for n in (800, *counts))
    return float(-np.polyfit(np.log(counts), np.log(np.abs(np.array(speeds) - best)), 1)[0])


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("exponent", [1.0, 1.5, 2.0])
def test_order_of_convergence_for_round_shapes(layout: str, exponent: float) -> None:
    assert order(machine(layout, exponent)) >= 3.5


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("exponent", [1.0, 1.5])
def test_order_of_convergence_for_rods(layout: str, exponent: float) -> None:
    rod = Projectile(shape=ROD, mass=0.02, diameter=0.04, length=0.03)
    assert order(replace(machine(layout, exponent), projectile=rod)) >= 3.5


def test_order_of_convergence_for_bell_friction() -> None:
    assert order(machine("pair", 1.5, law=Bell(0.9, 3.0, 2.0))) >= 3.5


@pytest.mark.parametrize("layout", LAYOUTS)
def test_error_is_within_the_tolerance(layout: str) -> None:
    # Slow entry and small creep: the stiff case.
    stiff = launcher(
        layout=LAYOUTS[layout], feed=0.4, crush=2e-3, creep=0.03, inertia=4e-5, rebound=0.7, law=Falling(0.7, 0.2, 9.0),
        stiffness=4e4,
    )  # fmt: skip
    best = float(throw(stiff, SPEED / 3, options=Options(tolerance=1e-11)).exit_speed)
    errors = [
        abs(float(throw(stiff, SPEED / 3, options=Options(tolerance=tolerance)).exit_speed) / best - 1)
        for tolerance in (1e-4, 1e-6, 1e-8)
    ]
    assert best > 0
    assert errors[0] < 1e-3
    assert errors[1] < 1e-5
    assert errors[2] < 1e-7


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize(("layout", "rod"), MADE)
def test_greatest_acceleration_does_not_depend_on_where_steps_end(layout: str, law: str, *, rod: bool) -> None:
    # It was missed or overrated by up to 0.09 %, so that designs at a limit on it kept or broke it by chance.
    of = launcher(
        layout=LAYOUTS[layout],
        law=LAWS[law],
        feed=1.2,
        crush=2e-3,
        inertia=4e-5,
        rebound=0.8,
        stiffness=4e4,
        creep=0.15,
    )
    if rod:
        of = replace(of, projectile=Projectile(shape=ROD, mass=0.014, diameter=0.04, length=0.07))
    speeds = np.geomspace(3.0, 40.0, 60)[:, None] * np.array([1.0, 1.4])
    best = throw(of, speeds, options=Options(tolerance=1e-10))
    found = throw(of, speeds)
    through = ~best.jammed
    assert through.sum() > 20
    peaks = [done.stages.peak_acceleration[through] for done in (found, best)]
    assert np.abs(peaks[0] / peaks[1] - 1).max() < 2e-4
