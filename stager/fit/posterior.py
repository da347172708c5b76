"""Draws of all parameters after the data."""

from __future__ import annotations

import numpy as np

from stager.fit.optimiser import BestFit
from stager.fit.priors import bend, values
from stager.fit.records import Posterior
from stager.fit.statistics.importance import ENOUGH, sample
from stager.model.arrays import Floats

ALONE = 400


def posterior(found: BestFit, rng: np.random.Generator, *, enough: float = ENOUGH) -> tuple[Posterior, Floats]:
    """Draws by importance sampling, and their z (draws, p), in the order of found.priors.

    Parameters that the throws do not depend on are drawn from their priors. enough: effective draws that are aimed at.
    """
    if found.priors:
        turn = bend(found.priors)

        def log_density(y: Floats) -> Floats:
            return np.asarray(np.log(turn(y)[1]).sum(axis=-1) - found.problem.value(y)[0])

        drawn = sample(log_density, found.modes(), rng, enough=enough)
        place, weights = turn(drawn.place)[0], drawn.weights
        tail, effective, trusted = drawn.tail, drawn.effective, drawn.trusted
    else:
        place, weights = np.zeros((ALONE, 0)), np.full(ALONE, 1 / ALONE)
        tail, effective, trusted = -np.inf, float(ALONE), True
    idle = rng.normal(size=(weights.size, len(found.idle)))
    known = {**values(found.priors, place), **values(found.idle, idle)}
    return Posterior(values=known, weights=weights, tail=tail, effective=effective, trusted=trusted), place
