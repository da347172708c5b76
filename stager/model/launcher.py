"""The launcher: everything a throw depends on."""

from __future__ import annotations

from dataclasses import dataclass

from stager.model.arrays import Number
from stager.model.contact import Contact, Guide
from stager.model.drive import Supply
from stager.model.flight import Flight, Spread
from stager.model.projectile import Projectile
from stager.model.stage import Stage


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
        """Stage number `index`, counted from 0."""
        return self.stages[index] if index < len(self.stages) else self.template
