"""Parts selected from a catalogue: as good as trying all combinations, also under a budget."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import product

import pytest

from stager.constraints import broken_by, not_judged
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import Aim, Goal
from stager.model.stage import Drive, Supply, Wheel
from stager.optimise.clock import Clock
from stager.optimise.parts import Selected, catalogue_of, choose, outfit, parts_of, select, with_parts
from stager.optimise.planner import plan
from stager.optimise.records import Parts
from tests.drive.machines import HEAT
from tests.optimise.machines import HOLLOW, LIGHT, launcher, scenario, stage
from tests.optimise.solved import best_of, speed_of

SEED = LIGHT.projectile
SMALL = Wheel(radius=0.025, inertia=2e-3, name="small", cost=2.0)
WIDE = Wheel(radius=0.06, inertia=8e-3, name="wide", cost=9.0)
# STRONG has a heavy rotor and a low top speed; QUICK has a light rotor and a high one.
STRONG = Drive(speed_constant=60.0, resistance=0.2, rotor_inertia=4e-4, name="strong")
QUICK = Drive(speed_constant=400.0, resistance=0.2, rotor_inertia=4e-6, name="quick")
MOTORS = replace(
    launcher(SEED, stage(inertia=4e-6, drive=STRONG, drive_options=(QUICK,))), supply=Supply(voltage=6.0)
)  # fmt: skip
WHEELS = launcher(SEED, stage(wheel_options=(SMALL, WIDE), cost=10.0))
WHEELS = replace(WHEELS, template=replace(WHEELS.template, wheel=replace(WHEELS.template.wheel, cost=0.0)))


def _selected(given: Scenario) -> Selected:
    return select(given, Clock())


CASES = {
    "drives": scenario(MOTORS, stages=2),
    "short": scenario(WHEELS, stages=2, length=0.26),
    "cheap and cool": scenario(WHEELS, stages=2, slip_heat=1.0, cost=30.0),
}


@cache
def _selected_for(name: str) -> Selected:
    return _selected(CASES[name])


@pytest.mark.parametrize("name", CASES)
def test_selected_parts_are_as_fast_as_any_combination(name: str) -> None:
    given = CASES[name]
    row = choose(given, _selected_for(name).rows)
    assert row is not None
    reached = row.settings.exit_speed
    for parts in product(parts_of(given.launcher.template), repeat=2):
        assert speed_of(with_parts(given, parts)) <= reached * (1 + 1e-3)


def test_parts_of_two_stages_are_exchanged_at_once_where_budgets_leave_no_single_exchange() -> None:
    # Within the mass, a heavier wheel in one stage takes a lighter motor or wheel in the other.
    wheels = (
        Wheel(radius=0.0415, inertia=7.2e-5, name="small", cost=18.0, mass=0.181),
        Wheel(radius=0.0595, inertia=3.8e-4, name="wide", cost=8.0, mass=0.286),
        Wheel(radius=0.0332, inertia=5.0e-4, name="dense", cost=9.0, mass=0.068),
    )  # fmt: skip
    quick = Drive(
        speed_constant=292.0, resistance=0.0515, current_limit=51.4, rotor_inertia=9.1e-5, name="quick", cost=9.0,
        mass=0.163,
    )  # fmt: skip
    slow = Drive(
        speed_constant=55.4, resistance=0.0933, current_limit=31.6, rotor_inertia=5.0e-5, name="slow", cost=24.0,
        mass=0.0508,
    )  # fmt: skip
    template = stage(drive=quick, drive_options=(slow,), wheel_options=wheels[1:], cost=59.0, mass=0.789)
    machine = launcher(SEED, replace(template, wheel=wheels[0]))
    machine = replace(machine, supply=Supply(voltage=10.97, resistance=0.0608))
    given = scenario(machine, stages=2, cost=181.3, mass=1.2155, slip_heat=2.254, exit_energy=12.17)
    row = choose(given, _selected(given).rows)
    assert row is not None
    # The best four of all combinations.
    for first, second in (((2, 1), (1, 1)), ((1, 1), (2, 1)), ((0, 1), (0, 1)), ((2, 1), (0, 0))):
        best = speed_of(with_parts(given, (Parts(*first), Parts(*second))))
        assert 18.5 < best <= row.settings.exit_speed * (1 + 1e-3)


def test_stages_get_different_parts_if_clearly_better() -> None:
    given, selected = CASES["drives"], _selected_for("drives")
    found = catalogue_of(given, selected, choose(given, selected.rows))
    assert found is not None
    assert not found.one_for_all
    assert found.mixed_gain is not None
    assert found.mixed_gain > 1e-3
    assert {drive for _, drive in found.chosen} == {"strong", "quick"}


def test_goal_is_reached_with_fewest_stages() -> None:
    given = scenario(WHEELS, Goal(aim=Aim.REACH, exit_speed=20.0), stages=2)
    best = choose(given, _selected(given).rows)
    assert best is not None
    for parts in parts_of(given.launcher.template):
        other = best_of(with_parts(given, [parts]))
        assert other is None or other.count >= best.count


@pytest.mark.parametrize("goal", [Goal(aim=Aim.FASTEST), Goal(aim=Aim.REACH, exit_speed=9.0)], ids=["fastest", "reach"])
def test_no_dearer_motor_is_selected_for_next_to_no_gain(goal: Goal) -> None:
    # Both motors turn the wheels past their grip limits, so that a throw hardly depends on them.
    cheap, dear = (replace(QUICK, name=name, cost=cost, rotor_inertia=inertia) for name, cost, inertia in
                   (("cheap", 10.0, 4e-6), ("dear", 80.0, 4.3e-6)))  # fmt: skip
    for offered in ((cheap, dear), (dear, cheap)):
        given = replace(launcher(SEED, stage(drive_options=offered)), supply=Supply(voltage=12.0))
        found = choose(scenario(given, goal, stages=1), _selected(scenario(given, goal, stages=1)).rows)
        assert found is not None
        assert found.scenario.launcher.stage(0).drive.name == "cheap"
    # A gain that shows is worth its price.
    strong = replace(dear, name="heavy", rotor_inertia=4e-3)
    given = replace(launcher(SEED, stage(inertia=4e-6, drive_options=(cheap, strong))), supply=Supply(voltage=12.0))
    fastest = choose(scenario(given, stages=1), _selected(scenario(given, stages=1)).rows)
    assert fastest is not None
    assert fastest.scenario.launcher.stage(0).drive.name == "heavy"


@pytest.mark.parametrize("price", [None, 9.0])
@pytest.mark.parametrize("name", ["cost", "mass"])
def test_limit_is_not_judged_with_a_part_of_unknown_price_or_mass(name: str, price: float | None) -> None:
    # Both motors throw alike; two of the written one break the limit.
    written, offered = (replace(QUICK, **{name: value}) for value in (30.0, price))  # type: ignore[arg-type]
    machine = replace(
        launcher(SEED, stage(drive=written, drive_options=(offered,), **{name: 100.0})), supply=Supply(voltage=12.0)
    )
    found = plan(scenario(machine, stages=2, **{name: 90.0}), draws=0, certified=False)
    assert found.best is not None
    assert found.best.count > 0
    assert found.best.design.launcher.stage(0).drive == offered
    judged = {one.name: one.satisfied for one in found.best.verdicts}
    assert judged.get(name) is (None if price is None else True)
    assert (name in [one.name for one in not_judged(found.best.design)]) == (price is None)


@pytest.mark.parametrize("stage_cost", [None, 100.0])
def test_part_of_unknown_price_is_not_selected_as_the_cheaper_one(stage_cost: float | None) -> None:
    # The motors throw alike, so that the first is chosen unless another is known to be cheaper.
    for costs, expected in (((10.0, None, 8.0), 8.0), ((10.0, None), 10.0), ((None, 10.0), None), ((None, None), None)):
        motors = tuple(
            replace(QUICK, name=str(k), cost=cost, rotor_inertia=4e-6 * (1 - 0.01 * k)) for k, cost in enumerate(costs)
        )
        offered = stage(drive=motors[0], drive_options=motors[1:], cost=stage_cost)
        machine = replace(launcher(SEED, offered), supply=Supply(voltage=12.0))
        given = scenario(machine, stages=1)
        found = choose(given, _selected(given).rows)
        assert found is not None
        chosen = found.scenario.launcher.stage(0).drive
        assert chosen is not None
        assert chosen.cost == expected


def test_selected_parts_are_in_the_plan_its_ladder_and_its_draws() -> None:
    found = plan(scenario(WHEELS, stages=2), draws=0, certified=False)
    assert found.best is not None
    assert found.catalogue is not None
    numbers = found.catalogue.numbers
    wheels = [(0.04, 0.025, 0.06)[each.wheel] for each in numbers]
    assert [float(found.best.design.launcher.stage(k).wheel.radius) for k in range(2)] == wheels
    # A pair has two wheels, each of which adds the price of the part.
    costs = [10.0 + 2 * (0.0, 2.0, 9.0)[each.wheel] for each in numbers]
    assert found.ladder[2].cost == pytest.approx(sum(costs))
    fitted = with_parts(scenario(WHEELS), numbers)
    assert [float(fitted.realise({}).stage(k).wheel.radius) for k in range(2)] == wheels


def test_no_limit_on_what_is_built_binds_where_other_parts_leave_room_for_a_stage() -> None:
    # Two wide wheels are 246 mm long and a third would make it 372 mm, but smaller wheels fit three times.
    goal = Goal(aim=Aim.FASTEST, worthwhile=0.3)
    found = plan(scenario(WHEELS, goal, length=0.3), draws=0, certified=False)
    assert found.best is not None
    assert found.best.count == 2
    assert found.ladder[3].kept
    assert broken_by(found.best.design.launcher, found.best.design.limit_values, 3) == ["length"]
    assert "length" not in found.binding
    assert found.one_more_stage is None


def test_no_catalogue_without_alternatives() -> None:
    given = scenario(LIGHT, stages=1)
    assert catalogue_of(given, _selected(given), None) is None
    only = launcher(SEED, stage(drive_options=(QUICK,)))
    assert parts_of(only.template) == (Parts(0, 1),)
    assert outfit(only, [Parts(0, 1)]).stage(3).drive == QUICK


def test_limits_that_some_parts_leave_unknown_are_listed_with_them() -> None:
    known = replace(QUICK, name="known", speed_constant=100.0, heat=HEAT)
    given = scenario(
        replace(MOTORS, template=replace(MOTORS.template, drive=known, drive_options=(QUICK,)),
                feed=replace(MOTORS.feed, rate=2.0)), stages=1,
        winding_temperature=400.0,
    )  # fmt: skip
    selected = _selected(given)
    found = catalogue_of(given, selected, choose(given, selected.rows))
    assert found is not None
    unknown = {option.drive: "winding_temperature" in option.not_judged for option in found.options}
    assert unknown == {"known": False, "quick": True}
    assert found.chosen == (("as written", "quick"),)
    assert "winding_temperature" in found.not_judged


@pytest.mark.parametrize(
    ("machine", "inertia", "asked"), [(LIGHT, 30.0, 4.0), (HOLLOW, 3.0, 5.0)], ids=["light", "hollow"]
)
def test_wheels_for_an_asked_speed_are_the_coolest_of_those_that_reach_it(
    machine: Launcher, inertia: float, asked: float
) -> None:
    # Speeds that count as reached differ by up to 0.05 %: the faster ones were chosen, however hot, in circles.
    own = machine.template.wheel
    other = replace(own, radius=1.3 * own.radius, inertia=inertia * own.inertia)
    offered = replace(machine, template=replace(machine.template, wheel_options=(other,)))
    found = _selected(scenario(offered, Goal(aim=Aim.REACH, exit_speed=asked), stages=2, wheel_speed=32.0))
    alike = [rows[2].settings.throw.stages.slip_heat.sum() for _, rows in found.options]
    assert found.rows[2].settings.exit_speed >= asked * (1 - 6e-4)
    assert found.rows[2].settings.throw.stages.slip_heat.sum() <= 1.01 * min(alike)


def test_no_cheaper_wheel_is_selected_for_an_asked_speed_that_makes_more_heat() -> None:
    # Both wheels reach the speed, the cheaper one, which is light, with eight times as much slip heat.
    own = replace(LIGHT.template.wheel, inertia=4e-3, cost=9.0)
    light = replace(own, inertia=4e-6, cost=5.0)
    machine = replace(LIGHT, template=replace(LIGHT.template, wheel=own, wheel_options=(light,), cost=30.0))
    given = scenario(machine, Goal(aim=Aim.REACH, exit_speed=8.0), stages=1)
    found = _selected(given)
    heavy, hot = (float(rows[1].settings.throw.stages.slip_heat.sum()) for _, rows in found.options)
    assert hot > 5 * heavy
    assert found.rows[1].settings.throw.stages.slip_heat.sum() <= 1.01 * heavy


def test_best_parts_of_one_stage_do_not_forbid_others_that_leave_room_for_two() -> None:
    # The best wheel is too dear for two stages, of the others one is too long for two and one too dear.
    best = Wheel(radius=0.04, inertia=4e-3, name="best", cost=9.0)
    long = Wheel(radius=0.06, inertia=5e-5, name="long", cost=0.5)
    dear = Wheel(radius=0.025, inertia=1e-5, name="dear", cost=5.0)
    machine = launcher(SEED, stage(wheel=best, wheel_options=(long, dear), cost=28.0))
    rows = _selected(scenario(machine, stages=2, length=0.2, cost=32.0, wheel_speed=20.0)).rows
    assert [one.wheel for one in rows[1].parts] == [0]
    assert len(rows) == 3
    assert rows[2].feasible
    assert sorted(one.wheel for one in rows[2].parts) == [1, 2]
