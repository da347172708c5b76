"""Launchers for tests with known answers; all values are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from stager.model.launcher import Contact, Feed, Launcher
from stager.model.projectile import BALL, Projectile, Shape
from stager.model.stage import PAIR, Layout, Stage, Wheel
from stager.physics.friction import Constant


def launcher(
    *, layout: Layout = PAIR, shape: Shape = BALL, law: Any = None, feed: float = 2.0, inertia: float = 1e3,
    crush: float = 2e-4, rebound: float = 1.0, creep: float = 1e-2, stiffness: float = 2e5, mass: float = 0.02,
    exponent: float = 1.0, idler_inertia: float = 1e-5, rail_law: Any = None,
) -> Launcher:  # fmt: skip
    """Return a launcher near the limiting cases: heavy wheels, small crush, small creep speed."""
    friction = Constant(0.5) if law is None else law
    return Launcher(
        projectile=Projectile(shape=shape, mass=mass, diameter=0.04),
        feed=Feed(speed=feed),
        contact=Contact(
            stiffness=stiffness, creep=creep, friction=friction, rebound=rebound, exponent=exponent,
            rail_friction=friction if rail_law is None else rail_law,
        ),
        template=Stage(
            layout=layout, crush=crush, wheel=Wheel(radius=0.04, inertia=inertia), idler_inertia=idler_inertia
        ),
    )  # fmt: skip


def with_mass(machine: Launcher, factor: float) -> Launcher:
    """Multiply mass, stiffness and wheel inertia by one factor; the motion stays the same."""
    wheel = replace(machine.template.wheel, inertia=factor * machine.template.wheel.inertia)
    return replace(
        machine,
        projectile=replace(machine.projectile, mass=factor * machine.projectile.mass),
        contact=replace(machine.contact, stiffness=factor * machine.contact.stiffness),
        template=replace(machine.template, wheel=wheel),
    )
