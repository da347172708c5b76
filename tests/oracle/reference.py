"""A slow, independent reference for a throw: the whole launcher in time, scalar, by scipy's stiff integrator.

Written from the equations alone. Every nip acts where it touches; the run is cut at the places where a normal force is
not smooth, found as events. A jam is the speed reaching zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from stager.hardware.launcher import Launcher
from stager.hardware.stage import Stage


@dataclass
class Reference:
    exit_speed: float
    spin: float
    slip_heat: float
    jammed: bool


def _growth(stage: Stage, speed: float) -> float:
    wheel, omega, total = stage.wheel, speed / stage.wheel.radius, 0.0
    if wheel.material is not None and wheel.material.modulus is not None:
        b, a, m = wheel.hub_radius, wheel.bore / 2, wheel.material
        total += m.density * omega**2 * b / (4 * m.modulus) * ((1 - m.poisson) * b * b + (3 + m.poisson) * a * a)
    if wheel.tyre is not None:
        material = wheel.tyre.material
        total += material.density * omega**2 * wheel.radius * wheel.tyre.depth**2 / (2 * material.modulus)
    return total


class _Nip:
    def __init__(self, launcher: Launcher, stage: Stage, axis: float, set_a: float, set_b: float) -> None:
        self.launcher, self.stage, self.axis = launcher, stage, axis
        self.set = (set_a, set_b)
        kind = stage.layout.name
        swell = {"pair": (_growth(stage, set_a) + _growth(stage, set_b)) / 2, "idler": _growth(stage, set_a) / 2,
                 "rail": _growth(stage, set_a)}[kind]  # fmt: skip
        rest = stage.crush if kind == "rail" else stage.crush / 2
        self.tilting = 1 if kind == "rail" else 2
        self.radius = stage.wheel.radius + swell
        self.depth = rest + swell
        r = launcher.projectile.radius
        self.rolls = launcher.projectile.shape.rolls
        if self.rolls:
            self.height = stage.wheel.radius + r - rest
            half = np.sqrt((self.radius + r) ** 2 - self.height**2)
            self.breaks = [axis - half, axis, axis + half]
        else:
            self.ramp = np.sqrt(2 * self.radius * self.depth)
            length = launcher.projectile.length
            self.breaks = [axis - self.ramp, axis, axis + length, axis + length + self.ramp]

    def normal(self, x: float, middle: float) -> tuple[float, float, float, float]:
        """N, cos, sin, push at x, with the law of the piece that holds `middle`."""
        c, piece = self.launcher.contact, int(np.searchsorted(self.breaks, middle))
        if piece in (0, len(self.breaks)):
            return 0.0, 1.0, 0.0, 0.0
        last = piece == len(self.breaks) - 1
        factor = c.stiffness * (c.rebound if last else 1.0)
        offset = x - self.axis
        if self.rolls:
            distance = np.hypot(offset, self.height)
            crush = max(self.radius + self.launcher.projectile.radius - distance, 0.0)
            force = factor * crush**c.exponent
            return force, self.height / distance, offset / distance, self.tilting * force * offset / distance
        if piece == 2:
            force = factor * self.depth**c.exponent
            loss = (1 - c.rebound) * c.stiffness * self.depth ** (c.exponent + 1) / ((c.exponent + 1) * self.ramp)
            return force, 1.0, 0.0, -self.tilting * loss
        place = offset - (self.launcher.projectile.length if last else 0.0)
        crush = max(self.depth * (1 - (place / self.ramp) ** 2), 0.0)
        force = factor * crush**c.exponent
        return force, 1.0, 0.0, self.tilting * force * 2 * self.depth * place / self.ramp**2

    def sides(self, x: float, middle: float, v: float, spin: float, u: tuple[float, float]) -> Any:
        """Force and slip of both sides, cosines, push."""
        normal, cosine, sine, push = self.normal(x, middle)
        c, around = self.launcher.contact, self.launcher.projectile.radius * spin if self.rolls else 0.0
        slip_a = u[0] - v * cosine - around
        force_a = normal * self._law(c.friction, slip_a)
        if self.stage.layout.name == "rail":
            normal_b = max(0.0, normal * cosine - force_a * sine)
            slip_b = 0.0 - (v - around)
            return force_a, normal_b * self._law(c.rail_friction, slip_b), slip_a, slip_b, cosine, 1.0, push
        slip_b = u[1] - v * cosine + around
        return force_a, normal * self._law(c.friction, slip_b), slip_a, slip_b, cosine, cosine, push

    def _law(self, law: Any, slip: float) -> float:
        coefficient = float(law.coefficient(np.array([abs(slip)]))[0][0])
        return coefficient * np.tanh(slip / self.launcher.contact.creep)

    def wheels(self, force_a: float, force_b: float, u: tuple[float, float]) -> tuple[float, float]:
        """Acceleration of both rims [m/s^2]."""
        stage, radius = self.stage, self.stage.wheel.radius
        drive = stage.drive
        inertia = stage.wheel.inertia + (0.0 if drive is None else drive.rotor_inertia * drive.gear**2)
        kind = stage.layout.name
        first = radius / inertia * (self._motor(u[0], self.set[0]) - radius * force_a)
        if kind == "pair":
            return first, radius / inertia * (self._motor(u[1], self.set[1]) - radius * force_b)
        return first, (-(radius**2) * force_b / stage.idler_inertia if kind == "idler" else 0.0)

    def _motor(self, u: float, set_speed: float) -> float:
        drive = self.stage.drive
        if drive is None:
            return 0.0
        hold = drive.no_load_current
        lost = drive.gear * (set_speed - u) / self.stage.wheel.radius
        asked = hold + lost / (drive.speed_constant * drive.resistance)
        given = min(max(asked, 0.0), max(drive.current_limit, hold))
        return drive.gear / drive.speed_constant * (given - hold)


def reference(launcher: Launcher, speeds: list[float], speeds_b: list[float] | None = None) -> Reference:
    """One throw through len(speeds) stages."""
    nips, axis = [], 0.0
    for k, speed in enumerate(speeds):
        stage = launcher.stage(k)
        other = speed if speeds_b is None else speeds_b[k]
        nips.append(_Nip(launcher, stage, axis, speed, other))
        after = launcher.stage(k + 1)
        pitch = stage.pitch if stage.pitch is not None else stage.wheel.radius + after.wheel.radius + stage.clearance
        axis += pitch
    m, r = launcher.projectile.mass, launcher.projectile.radius
    inertia = launcher.projectile.spin_inertia
    marks = sorted({place for nip in nips for place in nip.breaks})
    wheel = [w for nip in nips for w in (nip.set[0], nip.set[1] if nip.stage.layout.name == "pair" else 0.0)]
    state = np.array([marks[0], launcher.feed.speed, 0.0, 0.0, *wheel])
    for low, high in pairwise(marks):
        middle = (low + high) / 2

        def rate(t: float, y: Any, middle: float = middle, begun: float = low) -> Any:
            x, v, spin = y[0], y[1], y[2]
            out = np.zeros_like(y)
            out[0] = v
            for k, nip in enumerate(nips):
                u = (y[4 + 2 * k], y[5 + 2 * k])
                fa, fb, sa, sb, ca, cb, push = nip.sides(x, middle, v, spin, u)
                out[1] += (fa * ca + fb * cb + push) / m
                out[2] += r * (fa - fb) / inertia if nip.rolls else 0.0
                out[3] += fa * sa + fb * sb
                touched = begun >= nip.breaks[0] - 1e-12
                out[4 + 2 * k : 6 + 2 * k] = nip.wheels(fa, fb, u) if touched else (0.0, 0.0)
            return out

        def arrive(t: float, y: Any, high: float = high) -> float:
            return float(y[0] - high)

        def stop(t: float, y: Any) -> float:
            return float(y[1])

        arrive.terminal = stop.terminal = True  # type: ignore[attr-defined]
        arrive.direction, stop.direction = 1, -1  # type: ignore[attr-defined]
        scale = np.maximum(np.abs(state), 1.0) * 1e-9
        scale[0] = 1e-11
        done = solve_ivp(rate, (0.0, 5.0), state, method="LSODA", events=(arrive, stop), rtol=1e-8, atol=scale)
        state = done.y[:, -1]
        if done.t_events[1].size or not done.t_events[0].size:
            return Reference(0.0, 0.0, state[3], True)
        state[0] = high
    return Reference(state[1], state[2], state[3], False)
