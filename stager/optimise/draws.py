"""Draw possible launchers from what is uncertain about one, and find where their throws land.

Landings are of the nominal flight, over possible builds, and from shot to shot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario, Uncertain
from stager.physics.barrel import length
from stager.physics.chain import throw
from stager.physics.flight import Landing, fall_line, hit, land, landing, outlet_speed, releases
from stager.physics.records import Throw
from stager.physics.scatter import Scatter, Shots, scatter_of, shots

ROOT_3 = np.sqrt(3.0)
"""Half width of a rectangular distribution over its standard deviation [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Drawn values and the launchers that have them.

    values : by key in SI, each (lanes,); lane 0 is the configuration's own
    launcher : with arrays over the lanes
    lanes : number of draws and the nominal launcher
    """

    values: Mapping[str, Floats]
    launcher: Launcher
    lanes: int


def draw(scenario: Scenario, count: int, rng: np.random.Generator) -> Draws:
    """Return the nominal launcher and `count` draws.

    Posterior draws of a fit are taken by whole rows, which keeps their correlation. Every other uncertain quantity is
    drawn by itself by Latin hypercube sampling (McKay, Beckman, Conover 1979).
    """
    values: dict[str, Floats] = {}
    fitted = scenario.draws or {}
    if fitted:
        size = next(iter(fitted.values())).size
        rows = rng.permutation(np.resize(rng.permutation(size), count))
        for key, drawn in fitted.items():
            values[key] = np.concatenate([[scenario.values.get(key, float(np.median(drawn)))], drawn[rows]])
    for item in scenario.uncertain:
        if item.key not in values:
            slices = (rng.permutation(count) + rng.uniform(size=count)) / count
            values[item.key] = np.concatenate([[item.value], quantile(item, slices)])
    launcher = scenario.realise(dict[str, Number](values)) if values else scenario.launcher
    return Draws(values=values, launcher=launcher, lanes=count + 1)


def quantile(item: Uncertain, share: Floats) -> Floats:
    """Return the value below which `share` of the distribution lies, in the quantity's unit.

    Normal, cut to the key's valid range, or rectangular of half-width √3 u (JCGM 101, 6.4.2).
    """
    from scipy.special import ndtr, ndtri

    spread = item.standard_uncertainty
    if item.rectangular:
        low, high = max(item.value - ROOT_3 * spread, item.low), min(item.value + ROOT_3 * spread, item.high)
        return np.asarray(low + share * (high - low))
    below, above = (float(ndtr((end - item.value) / spread)) for end in (item.low, item.high))
    return np.asarray(np.clip(item.value + spread * ndtri(below + share * (above - below)), item.low, item.high))


def is_uncertain(scenario: Scenario) -> bool:
    """Return whether anything of a scenario is uncertain."""
    return bool(scenario.uncertain or scenario.draws)


@dataclass(frozen=True, slots=True, kw_only=True)
class Builds:
    """Scatter over possible builds of landing distance and of height at the target [m].

    height: None without a target, or where a build's shot is on the ground before it
    fastest: exit speed of the fastest build [m/s]; farthest: greatest distance of a landing [m]
    highest: greatest height of the muzzle above the ground [m]
    """

    landing: Scatter
    height: Scatter | None
    fastest: float
    farthest: float
    highest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """Where a throw lands.

    landing: of the nominal throw, None without [flight]; builds: over possible builds, None where nothing is uncertain
    or no draws are asked for; shots: from shot to shot, None where no spread is known.
    danger: greatest distance of a fall over all tilts, of the fastest build and shot drawn too [m], None without
    [flight]
    """

    landing: Landing | None
    builds: Builds | None
    shots: Shots | None
    danger: float | None = None


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
    builds = _builds(scenario, speeds[0], side_b, rng, draws) if own else None
    danger = _danger(launcher, leaves, float(done.spin), middle, builds, found)
    return Flown(landing=middle, builds=builds, shots=found, danger=danger)


def _danger(
    launcher: Launcher, speed: float, spin: float, middle: Landing, builds: Builds | None, shots: Shots | None
) -> float:  # fmt: skip
    """Return the greatest distance of a fall over all tilts [m], with shots of the fastest build as far apart as drawn.

    speed [m/s], spin [rad/s]: of the nominal throw. Spin grows as exit speed does.
    """
    flight = launcher.flight
    assert flight is not None
    faster = 1.0
    for one in (builds, shots):
        faster *= 1.0 if one is None else max(one.fastest / speed, 1.0)
    height = float(flight.height) if builds is None else max(float(flight.height), builds.highest)
    drag = None if flight.drag is None else float(flight.drag)
    line = fall_line(faster * speed, launcher.projectile, height, faster * spin, drag)
    drawn = [one.farthest for one in (builds, shots) if one is not None and one.farthest is not None]
    return max(middle.danger, line.danger, *drawn)


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
        height = scatter_of(at) if (at >= 0).all() else None
    return Builds(
        landing=scatter_of(far), height=height, fastest=float(np.max(speed[out])), farthest=float(np.max(far)),
        highest=float(np.max(flight.height)),
    )  # fmt: skip
