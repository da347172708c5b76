"""Searches that are stopped: they end at once, with the best so far, and say nothing that rests on half-done work."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest

import stager
from stager.model.requirements import Aim, Goal
from stager.optimise import clock
from stager.optimise.clock import Clock, TimeUp
from stager.optimise.planner import plan
from stager.optimise.problem import Problem
from stager.optimise.records import Plan
from stager.optimise.relaxation import OUT_OF_REACH
from tests.optimise.builds import CONFIGS
from tests.optimise.machines import HEAVY, scenario


@pytest.fixture
def evaluated(monkeypatch: pytest.MonkeyPatch) -> Callable[[], int]:
    """Let a second pass with every evaluation of the search; return how many have passed."""
    passed, judge = [0], Problem._judge

    def counted(self: Problem, *given: object) -> object:
        found = judge(self, *given)  # type: ignore[arg-type]
        passed[0] += 1
        return found

    monkeypatch.setattr(Problem, "_judge", counted)
    monkeypatch.setattr(clock, "time", SimpleNamespace(monotonic=lambda: float(passed[0])))
    return lambda: passed[0]


def _planned(seconds: float | None = None, **changes: object) -> Plan:
    loaded = stager.load(CONFIGS / "seed_ball.toml").replace({"limits.stages": 3, **changes})
    return plan(loaded.scenario, draws=40, rng=np.random.default_rng(0), seconds=seconds, certified=False)


def test_stopped_plan_ends_at_the_next_evaluation_with_settings_that_keep_all_limits(
    evaluated: Callable[[], int],
) -> None:
    whole = _planned()
    total = evaluated()
    assert whole.best is not None
    _planned(0.0)
    first = evaluated() - total
    """Of one stage, which is searched to the end."""
    before, counts = evaluated(), set[int]()
    for share in (0.3, 0.65, 0.95):
        found = _planned(share * total)
        assert evaluated() - before <= max(share * total + 1, first)
        before = evaluated()
        assert found.left_open
        assert found.best is not None
        assert found.best.feasible
        assert found.margin is None or found.margin.kept >= found.margin.confidence
        assert found.best.exit_speed <= whole.best.exit_speed * (1 + 1e-3)
        counts.add(found.best.count)
        # What a stage adds is told of finished searches alone.
        for one, other in zip(found.ladder, whole.ladder, strict=False):
            assert one.exit_speed.nominal >= other.exit_speed.nominal * (1 - 1e-3)
    assert max(counts) == whole.best.count


def test_one_stage_is_searched_to_the_end_however_little_time_there_is(evaluated: Callable[[], int]) -> None:
    alone, stopped = _planned(**{"limits.stages": 1}), _planned(0.0)
    assert evaluated()
    assert alone.ladder[1].exit_speed.nominal == pytest.approx(stopped.ladder[1].exit_speed.nominal, rel=1e-3)


def test_stopped_explanation_does_not_say_that_nothing_helps(evaluated: Callable[[], int]) -> None:
    task = scenario(HEAVY, Goal(aim=Aim.REACH, exit_speed=15.0), stages=2, slip_heat=1.0)
    plan(task, draws=0, certified=False)
    total = evaluated()
    for share in (0.4, 0.95):
        found = plan(task, draws=0, seconds=share * total, certified=False)
        assert found.missed is not None
        assert not found.missed.proven
        assert OUT_OF_REACH not in found.missed.reason
        assert set(found.missed.conflict) in (set(), {"slip_heat", "stages"})


def test_unit_of_work_is_given_up_when_time_is_up() -> None:
    late = Clock(until=-np.inf)
    late.check()  # Not in a unit of work.
    assert late.attempt("this", lambda: 1) is None
    assert late.open == ["this"]
    running = Clock(until=np.inf)

    def work() -> int:
        running.check()
        running.until = -np.inf
        with pytest.raises(TimeUp):
            running.check()
        running.check()
        return 1

    assert running.attempt("that", work) is None
    assert (running.open, running.units) == (["that"], 0)
    assert Clock().attempt("free", lambda: 2) == 2
