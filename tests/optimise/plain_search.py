"""Drawn problems over every limit, layout and goal, and plain searches that know nothing about launchers.

The searches throw through the public interface and use the public table of limits: random log-spaced settings,
differential evolution (Storn and Price 1997) on logarithms of wheel speeds with violations as a penalty, and a random
local search from the best. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from scipy.optimize import differential_evolution

from stager.bounds.bound_chain import STRAIN_SEEN
from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.launcher import Guide, Launcher, Outlet, Scenario
from stager.model.projectile import BALL, DISC, HOLLOW_BALL, ROD, Projectile
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import IDLER, PAIR, RAIL, Hold, Tyre, WheelMaterial
from stager.optimise.records import Settings
from stager.optimise.robust import rows
from stager.physics.chain import Options, throw
from stager.physics.flight import outlet_speed
from stager.physics.friction import Bell, Constant, Falling
from stager.physics.grip_limit import grip_limit
from tests.drive.machines import ALUMINIUM, DRIVE, HEAT, NITRILE, SUPPLY
from tests.optimise.machines import launcher, stage
from tests.oracle.throw import throw as reference_throw

PRINTED = WheelMaterial(
    name="printed", density=1250, modulus=2e9, poisson=0.36, tensile_strength=40e6, strength_factor=0.5, brittle=True
)
OPTIONS = Options(tolerance=1e-6)
WIDEST, ROUNDING = 60.0, 1e-6
GUESSES = (0.7, 0.8, 0.9, 1.0, 1.15)
TIGHT = (
    "exit_energy", "exit_speed", "energy_per_area", "acceleration", "slip_heat", "average_power", "peak_power",
    "supply_current", "winding_temperature", "settled_loss", "voltage", "rim_safety", "length", "mass", "cost",
)  # fmt: skip
"""Limits whose bounds are drawn near the values of a drawn chain."""


def draw_problem(rng: np.random.Generator, *, layout: Any = None, aim: Aim | None = None) -> Scenario:
    """Draw a launcher of up to six stages, several limits near the values of a drawn chain, and a goal."""
    chosen = (PAIR, RAIL, IDLER)[int(rng.integers(3))] if layout is None else layout
    machine, count = _launcher(rng, chosen), int(rng.integers(1, 7))
    limits: dict[str, Any] = {"exit_energy": 1e4, "stages": count, "wheel_speed": float(rng.uniform(15.0, WIDEST))}
    used = _limit_values_of(machine, _chain(rng, machine, count, limits["wheel_speed"]), LimitValues(**limits))
    for name in TIGHT:
        value = used.get(name)
        if value is not None and np.isfinite(value) and rng.random() < (0.35 if name != "exit_energy" else 0.5):
            over = value - 293.15 if name == "winding_temperature" else value
            most = over * float(rng.choice(GUESSES)) + (value - over)
            most = value / float(rng.choice(GUESSES)) if name == "rim_safety" else most
            limits[name] = max(float(most), 1e-6)
    if rng.random() < 0.2:
        limits["grip_margin"] = float(rng.uniform(0.02, 0.1))
    goal = Goal(aim=Aim.FASTEST)
    if aim is Aim.REACH or (aim is None and rng.random() < 0.3):
        reference = used.get("speed") or 5.0
        goal = Goal(aim=Aim.REACH, exit_speed=float(reference * rng.uniform(0.15, 1.0)))
    return Scenario(
        title="drawn", launcher=machine, limit_values=LimitValues(**limits), goal=goal, values={}, uncertain=(),
        realise=lambda values: machine,
    )  # fmt: skip


def _launcher(rng: np.random.Generator, layout: Any) -> Launcher:
    mass = float(rng.uniform(0.004, 0.05))
    width = float(rng.uniform(0.028, 0.06))
    shape = (BALL, DISC, HOLLOW_BALL, ROD)[int(rng.integers(4))]
    more = {"thickness": 0.012} if shape is DISC else {"length": float(rng.uniform(0.04, 0.09))} if shape is ROD else {}
    law = (
        Falling(static=rng.uniform(0.5, 1.0), sliding=rng.uniform(0.15, 0.4), fade_speed=rng.uniform(4.0, 14.0)),
        Bell(peak=rng.uniform(0.5, 1.0), peak_speed=rng.uniform(0.8, 2.0), width=rng.uniform(1.5, 3.0)),
        Constant(rng.uniform(0.3, 0.7)),
    )[int(rng.integers(3))]
    radius = float(rng.uniform(0.02, 0.05))
    inertia = mass * radius**2 * float(rng.choice([0.3, 1.0, 10.0, 100.0]))
    made = stage(
        layout=layout, radius=radius, inertia=inertia, crush=float(rng.uniform(0.001, 0.004)),
        clearance=float(rng.uniform(0.005, 0.04)), **({"idler_inertia": inertia / 3} if layout is IDLER else {}),
    )  # fmt: skip
    machine = launcher(
        Projectile(shape=shape, mass=mass, diameter=width, **more), made, law, feed=float(rng.uniform(0.8, 2.5)),
        stiffness=float(rng.uniform(1e4, 6e4)), rebound=float(rng.uniform(0.5, 0.9)),
    )  # fmt: skip
    machine = _varied(rng, machine)
    if rng.random() < 0.5:
        return machine
    parts: dict[str, Any] = {"drive": replace(DRIVE, heat=HEAT), "mass": 0.5, "cost": 30.0}
    rate = float(rng.uniform(0.5, 4.0)) if rng.random() < 0.7 else None
    return replace(
        machine, template=replace(machine.template, **parts), supply=SUPPLY, feed=replace(machine.feed, rate=rate),
        stages=tuple(replace(one, **parts) for one in machine.stages),
    )  # fmt: skip


def _varied(rng: np.random.Generator, machine: Launcher) -> Launcher:
    """Add drawn features: tyres, brittle hubs, unequal stages, outlet and guide losses, a pusher, projectile limits."""
    stages, radius = [machine.template], float(machine.template.wheel.radius)
    if rng.random() < 0.4:
        stages += [
            replace(
                machine.template, crush=float(machine.template.crush) * rng.uniform(0.6, 1.6),
                wheel=replace(machine.template.wheel, radius=radius * rng.uniform(0.6, 1.4)),
            )
            for _ in range(int(rng.integers(1, 3)))
        ]  # fmt: skip
    if rng.random() < 0.35:
        hub = ALUMINIUM if rng.random() < 0.5 else PRINTED
        stretch, hold = float(rng.uniform(0.01, 0.08)), (Hold.STRETCH, Hold.BOND)[int(rng.integers(2))]
        tyre = Tyre(
            material=NITRILE, depth=float(rng.uniform(0.001, 0.005)), stretch=stretch, held_by=hold, hub_friction=0.6,
            bond_strength=float(rng.uniform(2e4, 2e5)),
        )  # fmt: skip
        stages = [
            replace(one, wheel=replace(one.wheel, width=0.018, bore=0.005, material=hub, tyre=tyre)) for one in stages
        ]
    changes: dict[str, Any] = {}
    if rng.random() < 0.2:
        changes["outlet"] = Outlet(loss=float(rng.uniform(0.0, 0.2)), length=0.1)
    if rng.random() < 0.2:
        changes["guide"] = Guide(friction=float(rng.uniform(0.1, 1.0)), air_drag=True)
    if rng.random() < 0.2:
        changes["feed"] = replace(machine.feed, push=float(rng.uniform(0.2, 5.0)))
    if rng.random() < 0.2:
        changes["projectile"] = replace(
            machine.projectile, max_crush=1.1 * max(float(one.crush) for one in stages),
            max_acceleration=float(rng.uniform(500.0, 5000.0)),
        )  # fmt: skip
    return replace(machine, template=stages[0], stages=tuple(stages[1:]), **changes)


def _chain(rng: np.random.Generator, machine: Launcher, count: int, top: float) -> Floats:
    feed = float(machine.feed.speed)
    return feed + (rng.uniform(0.3, 0.9) * top - feed) * ((np.arange(count) + 1) / count) ** rng.uniform(0.5, 1.2)


def _limit_values_of(machine: Launcher, speeds: Floats, limit_values: LimitValues) -> dict[str, float]:
    """Return the value of each limit for a chain, slowed down until it does not jam."""
    for _ in range(8):
        done = throw(machine, speeds, options=OPTIONS)
        if not done.jammed:
            break
        speeds = 0.7 * speeds
    point = OperatingPoint(launcher=machine, limit_values=limit_values, throw=done, options=OPTIONS)
    used = {limit.name: limit.value(point) for limit in LIMITS}
    return {name: float(value) for name, value in used.items() if value is not None} | {"speed": float(done.exit_speed)}


@dataclass
class Found:
    """Result of a search: exit speed [m/s] (0: infeasible), least heat at the goal [J], wheel speeds [m/s]."""

    exit_speed: float = 0.0
    heat: float = np.inf
    reaches: bool = False
    lead: Floats | None = None


class PlainSearch:
    """Searches for the best chain of `count` stages."""

    def __init__(self, scenario: Scenario, count: int) -> None:
        self.scenario, self.count, self.found = scenario, count, Found()
        top = scenario.limit_values.wheel_speed or WIDEST
        self.low, self.high = np.log(0.3 * float(scenario.launcher.feed.speed)), np.log(top)

    def cost(self, logs: Floats) -> Floats:
        """Return the cost of logarithms of wheel speeds, shape (samples, stages)."""
        scenario = self.scenario
        lead = np.exp(np.clip(logs, self.low, self.high))
        done = throw(scenario.launcher, lead, options=OPTIONS)
        asked, speed = scenario.goal.asked, done.exit_speed
        # An asked speed is the one behind the outlet.
        leaves = np.asarray(outlet_speed(scenario.launcher, speed))
        # One that stays in the outlet is as good as a jam.
        broken = self._broken(done, costly=False) + 100.0 * (done.jammed | (leaves <= 0.0))
        if asked is not None:
            broken += _excess(asked / np.maximum(leaves, 1e-9) - 1)
        # Steady throwing and grip limits take a hundred times as long as a throw.
        near = np.flatnonzero(broken <= 0)
        if near.size:
            broken[near] += self._broken(rows(done, near), costly=True)
        heat = done.stages.slip_heat.sum(axis=-1)
        fine = broken <= 0
        for row in np.flatnonzero(fine):
            reaches = asked is not None and leaves[row] >= asked * (1 - 5e-4)
            better = (
                heat[row] < self.found.heat if reaches and self.found.reaches
                else reaches or (not self.found.reaches and speed[row] > self.found.exit_speed)
            )  # fmt: skip
            if better:
                self.found = Found(float(speed[row]), float(heat[row]), reaches, lead[row])
        merit = np.where(fine, -speed, 1e3 * (1 + broken))
        if asked is not None:
            near = fine & (leaves >= asked * (1 - 5e-4))
            merit = np.where(near, -asked - 1.0 / (1.0 + heat), merit)
        return np.asarray(merit)

    def _broken(self, done: Any, *, costly: bool) -> Floats:
        """Return by how much throws break the grip margin and the limits of kind STEADY, or the others, (samples,)
        [-]."""
        scenario = self.scenario
        point = OperatingPoint(
            launcher=scenario.launcher, limit_values=scenario.limit_values, throw=done, options=OPTIONS,
            grip_limit=self._grips(done) if scenario.limit_values.grip_margin and costly else None,
        )  # fmt: skip
        limits = [limit for limit in LIMITS if (limit.kind is Kind.STEADY or limit.name == "grip_margin") is costly]
        slacks = [result.slack for limit in limits if (result := evaluate(limit, point)) is not None]
        return np.asarray(sum((_excess(slack) for slack in slacks), start=np.zeros(done.jammed.shape)))

    def _grips(self, done: Any) -> Floats:
        out = np.full(done.stages.grip.shape, np.nan)
        allowed = self.scenario.limit_values
        top, margin = allowed.wheel_speed or WIDEST, allowed.grip_margin
        for k in range(self.count):
            there = np.flatnonzero(done.stages.entry_speed[:, k] > 0)
            if there.size:
                entry, spin = done.stages.entry_speed[there, k], done.stages.entry_spin[there, k]
                out[there, k] = grip_limit(
                    self.scenario.launcher, k, entry, spin, np.full(there.size, top), margin=margin
                ).wheel_speed
        return out

    def search(self, rng: np.random.Generator, *, samples: int = 400, generations: int = 25, local: int = 20) -> Found:
        """Run random sampling, differential evolution and local search in turn; return the best."""
        logs = rng.uniform(self.low, self.high, (samples, self.count))
        logs[: samples // 2] = np.sort(logs[: samples // 2], axis=1)
        merit = self.cost(logs)
        start = logs[np.argsort(merit)[: max(24, 4 * self.count)]]
        differential_evolution(
            lambda x: self.cost(x.T), [(self.low, self.high)] * self.count, init=start, rng=rng, maxiter=generations,
            polish=False, vectorized=True, updating="deferred", tol=1e-9,
        )  # fmt: skip
        radius = 0.1
        for _ in range(local):
            if self.found.lead is None:
                break
            before = self.found.lead
            around = np.log(before) + radius * rng.normal(size=(16, self.count)) * (rng.random((16, self.count)) < 0.6)
            # Also change one wheel and all later ones together.
            together = np.triu(np.ones((self.count, self.count)))
            self.cost(np.vstack([around, np.log(before) + radius * together, np.log(before) - radius * together]))
            radius *= 1.3 if self.found.lead is not before else 0.6
        return self.found


def _excess(slack: Any) -> Floats:
    """Return by how much a limit is broken at a slack [-]: unknown counts as broken."""
    return np.clip(-np.nan_to_num(slack, nan=-1.0) - 0.5 * ROUNDING, 0.0, 10.0)


def speed_within_limits(task: Scenario, wheel_speed: tuple[float, ...]) -> float:
    """Return the exit speed of settings that keep every limit in the public model [m/s]."""
    search = PlainSearch(task, len(wheel_speed))
    search.cost(np.log([wheel_speed]))
    assert search.found.exit_speed > 0
    return search.found.exit_speed


def tight_limits(scenario: Scenario) -> list[str]:
    """Return the names of the drawn limits."""
    values = scenario.limit_values
    return [one.name for one in fields(values) if one.name in TIGHT and getattr(values, one.name) not in (None, 1e4)]


def broken_by_reference(task: Scenario, settings: Settings, within: float = 2e-4) -> list[str]:
    """Return the limits on a throw that settings break in the independent solver, by more than a share `within` [-].

    Also "exit speed", where it differs from the plan's by more than that. The greatest acceleration of a
    throw may miss STRAIN_SEEN of the true one.
    """
    launcher, values = settings.design.launcher, task.limit_values
    done = reference_throw(launcher, settings.wheel_speed.tolist(), tolerance=1e-9)
    mass, lost = float(launcher.projectile.mass), 0.0 if launcher.outlet is None else float(launcher.outlet.loss)
    kinetic = 0.5 * mass * done.exit_speed**2
    # What the outlet leaves is as uncertain as the whole energy.
    energy = max(kinetic * (1 - 2 * within) - lost, 0.0)
    area = launcher.projectile.known_frontal_area
    accelerations = [most for most in (values.acceleration, launcher.projectile.max_acceleration) if most is not None]
    peak, heat = (max(stage.peak_acceleration for stage in done.stages), sum(stage.slip_heat for stage in done.stages))
    used = [
        ("exit_speed", (2 * energy / mass) ** 0.5, values.exit_speed),
        ("exit_energy", energy, values.exit_energy),
        ("energy_per_area", None if area is None else energy / float(area), values.energy_per_area),
        ("acceleration", peak * (1 - STRAIN_SEEN), min(accelerations, default=None)),
        ("slip_heat", heat * (1 - within), values.slip_heat),
        ("wheel_speed", float(settings.wheel_speed.max()), values.wheel_speed),
    ]
    known = [(name, value, most) for name, value, most in used if value is not None and most is not None]
    broken = [name for name, value, most in known if value > most * (1 + 2 * ROUNDING)]
    apart = abs(done.exit_speed / float(settings.throw.exit_speed) - 1) > within
    return [*broken, "exit speed"] if apart else broken
