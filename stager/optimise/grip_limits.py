"""Find the grip limit of each stage of throws at its own entry: behind the stages before it, with its own spin."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from stager.constraints import OperatingPoint, speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.spin import Turned
from stager.physics.barrel import coupled
from stager.physics.chain import transit
from stager.physics.grip_limit import FINE, STANDARD, Coupled, Refinement, TransitFunction, TwoSpeeds, grip_limit
from stager.physics.records import Throw

TABLED = 200
"""Entries of equal stages above which their grip limits are guessed from a table first."""
NODES = 24
"""Entry speeds of that table."""
BESIDE = Refinement(2, offsets=(-0.1, -0.01, 0.0, 0.01, 0.1), crossing_points=6)
"""Search beside such a guess."""


class _Entry(NamedTuple):
    """Entry of a stage, spin counted positive where its leading wheel drives it forward.

    speed [m/s]; spin before and after [rad/s]; gap: speed of the leading wheel less the other's [m/s]; turned: the
    stage changes the spin. chain: speeds of sides A and B of the stages before it where these still hold the projectile
    [m/s], else empty; gap is then that of side A to side B.
    """

    speed: float
    spin: float
    after: float
    gap: float
    turned: bool
    chain: tuple[tuple[float, ...], tuple[float, ...]] | tuple[()] = ()


def operating_point(launcher: Launcher, limit_values: LimitValues, done: Throw) -> OperatingPoint:
    """Return the operating point of a throw, with grip limits where a margin below them is asked for."""
    grips = grip_limits(launcher, limit_values, done) if limit_values.grip_margin else None
    return OperatingPoint(launcher=launcher, limit_values=limit_values, throw=done, grip_limit=grips)


def grip_limits_at(point: OperatingPoint) -> Floats:
    """Return the grip limits at an operating point, see `grip_limits`, which limits may not have needed."""
    known = point.grip_limit
    return grip_limits(point.launcher, point.limit_values, point.throw) if known is None else known


def grip_limits(launcher: Launcher, limit_values: LimitValues, done: Throw) -> Floats:
    """Return the grip limit of each stage at its own entry in a throw [m/s], shape (stages,).

    It is the leading wheel's where a pair runs two speeds; NaN where exit speed still rises at the end of the range and
    the margin beyond it, and in stages that the projectile does not reach.
    """
    return grip_limits_of(launcher, limit_values, [done])[0]


def grip_limits_of(launcher: Launcher, limit_values: LimitValues, throws: Sequence[Throw]) -> list[Floats]:
    """Return the grip limits of several throws, see `grip_limits`; equal stages share the search."""
    out = [np.full(done.stages.grip.size, np.nan) for done in throws]
    kinds: dict[tuple[int, bool, bool, int], dict[_Entry, list[tuple[int, int]]]] = {}
    stages = range(max((one.size for one in out), default=0))
    different = {id(launcher.stage(k)): k for k in stages}
    top_of = {kind: np.max(speed_range(launcher, limit_values, k).top) for kind, k in different.items()}
    tops = [top_of[id(launcher.stage(k))] for k in stages]
    together = [coupled(launcher, k, np.full(1, tops[k])) for k in stages]
    for number, done in enumerate(throws):
        for k in range(done.stages.grip.size):
            entry = _coupled_entry(done, k) if together[k] else _entry(launcher, done, k)
            if entry.speed > 0:
                kind = id(launcher.stage(k)), entry.gap > 0, entry.turned, len(entry.chain) and k
                kinds.setdefault(kind, {}).setdefault(entry, []).append((number, k))
    for (_, apart, turned, _), group in kinds.items():
        speed, spin, after, gap = (np.array([entry[side] for entry in group]) for side in range(4))
        first = [places[0] for places in group.values()]
        top = np.full(speed.shape, tops[first[0][1]])
        making = Turned(after, bool(limit_values.grip_margin), top)
        way: TransitFunction = making if turned else TwoSpeeds(gap) if apart else transit
        if together[first[0][1]]:
            sides_of = np.array([entry.chain for entry in group])
            way = Coupled(tuple(sides_of[:, 0].T), tuple(sides_of[:, 1].T), gap)
        about, refinement = None, FINE
        if way is transit and speed.size > TABLED:
            about, refinement = _about(launcher, limit_values, first[0][1], speed, spin, top), BESIDE
        found = grip_limit(
            launcher, first[0][1], speed, spin, top, margin=limit_values.grip_margin, near=about, refinement=refinement,
            transit_function=way,
        ).wheel_speed  # fmt: skip
        for places, value in zip(group.values(), found, strict=True):
            for number, k in places:
                out[number][k] = value
    return out


def _about(
    launcher: Launcher, limit_values: LimitValues, index: int, speed: Floats, spin: Floats, top: Floats
) -> Floats:  # fmt: skip
    """Return first guesses of grip limits [m/s], interpolated between NODES entry speeds; arrays of shape (samples,).

    The guess is the end of the range where a neighbouring node has none.
    """
    order = np.argsort(speed)
    nodes = order[np.unique(np.linspace(0, speed.size - 1, NODES).round().astype(int))]
    known = grip_limit(
        launcher, index, speed[nodes], spin[nodes], top[nodes], margin=limit_values.grip_margin, refinement=STANDARD
    ).wheel_speed
    return np.interp(speed, speed[nodes], np.where(np.isnan(known), top[nodes], known))


def _entry(launcher: Launcher, done: Throw, k: int) -> _Entry:
    part, turn = done.stages, 1.0 if done.stages.a_leads[k] else -1.0
    speed, spin, after = float(part.entry_speed[k]), turn * float(part.entry_spin[k]), turn * float(part.exit_spin[k])
    gap = turn * float(part.wheel_speed_a[k] - part.wheel_speed_b[k])
    if not launcher.stage(k).layout.side_b_driven or gap == 0.0:
        return _Entry(speed, float(part.entry_spin[k]), 0.0, 0.0, turned=False)
    return _Entry(speed, spin, after, gap, turned=not part.spin_stays[k])


def _coupled_entry(done: Throw, k: int) -> _Entry:
    """Return the entry of a stage together with the stages before it, which still hold the projectile."""
    part = done.stages
    side_a, side_b = (tuple(side[:k].tolist()) for side in (part.wheel_speed_a, part.wheel_speed_b))
    gap = float(part.wheel_speed_a[k] - part.wheel_speed_b[k])
    return _Entry(float(part.entry_speed[k]), float(part.entry_spin[k]), 0.0, gap, turned=False, chain=(side_a, side_b))
