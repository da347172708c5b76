"""Fresh builds drawn from the uncertainties and thrown at the settings of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import stager
from stager.constraints.recommend import hard_slacks
from stager.fit.prediction import Ensemble, before
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.optimise.records import Settings
from stager.physics.chain import SURE, throw
from stager.physics.flight import outlet_speed

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
SHIPPED = ["foam_disc", "seed_ball", "streamer", "table_tennis"]
FRESH = 2000


@dataclass(frozen=True)
class Builds:
    """Share of fresh builds that keep all hard limits, share that jams [-], and mean exit speed [m/s]."""

    kept: float
    jams: float
    mean_exit: float


def fresh(scenario: Scenario, settings: Settings, *, seed: int = 99) -> Builds:
    """Throw 2 000 fresh builds at the same wheel speeds."""
    known = before(scenario, np.random.default_rng(seed), FRESH)
    each = np.ones((known.lanes, 1))
    other = None if settings.wheel_speed_b is None else each * settings.wheel_speed_b
    done = throw(known.launcher, each * settings.wheel_speed, other, options=SURE)
    kept = np.ones(known.lanes, bool)
    for steady in (False, True):
        for slack in hard_slacks(known.launcher, scenario.limit_values, done, steady=steady).values():
            kept &= slack >= -1e-6
    exits = outlet_speed(known.launcher, done.exit_speed)
    return Builds(float(kept[1:].mean()), float(done.jammed[1:].mean()), float(exits[1:].mean()))


def share_broken(known: Ensemble, settings: Floats) -> float:
    """Share of draws in which a throw at wheel speeds (stages,) [m/s] breaks a hard limit."""
    done = throw(known.launcher, np.broadcast_to(settings, (known.lanes, settings.size)), options=SURE)
    kept = np.ones(known.lanes, bool)
    for slack in hard_slacks(known.launcher, known.scenario.limit_values, done, steady=False).values():
        kept &= slack >= -1e-6
    return float(1 - kept[1:].mean())


def drawn_changes(rng: np.random.Generator) -> tuple[str, Mapping[str, Any]]:
    """Draw a shipped scenario and changed values of its keys."""
    name = SHIPPED[int(rng.integers(len(SHIPPED)))]
    tree = stager.load(CONFIGS / f"{name}.toml").scenario
    launcher, limits = tree.launcher, tree.limit_values
    mass, crush = float(launcher.projectile.mass), float(launcher.template.crush)
    more: dict[str, Any] = {
        "projectile.mass": f"{1e3 * mass * rng.uniform(0.7, 1.4):.3g} g +- {rng.uniform(1, 8):.2g} %",
        "stage.crush": f"{1e3 * crush * rng.uniform(0.7, 1.1):.3g} mm +- {rng.uniform(2, 10):.2g} %",
        "limits.exit_energy": f"{limits.exit_energy * rng.uniform(0.3, 1.5):.3g} J",
        "limits.stages": int(rng.integers(1, 4)),
        "limits.grip_margin": round(float(rng.choice([0.0, rng.uniform(0.01, 0.1)])), 3),
        "limits.confidence": round(float(rng.choice([0.9, 0.95, 0.99])), 2),
    }
    if rng.random() < 0.3:
        more["limits.acceleration"] = f"{rng.uniform(1500, 8000):.0f} m/s^2"
    return name, more
