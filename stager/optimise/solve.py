"""The best settings of a chain of maps under the limits on the throw."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from stager.model.arrays import Floats
from stager.model.requirements import LimitValues
from stager.optimise.chain_map import ChainRun
from stager.optimise.trust import Found, Trial, improve

REACHES = 2e-5
LEVEL, CLEARLY = 1e-4, 0.98
NEAR_CAP = 0.97
"""Settings that leave at less of the cap's exit speed are not looked at for what reaches it."""
LEAST_SETTING, GROWN = 0.2, 161
Extra = Callable[[ChainRun], Floats]
"""Slacks (lanes, limits) of further limits on chains."""


class Chains(Protocol):
    """What is searched: chains at settings from 0 to 1, shares of what is open to each stage."""

    @property
    def samples(self) -> int:
        """How many random chains are worth their time."""
        ...

    @property
    def feed(self) -> float:
        """Speed at which the projectile is fed [m/s]."""
        ...

    def run(self, settings: Floats, grip: Floats | None = None) -> ChainRun:
        """Chains at `settings`, shape (lanes, stages); grip: see Correction."""
        ...

    def at(self, wheel_speed: Floats) -> ChainRun:
        """Chains at wheel speeds [m/s], shape (lanes, stages)."""
        ...

    def under(self, limit_values: LimitValues, most: int) -> Chains:
        """The same under other limits on single wheels, for up to `most` stages."""
        ...

    def grips(self, exit_speed: Floats, share: Floats) -> Floats:
        """Its own grip limits [m/s] of the stages behind exits at `exit_speed` [m/s] with `share`, (stages,)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """True values as multiples of the maps', where they were compared last: exit speed, slip heat, and by stage
    peak acceleration and grip limit."""

    exit_speed: float = 1.0
    slip_heat: float = 1.0
    peak: Floats = field(default_factory=lambda: np.ones(1))
    grip: Floats | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a chain must keep: exit speed up to `cap` [m/s], slip heat up to `heat` [J], peak acceleration up to
    `strain` [m/s^2], and further limits; infinite: no such limit."""

    cap: float = np.inf
    heat: float = np.inf
    strain: float = np.inf
    extra: Extra | None = None
    correction: Correction = field(default_factory=Correction)


def solve(
    chains: Chains, count: int, task: Task, start: Floats | None = None, *, guess: Floats | None = None
) -> Found | None:
    """The fastest settings, of those that reach the cap the ones with least heat; None: nothing gets through.

    Settings within 0.01 % of the fastest give way to such with clearly less slip heat. start: settings known to be
    near; guess: settings that may be.
    """
    if start is not None and np.isfinite(task.cap) and _measure(chains, task, start)[0] > NEAR_CAP * task.cap:
        held = _held(chains, count, task, start, near=True)
        if held is not None:
            return held
    free = replace(task, cap=np.inf)
    fast = _search(chains, count, free, _speed_of(task), start, guess=guess)
    if fast is None and start is not None:
        fast = _search(chains, count, free, _speed_of(task), start, near=False)
    if fast is None:
        return None
    speed, heat = _measure(chains, task, fast.point)
    if speed > task.cap * (1 - REACHES):
        return _held(chains, count, task, _at_cap(chains, task, fast.point)) or fast
    # What speeds nothing up need not do so coolly.
    if speed <= chains.feed * (1 + LEVEL) or not _level(chains, task, fast, speed, heat):
        return fast
    held = _held(chains, count, replace(task, cap=speed * (1 - LEVEL)), fast.point)
    return held if held is not None and -held.objective < CLEARLY * heat else fast


def _held(chains: Chains, count: int, task: Task, start: Floats, *, near: bool = False) -> Found | None:
    """Least heat at the cap's exit speed or hardly less."""
    return _search(chains, count, task, _coolness, start, floor=True, near=near)


def _at_cap(chains: Chains, task: Task, point: Floats) -> Floats:
    """Settings slowed alike from `point`, which is faster, until they leave at the cap; or what is nearest to that."""
    low, high = LEAST_SETTING / float(point.max()), 1.0
    aim = task.cap * (1 - REACHES / 2)
    found = point
    for _ in range(4):
        shares = np.linspace(low, high, 60)
        run = chains.run(shares[:, None] * point, task.correction.grip)
        speed = np.where(run.through, _speed_of(task)(run), 0.0)
        place = max(int(np.argmax(speed > aim)), 1)
        low, high = shares[place - 1], shares[place]
        found = low * point
    return found


def _measure(chains: Chains, task: Task, point: Floats) -> tuple[float, float]:
    """Exit speed [m/s] and slip heat [J]."""
    run = chains.run(point[None], task.correction.grip)
    return float(_speed_of(task)(run)[0]), float(-_coolness(run)[0])


def _level(chains: Chains, task: Task, found: Found, speed: float, heat: float) -> bool:
    """Whether a slower wheel somewhere leaves as fast with clearly less heat."""
    shares = np.linspace(0.7, 0.995, 25)
    stages = np.eye(found.point.size)
    points = np.vstack([found.point * np.where(row, share, 1.0) for row in stages for share in shares])
    run = chains.run(points, task.correction.grip)
    same = run.through & (_speed_of(task)(run) >= speed * (1 - LEVEL))
    return bool((same & (-_coolness(run) < CLEARLY * heat)).any())


Score = Callable[[ChainRun], Floats]


def _speed_of(task: Task) -> Score:
    return lambda run: run.exit_speed[:, -1] * task.correction.exit_speed


def _coolness(run: ChainRun) -> Floats:
    return np.asarray(-run.slip_heat.sum(axis=1))


def _search(
    chains: Chains,
    count: int,
    task: Task,
    score: Score,
    start: Floats | None,
    *,
    floor: bool = False,
    near: bool = True,
    guess: Floats | None = None,
) -> Found | None:
    trial = _trial(chains, task, score, floor)
    low, high = np.full(count, LEAST_SETTING), np.ones(count)
    if start is not None and near:
        points, radius, rounds = [start], 0.04, 16
    else:
        points, radius, rounds = _samples(trial, low, high, chains.samples, start, guess), 0.15, 16
    found = []
    for point in points:
        edge = _edge(trial, point, low, high) if not floor else None
        found.append(edge or improve(trial, point, low, high, radius=radius, rounds=rounds))
    kept = [one for one in found if one.kept and np.isfinite(one.objective)]
    return max(kept, key=lambda one: one.objective) if kept else None


def _edge(trial: Trial, point: Floats, low: Floats, high: Floats) -> Found | None:
    """The point itself, where it is the top of all ranges and nothing near it is better."""
    if (point < high).any():
        return None
    points = np.vstack([point, point - np.random.default_rng(1).uniform(0.0, 1.0, (200, point.size)) ** 3 * 0.3])
    objective, slacks = trial(np.clip(points, low, high))
    worse = ~(objective[1:] > objective[0]) | (slacks[1:] < 0).any(axis=1)
    found = Found(point, float(objective[0]), slacks[0])
    return found if found.kept and np.isfinite(found.objective) and worse.all() else None


def grown(chains: Chains, point: Floats, task: Task) -> Floats:
    """Settings with one more stage behind those of `point` (stages,), the best for it as these are."""
    shares = np.linspace(LEAST_SETTING, 1.0, GROWN)
    points = np.column_stack([np.tile(point, (GROWN, 1)), shares])
    objective, slacks = _trial(chains, task, _speed_of(task), False)(points)
    return np.asarray(points[int(np.argmax(_merit(objective, slacks)))])


def _merit(objective: Floats, slacks: Floats) -> Floats:
    worth = objective - 10 * np.maximum(-slacks, 0).sum(axis=1)
    return np.asarray(np.where(np.isfinite(objective), worth, -np.inf))


def _samples(
    trial: Trial, low: Floats, high: Floats, count: int, start: Floats | None, guess: Floats | None
) -> list[Floats]:
    """The top of all ranges where nothing beats it, else the best of many random points, and what is known."""
    rng = np.random.default_rng(0)
    known = np.vstack([high, *(point for point in (start, guess) if point is not None)])
    points = np.vstack([known, low + (high - low) * rng.uniform(0.0, 1.0, (count, low.size)) ** 0.7])
    objective, slacks = trial(points)
    merit = _merit(objective, slacks)
    if not np.isfinite(merit).any():
        return []
    best, kept = int(np.argmax(merit)), np.isfinite(merit) & (slacks >= 0).all(axis=1)
    if best == 0 and kept[0]:
        return [points[0]]
    found = [points[best]] if start is None else [points[best], start]
    if not kept[best] and kept.any():
        # From beyond a limit there may be no way back.
        found.append(points[int(np.argmax(np.where(kept, objective, -np.inf)))])
    return found


def _trial(chains: Chains, task: Task, score: Score, floor: bool) -> Trial:
    correction = task.correction

    def trial(settings: Floats) -> tuple[Floats, Floats]:
        run = chains.run(settings, correction.grip)
        speed = run.exit_speed[:, -1] * correction.exit_speed
        slacks = []
        if np.isfinite(task.cap):
            slacks.append(1 - speed / task.cap)
        if floor:
            slacks.append(speed / task.cap - (1 - REACHES))
        if np.isfinite(task.heat):
            slacks.append(1 - run.slip_heat.sum(axis=1) * correction.slip_heat / task.heat)
        if np.isfinite(task.strain):
            slacks += list((1 - run.peak_acceleration * correction.peak / task.strain).T)
        kept = np.column_stack(slacks) if slacks else np.zeros((len(speed), 0))
        if task.extra is not None:
            kept = np.hstack([kept, task.extra(run)])
        return np.where(run.through, score(run), np.nan), kept

    return trial
