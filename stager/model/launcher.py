"""The launcher: everything a throw depends on, with how projectile and wheel press and rub."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, Self

from stager.model.arrays import Floats, Number
from stager.model.drive import Supply
from stager.model.flight import Flight, Spread
from stager.model.projectile import Projectile
from stager.model.stage import Stage


class FrictionLaw(Protocol):
    """Coefficient of friction against slip speed. Laws live in `stager.physics.friction`."""

    @property
    def name(self) -> str:
        """As the configuration has it."""
        ...

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient [-] and its slope [s/m] at slip speed |s| ≥ 0 [m/s], shapes as `slip`.

        steep: whether the slope is asked for; if not, anything may stand in its place.
        """
        ...

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] from no slip to `slip` ≥ 0 [m/s]; shape as `slip`."""
        ...

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor` [-]."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Pusher:
    """What pushes projectiles into the first nip: force [N]; travel [m]; return_time [s]."""

    force: Number
    travel: Number
    return_time: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """How projectiles enter the first nip.

    speed [m/s]; spin [rad/s], positive where side A drives it forward; rate [1/s]; session length [s]; pusher;
    push: pusher's force until it lets go [N]; speed_spread: from shot to shot (None: not known).
    """

    speed: Number
    spin: Number = 0.0
    pusher: Pusher | None = None
    rate: Number | None = None
    push: Number | None = None
    session: Number | None = None
    speed_spread: Spread | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """Barrel or spout behind the last wheel: loss, energy that it takes from each throw [J]; length [m]."""

    loss: Number = 0.0
    length: Number = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Measuring:
    """What the instruments show: true over indicated wheel speed [-] and exit speed [-]; distance from the end of the
    launcher to the chronograph [m], over which air slows the projectile."""

    wheel_speed: Number = 1.0
    exit_speed: Number = 1.0
    distance: Number = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Launcher:
    """A launcher. `stages` are those written one by one; every further one is `template`."""

    projectile: Projectile
    feed: Feed
    contact: Contact
    template: Stage
    stages: tuple[Stage, ...] = ()
    guide: Guide | None = None
    outlet: Outlet | None = None
    measuring: Measuring | None = None
    supply: Supply | None = None
    flight: Flight | None = None

    def stage(self, index: int) -> Stage:
        """Return the stage number `index`, counted from 0."""
        return self.stages[index] if index < len(self.stages) else self.template
