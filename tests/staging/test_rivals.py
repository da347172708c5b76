"""The plan against general optimisers on a drawn problem; tests/benchmarks/rivals.py runs many."""

from __future__ import annotations

import numpy as np

from stager.staging import plan
from tests.staging.rivals import Problem, cobyqa, evolution, problem, slsqp


def test_no_rival_is_ahead_by_more_than_a_twentieth_of_a_per_cent() -> None:
    # Two stages whose second wheel ends at the greatest speed allowed, which maps once overshot.
    rng = np.random.default_rng([11, 1])
    task = problem(rng)
    best = plan(task, draws=0, certified=False).best
    assert best is not None
    assert best.feasible
    rivalry = Problem(task)
    rivals = [slsqp(rivalry, rng, starts=4), cobyqa(rivalry, rng), evolution(rivalry, rng, generations=30)]
    assert best.exit_speed >= max(rivals) * (1 - 5e-4)
