"""Steps of a plan that few scenarios take: wheels slowed for hard limits, bounds by shared budgets."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from stager.config import load
from stager.model.stage import Drive, Supply
from stager.optimise import planner, robust
from stager.optimise.clock import Clock
from stager.optimise.judge import settings_at
from stager.optimise.parts import BestDesign, opened, select
from stager.optimise.planner import SLOWEST, _bounded, _Planning, plan, silent
from stager.optimise.problem import NO_MARGINS, FastestTables
from stager.optimise.records import Parts, Plan
from stager.optimise.robust import enough, margin_draws, margin_of
from stager.parallel import Executor
from tests.optimise.builds import CONFIGS
from tests.optimise.machines import HEAVY, scenario, unsure
from tests.sharing import few_draws


def test_wheels_are_slowed_no_more_than_enough_builds_need(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(robust, "MARGIN_DRAWS", 200)
    given = unsure()
    given = replace(given, limit_values=replace(given.limit_values, exit_energy=0.17, stages=1))
    drawn = margin_draws(given)
    assert drawn is not None
    fast = settings_at(given, np.array([14.0]))
    assert not enough(margin_of(given, drawn, fast))
    planning = _Planning(given, 0, None, Executor(), Clock(), silent)
    found = planning._slowed(BestDesign(1, given, (), None, fast), drawn).settings
    share = float(found.lead[0] / fast.lead[0])
    assert SLOWEST < share < 1
    assert planning.margin is not None
    assert enough(planning.margin)
    assert planning.margin == margin_of(given, drawn, found)
    assert not enough(margin_of(given, drawn, settings_at(given, found.lead * 1.01)))


def test_wheels_that_no_slowing_makes_safe_stay_as_fast(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(robust, "MARGIN_DRAWS", 200)
    given = unsure()
    given = replace(given, limit_values=replace(given.limit_values, exit_energy=1e-3, stages=1))
    drawn = margin_draws(given)
    assert drawn is not None
    row = BestDesign(1, given, (), None, settings_at(given, np.array([14.0])))
    assert _Planning(given, 0, None, Executor(), Clock(), silent)._slowed(row, drawn) is row


@pytest.mark.parametrize(
    ("asked", "count", "scarce", "told"),
    [
        (None, None, False, None), (None, 2, False, None), (None, 2, True, (9.0, 2)), (20.0, None, False, (None, None)),
        (20.0, 2, False, (9.0, 2)),
    ],
    ids=["no design", "nothing shared", "a budget is used up", "a speed out of reach", "a speed is reached"],
)  # fmt: skip
def test_shared_budgets_tighten_the_bound_where_they_can(
    asked: float | None, count: int | None, scarce: bool, told: tuple[Any, Any] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = SimpleNamespace(asked=asked)
    monkeypatch.setattr(planner, "bound", lambda *given: plain)
    monkeypatch.setattr(planner, "shared", lambda task, found, reached, count: (found, reached, count))
    found = _bounded(scenario(HEAVY), 3, 9.0, count, scarce)
    assert found == (plain if told is None else (plain, *told))


def test_design_variables_are_opened_for_each_stage_where_stages_differ() -> None:
    template = replace(HEAVY.template, crush_range=(0.002, 0.006))
    given = scenario(replace(HEAVY, template=template), stages=2)
    solution: Any = SimpleNamespace(problem=SimpleNamespace(tables=FastestTables(given)))
    for crushes, choose in (((0.003, 0.003), "common"), ((0.003, 0.005), "own")):
        parts = tuple(Parts(0, 0, crush) for crush in crushes)
        row = BestDesign(2, given, parts, solution, settings_at(given, np.zeros(2)))
        assert opened(given, row, NO_MARGINS, Clock()).choose == choose


@cache
def _planned(stages: int, **limits: float) -> Plan:
    given = unsure()
    given = replace(given, limit_values=replace(given.limit_values, stages=stages, **limits))
    with few_draws():
        return plan(given, draws=60, certified=False)


@pytest.mark.parametrize("stages", [1, 2])
def test_plan_for_the_greatest_mean_says_what_the_launcher_as_configured_could_reach(stages: int) -> None:
    found = _planned(stages)
    assert found.best is not None
    assert found.fastest is not None
    assert found.fastest.exit_speed > 1.05 * found.best.exit_speed
    assert f"could reach {found.fastest.exit_speed:.2f} m/s" in found.verdict


@pytest.mark.parametrize("stages", [1, 2])
def test_nominal_settings_alone_are_planned_at_a_confidence_of_a_half(stages: int) -> None:
    found, nominal = _planned(stages, confidence=0.5), _planned(stages)
    assert found.best is not None
    assert nominal.fastest is not None
    assert found.best.exit_speed == pytest.approx(nominal.fastest.exit_speed, rel=1e-4)
    assert "on average" not in found.verdict


@pytest.mark.parametrize("stages", [1, 2])
def test_verdict_ladder_and_fastest_are_of_the_same_designs(stages: int) -> None:
    found = _planned(stages)
    assert found.fastest is not None
    assert found.fastest.exit_speed == pytest.approx(max(rung.exit_speed.nominal for rung in found.ladder))
    for rung in found.ladder[1:]:
        for interval in (rung.exit_speed, rung.gain):
            assert interval is not None
            assert interval.low is not None
            assert interval.high is not None
            assert interval.low <= interval.nominal <= interval.high
    if stages == 2:
        assert f"a second adds {100 * found.ladder[2].gain.nominal:.0f} %" in found.verdict


def test_rows_that_are_not_built_keep_hard_limits_in_enough_builds_too() -> None:
    # Two stages are worth building and far below the limit, so they need no reserve; a third runs into it.
    given = load(CONFIGS / "seed_ball.toml").scenario()
    given = replace(
        given, limit_values=replace(given.limit_values, stages=3, exit_energy=3.8),
        goal=replace(given.goal, worthwhile=0.3),
    )  # fmt: skip
    with few_draws():
        found = plan(given, draws=60, certified=False)
    assert found.recommended_stages == 2
    assert found.fastest is not None
    assert found.fastest.count == 3
    assert found.fastest.exit_speed == found.ladder[3].exit_speed.nominal
    # The mass alone, 18 g ± 0.5 g, lets one build in 20 leave with 1 + 1.645 × 0.5/18 times the energy of the nominal.
    energy = 0.5 * 0.018 * found.fastest.exit_speed**2
    assert energy * (1 + 1.645 * 0.5 / 18) < 3.8


@pytest.mark.parametrize("energy", [1e-3, 0.5])
def test_only_rows_that_keep_the_limits_have_intervals(energy: float) -> None:
    for rung in _planned(2, exit_energy=energy).ladder:
        for interval in filter(None, (rung.exit_speed, rung.gain)):
            assert (interval.low is None) == (not rung.kept)
            assert interval.low is None or interval.low <= interval.nominal * (1 + 1e-6)


class _Strikes(Clock):
    """A clock that runs out when it is asked for the n-th time."""

    left: int

    def out(self, what: str = "") -> bool:
        self.left -= 1
        self.until = np.inf if self.left > 0 else 0.0
        return super().out(what)


@pytest.mark.parametrize("asked", [1, 2, 3, 4, 6, 8, 12])
def test_stages_are_called_not_done_only_where_the_ladder_lacks_them(asked: int) -> None:
    drives = tuple(Drive(speed_constant=speed, resistance=0.6, cost=cost) for speed, cost in ((94.0, 7.0), (70.0, 9.0)))
    template = replace(HEAVY.template, drive_options=drives, cost=20.0)
    given = scenario(replace(HEAVY, template=template, supply=Supply(voltage=11.1)), stages=3)
    clock = _Strikes(until=np.inf)
    clock.left = asked
    rows = select(given, clock).rows
    undone = [int(words.split()[0]) for words in clock.open if words.endswith("more stages")]
    assert undone == ([len(rows)] if len(rows) <= 3 else [])
    assert len(rows) > 1
