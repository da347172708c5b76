"""Quantities that a factor changes when a misfit is explained."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.fit.explanations import PERTURBATIONS, Perturbation, causes
from stager.fit.likelihood import NOISE
from stager.fit.optimiser import best_fit
from stager.fit.priors import own_law
from stager.model.launcher import Launcher, Measuring, Outlet
from stager.model.stage import RAIL
from stager.physics.chain import throw
from stager.physics.friction import Falling
from tests.drive.machines import launcher
from tests.recovery.bench import scenario, table

QUANTITIES: dict[str, Callable[[Any], float]] = {
    "fade": lambda one: one.contact.friction.fade_speed,
    "sliding": lambda one: one.contact.friction.sliding,
    "friction": lambda one: one.contact.friction.static,
    "stiffness": lambda one: one.contact.stiffness,
    "crush": lambda one: one.stage(1).crush,
    "feed": lambda one: one.feed.speed,
    "mass": lambda one: one.projectile.mass,
    "supply": lambda one: one.supply.voltage,
    "rebound": lambda one: one.contact.rebound,
    "exponent": lambda one: one.contact.exponent,
    "growth": lambda one: one.stage(1).wheel.tyre.material.modulus,
    "creep": lambda one: one.contact.creep,
    "outlet": lambda one: one.outlet.loss,
    "radius": lambda one: one.stage(1).wheel.radius,
    "tachometer": lambda one: one.measuring.wheel_speed,
    "chronograph": lambda one: one.measuring.exit_speed,
    "rail": lambda one: one.contact.rail_friction.static,
}
INVERSE = ("growth", "rebound")
"""A softer tyre grows more; more of the crush energy is lost where less is given back."""


def _machine() -> Launcher:
    machine = launcher(layout=RAIL)
    return replace(
        machine, contact=replace(machine.contact, rail_friction=Falling(0.4, 0.3, 5.0)), outlet=Outlet(loss=0.1),
        measuring=Measuring(wheel_speed=1.02, exit_speed=0.99), stages=(machine.template, machine.template),
    )  # fmt: skip


@pytest.mark.parametrize("perturbation", PERTURBATIONS, ids=lambda one: one.name)
def test_perturbation_changes_its_quantity_by_the_factor_and_no_other(perturbation: Perturbation) -> None:
    machine = _machine()
    assert perturbation.there(machine)
    changed, name = perturbation.change(machine, 1.1), perturbation.name
    also = {"friction": ("sliding",)}.get(name, ())
    for other, value in QUANTITIES.items():
        factor = 1.0
        if other == name or other in also:
            factor = 1 / 1.1 if other in INVERSE else 1.1
        assert value(changed) == pytest.approx(factor * value(machine), rel=1e-12), other


def test_rebound_gives_no_more_back_than_the_crush_took() -> None:
    (rebound,) = (one for one in PERTURBATIONS if one.name == "rebound")
    assert rebound.change(_machine(), 0.5).contact.rebound == 1.0


@pytest.mark.parametrize("jams", [1, 2])
def test_jam_that_the_model_lets_through_is_no_cause(jams: int) -> None:
    # A feed that sticks tells nothing of instruments, creep, outlet or tyre: causes gain what they gain without it.
    given = scenario("seed_ball")
    wheels = np.repeat(np.linspace(7.0, 22.0, 12), 2)
    exits = throw(given.launcher, wheels[:, None]).exit_speed * (1 + 0.006 * np.sin(5.0 * np.arange(24) ** 2))
    exits[(wheels > 11) & (wheels < 13)] *= 0.95
    thrown = table(wheels[:, None], exits)
    stuck = table(np.append(wheels, [17.0] * jams)[:, None], np.append(exits, [0.0] * jams))

    def gains(count: int) -> dict[str, float]:
        found = best_fit(given, own_law(given), stuck if count else thrown, NOISE, np.random.default_rng(0), jams=count)
        return {one.name: one.gain for one in causes(found, thrown, np.random.default_rng(0))}

    assert gains(jams) == pytest.approx(gains(0), abs=0.5)
