"""What limits and goal ask of an exit speed."""

from __future__ import annotations

import numpy as np

from stager.model.scenario import Scenario
from stager.model.wish import Aim, Goal
from stager.optimise.solve import Task

PEAK_MARGIN, ROUNDING = 5e-4, 5e-7


def asks_speed(goal: Goal) -> bool:
    """Whether a certain exit speed is what is wanted, rather than the greatest."""
    return goal.aim is not Aim.FASTEST and goal.exit_speed is not None


def exit_cap(scenario: Scenario) -> float:
    """Greatest exit speed that the limits on the throw allow [m/s]."""
    projectile, allowances = scenario.launcher.projectile, scenario.allowances
    energies = [allowances.exit_energy]
    if allowances.energy_per_area is not None:
        energies.append(allowances.energy_per_area * float(projectile.frontal_area))
    if allowances.toy is not None:
        energies.append(float(allowances.toy.most(projectile.known_frontal_area)))
    cap = float(np.sqrt(2 * min(energies) / projectile.mass))
    return cap if allowances.exit_speed is None else min(cap, allowances.exit_speed)


def aimed_speed(scenario: Scenario) -> float:
    """Exit speed beyond which no design is asked for [m/s]: the cap, or the goal's where that is less."""
    goal = scenario.goal
    cap = exit_cap(scenario)
    return min(cap, goal.exit_speed) if asks_speed(goal) and goal.exit_speed is not None else cap


def task(scenario: Scenario) -> Task:
    """What a chain must keep. Peaks of acceleration may hide a little between two steps."""
    allowances = scenario.allowances
    strains = [allowances.acceleration, scenario.launcher.projectile.max_acceleration]
    strain = min((float(value) for value in strains if value is not None), default=np.inf)
    heat = np.inf if allowances.slip_heat is None else allowances.slip_heat * (1 - ROUNDING)
    return Task(cap=aimed_speed(scenario) * (1 - ROUNDING), heat=heat, strain=strain * (1 - PEAK_MARGIN))
