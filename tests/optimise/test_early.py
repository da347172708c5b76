"""The bound is begun early only where settings stay below the cap. No source but arithmetic."""

from __future__ import annotations

import pytest
from stager.optimise.aims import exit_cap
from stager.optimise.early import Early

from stager.bounds import bound
from stager.parallel import Executor
from tests.optimise.machines import HEAVY, scenario

TASK = scenario(HEAVY, stages=1, exit_energy=3.0)


@pytest.mark.parametrize(("share", "begins"), [(0.5, True), (0.97, True), (0.99, False), (1.0, False)])
def test_it_begins_below_the_cap(share: float, begins: bool) -> None:
    early = Early(TASK, Executor())
    early.seen(share * exit_cap(TASK))
    assert (early.begun is not None) is begins


def test_it_is_the_bound_and_begun_once() -> None:
    early = Early(TASK, Executor())
    early.seen(1.0)
    begun = early.begun
    early.seen(2.0)
    assert early.begun is begun
    assert begun is not None
    assert begun() == bound(TASK, 1)
