"""Differential evolution (Storn and Price 1997), for objectives with jumps that no slope shows."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats

LEADING = 5
"""Members of a population for each of its leaders, towards which the others move [-]."""
WEIGHTS = (0.3, 0.9)
"""Least and greatest weight of a difference [-]."""
CROSSED = 0.8
"""Share of the variables that change [-]; one of each member does in any case."""


def offspring(members: Floats, value: Floats, rng: np.random.Generator) -> Floats:
    """Return what to try in place of each member of a population, (members, variables).

    value : of each member, the greater the better, (members,).
    """
    size, variables = members.shape
    leaders = np.argsort(-value, kind="stable")[: max(size // LEADING, 2)]
    first, second = (rng.integers(size, size=size) for _ in range(2))
    toward = rng.choice(leaders, size)
    weight = rng.uniform(*WEIGHTS, (size, 1))
    mutant = members + weight * (members[toward] - members) + weight * (members[first] - members[second])
    crossed = rng.random(members.shape) < CROSSED
    crossed[np.arange(size), rng.integers(variables, size=size)] = True
    return np.where(crossed, mutant, members)
