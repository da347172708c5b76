"""Launchers drawn one by one and tuned by brute force, stage by stage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stager.constraints import speed_range
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario, Uncertain
from stager.model.requirements import Aim
from stager.physics.chain import Options, transit
from stager.physics.records import flatten, take

FINE = Options(tolerance=3e-5, energies=False)
GRID, FEW, REFINE_POINTS, REFINEMENTS, NEARLY = 48, 12, 10, 3, 0.999


@dataclass(frozen=True)
class Entry:
    """Entry of a stage: speed [m/s] and spin [rad/s], shape (draws,)."""

    speed: Floats
    spin: Floats


def drawn(scenario: Scenario, count: int, rng: np.random.Generator) -> Launcher:
    """Draw `count` launchers: each value normal or rectangular, drawn again while outside its range."""
    values = {item.key: _values(item, count, rng) for item in scenario.uncertain}
    return flatten(scenario.realise(values), (count,))


def _values(item: Uncertain, count: int, rng: np.random.Generator) -> Floats:
    half = np.sqrt(3.0) * item.standard_uncertainty
    out = np.full(count, np.nan)
    while (wrong := ~((out >= item.low) & (out <= item.high))).any():
        again = int(wrong.sum())
        out[wrong] = (
            item.value + half * rng.uniform(-1.0, 1.0, again)
            if item.rectangular
            else rng.normal(item.value, item.standard_uncertainty, again)
        )
    return out


def ladder(scenario: Scenario, launchers: Launcher, draws: int, *, chunk: int = 250) -> Floats:
    """Return exit speeds [m/s] after 0, 1, 2 … stages, each tuned within its limits, shape (stages + 1, draws)."""
    parts = np.array_split(np.arange(draws), max(draws // chunk, 1))
    return np.hstack([_tuned_exit_speeds(scenario, take(launchers, part), part.size) for part in parts])


def _tuned_exit_speeds(scenario: Scenario, launcher: Launcher, draws: int) -> Floats:
    cap = _exit_speed_cap(scenario, launcher)
    entry = Entry(np.broadcast_to(launcher.feed.speed, draws).astype(float), np.zeros(draws))
    speeds = [entry.speed]
    for index in range(scenario.limit_values.stages):
        entry = _best_exit(scenario, launcher, index, entry)
        speeds.append(np.maximum(np.minimum(entry.speed, cap), speeds[-1]))
    return np.array(speeds)


def _exit_speed_cap(scenario: Scenario, launcher: Launcher) -> Floats:
    allowed, ball, goal = scenario.limit_values, launcher.projectile, scenario.goal
    energy = np.asarray(allowed.exit_energy)
    if allowed.energy_per_area is not None:
        energy = np.minimum(energy, allowed.energy_per_area * ball.frontal_area)
    asked = np.inf if goal.aim is Aim.FASTEST or goal.exit_speed is None else goal.exit_speed
    return np.asarray(np.minimum(np.sqrt(2 * energy / ball.mass), min(asked, allowed.exit_speed or np.inf)))


def _best_exit(scenario: Scenario, launcher: Launcher, index: int, entry: Entry) -> Entry:
    """Return speed and spin behind the stage at its fastest wheel speed, found on refined grids."""
    top = np.broadcast_to(speed_range(launcher, scenario.limit_values, index).top, entry.speed.shape)
    margin, columns = scenario.limit_values.grip_margin, np.arange(top.size)

    def run(wheel: Floats) -> tuple[Floats, Floats, Floats]:
        done = transit(launcher, index, entry.speed, wheel, entry_spin=entry.spin, options=FINE)
        return done.exit_speed, done.exit_spin, done.peak_acceleration

    if margin:
        beyond = 1.1 * top / (1 - margin)
        top = np.minimum(_below_grip(lambda wheel: run(wheel)[0], entry.speed, beyond, margin), top)
    strains = (scenario.limit_values.acceleration, launcher.projectile.max_acceleration)
    strain = min((limit for limit in strains if limit is not None), default=np.inf)

    def kept(wheel: Floats) -> Floats:
        speed, _, peak = run(wheel)
        return np.asarray(np.where(peak <= strain, speed, 0.0))

    wheel, value = _refined(kept, _grid(FEW if margin and strain == np.inf else GRID) * top)
    speed, spin, _ = run(wheel[np.argmax(value, axis=0), columns])
    return Entry(speed, spin)


def _grid(size: int) -> Floats:
    return np.asarray(np.linspace(0.05, 1.0, size)[:, None] ** 1.5)


def _refined(curve: Callable[[Floats], Floats], wheel: Floats) -> tuple[Floats, Floats]:
    """Refine the grid around the greatest value; return rising wheel speeds and their values, shape (points, draws)."""
    value, columns = curve(wheel), np.arange(wheel.shape[1])
    for _ in range(REFINEMENTS):
        best = np.argmax(value, axis=0)
        low, high = wheel[np.maximum(best - 1, 0), columns], wheel[np.minimum(best + 1, len(wheel) - 1), columns]
        finer = low + (high - low) * np.linspace(0.0, 1.0, REFINE_POINTS + 2)[1:-1, None]
        wheel, value = np.vstack([wheel, finer]), np.vstack([value, curve(finer)])
        order = np.argsort(wheel, axis=0, kind="stable")
        wheel, value = np.take_along_axis(wheel, order, axis=0), np.take_along_axis(value, order, axis=0)
    return wheel, value


def _below_grip(curve: Callable[[Floats], Floats], entry: Floats, top: Floats, margin: float) -> Floats:
    """Return the grip limit by its definition less the margin; the end of the range if exit speed rises up to it."""
    columns = np.arange(top.size)
    wheel, value = _refined(curve, _grid(GRID) * top)
    peak = wheel[np.argmax(value, axis=0), columns]

    def trade(speeds: Floats) -> Floats:
        """Return exit / wheel^0.1; 0 for wheels below half the projectile's speed, which only brake."""
        return np.where(speeds < 0.5 * entry, 0.0, curve(speeds) * (speeds / peak) ** -0.1)

    slower, traded = _refined(trade, _grid(GRID) * top)
    best = np.argmax(traded, axis=0)
    better = traded[best, columns] > 1.001 * value.max(axis=0)
    level = NEARLY * np.where(better, curve(slower)[best, columns], value.max(axis=0))
    wheel, value = np.where(better, slower, wheel), np.where(better, curve(slower), value)
    first = np.argmax(value >= level, axis=0)
    below, above = wheel[np.maximum(first - 1, 0), columns], wheel[first, columns]
    for _ in range(REFINEMENTS - 1):
        between = below + (above - below) * np.linspace(0.0, 1.0, REFINE_POINTS)[:, None]
        place = np.maximum(np.argmax(curve(between) >= level, axis=0), 1)
        below, above = between[place - 1, columns], between[place, columns]
    rising = ~better & (peak >= top * (1 - 1e-6))
    return np.asarray(np.where(rising, top, (1 - margin) * above))
