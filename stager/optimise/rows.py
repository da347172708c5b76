"""Chains of different length thrown together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import NamedTuple

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.grip import grip_limit
from stager.optimise.span import span
from stager.optimise.spun import Turned, sides
from stager.optimise.still import idle
from stager.optimise.way import Apart, Way
from stager.physics.chain import throw, transit
from stager.physics.layout import overlapping
from stager.physics.options import Options
from stager.physics.records import Throw, Transit


def throw_rows(launcher: Launcher, chains: Sequence[Floats], options: Options, way: Way = transit) -> list[Throw]:
    """One throw a chain of leading wheels' speeds [m/s], shapes (stages,); those of equal launchers share their
    integration. way: see `sides`.

    """
    most = max((chain.size for chain in chains), default=0)
    if most == 0:
        return [_fed(launcher) for _ in chains]
    longest = max(chains, key=len)
    if most > 1 and overlapping(launcher, most, longest[:1]):
        return [throw(launcher, chain, options=options) if chain.size else _fed(launcher) for chain in chains]
    lead = np.stack([np.append(chain, longest[chain.size :]) for chain in chains])
    counts = np.array([float(chain.size) for chain in chains])
    whole = throw(launcher, *sides(way, launcher, lead, options), count=counts, options=options)
    return [_cut(launcher, whole, row, chain.size) for row, chain in enumerate(chains)]


def _fed(launcher: Launcher) -> Throw:
    """Through no stage it leaves as it is fed."""
    return replace(idle(0), exit_speed=np.asarray(launcher.feed.speed, dtype=np.float64))


def _cut(launcher: Launcher, whole: Throw, row: int, count: int) -> Throw:
    stages = Transit(**{field.name: getattr(whole.stages, field.name)[row, :count] for field in fields(Transit)})
    if count == 0:
        return _fed(launcher)
    jammed = np.asarray(stages.jammed.any())
    speed, spin = (np.where(jammed, 0.0, values[-1]) for values in (stages.exit_speed, stages.exit_spin))
    return Throw(stages=stages, exit_speed=speed, spin=spin, jammed=jammed)


def grips_of(
    launcher: Launcher, limit_values: LimitValues, throws: Sequence[Throw], near: Sequence[Floats] | None = None
) -> list[Floats]:
    """Grip limit of each stage of each throw at its own entry [m/s], shapes (stages,), of the leading wheel where a
    pair runs two speeds; equal stages share the search.

    NaN where exit speed still rises at the end of the range, or where the projectile does not get to.
    near: about where they must be [m/s], NaN where that is not known.
    """
    out = [np.full(done.stages.grip.size, np.nan) for done in throws]
    kinds: dict[tuple[int, bool, bool], dict[_Entry, list[tuple[int, int]]]] = {}
    for number, done in enumerate(throws):
        for k in range(done.stages.grip.size):
            entry = _entry(launcher, done, k)
            if entry.speed > 0:
                kind = id(launcher.stage(k)), entry.gap > 0, entry.turned
                kinds.setdefault(kind, {}).setdefault(entry, []).append((number, k))
    for (_, apart, turned), group in kinds.items():
        speed, spin, after, gap = (np.array([entry[side] for entry in group]) for side in range(4))
        first = [places[0] for places in group.values()]
        top = np.broadcast_to(span(launcher, limit_values, first[0][1]).top, speed.shape)
        about = None if near is None else np.array([near[number][k] for number, k in first])
        about = None if about is None or np.isnan(about).any() else about
        making = Turned(after, bool(limit_values.grip_margin), top)
        way = making if turned else Apart(gap) if apart else transit
        limit = grip_limit(launcher, first[0][1], speed, spin, top, near=about, way=way).wheel_speed
        for places, value in zip(group.values(), limit, strict=True):
            for number, k in places:
                out[number][k] = value
    return out


class _Entry(NamedTuple):
    """What a stage is entered with, as its leading wheel sees it: speed [m/s], spin before and after [rad/s], how much
    slower the other wheel runs [m/s]; whether it changes the spin."""

    speed: float
    spin: float
    after: float
    gap: float
    turned: bool


def _entry(launcher: Launcher, done: Throw, k: int) -> _Entry:
    part, turn = done.stages, 1.0 if done.stages.a_leads[k] else -1.0
    speed, spin, after = float(part.entry_speed[k]), turn * float(part.entry_spin[k]), turn * float(part.exit_spin[k])
    gap = turn * float(part.wheel_speed_a[k] - part.wheel_speed_b[k])
    if not launcher.stage(k).layout.side_b_driven or gap == 0.0:
        return _Entry(speed, float(part.entry_spin[k]), 0.0, 0.0, turned=False)
    return _Entry(speed, spin, after, gap, turned=not part.spin_stays[k])
