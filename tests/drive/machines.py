"""A launcher with drives and a supply for tests; all values are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Contact, Feed, Launcher
from stager.model.projectile import BALL, Projectile
from stager.model.stage import PAIR, Drive, Heat, Hold, Layout, Stage, Supply, Tyre, TyreMaterial, Wheel, WheelMaterial
from stager.physics.friction import Falling
from stager.physics.motor import Drivetrain
from stager.physics.transient import COMMAND, CURRENT, POWER, ROOM, TRIAL, WHEEL, bus_voltage, pack_wheels

RPM = 2 * np.pi / 60
DRIVE = Drive(speed_constant=1400 * RPM, resistance=0.06, no_load_current=1.1, current_limit=30.0)
SUPPLY = Supply(voltage=14.8, resistance=0.03, capacity=2.2 * 3600)
ALUMINIUM = WheelMaterial(
    name="aluminium", density=2700, modulus=70e9, poisson=0.33, yield_strength=240e6, tensile_strength=290e6
)
NITRILE = TyreMaterial(name="nitrile", density=1250, modulus=5.52e6, tensile_strength=12e6)
HEAT = Heat(winding_capacity=12.0, winding_to_case=1.5, case_capacity=30.0, case_to_air=4.0)
SPEEDS = np.array([8.0, 11.0, 14.0])


def wheel(**changes: Any) -> Wheel:
    """Return an aluminium wheel with a ring held by a lip."""
    tyre = Tyre(material=NITRILE, depth=0.003, stretch=0.05, held_by=Hold.LIP)
    return replace(Wheel(radius=0.04, width=0.018, bore=0.005, material=ALUMINIUM, inertia=4e-5, tyre=tyre), **changes)


def launcher(
    *, drive: Drive | None = DRIVE, supply: Supply | None = SUPPLY, layout: Layout = PAIR, rate: float | None = None,
    session: float | None = None, feed: float = 1.2, **changes: Any,
) -> Launcher:  # fmt: skip
    """Return a launcher of equal stages; `changes` go to the wheel."""
    friction = Falling(0.75, 0.22, 9.0)
    return Launcher(
        projectile=Projectile(shape=BALL, mass=0.018, diameter=0.038),
        feed=Feed(speed=feed, rate=rate, session=session),
        contact=Contact(stiffness=4e4, creep=0.15, friction=friction, rail_friction=friction, rebound=0.8),
        template=Stage(layout=layout, crush=4e-3, wheel=wheel(**changes), drive=drive, cost=38.0, mass=0.64),
        supply=supply,
    )


def on_the_bus(train: Drivetrain, throttle: Floats, speed: Floats) -> tuple[Floats, Floats, float]:
    """Return currents [A] and powers [W] of the wheels at throttles and speeds [rad/s], and the bus voltage [V]."""
    wheels = np.zeros((train.size, ROOM))
    wheels[:, :WHEEL] = pack_wheels(train, ())[0]
    wheels[:, COMMAND], wheels[:, TRIAL] = throttle, speed
    volts = bus_voltage(wheels, SUPPLY.voltage, SUPPLY.resistance, SUPPLY.voltage)
    return wheels[:, CURRENT], wheels[:, POWER], float(volts)
