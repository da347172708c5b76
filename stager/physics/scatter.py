"""Scatter from shot to shot of exit speed and place on the target, and the share of each cause.

Uncertainty of the launcher is left out: it is the same for every shot and moves the middle of the group, not its size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.projectile import Spread
from stager.model.stage import Stage
from stager.physics.chain import throw
from stager.physics.flight import Release, hit, land, outlet_speed, releases
from stager.physics.records import Throw

COVERAGE = 0.95
"""Share of shots within the intervals [-]."""
NODES = 61
"""Equally likely values of each cause alone [-]: enough to resolve the one-sided scatter at the grip limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A quantity that differs from shot to shot, and the standard deviation of each result from it alone.

    exit_speed [m/s]; landing: distance [m]; height, sideways: at the target [m]; None: unknown
    """

    name: str
    exit_speed: float
    landing: float | None
    height: float | None
    sideways: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """One result over the shots that do not jam: median, standard deviation, interval of COVERAGE of the shots."""

    middle: float
    standard_deviation: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shots:
    """Scatter from shot to shot.

    exit_speed: behind the outlet [m/s]; landing: distance [m]
    height: above the ground, sideways: to the right, at `target` [m]; None: no target, or a shot lands before it
    fastest: exit speed of the fastest shot [m/s]; farthest: greatest distance of a landing [m], None without [flight]
    causes: the greatest first
    jams: share of shots that jam [-]
    flown: "without air", "with drag" or "with drag and lift"
    """

    exit_speed: Scatter
    landing: Scatter | None
    height: Scatter | None
    sideways: Scatter | None
    target: float | None
    fastest: float
    farthest: float | None
    causes: tuple[Cause, ...]
    jams: float
    flown: str
    draws: int


@dataclass(frozen=True, slots=True)
class _Samples:
    """Differences of each sample from the nominal shot, each (samples,) in SI; wheels: (samples, stages, 2)."""

    mass: Floats
    diameter: Floats
    feed: Floats
    wheels: Floats
    tilt: Floats
    heading: Floats


def known_spreads(launcher: Launcher, stages: int) -> bool:
    """Return whether any quantity of a launcher of `stages` stages is known to differ from shot to shot."""
    flight, projectile = launcher.flight, launcher.projectile
    found: list[Spread | None] = [projectile.mass_spread, projectile.diameter_spread, launcher.feed.speed_spread]
    found += [launcher.stage(k).speed_spread for k in range(stages)]
    found += [] if flight is None else [flight.tilt_spread, flight.heading_spread]
    return any(one is not None and one.value > 0 for one in found)


def shots(
    launcher: Launcher, wheel_speed: Floats, wheel_speed_b: Floats | None = None, *, rng: np.random.Generator,
    draws: int = 400,
) -> Shots | None:  # fmt: skip
    """Return the scatter of shots at set wheel speeds; None where nothing is known to differ, or too many jam.

    All causes together are drawn from normal distributions (JCGM 101); each cause alone takes equally likely values.
    The gap is constant: a wider projectile is crushed more.

    Parameters
    ----------
    launcher : Launcher
        Without batch axes.
    wheel_speed, wheel_speed_b : ndarray, shape (stages,)
        Set surface speeds of sides A and B [m/s]; B None: as A.
    rng : Generator
    draws : int
        Shots that are drawn.
    """
    side_a = np.asarray(wheel_speed, dtype=np.float64)
    side_b = side_a if wheel_speed_b is None else np.asarray(wheel_speed_b, dtype=np.float64)
    count = side_a.size
    if not known_spreads(launcher, count):
        return None
    names, samples = _samples(launcher, side_a, side_b, rng, draws)
    done = _thrown(launcher, side_a, side_b, samples)
    speed = np.where(done.jammed, np.nan, outlet_speed(_launcher(launcher, samples), done.exit_speed))
    speed = np.where(speed > 0, speed, np.nan)
    first = 1 + NODES * len(names)
    valid = np.isfinite(speed)
    if not valid[0] or valid[first:].sum() < 2:
        return None
    flown, landing, height, sideways = _flights(launcher, done, speed, samples)
    results = (speed, landing, height, sideways)
    causes = _causes(names, results)
    samples_of = [None if one is None else one[first:][valid[first:]] for one in results]
    drawn = [None if one is None else scatter_of(one) for one in samples_of]
    greatest = [None if one is None else float(np.max(one)) for one in samples_of]
    target = None if launcher.flight is None or launcher.flight.target is None else float(launcher.flight.target)
    assert drawn[0] is not None
    assert greatest[0] is not None
    return Shots(
        exit_speed=drawn[0], landing=drawn[1], height=drawn[2], sideways=drawn[3], target=target, causes=causes,
        fastest=greatest[0], farthest=greatest[1], jams=float(1 - valid[first:].mean()), flown=flown, draws=draws,
    )  # fmt: skip


def _samples(
    launcher: Launcher, side_a: Floats, side_b: Floats, rng: np.random.Generator, draws: int
) -> tuple[list[str], _Samples]:
    """Return the names of the causes, and samples: the nominal shot, each cause alone, then all causes drawn."""
    flight, projectile, count = launcher.flight, launcher.projectile, side_a.size

    def size(spread: Spread | None, base: Number) -> float:
        return 0.0 if spread is None else float(spread.of(base))

    wheels = np.zeros((count, 2))
    for k in range(count):
        stage = launcher.stage(k)
        wheels[k, 0] = size(stage.speed_spread, float(side_a[k]))
        wheels[k, 1] = size(stage.speed_spread, float(side_b[k])) if stage.layout.side_b_driven else 0.0
    sizes: dict[str, tuple[int, float]] = {
        "projectile mass": (0, size(projectile.mass_spread, projectile.mass)),
        "projectile diameter": (1, size(projectile.diameter_spread, projectile.diameter)),
        "feed speed": (2, size(launcher.feed.speed_spread, launcher.feed.speed)),
        "tilt": (3, 0.0 if flight is None else size(flight.tilt_spread, flight.tilt)),
        "heading": (4, 0.0 if flight is None else size(flight.heading_spread, 0.0)),
    }
    for k in range(count):
        for side, name in enumerate("AB" if launcher.stage(k).layout.side_b_driven else "A"):
            sizes[f"wheel {k + 1}{name}"] = (5 + 2 * k + side, float(wheels[k, side]))
    chosen = {name: found for name, found in sizes.items() if found[1] > 0}
    first = 1 + NODES * len(chosen)
    table = np.zeros((first + draws, 5 + 2 * count))
    for row, (column, spread) in enumerate(chosen.values()):
        table[1 + NODES * row : 1 + NODES * (row + 1), column] = spread * _slices()
        table[first:, column] = spread * rng.standard_normal(draws)
    mass, diameter, feed, tilt, heading = table[:, :5].T
    sides = table[:, 5:].reshape(-1, count, 2)
    return list(chosen), _Samples(mass, diameter, feed, sides, tilt, heading)


def _slices() -> Floats:
    """Return the normal quantiles at the middle of NODES equally likely slices, scaled to unit standard deviation."""
    from scipy.special import ndtri

    nodes = ndtri((np.arange(NODES) + 0.5) / NODES)
    return np.asarray(nodes / np.std(nodes))


def _launcher(launcher: Launcher, samples: _Samples) -> Launcher:
    """Return the launcher with the projectile and feed of each sample, and constant gaps."""
    projectile, feed = launcher.projectile, launcher.feed
    mass = np.maximum(projectile.mass + samples.mass, 0.01 * projectile.mass)
    diameter = np.maximum(projectile.diameter + samples.diameter, 0.5 * projectile.diameter)

    def gripped(stage: Stage) -> Stage:
        crush = stage.crush + (diameter - projectile.diameter)
        return replace(stage, crush=np.maximum(crush, 1e-3 * stage.crush))

    return replace(
        launcher, projectile=replace(projectile, mass=mass, diameter=diameter),
        feed=replace(feed, speed=np.maximum(feed.speed + samples.feed, 1e-3 * feed.speed)),
        template=gripped(launcher.template), stages=tuple(gripped(stage) for stage in launcher.stages),
    )  # fmt: skip


def _thrown(launcher: Launcher, side_a: Floats, side_b: Floats, samples: _Samples) -> Throw:
    """Return the throws of all samples; wheels with equal set speeds may differ in a shot."""
    speed_a = np.maximum(side_a + samples.wheels[:, :, 0], 0.0)
    speed_b = np.maximum(side_b + samples.wheels[:, :, 1], 0.0)
    split = bool((side_a != side_b).any() or samples.wheels[:, :, 1].any())
    return throw(_launcher(launcher, samples), speed_a, speed_b if split else None)


def _flights(
    launcher: Launcher, done: Throw, speed: Floats, samples: _Samples
) -> tuple[str, Floats | None, Floats | None, Floats | None]:
    """Return the kind of flight, landing distance, and height and sideways at the target, each (samples,) [m]."""
    flight = launcher.flight
    if flight is None:
        return "", None, None, None
    here = _launcher(launcher, samples)
    found = releases(flight, here.projectile, np.nan_to_num(speed, nan=1.0), done.spin)
    kind = max(k for k, one in enumerate(found) if one is not None)
    release = found[kind]
    assert isinstance(release, Release)
    release = replace(release, tilt=flight.tilt + samples.tilt, heading=samples.heading)
    landing = land(release)
    at = None if flight.target is None else hit(release, flight.target)
    if at is not None and not (at.height >= 0)[np.isfinite(speed)].all():
        at = None
    words = ("without air", "with drag", "with drag and lift")[kind]
    return words, landing.distance, None if at is None else at.height, None if at is None else at.sideways


def _causes(names: Sequence[str], results: tuple[Floats | None, ...]) -> tuple[Cause, ...]:
    """Return the standard deviations from each cause alone, all wheels as one cause; the greatest first.

    They are ordered by the place on the target, else by the landing, else by the exit speed.
    """
    sizes: dict[str, list[float | None]] = {}
    for row, name in enumerate(names):
        ends = [None if one is None else _deviation(one[1 + NODES * row : 1 + NODES * (row + 1)]) for one in results]
        merged = "wheel speed" if name.startswith("wheel") else name
        before = sizes.get(merged, [None if end is None else 0.0 for end in ends])
        sizes[merged] = [
            None if end is None or old is None else float(np.hypot(old, end))
            for old, end in zip(before, ends, strict=True)
        ]
    causes = [
        Cause(name=name, exit_speed=found[0] or 0.0, landing=found[1], height=found[2], sideways=found[3])
        for name, found in sizes.items()
    ]
    return tuple(sorted(causes, key=_weight, reverse=True))


def _deviation(values: Floats) -> float:
    """Return the standard deviation over the values that do not jam."""
    valid = np.isfinite(values)
    return float(np.std(values[valid])) if valid.any() else 0.0


def _weight(cause: Cause) -> float:
    if cause.height is not None and cause.sideways is not None:
        return float(np.hypot(cause.height, cause.sideways))
    return cause.exit_speed if cause.landing is None else cause.landing


def scatter_of(values: Floats) -> Scatter:
    """Return median, standard deviation and the interval of COVERAGE of `values`, shape (n,), n at least 2."""
    left, right = np.quantile(values, [(1 - COVERAGE) / 2, (1 + COVERAGE) / 2])
    return Scatter(
        middle=float(np.median(values)), standard_deviation=float(np.std(values, ddof=1)), low=float(left),
        high=float(right),
    )  # fmt: skip
