"""Remedies of limits: the named change helps, and helps most among the alternatives."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.constraints import LIMITS, LimitResult, OperatingPoint, evaluate
from stager.model.drive import Drive
from stager.model.launcher import Launcher
from stager.model.stage import IDLER, PAIR, RAIL, Layout, Stage
from stager.physics.chain import throw
from stager.physics.rotor import growth
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import DRIVE, SUPPLY, launcher

BY_NAME = {limit.name: limit for limit in LIMITS}


def judged(name: str, machine: Launcher, speeds: Any, **given: Any) -> LimitResult:
    """Evaluate a limit at wheel speeds [m/s], with its remedy."""
    speeds = np.asarray(speeds, dtype=np.float64)
    point = OperatingPoint(
        launcher=machine, limit_values=limit_values(**given), throw=throw(machine, speeds), grip_limit=1.5 * speeds
    )
    found = evaluate(BY_NAME[name], point, remedies=True)
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
        (4.0, 0.06, 4e-5, 8.0, 14.8), (2.4, 0.07, 3e-5, 5.0, 14.8), (3.9, 0.45, 2.5e-4, 6.4, 14.8),
        (40.0, 1.2, 2e-4, 12.0, 9.0), (40.0, 1.4, 2e-4, 12.0, 9.0),
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
@given(fast=st.floats(8.0, 20.0))
def test_spin_up_in_turn_draws_less_than_together(name: str, fast: float) -> None:
    verdict = judged(name, FULL, [8.0, fast, 12.0])
    in_turn = float(verdict.remedy.split(": ")[1].split()[0])
    assert 0 < in_turn < float(verdict.value)


BOUNDED = sorted(set(BY_NAME) & set(limit_values().__dataclass_fields__) - {"stages", "toy", "confidence"})


@pytest.mark.parametrize("name", BOUNDED)
@given(share=st.floats(0.1, 10.0))
def test_slack_is_the_margin_relative_to_the_bound(name: str, share: float) -> None:
    value = float(judged(name, FULL, [8.0, 11.0]).value)
    bound = value * share
    found = judged(name, FULL, [8.0, 11.0], **{name: bound})
    margin = (value - bound) if BY_NAME[name].floor else (bound - value)
    assert float(found.slack) == pytest.approx(margin / abs(bound), rel=1e-9, abs=1e-12)
    assert found.satisfied == (margin >= -1e-9 * abs(bound))


@pytest.mark.parametrize("layout", [PAIR, RAIL, IDLER], ids=lambda layout: layout.name)
@given(speeds=st.tuples(st.floats(10.0, 40.0), st.floats(10.0, 40.0)), crush=st.floats(1e-3, 4e-3))
def test_wheel_growth_adds_to_the_crush(
    layout: Layout, speeds: tuple[float, float], crush: float
) -> None:
    # A wheel that grows by g narrows the gap to the opposite side by g in every layout.
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
    assert float(found.value) == pytest.approx(crush + narrower, rel=1e-9)
    assert narrower > 1e-6
