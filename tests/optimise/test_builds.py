"""Plans judged on freshly drawn builds; tests/benchmarks/fresh_builds.py draws many launchers."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

import stager
from stager.fit.prediction import known_of, recommended_chain
from stager.optimise import planner
from stager.optimise.judge import settings_at
from tests.optimise.builds import CONFIGS, SHIPPED, drawn_changes, fresh


@cache
def planned(name: str) -> tuple[Any, Any]:
    """Return a shipped scenario and its plan."""
    one = stager.load(CONFIGS / f"{name}.toml")
    return one, one.plan(draws=40)


@pytest.mark.parametrize("name", SHIPPED)
def test_plan_keeps_hard_limits_in_95_percent_of_fresh_builds(name: str) -> None:
    one, plan = planned(name)
    found = fresh(one.scenario, plan.best)
    assert found.kept >= 0.95
    assert plan.margin.jams == pytest.approx(found.jams, abs=0.03)


@pytest.mark.parametrize("number", [6])
def test_plan_of_a_drawn_launcher_keeps_hard_limits_at_its_confidence(number: int) -> None:
    name, changes = drawn_changes(np.random.default_rng([13, number]))
    one = stager.load(CONFIGS / f"{name}.toml").replace(changes)
    plan = one.plan(draws=40)
    assert plan.best is not None
    assert fresh(one.scenario, plan.best).kept >= one.scenario.limit_values.confidence


def test_confidence_of_a_half_gives_the_nominal_plan() -> None:
    one, _ = planned("streamer")
    half = one.replace({"limits.confidence": 0.5}).plan(draws=40)
    nominal = planner.plan(one.scenario, draws=0, certified=False)
    np.testing.assert_allclose(half.best.wheel_speed, nominal.best.wheel_speed, rtol=1e-3)
    assert half.best.exit_speed > planned("streamer")[1].best.exit_speed


def test_settings_maximise_the_mean_exit_speed_next_to_a_jam() -> None:
    # The best settings of the nominal foam disc jam in about twice as many builds.
    one, plan = planned("foam_disc")
    chain = recommended_chain(known_of(one.scenario), plan.best.count)
    np.testing.assert_allclose(plan.best.wheel_speed, [stage.wheel_speed for stage in chain])
    assert "fastest on average over possible builds" in plan.verdict
    nominal = planner.plan(one.scenario, draws=0, certified=False).best
    slowed = settings_at(one.scenario, 0.957 * np.asarray(nominal.wheel_speed), nominal.design.launcher)
    ours, theirs = fresh(one.scenario, plan.best), fresh(one.scenario, slowed)
    assert ours.mean_exit > 1.05 * theirs.mean_exit
    assert ours.jams < 0.7 * theirs.jams
