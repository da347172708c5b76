"""Choose the first throws with a launcher that was never measured: wheels slow, then faster, up to the settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stager.constraints.recommend import safe_settings
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.optimise.draws import draw, is_uncertain
from stager.optimise.records import Settings
from stager.physics.batch import flatten
from stager.physics.chain import SURE, throw
from stager.physics.muzzle import outlet_speed

SHARES = (0.5, 0.65, 0.8, 0.9, 1.0)
"""Shares of the settings' wheel speeds, slowest first [-]."""
DRAWS = 400
"""Builds drawn: enough to tell a share of 0.95 from 0.93."""
MANY_JAMS = 0.05
"""Greatest share of builds in which the projectile may jam at a proposed setting [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstThrow:
    """One setting to begin with.

    share: of the settings' wheel speeds [-]; wheel_speed, wheel_speed_b: of sides A and B [m/s], shape (stages,);
    exit_speed: expected behind the outlet [m/s]; low, high: ends of its 95 % coverage interval over builds [m/s], None
    where nothing is uncertain.
    """

    share: float
    wheel_speed: Floats
    wheel_speed_b: Floats
    exit_speed: float
    low: float | None = None
    high: float | None = None


def first_throws(
    scenario: Scenario, settings: Settings, rng: np.random.Generator, shares: Sequence[float] = SHARES,
    *, judged: bool = False,
) -> tuple[FirstThrow, ...]:  # fmt: skip
    """Return settings to begin with, slowest first, each with the exit speed to expect.

    All wheels turn at the same share of their speeds. Left out are settings at which the projectile jams in more than
    `MANY_JAMS` of builds, and those that keep the hard limits in fewer builds than `limits.confidence` asks for.

    Parameters
    ----------
    scenario : Scenario
        What is uncertain. Draws have the parts as configured, so where the settings have others only the nominal
        launcher is checked.
    settings : Settings
        The settings that the last throw is to reach.
    rng : Generator
        Draws of what is uncertain.
    shares : sequence of float
        Shares of the settings' wheel speeds [-].
    judged : bool
        The settings are known to keep the hard limits in enough builds.

    Returns
    -------
    tuple of FirstThrow
        Empty where no setting may be thrown at.
    """
    launcher, lanes = settings.design.launcher, 1
    if is_uncertain(scenario) and launcher.template == scenario.launcher.template:
        drawn = draw(scenario, DRAWS, rng)
        launcher, lanes = flatten(drawn.launcher, (drawn.lanes,)), drawn.lanes
    speed_a = np.outer(shares, settings.wheel_speed)
    speed_b = np.outer(shares, settings.beside)
    apart = None if settings.wheel_speed_b is None else speed_b
    fine = safe_settings(launcher, lanes, scenario.limit_values, speed_a, apart)
    fine |= judged & (np.asarray(shares) == 1.0)
    shape = (len(shares), lanes, settings.count)
    wide = [None if one is None else np.broadcast_to(one[:, None, :], shape) for one in (speed_a, apart)]
    done = throw(launcher, wide[0], wide[1], options=SURE)  # type: ignore[arg-type]
    leaves = np.broadcast_to(outlet_speed(launcher, done.exit_speed), shape[:2])
    jams = np.broadcast_to(done.jammed, shape[:2]) | ~(leaves > 0)
    found = []
    for k, share in enumerate(shares):
        if not fine[k] or jams[k, 0] or jams[k].mean() > MANY_JAMS:
            continue
        ends = (None, None) if lanes == 1 else np.quantile(leaves[k, 1:][~jams[k, 1:]], (0.025, 0.975)).tolist()
        found.append(
            FirstThrow(
                share=share, wheel_speed=speed_a[k], wheel_speed_b=speed_b[k], exit_speed=float(leaves[k, 0]),
                low=ends[0], high=ends[1],
            )
        )  # fmt: skip
    return tuple(found)
