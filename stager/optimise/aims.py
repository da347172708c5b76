"""What limits and goal ask of an exit speed."""

from __future__ import annotations

import numpy as np

from stager.constraints.throwing import toy_energy
from stager.model.requirements import Aim, Goal
from stager.model.scenario import Scenario
from stager.optimise.solve import Task

PEAK_MARGIN, ROUNDING = 5e-4, 5e-7


def asks_speed(goal: Goal) -> bool:
    """Whether a certain exit speed is what is wanted, rather than the greatest."""
    return goal.aim is not Aim.FASTEST and goal.exit_speed is not None


def exit_cap(scenario: Scenario) -> float:
    """Greatest exit speed that the limits on the throw allow [m/s]."""
    projectile, limit_values = scenario.launcher.projectile, scenario.limit_values
    energies = [limit_values.exit_energy]
    if limit_values.energy_per_area is not None:
        energies.append(limit_values.energy_per_area * float(projectile.frontal_area))
    if limit_values.toy is not None:
        energies.append(float(toy_energy(limit_values.toy, projectile)))
    cap = float(np.sqrt(2 * min(energies) / projectile.mass))
    return cap if limit_values.exit_speed is None else min(cap, limit_values.exit_speed)


def aimed_speed(scenario: Scenario) -> float:
    """Exit speed beyond which no design is asked for [m/s]: the cap, or the goal's where that is less."""
    goal = scenario.goal
    cap = exit_cap(scenario)
    return min(cap, goal.exit_speed) if asks_speed(goal) and goal.exit_speed is not None else cap


def task(scenario: Scenario) -> Task:
    """What a chain must keep. Peaks of acceleration may hide a little between two steps."""
    limit_values = scenario.limit_values
    strains = [limit_values.acceleration, scenario.launcher.projectile.max_acceleration]
    strain = min((float(value) for value in strains if value is not None), default=np.inf)
    heat = np.inf if limit_values.slip_heat is None else limit_values.slip_heat * (1 - ROUNDING)
    return Task(cap=aimed_speed(scenario) * (1 - ROUNDING), heat=heat, strain=strain * (1 - PEAK_MARGIN))
