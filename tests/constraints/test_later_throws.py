"""Exit energy of throws after the first: a wheel that slips throws harder as it slows down."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.constraints import OperatingPoint, evaluate_limits, later_throws, not_judged, slacks
from stager.constraints.later_throws import LATER_ENERGY
from stager.constraints.recommend import recommend
from stager.model.launcher import Launcher, Outlet, Scenario
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import IDLER, PAIR, RAIL
from stager.optimise.planner import plan
from stager.physics.chain import throw
from stager.physics.flight import outlet_speed
from stager.physics.friction import Bell, Falling
from stager.physics.rate import sequence
from tests.drive.machines import DRIVE, SUPPLY
from tests.optimise.machines import SEED, launcher, scenario, stage
from tests.optimise.solved import looser, with_limits

THROWS = 25


def drawn(rng: np.random.Generator) -> tuple[Launcher, np.ndarray]:
    """Return a launcher that throws at a rate, and wheel speeds [m/s] that may lie beyond the fastest throw."""
    friction = rng.choice([Falling(0.75, 0.22, 4.0), Falling(0.6, 0.3, 8.0), Bell(0.9, 1.5, 3.0)])  # type: ignore[arg-type]
    drive = replace(DRIVE, current_limit=rng.uniform(3.0, 20.0), governed=bool(rng.random() < 0.3))
    layout = (PAIR, RAIL, IDLER)[rng.integers(3)]
    template = stage(layout=layout, inertia=10 ** rng.uniform(-4.7, -3.7), drive=drive, idler_inertia=2e-6)
    machine = launcher(SEED, template, friction)
    feed = replace(machine.feed, rate=rng.uniform(1.0, 9.0))
    outlet = Outlet(loss=0.1) if rng.random() < 0.3 else None
    return replace(machine, supply=SUPPLY, feed=feed, outlet=outlet), rng.uniform(8.0, 24.0, rng.integers(1, 3))


def point_of(machine: Launcher, speeds: Any, **limits: Any) -> OperatingPoint:
    values = LimitValues(**{"exit_energy": 1e3, "stages": 3, **limits})
    return OperatingPoint(launcher=machine, limit_values=values, throw=throw(machine, np.asarray(speeds)))


def energies(point: OperatingPoint) -> np.ndarray:
    """Return the exit energies of throws one after the other [J]."""
    assert point.settled is not None
    exits = outlet_speed(point.launcher, sequence(point.settled.cycle, THROWS).exit_speed)
    return np.asarray(0.5 * point.launcher.projectile.mass * exits**2)


def judged(point: OperatingPoint) -> dict[str, bool]:
    return {one.name: one.satisfied for one in evaluate_limits(point)}


@pytest.mark.parametrize("seed", range(4))
def test_no_throw_after_the_first_exceeds_a_limit_that_is_called_kept(seed: int) -> None:
    rng, rising = np.random.default_rng(seed), 0
    for _ in range(15):
        machine, speeds = drawn(rng)
        free = point_of(machine, speeds)
        if free.throw.jammed or free.settled is None or free.settled.throw.jammed:
            continue
        thrown = energies(free)
        first, most = thrown[0], thrown.max()
        if most < 1.002 * first:
            assert judged(point_of(machine, speeds, exit_energy=1.002 * first)).get("later_energy", True)
            continue
        rising += 1
        between = judged(point_of(machine, speeds, exit_energy=0.5 * (first + most)))
        assert between["exit_energy"]
        assert not between["later_energy"]
        above = {"exit_energy": 1.3 * most, "exit_speed": 2 * (most / machine.projectile.mass) ** 0.5}
        assert judged(point_of(machine, speeds, **above)).get("later_energy", True)
    assert rising


@pytest.mark.parametrize("limit", ["exit_energy", "exit_speed", "energy_per_area"])
def test_every_limit_on_the_exit_holds_for_later_throws(limit: str) -> None:
    drive = replace(DRIVE, current_limit=4.0)
    machine = launcher(SEED, stage(inertia=1.2e-4, drive=drive), Falling(0.75, 0.22, 4.0))
    machine = replace(machine, supply=SUPPLY, feed=replace(machine.feed, rate=8.0))
    area = float(machine.projectile.known_frontal_area or np.nan)
    energy = 0.70  # The first throw has 0.674 J, the twelfth 1.089 J.
    bound = {"exit_energy": energy, "exit_speed": (2 * energy / 0.018) ** 0.5, "energy_per_area": energy / area}[limit]
    found = {one.name: one for one in evaluate_limits(point_of(machine, [19.5], **{limit: bound}), remedies=True)}
    assert found[limit].satisfied
    assert float(found["later_energy"].value) == pytest.approx(1.089, rel=0.01)
    assert float(found["later_energy"].bound) == pytest.approx(energy)
    assert "slower wheel 1" in found["later_energy"].remedy
    # Many at once, of which one does not slip.
    many = evaluate_limits(point_of(machine, [[19.5], [8.0]], **{limit: bound}))
    later = next(one for one in many if one.name == "later_energy")
    assert (later.slack < 0).tolist() == [True, False]


def test_slowing_of_wheels_without_drives_is_unknown() -> None:
    machine = launcher(SEED, stage(inertia=1.2e-4), Falling(0.75, 0.22, 4.0))
    machine = replace(machine, feed=replace(machine.feed, rate=4.0))
    keys = {one.name: one.missing for one in not_judged(point_of(machine, [13.0], exit_energy=1.02))}
    assert keys["later_energy"] == "stage.drive"
    # Slower wheels throw slower, or even the fastest throw keeps the limit.
    for speed, energy in ((8.0, 1.02), (13.0, 1.3)):
        assert "later_energy" not in {one.name for one in not_judged(point_of(machine, [speed], exit_energy=energy))}
    once = replace(machine, feed=replace(machine.feed, rate=None))
    assert "later_energy" not in {one.name for one in not_judged(point_of(once, [13.0], exit_energy=1.02))}


@pytest.mark.parametrize("seed", range(3))
def test_planned_and_recommended_wheels_keep_the_limit_throw_after_throw(seed: int) -> None:
    rng = np.random.default_rng([7, seed])
    machine, _ = drawn(rng)
    machine = replace(machine, outlet=None)
    fastest = point_of(machine, np.linspace(4.0, 24.0, 60)[:, None])
    energy = 0.8 * float(fastest.exit_energy.max())
    task = scenario(machine, stages=1, exit_energy=energy, wheel_speed=24.0)
    found = plan(task, draws=0, certified=False).best
    advised = recommend(machine, 1, task.limit_values, (np.zeros(0), np.zeros(0)), None).wheel_speed
    assert found is not None
    assert advised is not None
    for speeds in (found.wheel_speed, np.array([advised])):
        point = point_of(machine, speeds, exit_energy=energy)
        assert energies(point).max() <= energy * (1 + 1e-3)
        assert judged(point).get("later_energy", True)
    assert found.exit_speed == pytest.approx((2 * energy / 0.018) ** 0.5, rel=2e-3)


def test_later_throws_are_computed_once_for_an_operating_point(monkeypatch: pytest.MonkeyPatch) -> None:
    # Its bound, value, slack and whether it is judged all rest on them.
    called: list[str] = []
    for name in ("_may_rise", "_greatest_rise"):
        own = getattr(later_throws, name)
        monkeypatch.setattr(later_throws, name, lambda *given, own=own, name=name: called.append(name) or own(*given))
    rng = np.random.default_rng(0)
    point = point_of(*drawn(rng))
    while point.throw.jammed or LATER_ENERGY.bound(point) is None:
        machine, speeds = drawn(rng)
        free = point_of(machine, speeds)
        point = point_of(machine, speeds, exit_energy=1.0001 * float(free.exit_energy))
    point = replace(point)
    called.clear()
    for _ in range(2):
        evaluate_limits(point)
        not_judged(point)
        assert slacks(LATER_ENERGY, point) is not None
    assert called.count("_may_rise") == 1
    assert called.count("_greatest_rise") in (1, 2)  # The second time where a few throws show a rise.


def _slipping(limit: str, energy: float, goal: Goal | None = None) -> Scenario:
    """Return a scenario with one limit on the exit, at `energy` [J], in which only wheels that slip keep another.

    They are faster than throws fastest, so that later throws leave faster than the first.
    """
    drive = replace(DRIVE, current_limit=6.0)
    machine = launcher(SEED, stage(inertia=1e-3, drive=drive), Falling(0.75, 0.22, 4.0))
    machine = replace(machine, supply=SUPPLY, feed=replace(machine.feed, rate=6.0))
    area = float(machine.projectile.known_frontal_area or np.nan)
    bound = {
        "exit_energy": energy,
        "exit_speed": (2 * energy / 0.018) ** 0.5,
        "energy_per_area": energy / area,
    }
    return scenario(machine, goal, stages=1, acceleration=2700.0, wheel_speed=26.0, **{limit: bound[limit]})


ON_EXIT = ["exit_energy", "exit_speed", "energy_per_area"]


@pytest.mark.parametrize("limit", ON_EXIT)
def test_needed_values_of_limits_on_the_exit_let_later_throws_keep_them(limit: str) -> None:
    # The first throw at 9 m/s has 0.729 J, the greatest later one 0.777 J.
    task = _slipping(limit, 0.75, Goal(aim=Aim.REACH, exit_speed=9.0))
    missed = plan(task, draws=0, certified=False).missed
    assert missed is not None
    assert limit in missed.conflict
    assert "later_energy" not in missed.conflict
    needed = {one.name: one.needed for one in missed.relaxations}[limit]
    assert needed is not None
    assert plan(with_limits(task, {limit: needed}), draws=0, certified=False).best is not None
    bound = getattr(task.limit_values, limit)
    tighter = with_limits(task, {limit: bound + 0.9 * (needed - bound)})
    assert plan(tighter, draws=0, certified=False).best is None


@pytest.mark.parametrize("limit", ON_EXIT)
def test_price_of_a_limit_on_the_exit_that_later_throws_use_up_is_the_gain_of_a_new_plan(limit: str) -> None:
    task = _slipping(limit, 0.9)
    found = plan(task, draws=0, certified=False)
    wider = plan(looser(task, [limit], 1.01), draws=0, certified=False)
    assert found.best is not None
    assert wider.best is not None
    slack = {one.name: float(one.slack) for one in found.best.verdicts}
    assert slack["later_energy"] < 1e-3 < 0.05 < 2 * slack[limit]
    assert "later_energy" not in found.prices
    assert {limit, "later_energy"} <= found.binding
    gained = wider.best.exit_speed / found.best.exit_speed - 1
    assert found.prices[limit] == pytest.approx(gained, rel=0.03, abs=2e-5)


def test_a_limit_on_the_exit_is_free_of_charge_where_another_holds_later_throws_back() -> None:
    task = _slipping("exit_energy", 0.9)
    found = plan(with_limits(task, {"exit_speed": 1.2 * (2 * 0.9 / 0.018) ** 0.5}), draws=0, certified=False)
    assert found.prices.keys() & set(ON_EXIT) == {"exit_energy"}
