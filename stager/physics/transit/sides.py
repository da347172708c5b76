"""Friction of the sides of one or more nips."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from stager.model.arrays import Floats
from stager.model.contact import FrictionLaw
from stager.physics.transit.segment import STILL


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """All sides that act together. Arrays have shape (sides, lanes) or (sides, 1).

    laws: one friction law a side; creep ε [m/s], shape (lanes,) or (1,);
    weight: how many equal sides each stands for; turn: +1 where forward friction spins the projectile forward,
    −1 opposite, 0 where it cannot turn; rail: True where the side is a rail pressed by the side before it;
    level: True where its friction acts along the barrel (φ = 0); nip: which nip it belongs to;
    radius R [m]; inverse_inertia 1/J [1/(kg m^2)]; set_speed at the start [m/s];
    held_speed: what the throttle would hold [m/s]; motor_slope: torque a speed lost [N m/(m/s)];
    torque_low, torque_high: its bounds [N m].

    From these follow: whether friction can spin the projectile (turns), whether any motor acts (driven), whether one
    law holds for all sides (alike); wheels: rows of the state with their speeds, rows: how many are stepped;
    top: greatest set speed [m/s]; gain R/J; brake −R²/J.
    """

    laws: tuple[FrictionLaw, ...]
    creep: Floats
    weight: float
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
    alike: bool = field(init=False)
    rails: bool = field(init=False)
    wheels: slice = field(init=False)
    rows: int = field(init=False)
    top: Floats = field(init=False)
    gain: Floats = field(init=False)
    brake: Floats = field(init=False)

    def __post_init__(self) -> None:
        turns = any(self.turn)
        rows = 1 + turns + len(self.laws)
        top = self.set_speed.max(axis=0) if self.set_speed.ndim else self.set_speed
        found = {
            "turns": turns, "driven": bool(self.motor_slope.any()), "rails": any(self.rail),
            "alike": all(law is self.laws[0] for law in self.laws),
            "rows": rows, "wheels": slice(1 + turns, rows), "top": np.maximum(top, STILL),
            "gain": self.radius * self.inverse_inertia, "brake": -self.radius * self.radius * self.inverse_inertia,
        }  # fmt: skip
        for name, value in found.items():
            object.__setattr__(self, name, value)

    def traction(self, slip: Floats, *, steep: bool) -> tuple[Floats, Floats]:
        """φ(s) = μ(|s|)·tanh(s/ε) and, where `steep` asks for it, dφ/ds; shapes (sides, lanes) as `slip` [m/s]."""
        speed = np.abs(slip)
        if self.alike:
            coefficient, slope = self.laws[0].coefficient(speed, steep=steep)
        else:
            coefficient, slope = np.empty_like(speed), np.empty_like(speed)
            for side, law in enumerate(self.laws):
                coefficient[side], slope[side] = law.coefficient(speed[side], steep=steep)
        creeping = slip / self.creep
        np.tanh(creeping, out=creeping)
        if not steep:
            creeping *= coefficient
            return creeping, creeping
        steepness = slope * np.abs(creeping) + coefficient * (1.0 - creeping * creeping) / self.creep
        return coefficient * creeping, steepness

    def torque(self, wheel_speed: Floats) -> tuple[Floats, Floats]:
        """Motor torque beyond what holds the wheel [N m], and its slope by surface speed [N m/(m/s)]."""
        asked = self.motor_slope * (self.held_speed - wheel_speed)
        given = np.minimum(np.maximum(asked, self.torque_low), self.torque_high)
        return given, np.where(given == asked, -self.motor_slope, 0.0)
