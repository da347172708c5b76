"""Launchers and scenarios for tests of plans; all numbers are invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from stager.model.arrays import Number
from stager.model.launcher import Contact, Feed, FrictionLaw, Guide, Launcher, Scenario, Uncertain
from stager.model.projectile import BALL, DISC, HOLLOW_BALL, RING, ROD, Projectile
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import IDLER, PAIR, RAIL, Stage, Wheel
from stager.physics.friction import Bell, Constant, Falling

FALLING = Falling(static=0.75, sliding=0.22, fade_speed=9.0)


def stage(**changes: Any) -> Stage:
    """Return a pair of heavy wheels, with `changes`."""
    wheel = {"radius": changes.pop("radius", 0.04), "inertia": changes.pop("inertia", 4e-3)}
    return Stage(**{"layout": PAIR, "wheel": Wheel(**wheel), "crush": 0.004, "clearance": 0.006, **changes})


def launcher(
    projectile: Projectile, template: Stage, friction: FrictionLaw = FALLING, *, feed: float = 1.2,
    stages: tuple[Stage, ...] = (), guide: Guide | None = None, **contact: Any,
) -> Launcher:  # fmt: skip
    """Return a launcher of equal stages, or with the given `stages`."""
    given = {"stiffness": 40e3, "creep": 0.15, "rebound": 0.8, "rail_friction": friction, **contact}
    return Launcher(
        projectile=projectile, feed=Feed(speed=feed), contact=Contact(friction=friction, **given),
        template=template, stages=stages, guide=guide,
    )  # fmt: skip


def scenario(machine: Launcher, aim: Goal | None = None, **limit_values: Any) -> Scenario:
    """Return a scenario without uncertainties."""
    return Scenario(
        title="test", launcher=machine, limit_values=LimitValues(**{"exit_energy": 1e3, "stages": 3, **limit_values}),
        goal=Goal(aim=Aim.FASTEST) if aim is None else aim, values={}, uncertain=(), realise=lambda values: machine,
    )  # fmt: skip


SEED = Projectile(shape=BALL, mass=0.018, diameter=0.038)
HEAVY = launcher(SEED, stage())
LIGHT = launcher(SEED, stage(inertia=4e-6))
PLATEAU = launcher(SEED, stage(inertia=2e-4), Constant(0.4))
HOLLOW = launcher(
    Projectile(shape=HOLLOW_BALL, mass=0.0027, diameter=0.04), stage(crush=0.0018, radius=0.025, inertia=3e-6),
    Falling(static=0.6, sliding=0.3, fade_speed=6.0), feed=0.8, stiffness=2.5e5, exponent=1.5,
)  # fmt: skip
FOAM = launcher(
    Projectile(shape=DISC, mass=0.008, diameter=0.065, thickness=0.012),
    stage(layout=RAIL, crush=0.005, radius=0.03, inertia=3e-5), Bell(peak=0.95, peak_speed=1.5, width=2.2),
    feed=1.5, stiffness=12e3, rebound=0.6, rail_friction=Constant(0.7),
)  # fmt: skip
STREAMER = launcher(
    Projectile(shape=ROD, mass=0.014, diameter=0.024, length=0.07),
    stage(crush=0.002, radius=0.03, clearance=0.03, inertia=3e-5), Falling(static=0.55, sliding=0.3, fade_speed=8.0),
    feed=1.0, stiffness=15e3, rebound=0.5,
)  # fmt: skip
HOOP = launcher(
    Projectile(shape=RING, mass=0.02, diameter=0.05, thickness=0.01),
    stage(layout=IDLER, inertia=5e-5, idler_inertia=1e-6), feed=1.0, stiffness=30e3,
)  # fmt: skip
GUIDED = launcher(SEED, stage(inertia=1e-4, clearance=0.3), guide=Guide(friction=1.0, air_drag=True))
MIXED = launcher(
    SEED, stage(inertia=5e-5, crush=0.003), stages=(stage(inertia=2e-5), stage(radius=0.03, inertia=1e-5)),
)  # fmt: skip
CLOSE = launcher(
    Projectile(shape=ROD, mass=0.014, diameter=0.024, length=0.07),
    stage(crush=0.002, radius=0.02, clearance=0.003, inertia=2e-5), Falling(static=0.55, sliding=0.3, fade_speed=8.0),
    feed=1.0, stiffness=15e3, rebound=0.5,
)  # fmt: skip


def unsure() -> Scenario:
    """Return a foam disc on rails with uncertain friction, mass and feed, which jams just beyond its best speeds."""
    normal, law = {"friction.peak": (0.95, 0.06), "friction.width": (2.2, 0.25)}, FOAM.contact.friction
    level = {"projectile.mass": (0.008, 0.0004), "feed.speed": (1.5, 0.15)}
    uncertain = [Uncertain(key=key, value=value, standard_uncertainty=spread, low=0.1 * value)
                 for key, (value, spread) in normal.items()]  # fmt: skip
    uncertain += [Uncertain(key=key, value=value, standard_uncertainty=spread, low=0.1 * value, rectangular=True)
                  for key, (value, spread) in level.items()]  # fmt: skip

    def realise(values: Mapping[str, Number]) -> Launcher:
        friction = replace(law, peak=values["friction.peak"], width=values["friction.width"])  # type: ignore[type-var]
        return replace(
            FOAM, projectile=replace(FOAM.projectile, mass=values["projectile.mass"]),
            feed=replace(FOAM.feed, speed=values["feed.speed"]), contact=replace(FOAM.contact, friction=friction),
        )  # fmt: skip

    task = scenario(FOAM, Goal(aim=Aim.FASTEST, worthwhile=0.25), wheel_speed=45.0)
    return replace(task, uncertain=tuple(uncertain), realise=realise)


def doubtful(task: Scenario, share: float) -> Scenario:
    """Return a scenario whose projectile, feed and contact vary by a standard uncertainty of `share` [-] each."""
    machine, keys = task.launcher, ("mass", "feed", "stiffness")

    def realise(values: Mapping[str, Number]) -> Launcher:
        projectile, feed, contact = machine.projectile, machine.feed, machine.contact
        return replace(
            machine, projectile=replace(projectile, mass=projectile.mass * values["mass"]),
            feed=replace(feed, speed=feed.speed * values["feed"]),
            contact=replace(contact, stiffness=contact.stiffness * values["stiffness"]),
        )  # fmt: skip

    uncertain = tuple(Uncertain(key=key, value=1.0, standard_uncertainty=share, low=0.5) for key in keys)
    return replace(task, values=dict.fromkeys(keys, 1.0), uncertain=uncertain, realise=realise)
