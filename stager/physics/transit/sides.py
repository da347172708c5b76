"""Friction of the sides of one or more nips."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.contact import FrictionLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """All sides that act together. Arrays have shape (sides, lanes) or (sides, 1).

    laws: one friction law a side; creep ε [m/s], shape (lanes,) or (1,);
    weight: how many equal sides each stands for; turn: +1 where forward friction spins the projectile forward,
    −1 opposite, 0 where it cannot turn; rail: True where the side is a rail pressed by the side before it;
    level: True where its friction acts along the barrel (φ = 0); nip: which nip it belongs to;
    turns, driven: whether friction can spin the projectile, whether any motor acts; weights, turnings: `weight` and
    `turn` as columns; top: greatest set speed of the sides [m/s]; gain: R/J;
    single: each stands for itself alone; radius R [m];
    inverse_inertia 1/J [1/(kg m^2)]; set_speed at the start [m/s]; held_speed: what the throttle would hold [m/s];
    motor_slope: torque a speed lost [N m/(m/s)]; torque_low, torque_high: its bounds [N m].
    """

    laws: tuple[FrictionLaw, ...]
    creep: Floats
    weight: tuple[float, ...]
    turn: tuple[float, ...]
    rail: tuple[bool, ...]
    level: tuple[bool, ...]
    nip: tuple[int, ...]
    radius: Floats
    inverse_inertia: Floats
    set_speed: Floats
    held_speed: Floats
    motor_slope: Floats
    torque_low: Floats
    torque_high: Floats

    turns: bool = field(init=False)
    driven: bool = field(init=False)
    weights: Floats = field(init=False)
    turnings: Floats = field(init=False)
    top: Floats = field(init=False)
    gain: Floats = field(init=False)
    single: bool = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "turns", any(self.turn))
        object.__setattr__(self, "driven", bool(self.motor_slope.any()))
        object.__setattr__(self, "weights", np.array(self.weight)[:, None])
        object.__setattr__(self, "turnings", np.array(self.turn)[:, None])
        object.__setattr__(self, "top", self.set_speed.max(axis=0))
        object.__setattr__(self, "gain", self.radius * self.inverse_inertia)
        object.__setattr__(self, "single", all(weight == 1.0 for weight in self.weight))

    def traction(self, slip: Floats, *, steep: bool) -> tuple[Floats, Floats]:
        """φ(s) = μ(|s|)·tanh(s/ε) and, where `steep` asks for it, dφ/ds; shapes (sides, lanes) as `slip` [m/s]."""
        speed = np.abs(slip)
        if all(law is self.laws[0] for law in self.laws):
            coefficient, slope = self.laws[0].coefficient(speed)
        else:
            coefficient, slope = np.empty_like(speed), np.empty_like(speed)
            for side, law in enumerate(self.laws):
                coefficient[side], slope[side] = law.coefficient(speed[side])
        creeping = np.tanh(slip / self.creep)
        value = coefficient * creeping
        if not steep:
            return value, value
        return value, slope * np.abs(creeping) + coefficient * (1.0 - creeping * creeping) / self.creep

    def torque(self, wheel_speed: Floats) -> tuple[Floats, Floats]:
        """Motor torque beyond what holds the wheel [N m], and its slope by surface speed [N m/(m/s)]."""
        asked = self.motor_slope * (self.held_speed - wheel_speed)
        given = np.minimum(np.maximum(asked, self.torque_low), self.torque_high)
        return given, np.where(given == asked, -self.motor_slope, 0.0)
