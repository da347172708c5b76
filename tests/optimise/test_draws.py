"""Monte Carlo draws of the ladder against brute force, and under limits that stages share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ks_2samp

from stager.config import load
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.optimise.judge import settings_at
from stager.optimise.ladder import TunedDraws, TuningStep, tune
from stager.optimise.problem import NO_MARGINS
from stager.physics.chain import throw
from stager.physics.records import flatten, take
from tests.optimise.machines import unsure
from tests.optimise.redrawn import drawn, ladder
from tests.optimise.solved import solved

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture
def weak(tmp_path: Path) -> Scenario:
    """Return the foam disc launcher on a supply that can start three of its four wheels at once."""
    text = (CONFIGS / "foam_disc.toml").read_text(encoding="utf-8")
    path = tmp_path / "weak.toml"
    path.write_text(
        text.replace("[limits]\n", '[limits]\nsupply_current = "80 A"\naverage_power = "200 W"\n'), encoding="utf-8"
    )
    return load(path).scenario()


def test_draws_at_their_cap_are_tuned_for_further_stages(weak: Scenario) -> None:
    # Sample 0 reaches its cap after two stages, so stages three and four have no start value from it.
    leads = [np.full(count, 35.0) for count in range(1, 5)]
    verdicts = settings_at(weak, leads[3]).verdicts
    assert min(float(verdict.slack) for verdict in verdicts if verdict.name == "supply_current") < 0
    found = _tuned(weak, leads, 6, 0)
    assert found.exit_speed.shape == (5, 6)
    assert np.isfinite(found.exit_speed).all()


def _tuned(task: Scenario, leads: list[Floats], count: int, seed: int) -> TunedDraws:
    steps = [TuningStep(scenario=task, parts=(), lead=lead) for lead in leads]
    found = tune(steps, count, np.random.default_rng(seed), NO_MARGINS)()
    assert found is not None
    return found


@pytest.fixture(scope="module")
def task() -> Scenario:
    """Return the uncertain scenario with two stages."""
    found = unsure()
    return replace(found, limit_values=replace(found.limit_values, stages=2))


@pytest.fixture(scope="module")
def planned(task: Scenario) -> TunedDraws:
    """Return the tuned ladder of 160 draws."""
    return _tuned(task, [row.settings.lead for row in solved(task)[1:]], 160, 6)


def test_tuned_draw_matches_brute_force(task: Scenario, planned: TunedDraws) -> None:
    # The same launchers tuned on refined grids of wheel speeds; next to a jam both have a small error.
    launchers = take(flatten(planned.draws.launcher, (161,)), np.arange(1, 31))
    apart = np.abs(planned.exit_speed[:, :30] / ladder(task, launchers, 30) - 1)
    assert apart.max() < 1e-2
    assert (apart < 1e-3).mean() > 0.9


def test_gain_probabilities_match_brute_force_on_other_draws(task: Scenario, planned: TunedDraws) -> None:
    # 120 launchers drawn and tuned independently; tests/benchmarks/verdict.py does it with 10 000.
    truth = ladder(task, drawn(task, 120, np.random.default_rng(5)), 120)
    gains = truth[1:] / truth[:-1] - 1
    for true, found in zip(gains, [planned.gain(0), planned.gain(1)], strict=True):
        assert ks_2samp(true, found).pvalue > 0.01
    for gain in np.quantile(gains[1], [0.2, 0.5, 0.8]):
        share = float((gains[1] >= gain).mean())
        error = np.sqrt(share * (1 - share) * (1 / 120 + 1 / 160))
        assert float((planned.gain(1) >= gain).mean()) == pytest.approx(share, abs=3 * error)


def test_draws_are_slowed_no_further_than_a_limit_on_the_throw_asks_for() -> None:
    # One stage: the fastest wheel that keeps the limit, on a grid for each draw. Faster wheels are hotter here.
    free, speeds, limit = unsure(), np.linspace(10.0, 14.0, 161), 0.255
    given = replace(free, limit_values=replace(free.limit_values, stages=1, slip_heat=limit))
    done = throw(free.launcher, speeds[:, None])
    lead = speeds[done.stages.slip_heat[:, 0] <= limit][-1]
    found = _tuned(given, [np.array([lead])], 8, 3)
    launchers = take(flatten(found.draws.launcher, (9,)), np.arange(1, 9))
    tried = throw(launchers, np.broadcast_to(speeds[:, None, None], (speeds.size, 8, 1)))
    best = np.where(tried.stages.slip_heat[..., 0] <= limit, tried.exit_speed, 0.0).max(axis=0)
    assert (best < tried.exit_speed[-1]).all()
    assert found.exit_speed[1] == pytest.approx(best, rel=5e-3)
