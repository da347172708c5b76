"""Where throws land: the nominal flight, its scatter over possible builds, and from shot to shot."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.optimise.draws import draw
from stager.physics.chain import throw
from stager.physics.flight import Landing, hit, land, landing, releases
from stager.physics.layout import length
from stager.physics.muzzle import outlet_speed
from stager.physics.records import Throw
from stager.physics.scatter import Scatter, Shots, scatter_of, shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Builds:
    """Scatter over possible builds of landing distance and of height at the target [m] (None: no target)."""

    landing: Scatter
    height: Scatter | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """Where a throw lands.

    landing: of the nominal throw, None without [flight]; builds: over possible builds, None where nothing is uncertain
    or no draws are asked for; shots: from shot to shot, None where no spread is known.
    """

    landing: Landing | None
    builds: Builds | None
    shots: Shots | None


def flown(
    scenario: Scenario, launcher: Launcher, done: Throw, rng: np.random.Generator, draws: int = 200
) -> Flown | None:
    """Return where a throw (no batch axes) lands; None without [flight] and spreads, or where nothing leaves.

    launcher: the scenario's, or with the parts that a plan chose; draws: number of builds and shots drawn, 0: none.
    """
    part = done.stages
    speeds = np.asarray(part.wheel_speed_a, dtype=np.float64), np.asarray(part.wheel_speed_b, dtype=np.float64)
    alike = all(
        part.wheel_speed_a[k] == part.wheel_speed_b[k] or not launcher.stage(k).layout.side_b_driven
        for k in range(speeds[0].size)
    )
    side_b = None if alike else speeds[1]
    leaves = float(outlet_speed(launcher, done.exit_speed))
    if bool(done.jammed) or leaves <= 0:
        return None
    found = shots(launcher, speeds[0], side_b, rng=rng, draws=draws) if draws else None
    if launcher.flight is None:
        return None if found is None else Flown(landing=None, builds=None, shots=found)
    middle = landing(launcher.flight, launcher.projectile, leaves, float(done.spin), length(launcher, speeds[0].size))
    # Draws are of the parts as configured: none where a plan chose others.
    uncertain = scenario.uncertain + scenario.flight_uncertain
    own = draws and uncertain and launcher.template == scenario.launcher.template
    return Flown(landing=middle, builds=_builds(scenario, speeds[0], side_b, rng, draws) if own else None, shots=found)


def _builds(
    scenario: Scenario, side_a: Floats, side_b: Floats | None, rng: np.random.Generator, draws: int
) -> Builds | None:
    """Return the landing over possible builds at the same wheel speeds."""
    everything = replace(scenario, uncertain=scenario.uncertain + scenario.flight_uncertain)
    drawn = draw(everything, draws, rng).launcher
    flight = drawn.flight
    if flight is None:
        return None
    done = throw(drawn, side_a, side_b)
    speed = np.broadcast_to(outlet_speed(drawn, done.exit_speed), (draws + 1,))
    out = np.isfinite(speed) & (speed > 0) & ~np.broadcast_to(done.jammed, speed.shape)
    spin = np.broadcast_to(done.spin, speed.shape)
    release = next(
        one for one in reversed(releases(flight, drawn.projectile, np.where(out, speed, 1.0), spin)) if one is not None
    )
    far = np.broadcast_to(land(release).distance, speed.shape)[1:][out[1:]]
    if far.size < 2:
        return None
    height = None
    if flight.target is not None:
        at = np.broadcast_to(hit(release, flight.target).height, speed.shape)[1:][out[1:]]
        height = scatter_of(at) if np.isfinite(at).all() else None
    return Builds(landing=scatter_of(far), height=height)
