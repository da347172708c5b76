"""Remedies of limits help, and help most among the alternatives; slack and safe settings follow their definitions."""

from __future__ import annotations

import re
from collections.abc import Callable
from copy import copy
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stager.constraints import LIMITS, LimitResult, OperatingPoint, evaluate
from stager.constraints.design import CALIPER_RESOLUTION
from stager.constraints.limit import Kind, at_most
from stager.constraints.recommend import required_share, safe_settings
from stager.model.arrays import rounded
from stager.model.launcher import Feed, Launcher
from stager.model.stage import IDLER, PAIR, RAIL, Drive, Hold, Layout, Stage
from stager.physics.chain import throw
from stager.physics.motor import peak_draw
from stager.physics.parts import with_variables
from stager.physics.transient import spin_up_throttle
from stager.physics.wheel import growth
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import DRIVE, HEAT, RPM, SUPPLY, launcher

BY_NAME = {limit.name: limit for limit in LIMITS}


def point_of(machine: Launcher, speeds: Any) -> OperatingPoint:
    speeds = np.asarray(speeds, dtype=np.float64)
    return OperatingPoint(
        launcher=machine, limit_values=limit_values(), throw=throw(machine, speeds), grip_limit=1.5 * speeds
    )


def with_limits(point: OperatingPoint, **given: Any) -> OperatingPoint:
    """Return the point under other limits, with the known state of drives, supply and heat."""
    other = copy(point)
    object.__setattr__(other, "limit_values", limit_values(**given))
    return other


def judged(name: str, machine: Launcher, speeds: Any) -> LimitResult:
    """Evaluate a limit at wheel speeds [m/s], with its remedy."""
    found = evaluate(BY_NAME[name], point_of(machine, speeds), remedies=True)
    assert found is not None
    return found


def named(verdict: LimitResult) -> int:
    """Return the index of the stage that a remedy names."""
    found = re.search(r"(?:stage|wheel|motor) (\d+)", verdict.remedy)
    assert found is not None
    return int(found[1]) - 1


def chain(machine: Launcher, *changes: dict[str, Any]) -> Launcher:
    """Return a launcher whose stages are the template with the given changes."""
    return replace(machine, stages=tuple(replace(machine.template, **change) for change in changes))


def with_stage(machine: Launcher, index: int, **changes: Any) -> Launcher:
    stages: tuple[Stage, ...] = tuple(
        replace(stage, **changes) if k == index else stage for k, stage in enumerate(machine.stages)
    )
    return replace(machine, stages=stages)


@pytest.mark.parametrize("name", ["mass", "cost"])
@settings(max_examples=20)
@given(values=st.lists(st.integers(1, 1000), min_size=1, max_size=5, unique=True))
def test_heaviest_or_most_expensive_stage_is_named(name: str, values: list[int]) -> None:
    machine = chain(FULL, *({name: float(value)} for value in values))
    speeds = 8.0 + 2.0 * np.arange(len(values))
    verdict = judged(name, machine, speeds)
    rest = [float(judged(name, with_stage(machine, k, **{name: 0.0}), speeds).value) for k in range(len(values))]
    assert float(verdict.value) == pytest.approx(sum(values))
    assert rest[named(verdict)] == min(rest)


@given(order=st.permutations([8.0, 11.0, 14.0]))
def test_fastest_wheel_is_named(order: list[float]) -> None:
    verdict = judged("wheel_speed", FULL, order)
    slower = [[0.9 * speed if k == j else speed for j, speed in enumerate(order)] for k in range(3)]
    gained = [float(judged("wheel_speed", FULL, speeds).slack) - float(verdict.slack) for speeds in slower]
    assert gained[named(verdict)] == max(gained) > 0


@given(order=st.permutations([900.0, 1100.0, 1400.0]))
def test_motor_with_the_highest_throttle_is_named(order: list[float]) -> None:
    drives: list[Drive] = [replace(DRIVE, speed_constant=value * 2 * np.pi / 60) for value in order]
    machine = replace(chain(FULL, *({"drive": drive} for drive in drives)), supply=replace(SUPPLY, resistance=1e-6))
    speeds = [10.0, 10.0, 10.0]
    verdict = judged("throttle", machine, speeds)
    slower = [judged("throttle", machine, [9.0 if k == j else 10.0 for j in range(3)]) for k in range(3)]
    assert float(slower[named(verdict)].value) == min(float(found.value) for found in slower) < float(verdict.value)


@given(order=st.permutations([0.03, 0.06, 0.12]))
def test_hottest_motor_is_named(order: list[float]) -> None:
    assert FULL.template.drive is not None
    drives = [replace(FULL.template.drive, resistance=value) for value in order]
    machine = chain(FULL, *({"drive": drive} for drive in drives))
    verdict = judged("winding_temperature", machine, [10.0, 10.0, 10.0])
    cooler = [
        judged("winding_temperature", with_stage(machine, k, drive=replace(drives[k], resistance=0.01)), [10.0] * 3)
        for k in range(3)
    ]
    assert float(cooler[named(verdict)].value) == min(float(found.value) for found in cooler) < float(verdict.value)


@given(order=st.permutations([2e-3, 3e-3, 4e-3]))
def test_stage_with_the_highest_acceleration_is_named(order: list[float]) -> None:
    machine = chain(FULL, *({"crush": value} for value in order))
    speeds = [20.0, 26.0, 32.0]
    verdict = judged("acceleration", machine, speeds)
    softer = judged("acceleration", with_stage(machine, named(verdict), crush=0.7 * order[named(verdict)]), speeds)
    assert float(softer.value) < float(verdict.value)


@given(order=st.permutations([6.0, 9.0, 22.0]))
def test_stage_with_most_slip_heat_is_named(order: list[float]) -> None:
    verdict = judged("slip_heat", FULL, order)
    heat = throw(FULL, np.asarray(order)).stages.slip_heat
    assert float(heat[named(verdict)]) == heat.max()


@pytest.mark.parametrize("rate", [0.05, 0.5, 2.0, 6.0])
@pytest.mark.parametrize("no_load", [0.05, 0.4, 1.6])
def test_power_remedy_names_throws_or_wheels_by_their_share(rate: float, no_load: float) -> None:
    drive = replace(DRIVE, no_load_current=no_load)
    machine = launcher(drive=drive, rate=rate)
    verdict = judged("average_power", machine, [10.0, 14.0])
    idle = judged("average_power", launcher(drive=drive), [10.0, 14.0])
    thrown_for, held_for = float(verdict.value) - float(idle.value), float(idle.value)
    assert thrown_for > 0
    assert ("fewer throws" in verdict.remedy) == (thrown_for > held_for)
    assert ("slower wheels" in verdict.remedy) == (thrown_for <= held_for)


def test_both_power_remedies_occur() -> None:
    # The cases of the test above include both remedies.
    remedies = {
        judged("average_power", launcher(drive=replace(DRIVE, no_load_current=amps), rate=rate), [10.0, 14.0]).remedy
        for amps, rate in ((0.05, 6.0), (1.6, 0.05))
    }
    assert len(remedies) == 2


@pytest.mark.parametrize("governed", [True, False])
@pytest.mark.parametrize(
    ("limit", "resistance", "inertia", "rate", "volts"),
    [
        (4.0, 0.06, 4e-5, 8.0, 14.8),
        (2.4, 0.07, 3e-5, 5.0, 14.8),
        (3.9, 0.45, 2.5e-4, 6.4, 14.8),
        (40.0, 1.2, 2e-4, 12.0, 9.0),
        (40.0, 1.4, 2e-4, 12.0, 9.0),
    ],
)
def test_remedy_of_the_steady_loss_lowers_it(
    limit: float, resistance: float, inertia: float, rate: float, volts: float, governed: bool
) -> None:
    drive = replace(DRIVE, governed=governed, current_limit=limit, resistance=resistance)
    supply = replace(SUPPLY, voltage=volts)
    machine, speeds = chain(launcher(drive=drive, rate=rate, inertia=inertia, supply=supply), {}, {}), [9.0, 13.0]
    verdict = judged("settled_loss", machine, speeds)
    assert float(verdict.value) > 1e-4
    if "govern" in verdict.remedy:
        assert not governed
        changed = [replace(drive, governed=True)]
    elif "more current" in verdict.remedy:
        changed = [replace(drive, current_limit=1.3 * limit)]
    else:
        changed = [replace(drive, resistance=resistance / 1.3)]
    for other in changed:
        better = judged("settled_loss", with_stage(machine, named(verdict), drive=other), speeds)
        assert float(better.value) < 0.99 * float(verdict.value)
    if "fewer throws" in verdict.remedy:
        rarer = replace(machine, feed=replace(machine.feed, rate=rate / 1.3))
        assert float(judged("settled_loss", rarer, speeds).value) < 0.99 * float(verdict.value)


@pytest.mark.parametrize("name", ["peak_power", "supply_current"])
@settings(max_examples=10)
@given(fast=st.floats(8.0, 20.0))
def test_spin_up_in_turn_draws_less_than_together(name: str, fast: float) -> None:
    verdict = judged(name, FULL, [8.0, fast, 12.0])
    in_turn = float(verdict.remedy.split(": ")[1].split()[0])
    assert 0 < in_turn < float(verdict.value)
    assert verdict.remedy.endswith(f" {verdict.unit}")


FEW = 0.04
"""Relative change by which a remedy is followed [-]."""


def at_speeds(point: OperatingPoint, factor: float, wheel: int | None = None) -> OperatingPoint:
    speeds = np.array(point.throw.stages.wheel_speed_a)
    speeds[slice(None) if wheel is None else wheel] *= factor
    return replace(point, throw=throw(point.launcher, speeds))


def at_speed(point: OperatingPoint, wheel: int, speed: float) -> OperatingPoint:
    return at_speeds(point, speed / float(point.throw.stages.wheel_speed_a[wheel]), wheel)


def thrown_by(point: OperatingPoint, machine: Launcher) -> OperatingPoint:
    return replace(point, launcher=machine, throw=throw(machine, point.throw.stages.wheel_speed_a))


def with_drive(point: OperatingPoint, index: int, **factors: float) -> OperatingPoint:
    drive = point.launcher.stages[index].drive
    assert drive is not None
    changed = replace(drive, **{name: factor * getattr(drive, name) for name, factor in factors.items()})
    return thrown_by(point, with_stage(point.launcher, index, drive=changed))


def with_less_crush(point: OperatingPoint, index: int) -> OperatingPoint:
    crush = (1 - FEW) * point.launcher.stages[index].crush
    return thrown_by(point, with_stage(point.launcher, index, crush=crush))


def with_lower_current_limits(point: OperatingPoint) -> OperatingPoint:
    """Return the point with current limits below what each motor draws at most."""
    machine, train, holding, supply = point.launcher, point.train, point.holding, point.launcher.supply
    assert train is not None
    assert holding is not None
    assert supply is not None
    throttle = spin_up_throttle(train, holding)
    current, power = (float(np.asarray(drawn)) for drawn in peak_draw(train, throttle, supply))
    for column, index in enumerate(train.stage):
        drive = machine.stages[index].drive
        assert drive is not None
        most = min(float(drive.current_limit), float(throttle[column]) * power / current / float(drive.resistance))
        machine = with_stage(machine, index, drive=replace(drive, current_limit=(1 - FEW) * most))
    return thrown_by(point, machine)


def rarer(point: OperatingPoint) -> OperatingPoint:
    feed = point.launcher.feed
    assert feed.rate is not None
    return thrown_by(point, replace(point.launcher, feed=replace(feed, rate=(1 - FEW) * feed.rate)))


def with_wider_gaps(point: OperatingPoint) -> OperatingPoint:
    machine = point.launcher
    for index, stage in enumerate(machine.stages):
        machine = with_stage(machine, index, crush=(1 - FEW) * stage.crush)
    return thrown_by(point, machine)


def with_smaller_wheels(point: OperatingPoint) -> OperatingPoint:
    machine = point.launcher
    for index, stage in enumerate(machine.stages):
        smaller = with_variables(stage, {"radius": (1 - FEW) * stage.wheel.radius})
        machine = with_stage(machine, index, wheel=smaller.wheel)
    return thrown_by(point, machine)


FOLLOWED: dict[str, Callable[[OperatingPoint, list[float]], OperatingPoint]] = {
    r"a slower wheel (\d+)": lambda point, found: at_speeds(point, 1 - FEW, int(found[0]) - 1),
    r"a faster wheel (\d+)": lambda point, found: at_speeds(point, 1 + FEW, int(found[0]) - 1),
    r"a slower last wheel": lambda point, found: at_speeds(point, 1 - FEW, point.count - 1),
    r"slower wheels": lambda point, found: at_speeds(point, 1 - FEW),
    r"wheel (\d+) at ([\d.]+) m/s or less": lambda point, found: at_speed(point, int(found[0]) - 1, found[1]),
    r"smaller wheels": lambda point, found: with_smaller_wheels(point),
    r"less crush in stage (\d+)": lambda point, found: with_less_crush(point, int(found[0]) - 1),
    r"a wider gap": lambda point, found: with_wider_gaps(point),
    r"fewer throws a second|rests between throws": lambda point, found: rarer(point),
    r"a motor of less resistance in stage (\d+)": lambda point, found: with_drive(
        point, int(found[0]) - 1, resistance=1 - FEW
    ),
    r"a motor of less no-load current in stage (\d+)": lambda point, found: with_drive(
        point, int(found[0]) - 1, no_load_current=1 - FEW
    ),
    r"controllers of a lower current limit": lambda point, found: with_lower_current_limits(point),
}
"""By the words of a remedy that has a direction, how it is followed by a few per cent."""


def following(point: OperatingPoint, remedy: str) -> list[OperatingPoint]:
    """Return the points at which each alternative of a remedy is followed, where it has a direction."""
    return [
        follow(point, [float(number) for number in found.groups()])
        for words in remedy.split(", or ")
        for pattern, follow in FOLLOWED.items()
        if (found := re.fullmatch(pattern, words))
    ]


@settings(max_examples=20)
@given(
    layout=st.sampled_from([PAIR, RAIL]), speeds=st.lists(st.floats(1.0, 60.0), min_size=1, max_size=3, unique=True),
    feed=st.floats(1.0, 8.0), crush=st.floats(2e-3, 5e-3), constant=st.floats(800.0, 2500.0),
    ohm=st.floats(0.03, 0.3), no_load=st.floats(0.1, 2.5), limit=st.sampled_from([np.inf, 60.0, 20.0]),
    governed=st.booleans(), rate=st.floats(0.02, 5.0), session=st.sampled_from([None, 120.0]),
    share=st.floats(0.3, 0.95), held_by=st.sampled_from(list(Hold)), strength=st.floats(3e3, 3e6),
)  # fmt: skip
def test_remedies_help_where_they_are_followed_by_a_few_per_cent(
    layout: Layout, speeds: list[float], feed: float, crush: float, constant: float, ohm: float, no_load: float,
    limit: float, governed: bool, rate: float, session: float | None, share: float, held_by: Hold, strength: float,
) -> None:  # fmt: skip
    """All limits that are broken by the same share, at drawn launchers."""
    old = FULL.template.wheel
    assert old.tyre is not None
    tyre = replace(
        old.tyre, held_by=held_by, bond_strength=strength, clamp_force=strength / 1e4, hub_friction=0.5
    )  # fmt: skip
    drive = replace(
        DRIVE, heat=HEAT, max_speed=1000.0, speed_constant=constant * RPM, resistance=ohm, no_load_current=no_load,
        current_limit=limit, governed=governed,
    )  # fmt: skip
    stage = replace(FULL.template, layout=layout, crush=crush, drive=drive, wheel=replace(old, tyre=tyre))
    machine = replace(
        FULL, template=stage, stages=(stage,) * len(speeds), feed=Feed(speed=feed, rate=rate, session=session),
        projectile=replace(FULL.projectile, max_crush=1e-3),
    )  # fmt: skip
    values, grips = limit_values(**dict.fromkeys(BOUNDED, 1.0)), np.array(speeds) * [1.1, 1.2, 1.3][: len(speeds)]
    bare = replace(point_of(machine, speeds), limit_values=values, grip_limit=grips)
    used = {name: found for name in BOUNDED if (found := evaluate(BY_NAME[name], bare)) is not None}
    bounds = {
        name: float(one.value) * (1 / share if BY_NAME[name].floor else share)
        for name, one in used.items()
        if np.isfinite(one.value) and float(one.value) > 1e-6
    }
    point = replace(bare, limit_values=limit_values(**bounds))
    assert point.holding is not None
    brakes = (point.throw.stages.entry_speed > point.throw.stages.wheel_speed_a).any()
    for name in sorted(BY_NAME.keys() - {"settled_loss"}):  # See test_remedy_of_the_steady_loss_lowers_it.
        if BY_NAME[name].settles and (brakes or not point.holding.reached):
            continue  # The wheels do not turn at the speeds that they are set to.
        before = evaluate(BY_NAME[name], point, remedies=True)
        if before is None or before.satisfied or (BY_NAME[name].needs_exit and bool(point.throw.jammed)):
            continue
        for other in following(point, before.remedy):
            after = evaluate(BY_NAME[name], other)
            assert after is not None
            # A winding that gets ever hotter takes more than a few per cent.
            hopeless = np.isinf(before.value) and np.isinf(after.value)
            assert hopeless or float(after.slack) > float(before.slack), (name, before.remedy)


def test_wheel_that_brakes_the_projectile_should_be_faster() -> None:
    fast = replace(FULL, feed=Feed(speed=10.0))
    assert judged("slip_heat", fast, [2.0]).remedy == "a faster wheel 1"
    # The last wheel brakes, but the second one makes more heat.
    assert judged("slip_heat", FULL, [4.0, 8.0, 1.0]).remedy == "a slower wheel 2"


@pytest.mark.parametrize("no_load, helps", [(1.5, "no-load"), (0.0, "resistance")])
def test_remedy_of_a_hot_winding_names_what_heats_it(no_load: float, helps: str) -> None:
    # The idling motor is heated by its no-load current, one without it by rare heavy throws.
    drive = replace(DRIVE, heat=HEAT, no_load_current=no_load)
    rate = 0.01 if no_load else 4.0
    verdict = judged("winding_temperature", launcher(drive=drive, rate=rate, inertia=2e-4), [18.0])
    assert helps in verdict.remedy
    assert (no_load > 0) == ("slower wheel 1" in verdict.remedy)


@pytest.mark.parametrize("name", ["peak_power", "supply_current"])
@pytest.mark.parametrize("count, share", [(1, 0.9), (1, 1.1), (2, 0.9), (2, 0.2)])
def test_start_in_turn_is_advised_only_where_it_keeps_the_limit(name: str, count: int, share: float) -> None:
    speeds = [10.0] * count
    value = float(judged(name, FULL, speeds).value)
    point = with_limits(point_of(FULL, speeds), **{name: share * value})
    found = evaluate(BY_NAME[name], point, remedies=True)
    assert found is not None
    assert found.remedy
    assert ("one after the other" in found.remedy) == (count == 2 and share == 0.9)


@pytest.mark.parametrize("held_by, words", [
    (Hold.BOND, "a stronger or wider bond on wheel 1, or less crush in stage 1"),
    (Hold.LIP, "bond or clamp the tyre of wheel 1"), (Hold.CLAMP, "bond the tyre of wheel 1, or clamp it harder"),
])  # fmt: skip
def test_remedy_of_a_turning_tyre_is_one_that_it_does_not_have(held_by: Hold, words: str) -> None:
    assert FULL.template.wheel.tyre is not None
    tyre = replace(
        FULL.template.wheel.tyre, held_by=held_by, bond_strength=1e3, clamp_force=1.0, hub_friction=0.1
    )  # fmt: skip
    verdict = judged("tyre_turning", launcher(tyre=tyre), [10.0])
    assert not verdict.satisfied
    assert verdict.remedy == words


@cache
def _usual_point() -> OperatingPoint:
    return point_of(FULL, [8.0, 11.0])


BOUNDED = sorted(set(BY_NAME) & set(limit_values().__dataclass_fields__) - {"stages", "toy", "confidence"})


@pytest.mark.parametrize("name", BOUNDED)
@given(share=st.floats(0.1, 10.0))
def test_slack_is_the_margin_relative_to_the_bound(name: str, share: float) -> None:
    point = _usual_point()
    known = evaluate(BY_NAME[name], point)
    assert known is not None
    value = float(known.value)
    bound = value * share
    found = evaluate(BY_NAME[name], with_limits(point, **{name: bound}))
    assert found is not None
    margin = (value - bound) if BY_NAME[name].floor else (bound - value)
    span = abs(bound - BY_NAME[name].origin)
    assert float(found.slack) == pytest.approx(margin / span, rel=1e-9, abs=1e-12)
    assert found.satisfied == (margin >= -1e-9 * span)


@pytest.mark.parametrize("layout", [PAIR, RAIL, IDLER], ids=lambda layout: layout.name)
@settings(max_examples=20)
@given(speeds=st.tuples(st.floats(10.0, 40.0), st.floats(10.0, 40.0)), crush=st.floats(1e-3, 4e-3))
def test_wheel_growth_adds_to_the_crush(layout: Layout, speeds: tuple[float, float], crush: float) -> None:
    # A wheel that grows by g narrows the gap to the opposite side by g in every layout; what no caliper shows is free.
    stage = replace(FULL.template, layout=layout, crush=crush, idler_inertia=1e-5)
    machine = replace(FULL, template=stage)
    fast = np.array([speeds[0]])
    thrown = throw(machine, fast, np.array([speeds[1]]) if layout.side_b_driven else None)
    point = OperatingPoint(launcher=machine, limit_values=limit_values(), throw=thrown, grip_limit=None)
    found = evaluate(BY_NAME["crush"], point)
    assert found is not None
    narrower = float(growth(stage.wheel, speeds[0]))
    if layout.side_b_driven:
        narrower += float(growth(stage.wheel, speeds[1]))
    assert float(found.value) == pytest.approx(crush + max(narrower - CALIPER_RESOLUTION, 0.0), rel=1e-9)
    assert narrower > 1e-6


@settings(max_examples=3)
@example(fast=[8.0, 11.0, 20.0], masses=[0.6, 0.9, 1.1, 2.0])
@given(
    fast=st.lists(st.floats(6.0, 24.0), min_size=1, max_size=2),
    masses=st.lists(st.floats(0.5, 2.0), min_size=1, max_size=4),
)
def test_safe_settings_keep_each_hard_limit_in_enough_draws(fast: list[float], masses: list[float]) -> None:
    # Expected by counting one launcher, one setting and one limit at a time.
    asked = [limit for limit in LIMITS if limit.hard and limit.kind is not Kind.STEADY]
    factors = FULL.projectile.mass * np.array([1.0, *masses])
    draws = replace(FULL, projectile=replace(FULL.projectile, mass=factors))

    def keeps(mass: float, speed: float) -> bool:
        one = replace(FULL, projectile=replace(FULL.projectile, mass=mass))
        point = with_limits(point_of(one, [speed]), exit_energy=0.6)
        return all(found is None or found.satisfied for found in (evaluate(limit, point) for limit in asked))

    kept = np.array([[keeps(float(mass), speed) for mass in factors] for speed in fast])
    for confidence in (0.5, 0.6, 0.9, 0.999):
        limits = limit_values(exit_energy=0.6, confidence=confidence)
        enough = kept[:, 1:].mean(axis=1) >= required_share(confidence, len(masses))
        for whole in (False, True):
            found = safe_settings(draws, len(factors), limits, np.array(fast)[:, None], whole=whole)
            expected = kept.all(axis=1) if whole else kept[:, 0] & (enough | (confidence <= 0.5))
            assert found.tolist() == expected.tolist()


@given(confidence=st.floats(0.55, 0.98), draws=st.integers(100, 10**6))
def test_more_draws_must_keep_the_limits_than_asked_for_and_fewer_the_more_there_are(
    confidence: float, draws: int
) -> None:
    """Both the draws at hand and fresh ones scatter, so that the share stays above what is asked for.

    Of few draws one may break a limit, however close to 1 the share that is asked for: there it is 1 − 1/draws.
    """
    share = required_share(confidence, draws)
    assert confidence < share <= 1.0 - 1.0 / draws
    assert confidence < required_share(confidence, 100 * draws) < share or share == 1.0 - 1.0 / draws


@given(st.floats(1e-2, 9e2))
def test_advised_speed_is_rounded_down_by_less_than_one_per_cent(speed: float) -> None:
    told = float(at_most(speed).removesuffix(" m/s or less"))
    assert 0.99 * speed < told <= speed * (1 + 1e-8)


@given(value=st.floats(1e-6, 1e9), digits=st.integers(1, 5), upward=st.booleans())
def test_rounding_goes_to_one_side_by_less_than_a_digit(value: float, digits: int, upward: bool) -> None:
    found = rounded(value, digits, upward=upward)
    last = 10.0 ** (np.floor(np.log10(value)) - digits + 1)
    assert found == pytest.approx(round(found / last) * last, rel=1e-9)
    slip = 1e-9 * last
    assert (-slip <= found - value < last + slip) if upward else (-slip <= value - found < last + slip)
    # What has so few digits stays as it is.
    assert rounded(found, digits, upward=True) == rounded(found, digits, upward=False) == found


@pytest.mark.parametrize("value", [0.0, -1.5, np.inf])
def test_what_has_no_digits_is_not_rounded(value: float) -> None:
    assert rounded(value, 3, upward=True) == rounded(value, 3, upward=False) == value


@pytest.mark.parametrize("shares", [[1.2, 0.9], [0.97, 1.4], [0.96, 0.5]])
def test_advised_speed_keeps_the_grip_margin(shares: list[float]) -> None:
    limits, machine = np.array([11.37, 17.77]), launcher()
    speeds = limits * np.array(shares)

    def point(speeds: Any) -> OperatingPoint:
        done = throw(machine, speeds)
        return OperatingPoint(
            launcher=machine, limit_values=limit_values(grip_margin=0.05), throw=done, grip_limit=limits
        )

    found = evaluate(BY_NAME["grip_margin"], point(speeds), remedies=True)
    assert found is not None
    assert not found.satisfied
    stage = named(found)
    assert stage == int(np.argmax(shares))
    speeds[stage] = float(found.remedy.partition(" at ")[2].partition(" m/s")[0])
    assert speeds[stage] == pytest.approx(0.95 * limits[stage], rel=0.01)
    left = evaluate(BY_NAME["grip_margin"], point(np.minimum(speeds, 0.95 * limits)))
    assert left is not None
    assert left.satisfied


def test_fewer_stages_help_only_where_there_are_too_many() -> None:
    point = point_of(launcher(), [8.0, 11.0])
    told = [evaluate(BY_NAME["stages"], with_limits(point, stages=most), remedies=True) for most in (1, 2)]
    assert [one.remedy for one in told if one is not None] == ["fewer stages", ""]
