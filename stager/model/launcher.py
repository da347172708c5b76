"""The launcher: everything that a throw depends on; and the scenario: it with uncertainties, limits and goal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.projectile import Flight, Projectile, Spread
from stager.model.requirements import Goal, LimitValues
from stager.model.stage import Stage, Supply


class FrictionLaw(Protocol):
    """Coefficient of friction as a function of slip speed; laws are in `stager.physics.friction`."""

    @property
    def name(self) -> str:
        """Name in configurations."""
        ...

    def coefficient(self, slip: Floats, *, with_slope: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient [-] and its slope [s/m] at slip speed |s| ≥ 0 [m/s], shapes as `slip`.

        with_slope: whether the slope is needed; if not, its value may be anything.
        """
        ...

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] at slip speeds from 0 to `slip` [m/s]; shape as `slip`."""
        ...

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor` [-]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Contact of one side: normal force k·e^(s·u)·dⁿ at compression d and wheel speed u, friction by slip speed.

    stiffness: k, as the parts are pressed together slowly [N/m^exponent]
    stiffening: s, relative rise of the stiffness with the wheels' surface speed [s/m]
    exponent: n [-]
    rebound: e, share of the crush energy that is given back [-]
    creep: ε, slip speed over which friction changes sign [m/s]
    friction: of the wheel; rail_friction: of the rail
    """

    stiffness: Number
    creep: Number
    friction: FrictionLaw
    rail_friction: FrictionLaw
    exponent: Number = 1.0
    rebound: Number = 1.0
    stiffening: Number = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """Barrel between stages: coefficient of friction under the projectile's weight [-], and whether air drags on it."""

    friction: Number = 0.0
    air_drag: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Pusher:
    """Pusher into the first nip: force [N]; travel [m]; return_time [s]."""

    force: Number
    travel: Number
    return_time: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """How projectiles enter the first nip.

    speed [m/s]
    spin: positive where side A drives it forward [rad/s]
    rate: throws a second [1/s]
    push: force of the pusher until it lets go [N]
    push_end: how far beyond the first axes the projectile's centre is then [m]; None: a round one is
        there, a rod's rear end
    magazine: projectiles that it holds
    session: length of throwing at the rate [s]
    speed_spread: from shot to shot; None: unknown
    """

    speed: Number
    spin: Number = 0.0
    pusher: Pusher | None = None
    rate: Number | None = None
    push: Number | None = None
    push_end: Number | None = None
    magazine: int | None = None
    session: Number | None = None
    speed_spread: Spread | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """Barrel behind the last wheel: loss of energy of each throw [J]; length [m]."""

    loss: Number = 0.0
    length: Number = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Measuring:
    """Calibration of the instruments: true / indicated wheel speed [-] and exit speed [-].

    distance: from the end of the launcher to the chronograph, over which air slows the projectile [m]
    """

    wheel_speed: Number = 1.0
    exit_speed: Number = 1.0
    distance: Number = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Launcher:
    """A launcher; `stages` are those described one by one, all further ones are like `template`."""

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
        """Return the stage `index`, counted from 0."""
        return self.stages[index] if index < len(self.stages) else self.template


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertain:
    """One uncertain quantity.

    key: its dotted place in the configuration ("contact.stiffness", "stages.2.crush")
    value, standard_uncertainty: in SI
    low, high: the key's valid range, in SI
    rectangular: the distribution is uniform with half-width √3 × standard_uncertainty, else normal
    """

    key: str
    value: float
    standard_uncertainty: float
    low: float = -np.inf
    high: float = np.inf
    rectangular: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """The content of a configuration file.

    values: every quantity of the configuration by its key, in SI
    uncertain: uncertain quantities that a throw depends on
    realise: returns the launcher with the given quantities (SI, floats or arrays over the batch) in place of `values`
    draws: correlated posterior draws of a fit by key, each of shape (draws,); None: no fit
    flight_uncertain: uncertain quantities that only the flight depends on; throws past a chronograph do not inform them
    """

    title: str
    launcher: Launcher
    limit_values: LimitValues
    goal: Goal
    values: Mapping[str, float]
    uncertain: tuple[Uncertain, ...]
    realise: Callable[[Mapping[str, Number]], Launcher]
    draws: Mapping[str, Floats] | None = None
    flight_uncertain: tuple[Uncertain, ...] = ()

    @property
    def guessed(self) -> bool:
        """Whether no throws stand behind what contact and friction are uncertain of."""
        return self.draws is None and any(one.key.startswith("contact.") for one in self.uncertain)
