"""Time of a fit of 60 throws with three friction laws, against least squares that throws one at a time.

The alternative uses SciPy alone: for each law, from the prior mean and from two random starts, `least_squares` with
finite differences on residuals in standard deviations. It is given the scatter and stops at its best fits. The fit
also draws a posterior, predicts a second stage and tests for drift, all within its time.
"""

from __future__ import annotations

import time

import numpy as np
from scipy.optimize import least_squares

from stager.api.fitting import fit
from stager.fit.likelihood import SLOWEST
from stager.fit.posterior import Fit
from stager.fit.priors import FRICTION, CandidateLaw, candidates, of, own_law, values
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import SURE, throw
from tests.benchmarks.timing import Line
from tests.recovery.bench import Plan, draw_truth, measure, scenario

NAME, SEED = "constant_pair", 5
"""Four uncertain parameters: mass, feed speed, crush, friction."""

PLAN = Plan(noise=0.012, throws=60, outliers=0.0)
STARTS, STEP, LONGEST = 3, 1e-3, 10.0


def lines() -> list[Line]:
    """Return the rows of the table."""
    given, rng = scenario(NAME), np.random.default_rng(SEED)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    # All settings differ, because the fit computes repeated settings only once.
    speeds = np.linspace(7.0, 24.0, PLAN.throws)[:, None]
    throws = measure(given, real, speeds, PLAN, rng)
    began = time.process_time()
    found = fit(given, throws, SEED, None, None).fit
    ours = time.process_time() - began
    began = time.process_time()
    left = min(_least_squares(given, law, speeds, throws.exit_speed, rng) for law in candidates(given))
    theirs = time.process_time() - began
    _agree(found, left)
    what = f"fit of {PLAN.throws} throws, {len(given.uncertain)} parameters, {len(candidates(given))} laws"
    return [
        Line(what, ours, "least_squares, one throw at a time", theirs / ours, "≥ 10", theirs >= 10 * ours),
        Line(what, ours, f"{LONGEST:.0f} s", LONGEST / ours, "≥ 1", ours <= LONGEST),
    ]


def _least_squares(
    given: Scenario, law: CandidateLaw, speeds: Floats, measured: Floats, rng: np.random.Generator
) -> float:
    """Return the least half sum of squares [-] of one law over all starts, prior included."""
    priors = (*(of(item) for item in given.uncertain if not item.key.startswith(FRICTION)), *law.priors)

    def residuals(z: Floats) -> Floats:
        launcher = law.launcher(given, {key: float(value) for key, value in values(priors, z).items()})
        exits = [float(throw(launcher, row, options=SURE).exit_speed) for row in speeds]
        return np.concatenate([np.log(measured / np.maximum(exits, SLOWEST * measured)) / PLAN.noise, z])

    starts = np.vstack([np.zeros(len(priors)), rng.normal(size=(STARTS - 1, len(priors)))])
    return min(float(least_squares(residuals, start, diff_step=STEP).cost) for start in starts)


def _agree(found: Fit, left: float) -> None:
    """Raise ValueError if least squares found a clearly better fit, as the times would not be comparable."""
    own = 0.5 * float(((found.found.residuals / PLAN.noise) ** 2).sum() + (found.found.normal**2).sum())
    if own > left + 2:
        raise ValueError(f"the fit leaves {own:.1f}, least squares {left:.1f}")
