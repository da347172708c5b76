"""Reference geometry and normal forces of single nips along the barrel.

Conventions:
- growth g of a wheel at its set speed, before the contact, is that of the hub's rim (a free rotating annulus) and
  of the tyre. In a pair or with an idler each side takes half the crush and half the sum of both growths, with
  R + (g_A + g_B)/2 in the geometry; an idler is at rest and does not grow. On a rail the wheel takes crush and growth.
- a rod touches from its front at −a_r to its rear at +a_r, a_r = sqrt(2 (R + g) d) with d after growth; the rebound
  factor acts on its rear ramp; in between N = k dⁿ and the rolling loss acts.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi, sqrt
from typing import Protocol

from stager.model.launcher import Launcher
from stager.model.stage import RAIL, Stage, Wheel


@dataclass(frozen=True)
class Press:
    """One side of a nip: normal force [N], its part along the barrel [N], tilt, crush loss per length [N]."""

    normal: float
    push: float
    cos: float
    sin: float
    loss: float


class Nip(Protocol):
    """A nip. `marks` are the positions of the projectile's centre [m] that separate its phases."""

    @property
    def marks(self) -> tuple[float, ...]: ...

    def press(self, centre: float, phase: int) -> Press: ...


@dataclass(frozen=True)
class RoundNip:
    """Wheel radius after growth and projectile radius [m]; offset h [m]; k, n, e; position of the axis [m]."""

    axis: float
    wheel: float
    ball: float
    offset: float
    stiffness: float
    exponent: float
    rebound: float

    @property
    def marks(self) -> tuple[float, ...]:
        reach = sqrt((self.wheel + self.ball) ** 2 - self.offset**2)
        return self.axis - reach, self.axis, self.axis + reach

    def press(self, centre: float, phase: int) -> Press:
        x = centre - self.axis
        distance = sqrt(x * x + self.offset**2)
        full = self.stiffness * max(0.0, self.wheel + self.ball - distance) ** self.exponent
        sin = x / distance
        given = 1.0 if phase == 0 else self.rebound
        return Press(given * full, given * full * sin, self.offset / distance, sin, (1 - given) * full * sin)


@dataclass(frozen=True)
class RodNip:
    """Wheel radius after growth [m]; crush of a side d [m]; rod's length [m]; k, n, e; position of the axis [m]."""

    axis: float
    wheel: float
    crush: float
    length: float
    stiffness: float
    exponent: float
    rebound: float

    @property
    def reach(self) -> float:
        return sqrt(2 * self.wheel * self.crush)

    @property
    def marks(self) -> tuple[float, ...]:
        half = self.length / 2
        return tuple(self.axis + x for x in (-self.reach - half, -half, half, half + self.reach))

    def press(self, centre: float, phase: int) -> Press:
        if phase == 1:
            return self._middle()
        end = centre - self.axis + (self.length / 2 if phase == 0 else -self.length / 2)
        crush = max(0.0, self.crush * (1 - (end / self.reach) ** 2))
        slope = -2 * self.crush * end / self.reach**2
        full = self.stiffness * crush**self.exponent
        given = 1.0 if phase == 0 else self.rebound
        return Press(given * full, -given * full * slope, 1.0, 0.0, -(1 - given) * full * slope)

    def _middle(self) -> Press:
        energy = self.stiffness * self.crush ** (self.exponent + 1) / (self.exponent + 1)
        loss = (1 - self.rebound) * energy / self.reach
        return Press(self.stiffness * self.crush**self.exponent, -loss, 1.0, 0.0, loss)


def growth(wheel: Wheel, surface_speed: float) -> float:
    """Return the radial growth [m]: ρω²R t²/(2E) of the tyre, ρω²r_o/(4E)·[(1−ν)r_o² + (3+ν)r_i²] of the hub."""
    turning = surface_speed / wheel.radius
    grown = 0.0
    if wheel.tyre is not None:
        rubber, depth = wheel.tyre.material, wheel.tyre.depth
        grown += rubber.density * turning**2 * wheel.radius * depth**2 / (2 * rubber.modulus)
    if wheel.material is not None and wheel.material.modulus is not None:
        metal = wheel.material
        outer = wheel.radius - (wheel.tyre.depth if wheel.tyre is not None else 0.0)
        squares = (1 - metal.poisson) * outer**2 + (3 + metal.poisson) * (wheel.bore / 2) ** 2
        grown += metal.density * turning**2 * outer / (4 * metal.modulus) * squares
    return float(grown)


def rotating_inertia(wheel: Wheel) -> float:
    """Return the inertia of hub and tyre [kg m^2], as given or from two annuli."""
    if wheel.inertia is not None:
        return float(wheel.inertia)
    depth = wheel.tyre.depth if wheel.tyre is not None else 0.0
    outer, rim, bore = wheel.radius, wheel.radius - depth, wheel.bore / 2
    assert wheel.material is not None
    total = wheel.material.density * (rim**4 - bore**4)
    if wheel.tyre is not None:
        total += wheel.tyre.material.density * (outer**4 - rim**4)
    return float(pi / 2 * wheel.width * total)


def nip(launcher: Launcher, stage: Stage, axis: float, speed: float, speed_b: float) -> Nip:
    """Return the nip of `stage` at its set speeds [m/s] with its axis at `axis` [m]."""
    contact, projectile = launcher.contact, launcher.projectile
    if stage.layout is RAIL:
        rest, grown = stage.crush, growth(stage.wheel, speed)
    else:
        other = growth(stage.wheel, speed_b) if stage.layout.side_b_driven else 0.0
        rest, grown = stage.crush / 2, (growth(stage.wheel, speed) + other) / 2
    radius = stage.wheel.radius + grown
    pressing = (speed + speed_b) / 2 if stage.layout.side_b_driven else speed
    stiffness = float(contact.stiffness) * exp(float(contact.stiffening) * pressing)
    law = (stiffness, float(contact.exponent), float(contact.rebound))
    if not projectile.shape.rolls:
        return RodNip(axis, radius, rest + grown, float(projectile.length or 0.0), *law)
    ball = projectile.diameter / 2
    return RoundNip(axis, radius, ball, stage.wheel.radius + ball - rest, *law)
