"""The exit speed that a goal asks for is the one behind the outlet, for plan, recommendation, ladder and bound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from stager.bounds import bound
from stager.constraints.recommend import recommend
from stager.model.arrays import Number
from stager.model.launcher import Launcher, Outlet, Scenario, Uncertain
from stager.model.requirements import Aim, Goal
from stager.optimise.judge import REACHED
from stager.optimise.planner import plan
from stager.physics.chain import throw
from stager.physics.flight import outlet_speed
from tests.optimise.machines import FOAM, HEAVY, HOLLOW, HOOP, scenario
from tests.optimise.plain_search import draw_problem

MACHINES = {"pair": (HEAVY, 9.0), "hollow ball": (HOLLOW, 5.0), "rail": (FOAM, 8.0), "idler": (HOOP, 6.0)}
"""Launchers, and exit speeds that one of their stages throws at [m/s]."""
NONE = (np.zeros(0), np.zeros(0))


def _with_outlet(name: str, share: float) -> tuple[Launcher, float]:
    """Return a launcher whose outlet takes a share of the energy that it is left with, and the speed there [m/s]."""
    machine, speed = MACHINES[name]
    loss = share * float(machine.projectile.mass) * speed**2 / 2
    return replace(machine, outlet=Outlet(loss=loss, length=0.08)), speed


def _leaves(machine: Launcher, exit_speed: float) -> float:
    return float(outlet_speed(machine, exit_speed))


@pytest.mark.parametrize(
    ("name", "share"), [("pair", 0.05), ("pair", 0.6), ("hollow ball", 0.05), ("rail", 0.6), ("idler", 0.05)]
)
def test_plan_and_recommendation_reach_the_asked_speed_behind_the_outlet(name: str, share: float) -> None:
    machine, asked = _with_outlet(name, share)
    task = scenario(machine, Goal(aim=Aim.REACH, exit_speed=asked), wheel_speed=60.0)
    found = plan(task, draws=0)
    best = found.best
    assert best is not None
    assert best.feasible
    leaves = _leaves(machine, float(throw(machine, best.wheel_speed).exit_speed))
    assert asked * (1 - REACHED) <= leaves * (1 + 1e-6)
    assert leaves <= asked * (1 + 1e-6)
    assert f"for {asked:.4g} m/s" in found.verdict
    proof = found.bound
    assert proof is not None
    assert proof.asked is not None
    assert _leaves(machine, proof.asked) == pytest.approx(asked)
    assert proof.missing or best.exit_speed <= proof.speeds[best.count] * (1 + 1e-6)
    if best.count == 1:
        chosen = recommend(machine, 1, task.limit_values, NONE, None, asked=asked)
        assert chosen.exit_speed == pytest.approx(asked, rel=REACHED)
        assert chosen.wheel_speed == pytest.approx(best.wheel_speed[0], rel=2e-3)


@pytest.mark.parametrize("name", ["pair", "rail"])
def test_speed_out_of_reach_is_told_behind_the_outlet(name: str) -> None:
    machine, _ = _with_outlet(name, 0.3)
    fastest = plan(scenario(machine, stages=1, wheel_speed=60.0), draws=0, certified=False).best
    assert fastest is not None
    most = _leaves(machine, fastest.exit_speed)
    # Between what leaves the outlet and what leaves the wheel.
    asked = (most + fastest.exit_speed) / 2
    task = scenario(machine, Goal(aim=Aim.REACH, exit_speed=asked), stages=1, wheel_speed=60.0)
    found = plan(task, draws=0, certified=False)
    assert found.best is None
    assert found.missed is not None
    assert f"nearest design throws at {most:.4g} m/s" in found.missed.reason
    proof = bound(task, 1)
    assert proof.missing or _leaves(machine, proof.speed) < asked
    reachable = replace(task, goal=Goal(aim=Aim.REACH, exit_speed=most * 0.999))
    assert plan(reachable, draws=0, certified=False).best is not None


def _unsure(machine: Launcher, goal: Goal) -> Scenario:
    """Return a scenario whose outlet takes an uncertain energy."""
    assert machine.outlet is not None
    outlet, loss = machine.outlet, float(machine.outlet.loss)
    uncertain = (Uncertain(key="outlet.loss", value=loss, standard_uncertainty=0.2 * loss, low=0.0),)

    def realise(values: Mapping[str, Number]) -> Launcher:
        return replace(machine, outlet=replace(outlet, loss=values.get("outlet.loss", loss)))

    return replace(scenario(machine, goal, stages=1, wheel_speed=60.0), uncertain=uncertain, realise=realise)


def test_builds_of_the_ladder_reach_the_asked_speed_behind_their_own_outlet() -> None:
    machine, asked = _with_outlet("pair", 0.3)
    found = plan(_unsure(machine, Goal(aim=Aim.REACH, exit_speed=asked)), draws=40, certified=False)
    rung = found.ladder[1].exit_speed
    loss = float(machine.outlet.loss) * (1 + 0.2 * 1.96 * np.array([-1.0, 1.0])) if machine.outlet else np.zeros(2)
    ends = np.sqrt(asked**2 + 2 * loss / float(machine.projectile.mass))
    assert [rung.low, rung.high] == pytest.approx(ends, rel=0.02)


def test_steadiest_setting_reaches_the_asked_speed_behind_the_outlet() -> None:
    machine, asked = _with_outlet("pair", 0.3)
    found = plan(_unsure(machine, Goal(aim=Aim.STEADIEST, exit_speed=asked)), draws=40, certified=False)
    assert found.best is not None
    leaves = _leaves(machine, found.best.exit_speed)
    assert leaves == pytest.approx(asked, rel=2 * REACHED)
    # Only the outlet varies: v dv = d loss / m.
    spread = 0.2 * 0.3 / 2
    assert found.spread == pytest.approx(spread, rel=0.15)


def test_speed_just_beyond_the_fastest_plan_is_planned_as_that_is_with_grip_margins_used_up() -> None:
    # A speed counts as reached at 0.05 % less. The grip limits that the search expects are 0.07 % off here at first.
    drawn = draw_problem(np.random.default_rng([9109, 0]), aim=Aim.FASTEST)
    task = replace(drawn, limit_values=replace(drawn.limit_values, stages=2, grip_margin=0.06023))
    fastest = plan(task, draws=0, certified=False).fastest
    assert fastest is not None
    asked = fastest.exit_speed * (1 + 0.6 * REACHED)
    best = plan(replace(task, goal=Goal(aim=Aim.REACH, exit_speed=asked)), draws=0, certified=False).best
    assert best is not None
    assert best.exit_speed >= asked * (1 - REACHED)


def test_asked_speed_is_reached_where_the_outlet_takes_nearly_all_energy_and_faster_throws_are_cooler() -> None:
    # A share of 1e-6 of the speed behind the outlet is 2e-8 of that behind the wheel.
    task = draw_problem(np.random.default_rng([98, 9901]), aim=Aim.REACH)
    found = plan(replace(task, goal=Goal(aim=Aim.REACH, exit_speed=0.4543)), draws=0, certified=False)
    assert found.best is not None
    assert float(found.best.design.outlet_speed) == pytest.approx(0.4543, rel=REACHED)
    assert float(found.best.design.outlet_speed) <= 0.4543 * (1 + 1e-6)
