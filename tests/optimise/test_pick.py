"""Parts of a catalogue: the choice is that of trying all, and bounds are bounds."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from stager.optimise.catalogue import Parts, outfit, parts_of, with_parts
from stager.optimise.choice import SLACK
from stager.optimise.choose import choose
from stager.optimise.climb import climb
from stager.optimise.pick import Picked, pick

from stager.model.drive import Drive, Supply
from stager.model.requirements import Aim, Goal
from stager.model.scenario import Scenario
from stager.model.wheel import Wheel
from stager.optimise.planner import plan
from tests.optimise.machines import LIGHT, launcher, scenario, stage

SEED = LIGHT.projectile
SMALL = Wheel(radius=0.025, inertia=2e-3, name="small", cost=2.0)
WIDE = Wheel(radius=0.06, inertia=8e-3, name="wide", cost=9.0)
# A heavy rotor droops little but is slow, a quick one is light.
STRONG = Drive(speed_constant=60.0, resistance=0.2, rotor_inertia=4e-4, name="strong")
QUICK = Drive(speed_constant=400.0, resistance=0.2, rotor_inertia=4e-6, name="quick")
MOTORS = replace(
    launcher(SEED, stage(inertia=4e-6, drive=STRONG, drive_options=(QUICK,))), supply=Supply(voltage=6.0)
)  # fmt: skip
WHEELS = launcher(SEED, stage(wheel_options=(SMALL, WIDE), cost=10.0))


def _exit(given: Scenario) -> float:
    best = choose(given, climb(given).settings)
    return 0.0 if best is None else best.exit_speed


def _picked_exit(found: Picked) -> float:
    best = choose(found.scenario, found.climbed.settings)
    assert best is not None
    return best.exit_speed


@pytest.mark.parametrize(
    "given",
    [scenario(MOTORS, stages=2), scenario(WHEELS, stages=3, length=0.26)],
    ids=["drives", "short"],
)
def test_nothing_is_better_than_what_is_picked(given: Scenario) -> None:
    found = pick(given)
    assert found.catalogue is not None
    each = parts_of(given.launcher.template)
    for parts in product(each, repeat=2):
        assert _exit(with_parts(given, parts)) <= _picked_exit(found) * (1 + 2e-3)


def test_bounds_of_what_was_not_looked_at_are_bounds() -> None:
    given = scenario(WHEELS, stages=2)
    found = pick(given).catalogue
    assert found is not None
    assert any(option.at_most for option in found.options)
    by_name = {"as written": 0, "small": 1, "wide": 2}
    for option in found.options:
        true = _exit(with_parts(given, [Parts(by_name[option.wheel], 0)]))
        assert option.exit_speed is not None
        assert true <= option.exit_speed * (1 + 1e-6)
        assert not option.at_most or option.exit_speed <= true * (1 + 2 * SLACK)


def test_each_stage_its_own_where_that_is_clearly_better() -> None:
    found = pick(scenario(MOTORS, stages=3)).catalogue
    assert found is not None
    assert not found.one_for_all
    assert found.mixed_gain is not None
    assert found.mixed_gain > 1e-3
    assert {drive for _, drive in found.chosen} == {"strong", "quick"}


def test_a_speed_that_is_asked_for_is_reached_with_fewest_stages() -> None:
    given = scenario(WHEELS, Goal(aim=Aim.REACH, exit_speed=20.0), stages=4)
    found = pick(given)
    best = choose(found.scenario, found.climbed.settings)
    assert best is not None
    for parts in parts_of(given.launcher.template):
        other = choose(with_parts(given, [parts]), climb(with_parts(given, [parts])).settings)
        assert other is None or other.count >= best.count


def test_chosen_parts_are_in_the_plan_its_ladder_and_its_draws() -> None:
    found = plan(scenario(WHEELS, stages=2), draws=0, certified=False)
    assert found.best is not None
    assert found.catalogue is not None
    numbers = found.catalogue.numbers
    wheels = [(0.04, 0.025, 0.06)[each.wheel] for each in numbers]
    assert [float(found.best.design.launcher.stage(k).wheel.radius) for k in range(2)] == wheels
    # A pair has two wheels, each dearer than the one as written by its own price.
    costs = [10.0 + 2 * (0.0, 2.0, 9.0)[each.wheel] for each in numbers]
    assert found.ladder[2].cost == pytest.approx(sum(costs))
    fitted = with_parts(scenario(WHEELS), numbers)
    assert [float(fitted.realise({}).stage(k).wheel.radius) for k in range(2)] == wheels


def test_nothing_to_choose_is_no_catalogue() -> None:
    assert pick(scenario(LIGHT, stages=1)).catalogue is None
    only = launcher(SEED, stage(drive_options=(QUICK,)))
    assert parts_of(only.template) == (Parts(0, 1),)
    assert outfit(only, [Parts(0, 1)]).stage(3).drive == QUICK
