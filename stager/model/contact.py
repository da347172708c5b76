"""How projectile and wheel press and rub."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, Self

from stager.model.arrays import Floats, Number


class FrictionLaw(Protocol):
    """Coefficient of friction against slip speed. Laws live in `stager.physics.friction`."""

    @property
    def name(self) -> str:
        """As the configuration has it."""
        ...

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Coefficient [-] and its slope [s/m] at slip speed |s| ≥ 0 [m/s], shapes as `slip`.

        steep: whether the slope is asked for; if not, anything may stand in its place.
        """
        ...

    def greatest(self, slip: Floats) -> Floats:
        """Greatest coefficient [-] from no slip to `slip` ≥ 0 [m/s]; shape as `slip`."""
        ...

    def scaled(self, factor: Number) -> Self:
        """The same law with all coefficients times `factor` [-]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Contact of one side.

    stiffness k [N/m^exponent]; exponent n [-]; rebound e: share of the crush energy given back [-];
    creep ε [m/s]; friction of the wheel; rail_friction of the rail.
    """

    stiffness: Number
    creep: Number
    friction: FrictionLaw
    rail_friction: FrictionLaw
    exponent: Number = 1.0
    rebound: Number = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """What the projectile meets between stages: friction on its weight [-], air drag or not."""

    friction: Number = 0.0
    air_drag: bool = False
