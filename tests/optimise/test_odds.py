"""Draws up the ladder: against brute force, and where shared limits hold them back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ks_2samp
from stager.optimise.climb import climb
from stager.optimise.odds import Odds, odds
from stager.optimise.settle import judged

from stager.config import load
from stager.model.scenario import Scenario
from stager.physics.batch import flatten, take
from tests.optimise.machines import unsure
from tests.optimise.redrawn import drawn, ladder

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture
def weak(tmp_path: Path) -> Scenario:
    """The foam disc thrower on a supply that starts three of its four wheels at once."""
    text = (CONFIGS / "foam_disc.toml").read_text(encoding="utf-8")
    path = tmp_path / "weak.toml"
    path.write_text(
        text.replace("[limits]\n", '[limits]\nsupply_current = "80 A"\naverage_power = "200 W"\n'), encoding="utf-8"
    )
    return load(path).scenario()


def test_draws_that_need_no_further_stage_are_no_fault(weak: Scenario) -> None:
    # Lane 0 is at its cap after two stages: the third and fourth have no speed of its own to start from.
    climbed = judged(weak, [np.full(count, 35.0) for count in range(5)])
    assert min(float(verdict.slack) for verdict in climbed[4].verdicts if verdict.name == "supply_current") < 0
    found = odds(weak, climbed, 6, np.random.default_rng(0))
    assert found is not None
    assert found.exit_speed.shape == (5, 6)
    assert np.isfinite(found.exit_speed).all()


@pytest.fixture(scope="module")
def task() -> Scenario:
    """Two stages are enough here."""
    found = unsure()
    return replace(found, limit_values=replace(found.limit_values, stages=2))


@pytest.fixture(scope="module")
def planned(task: Scenario) -> Odds:
    """160 draws."""
    found = odds(task, climb(task).settings, 160, np.random.default_rng(6))
    assert found is not None
    return found


def test_a_draw_is_tuned_as_well_as_by_brute_force(task: Scenario, planned: Odds) -> None:
    # Source: the same launchers tuned on ever finer grids of wheel speeds. Beside a jam both may miss a little.
    launchers = take(flatten(planned.draws.launcher, (161,)), np.arange(1, 31))
    apart = np.abs(planned.exit_speed[:, :30] / ladder(task, launchers, 30) - 1)
    assert apart.max() < 1e-2
    assert (apart < 1e-3).mean() > 0.9


def test_chances_agree_with_brute_force_on_other_draws(task: Scenario, planned: Odds) -> None:
    # Source: 120 launchers drawn and tuned on their own; tests/benchmarks/verdict.py does it with 10 000.
    truth = ladder(task, drawn(task, 120, np.random.default_rng(5)), 120)
    gains = truth[1:] / truth[:-1] - 1
    for true, found in zip(gains, planned.gain, strict=True):
        assert ks_2samp(true, found).pvalue > 0.01
    for gain in np.quantile(gains[1], [0.2, 0.5, 0.8]):
        share = float((gains[1] >= gain).mean())
        error = np.sqrt(share * (1 - share) * (1 / 120 + 1 / 160))
        assert float((planned.gain[1] >= gain).mean()) == pytest.approx(share, abs=3 * error)
