"""Drawn launchers with ranges of wheel radius and inertia, and brute force over these and the wheel speeds.

Brute force evaluates a Sobol sequence over all variables, then in shrinking boxes around the best feasible point. It
uses the throw, the limits and the grip limit, but not the search.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from scipy.stats import qmc

from stager.constraints import OperatingPoint, evaluate_limits, speed_range
from stager.constraints.limit import ROUNDING
from stager.model.arrays import Floats
from stager.model.launcher import Contact, Feed, Launcher, Scenario
from stager.model.projectile import BALL, DISC, HOLLOW_BALL, Projectile
from stager.model.stage import IDLER, PAIR, RAIL, Drive, Stage, Supply, Wheel
from stager.physics.chain import throw
from stager.physics.friction import Bell, Constant, Falling
from stager.physics.grip_limit import grip_limit
from stager.physics.parts import with_variables
from stager.physics.records import FIELDS, Throw, Transit, take
from stager.physics.wheel import WHEEL_MATERIALS
from tests.optimise.machines import scenario

FIRST, POINTS, REFINEMENTS, SHRINK = 4096, 512, 16, 0.58
MANY, FEW = 1024, 64


def drawn(seed: int) -> Scenario:
    """Draw a launcher with motors, one or two stages, and ranges of wheel radius and inertia."""
    rng = np.random.default_rng([17, seed])

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    shape = (BALL, HOLLOW_BALL, DISC)[rng.integers(3)]
    size = between(0.025, 0.06)
    mass = between(0.004, 0.05)
    layout = (PAIR, PAIR, RAIL, IDLER)[rng.integers(4)]
    radius, width = between(0.02, 0.05), between(0.01, 0.025)
    material = WHEEL_MATERIALS[("acetal", "aluminium")[rng.integers(2)]]
    friction = (
        Falling(static=between(0.5, 0.9), sliding=between(0.2, 0.35), fade_speed=between(5, 15)),
        Constant(between(0.3, 0.7)), Bell(peak=between(0.6, 1.0), peak_speed=between(1, 3), width=between(1.8, 2.5)),
    )[rng.integers(3)]  # fmt: skip
    inertia = np.pi / 2 * float(material.density) * width * radius**4
    wheel = Wheel(
        radius=radius, width=width, bore=0.005, material=material,
        inertia=None if rng.random() < 0.5 else inertia,
        radius_range=(0.6 * radius, 1.8 * radius), inertia_range=(0.15 * inertia, 5 * inertia),
    )  # fmt: skip
    crush = between(0.04, 0.14) * size
    drive = Drive(
        speed_constant=between(600, 2500) * np.pi / 30, resistance=between(0.03, 0.3),
        no_load_current=between(0.3, 1.5), current_limit=between(8, 60), rotor_inertia=between(5e-7, 4e-6),
    )  # fmt: skip
    stage = Stage(
        layout=layout, wheel=wheel, crush=crush, drive=drive, clearance=0.006, mass=0.5,
        idler_inertia=0.3 * inertia if layout is IDLER else None,
    )  # fmt: skip
    contact = Contact(
        stiffness=between(10e3, 50e3), creep=between(0.1, 0.6), rebound=between(0.5, 0.9), friction=friction,
        rail_friction=friction,
    )  # fmt: skip
    projectile = Projectile(shape=shape, mass=mass, diameter=size, thickness=0.012 if shape is DISC else None)
    machine = Launcher(
        projectile=projectile, feed=Feed(speed=between(0.8, 2.5), rate=between(1, 5)), contact=contact, template=stage,
        supply=Supply(voltage=between(7, 25), resistance=between(0.01, 0.1)),
    )  # fmt: skip
    stages = 2 if seed % 4 == 3 else 1
    limits: dict[str, Any] = {"stages": stages, "settled_loss": between(0.01, 0.1)}
    choice = rng.random(5)
    if choice[0] < 0.5:
        limits["length"] = stages * between(2.0, 3.2) * radius + 0.006 * (stages - 1)
    if choice[1] < 0.4:
        limits["mass"] = stages * between(0.4, 0.7)
    if choice[2] < 0.5:
        limits["peak_power"] = between(80, 800)
    if choice[3] < 0.4:
        limits["average_power"] = between(20, 120)
    if choice[4] < 0.4:
        limits["grip_margin"] = 0.05
    return scenario(machine, **limits)


def fastest(task: Scenario, count: int, seed: int = 0) -> tuple[float, Floats]:
    """Return the greatest feasible exit speed of `count` stages [m/s], 0 if none is found, and its variables."""
    stage, feed = task.launcher.template, float(task.launcher.feed.speed)
    ends = [stage.wheel.radius_range or (1.0, 1.0), stage.wheel.inertia_range or (1.0, 1.0)]
    ends += [(0.5 * feed, 120.0)] * count
    low, high = np.log(np.array(ends)).T
    centre, half = (low + high) / 2, (high - low) / 2
    found = 0.0
    for turn in range(REFINEMENTS):
        bottom, top = np.maximum(centre - half, low), np.minimum(centre + half, high)
        cube = qmc.Sobol(len(low), seed=seed + turn).random(POINTS if turn else FIRST)
        points = bottom + (top - bottom) * cube
        points[0] = centre
        at, speed = _best(task, np.exp(points), count)
        if speed > found:
            found, centre = speed, np.log(at)
        if found == 0.0 and turn == 2:
            break
        half *= SHRINK if found else 1.0
    return found, np.exp(centre)


def _best(task: Scenario, points: Floats, count: int) -> tuple[Floats, float]:
    """Return the fastest feasible point and its exit speed [m/s]."""
    stage = with_variables(task.launcher.template, {"radius": points[:, 0], "inertia": points[:, 1]})
    machine = replace(task.launcher, template=stage)
    done = throw(machine, points[:, 2:])
    order = np.argsort(-done.exit_speed, kind="stable")
    order = order[~done.jammed[order]]
    single = replace(task.limit_values, settled_loss=None, average_power=None, peak_power=None, grip_margin=0.0)
    for start in range(0, order.size, MANY):
        rows = order[start : start + MANY]
        rows = rows[_kept(task, replace(task, limit_values=single), take(machine, rows), _rows(done, rows))]
        for first in range(0, rows.size, FEW):
            few = rows[first : first + FEW]
            kept = _kept(task, task, take(machine, few), _rows(done, few))
            if kept.any():
                best = few[int(np.argmax(kept))]
                return points[best], float(done.exit_speed[best])
    return points[0], 0.0


def _kept(given: Scenario, task: Scenario, machine: Launcher, done: Throw) -> Any:
    """Return whether throws keep every limit of `task`, shape (throws,)."""
    grips = _grips(given, machine, done) if task.limit_values.grip_margin else None
    point = OperatingPoint(launcher=machine, limit_values=task.limit_values, throw=done, grip_limit=grips)
    kept = np.ones(done.exit_speed.shape, bool)
    for result in evaluate_limits(point):
        kept &= np.nan_to_num(np.broadcast_to(result.slack, kept.shape), nan=-1.0) >= -ROUNDING
    return kept


def _grips(task: Scenario, machine: Launcher, done: Throw) -> Floats:
    """Return grip limits at the entry speeds of throws [m/s], shape (throws, stages)."""
    found = []
    for k in range(done.stages.grip.shape[1]):
        top = np.broadcast_to(speed_range(machine, task.limit_values, k).top, done.exit_speed.shape)
        entry, spin = done.stages.entry_speed[:, k], done.stages.entry_spin[:, k]
        found.append(grip_limit(machine, k, entry, spin, top, margin=task.limit_values.grip_margin).wheel_speed)
    return np.stack(found, axis=-1)


def _rows(done: Throw, rows: Any) -> Throw:
    stages = Transit(**{name: getattr(done.stages, name)[rows] for name in FIELDS})
    return Throw(stages=stages, exit_speed=done.exit_speed[rows], spin=done.spin[rows], jammed=done.jammed[rows])
