"""Limits of several stages: values by documented formulas, the stage that decides, inputs unknown in any stage."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from stager.config.tables import LimitsTable
from stager.constraints import (
    LIMITS,
    Kind,
    Limit,
    LimitResult,
    OperatingPoint,
    evaluate,
    evaluate_limits,
    no_throw,
    not_judged,
    slacks,
)
from stager.constraints.limit import FIND_OUT, NO_GRIP_LIMIT, ROUNDING
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Outlet
from stager.model.projectile import DISC
from stager.model.stage import IDLER, PAIR, RAIL, Hold, Layout, Stage, Supply
from stager.physics.chain import Options, throw
from stager.physics.motor import drivetrain_of, hold
from stager.physics.records import Grip, Throw, each
from stager.physics.wheel import growth
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import ALUMINIUM

BY_NAME = {limit.name: limit for limit in LIMITS}
STAGES = 3
FREE = replace(FULL, supply=Supply(voltage=14.8, resistance=0.0))
"""The complete launcher on a supply that holds its voltage."""


def wheel_with(stage: Stage, tyre: dict[str, Any] | None = None, **changes: Any) -> Stage:
    """Return the stage with changes of its wheel and of the tyre on it."""
    assert stage.wheel.tyre is not None
    return replace(stage, wheel=replace(stage.wheel, tyre=replace(stage.wheel.tyre, **(tyre or {})), **changes))


def drive_with(stage: Stage, **changes: Any) -> Stage:
    assert stage.drive is not None
    return replace(stage, drive=replace(stage.drive, **changes))


def with_stage(machine: Launcher, index: int, stage: Stage) -> Launcher:
    """Return a launcher of three stages like the template but for one."""
    return replace(machine, stages=tuple(stage if k == index else machine.template for k in range(STAGES)))


def point_of(machine: Launcher, speeds: Any, speeds_b: Any = None, **given: Any) -> OperatingPoint:
    speeds = np.asarray(speeds, dtype=np.float64)
    done = throw(machine, speeds, None if speeds_b is None else np.asarray(speeds_b))
    return OperatingPoint(
        launcher=machine, limit_values=limit_values(**given), throw=done, grip_limit=np.full(speeds.shape, 30.0)
    )


def judged(name: str, point: OperatingPoint) -> LimitResult:
    found = evaluate(BY_NAME[name], point, remedies=True)
    assert found is not None
    return found


WEAK = replace(ALUMINIUM, yield_strength=2e5, tensile_strength=2.5e5)
WORSE: dict[str, Callable[[Stage], Stage]] = {
    "motor_speed": lambda stage: drive_with(stage, max_speed=320.0),
    "drive_reach": lambda stage: drive_with(stage, speed_constant=23.0),
    "burst": lambda stage: wheel_with(stage, material=WEAK),
    "tyre_retention": lambda stage: wheel_with(stage, {"held_by": Hold.STRETCH, "stretch": 0.022}),
    "rim_safety": lambda stage: wheel_with(stage, material=WEAK),
    "tyre_turning": lambda stage: wheel_with(stage, {"hub_friction": 0.15}),
    "throttle": lambda stage: drive_with(stage, speed_constant=23.0),
    "wheel_speed": lambda stage: stage,
    "grip_margin": lambda stage: stage,
}
"""A change of a stage that makes a limit hang on it; of the last two speeds decide."""


LATER = "later_energy"
"""Applies only where later throws may leave faster than the first; see `test_later_throws`."""


@cache
def hanging_on(name: str, index: int) -> OperatingPoint:
    """Return a point of three stages, one of which decides the limit."""
    worse = WORSE[name](FREE.template)
    speeds = np.full(STAGES, 10.0)
    speeds[index] = 12.5 if worse is FREE.template else 10.0
    return point_of(with_stage(FREE, index, worse), speeds, grip_margin=0.3)


@pytest.mark.parametrize("index", range(STAGES))
@pytest.mark.parametrize("name", WORSE)
def test_stage_that_decides_is_named(name: str, index: int) -> None:
    point = hanging_on(name, index)
    found = judged(name, point)
    told = re.search(r"wheel (\d)", found.remedy)
    assert told is not None
    assert int(told[1]) == 1 + index
    if BY_NAME[name].each is None:
        return
    by_stage = slacks(BY_NAME[name], point)
    assert by_stage is not None
    assert (by_stage.shape, int(np.argmin(by_stage))) == ((STAGES,), index)
    others = np.delete(by_stage, index)
    assert by_stage[index] == pytest.approx(float(found.slack))
    assert by_stage[index] < others[0]
    turning = np.delete(point.turning, index)  # A wheel may be driven by what a faster one has thrown.
    assert turning[0] != turning[1] or others[0] == pytest.approx(others[1])


@pytest.mark.parametrize("index", range(STAGES))
@pytest.mark.parametrize("name", ["motor_speed", "drive_reach", "burst", "tyre_retention", "rim_safety", "grip_margin"])
def test_advised_speed_is_the_greatest_that_keeps_the_limit(name: str, index: int) -> None:
    point = hanging_on(name, index)
    told = re.search(r" at (\S+) m/s", judged(name, point).remedy)
    assert told is not None
    for factor, kept in ((1.0, True), (1.012, False)):
        speeds = np.full(STAGES, 1.0)
        speeds[index] = factor * float(told[1])
        there = slacks(BY_NAME[name], replace(point, throw=no_throw(speeds)))
        assert there is not None
        assert bool(there[index] >= -ROUNDING) is kept


def test_limits_that_do_not_apply_advise_without_numbers() -> None:
    """A remedy is asked for where a limit is set and its inputs are unknown, too."""
    bare = replace(FULL, supply=None, template=replace(FULL.template, drive=None))
    point = replace(point_of(bare, [10.0, 12.0]), grip_limit=None)
    for name in ("throttle", "peak_power", "supply_current", "winding_temperature", "settled_loss"):
        assert BY_NAME[name].remedy(point) == ""
    assert BY_NAME["average_power"].remedy(point) == "slower wheels"
    unfed = point_of(replace(FULL, feed=replace(FULL.feed, rate=None)), [10.0, 12.0])
    assert BY_NAME["settled_loss"].remedy(unfed) == ""
    assert BY_NAME["average_power"].remedy(unfed) == "slower wheels"
    assert BY_NAME["grip_margin"].remedy(point) == "a slower wheel 1"


MIXED = replace(
    FULL,
    outlet=Outlet(length=0.07, loss=0.02),
    stages=(
        drive_with(wheel_with(FULL.template, radius=0.03), gear=1.5, speed_constant=70.0),
        replace(FULL.template, layout=RAIL, crush=3e-3, mass=0.3, cost=11.0, clearance=0.012),
        replace(wheel_with(FULL.template, {"stretch": 0.03}, radius=0.05), layout=IDLER, idler_inertia=1e-5),
        wheel_with(FULL.template, {"held_by": Hold.STRETCH}, material=WEAK),
    ),
)
"""A pair on gears, a rail, an idler and a pair of a weak hub and a stretched tyre."""
SPEED_A, SPEED_B = np.array([8.0, 10.0, 11.0, 12.0]), np.array([8.5, 10.0, 11.0, 11.0])
FASTEST = np.array([8.5, 10.0, 11.0, 12.0])


@cache
def mixed() -> OperatingPoint:
    return replace(point_of(MIXED, SPEED_A, SPEED_B), grip_limit=np.array([20.0, 25.0, 30.0, 26.0]))


def ceiling_of(name: str, speed: float, ceiling: float, stage: Stage) -> tuple[Number, Number]:
    """Return what a part bears at the ceiling, and its strength, from first principles."""
    wheel, tyre, drive = stage.wheel, stage.wheel.tyre, stage.drive
    assert tyre is not None
    assert drive is not None
    assert drive.max_speed is not None
    assert wheel.material is not None
    turns, hub = ceiling / wheel.radius, wheel.radius - tyre.depth
    if name == "motor_speed":
        return turns * drive.gear, drive.max_speed
    if name == "drive_reach":
        train = drivetrain_of([stage])
        assert train is not None
        assert MIXED.supply is not None
        return float(hold(train, np.array([turns]), MIXED.supply).throttle[0]), 1.0
    bore, lip = wheel.bore / 2, tyre.held_by is Hold.LIP
    if name == "burst":  # Robinson: mean hoop stress over the section, with the tyre's pull on a lip.
        own = wheel.material.density * turns**2 * (hub**2 + hub * bore + bore**2) / 3
        pull = tyre.material.density * turns**2 * (wheel.radius**3 - hub**3) / (3 * hub) if lip else 0.0
        return own + pull * hub / (hub - bore), float(wheel.material.tensile_strength or 0)
    seat = float(tyre.lip_strength or 0) * hub / tyre.depth if lip else 0.0
    held = tyre.material.modulus * tyre.stretch + seat
    return tyre.material.density * ceiling**2, min(held, float(tyre.material.tensile_strength or np.inf))


@pytest.mark.parametrize("name", ["motor_speed", "drive_reach", "burst", "tyre_retention"])
def test_share_of_a_ceiling_is_one_where_the_part_gives_way(name: str) -> None:
    found = BY_NAME[name].each(mixed())  # type: ignore[misc]
    assert found is not None
    speeds = FASTEST if name == "drive_reach" else mixed().turning
    for k, share in enumerate(found):
        borne, strength = ceiling_of(name, speeds[k], speeds[k] / share, MIXED.stage(k))
        assert borne == pytest.approx(strength, rel=1e-6), k
    assert float(judged(name, mixed()).value) == found.max()


def test_values_follow_their_formulas() -> None:
    point, launcher = mixed(), MIXED
    stages, done, projectile = launcher.stages, mixed().throw, launcher.projectile
    found = {limit.name: judged(limit.name, point) for limit in LIMITS if limit.name != LATER}
    energy = projectile.mass * float(done.exit_speed) ** 2 / 2 - 0.02
    radii = [stage.wheel.radius for stage in stages]
    normal, hold_on, rim, crush, volts, power = [], [], [], [], [], 0.0
    for k, stage in enumerate(stages):
        wheel, tyre, drive, turns = stage.wheel, stage.wheel.tyre, stage.drive, FASTEST[k] / stage.wheel.radius
        assert tyre is not None
        assert drive is not None
        assert wheel.material is not None
        assert wheel.width is not None
        hub, bore = wheel.radius - tyre.depth, wheel.bore / 2
        # Of a pair each side grows; side B of a rail or idler does not.
        grown = [float(growth(wheel, u)) for u in ((SPEED_A[k], SPEED_B[k]) if stage.layout is PAIR else (SPEED_A[k],))]
        crush.append(stage.crush + max(sum(grown) - 1e-5, 0.0))
        fast = float(growth(wheel, FASTEST[k]))
        depth = stage.crush + fast if stage.layout is RAIL else (stage.crush + fast * len(grown)) / 2
        normal.append(launcher.contact.stiffness * depth)
        left = max(tyre.material.modulus * tyre.stretch - tyre.material.density * FASTEST[k] ** 2, 0.0)
        hold_on.append(0.9 * (2 * np.pi * wheel.width * left * tyre.depth + normal[-1]))
        # Timoshenko & Goodier, turning annulus; Lamé for the pull of a tyre on a lip.
        load, poisson = wheel.material.density * turns**2, wheel.material.poisson
        pull = tyre.material.density * turns**2 * (wheel.radius**3 - hub**3) / (3 * hub)
        stress = load / 4 * ((3 + poisson) * hub**2 + (1 - poisson) * bore**2)
        stress += 2 * pull * hub**2 / (hub**2 - bore**2) if tyre.held_by is Hold.LIP else 0.0
        rim.append(float(wheel.material.yield_strength or 0) / stress)
    train = drivetrain_of(stages, split=True)
    assert train is not None
    turns = np.array([8.0, 8.5, 10.0, 11.0, 12.0, 11.0]) / np.array([0.03, 0.03, 0.04, 0.05, 0.04, 0.04])
    current = train.idle_current + train.disc.moment(turns) / train.pull
    volts = train.pull * turns + train.resistance * current
    power = float((current * volts).sum())
    bus = (14.8 + (14.8**2 - 4 * 0.03 * power) ** 0.5) / 2
    settled = point.settled
    assert settled is not None
    expected = {
        "exit_energy": energy, "toy": energy, "exit_speed": (2 * energy / projectile.mass) ** 0.5,
        "energy_per_area": energy / (np.pi * 0.019**2),
        "acceleration": done.stages.peak_acceleration.max(), "slip_heat": done.stages.slip_heat.sum(),
        "grip_margin": 1 - 8.5 / 20.0, "stages": 4, "crush": max(crush),
        "length": radii[0] + sum(a + b for a, b in pairwise(radii)) + radii[-1] + 0.022
        + 0.07, "mass": 3 * 0.64 + 0.3, "cost": 3 * 38.0 + 11.0, "wheel_speed": 12.0, "voltage": 14.8,
        "rim_safety": min(rim), "throttle": (volts / bus).max(),
        "tyre_turning": max(
            float(launcher.contact.friction.greatest(np.array(u))) * n / h
            for u, n, h in zip(FASTEST, normal, hold_on, strict=True)
        ),
        "average_power": 2.0 * float(settled.energies.delivered),
        "settled_loss": 1 - float(settled.throw.exit_speed) / float(settled.first.exit_speed),
    }  # fmt: skip
    for name, value in expected.items():
        assert float(found[name].value) == pytest.approx(float(value), rel=1e-6, abs=1e-9), name
    unheld = replace(point, launcher=replace(launcher, feed=replace(launcher.feed, rate=None)))
    assert float(BY_NAME["average_power"].value(unheld)) == pytest.approx(power)  # type: ignore[arg-type]


@pytest.mark.parametrize("session", [None, 30.0])
def test_hottest_winding_counts_after_a_session_or_in_the_end(session: float | None) -> None:
    machine = replace(MIXED, feed=replace(MIXED.feed, session=session))
    point = point_of(machine, SPEED_A, SPEED_B)
    assert point.windings is not None
    found = judged("winding_temperature", point)
    assert float(found.value) == point.windings.temperature(session).max()
    hottest = point.windings.stage[int(np.argmax(point.windings.temperature(session)))]
    assert re.search(rf"(?:stage|wheel) {1 + hottest}\b", found.remedy)


@pytest.mark.parametrize("layout", [PAIR, RAIL, IDLER], ids=lambda layout: layout.name)
@pytest.mark.parametrize("spin", [-800.0, 0.0, 800.0])
def test_grip_margin_counts_the_wheel_that_drives_the_spin(layout: Layout, spin: float) -> None:
    machine = replace(FULL, template=replace(FULL.template, layout=layout, idler_inertia=1e-5))
    machine = replace(machine, feed=replace(machine.feed, spin=spin))
    speeds = np.array([10.0]), np.array([11.0])
    point = replace(point_of(machine, *speeds[: 2 if layout is PAIR else 1]), grip_limit=np.array([20.0]))
    # Side B of a rail or idler has no drive; of a pair it leads where it turns the spin its way.
    leads_b = layout is PAIR and float(point.throw.spin) < spin
    assert float(judged("grip_margin", point).value) == pytest.approx(1 - (11.0 if leads_b else 10.0) / 20.0)


@pytest.mark.parametrize("index", range(STAGES))
def test_stage_of_the_hottest_winding_is_named(index: int) -> None:
    assert FULL.template.drive is not None
    assert FULL.template.drive.heat is not None
    worse = drive_with(FULL.template, heat=replace(FULL.template.drive.heat, winding_to_case=30.0))
    point = point_of(with_stage(FULL, index, worse), [10.0, 10.0, 10.0])
    assert re.search(rf"(?:stage|wheel) {1 + index}\b", judged("winding_temperature", point).remedy)


@pytest.mark.parametrize("shape", [(), (4,), (2, 4)])
def test_points_without_a_throw_have_the_shape_of_their_speeds(shape: tuple[int, ...]) -> None:
    done = no_throw(np.full((*shape, STAGES), 9.0), np.full((*shape, STAGES), 8.0))
    assert done.exit_speed.shape == done.jammed.shape == done.spin.shape == shape
    assert not done.exit_speed.any()
    assert not done.jammed.any()
    assert (done.stages.wheel_speed_a == 9.0).all()
    assert (done.stages.wheel_speed_b == 8.0).all()
    assert (done.stages.grip == Grip.NOT_REACHED).all()
    assert done.stages.slip_heat.shape == (*shape, STAGES)


UNKNOWN: dict[str, tuple[Callable[[Stage], Stage], dict[str, str]]] = {
    "mass": (lambda stage: replace(stage, mass=None), {"mass": "stage.mass"}),
    "cost": (lambda stage: replace(stage, cost=None), {"cost": "stage.cost"}),
    "material": (
        lambda stage: wheel_with(stage, material=None),
        dict.fromkeys(("crush", "burst", "rim_safety"), "stage.wheel.material"),
    ),
    "modulus": (
        lambda stage: wheel_with(stage, material=replace(ALUMINIUM, modulus=None)), {"crush": "stage.wheel.modulus"}
    ),
    "strength": (
        lambda stage: wheel_with(stage, material=replace(ALUMINIUM, yield_strength=None, tensile_strength=None)),
        {"burst": "stage.wheel.tensile_strength", "rim_safety": "stage.wheel.yield_strength"},
    ),
    "lip": (
        lambda stage: wheel_with(stage, {"lip_strength": None}), {"tyre_retention": "stage.wheel.tyre.lip_strength"}
    ),
    "hub friction": (
        lambda stage: wheel_with(stage, {"hub_friction": None}), {"tyre_turning": "stage.wheel.tyre.hub_friction"}
    ),
    "drive": (
        lambda stage: replace(stage, drive=None),
        dict.fromkeys(
            ("throttle", "average_power", "peak_power", "supply_current", "winding_temperature", "settled_loss"),
            "stage.drive",
        ),
    ),
    "heat": (lambda stage: drive_with(stage, heat=None), {"winding_temperature": "stage.drive.heat"}),
    "no-load current": (
        lambda stage: drive_with(stage, no_load_known=False),
        dict.fromkeys(("average_power", "winding_temperature"), "stage.drive.no_load_current"),
    ),
}  # fmt: skip
"""By what is unknown of one stage: the limits that are not judged then, and the key they name."""


@pytest.mark.parametrize("index", range(STAGES))
@pytest.mark.parametrize("unknown", UNKNOWN)
def test_input_unknown_in_any_stage_leaves_its_limits_unjudged(unknown: str, index: int) -> None:
    without, expected = UNKNOWN[unknown]
    point = point_of(with_stage(FULL, index, without(FULL.template)), [16.0, 17.0, 18.0], cost=1e3, mass=1e3)
    for one in not_judged(point):
        limit = BY_NAME[one.name]
        assert (one.unit, one.hard, one.find_out) == (limit.unit, limit.hard, FIND_OUT[one.missing])
        assert one.bound == pytest.approx(float(np.asarray(limit.bound(point))))
    assert {one.name: one.missing for one in not_judged(point)} == expected


BREAKING: dict[str, tuple[str, Callable[[Stage], Stage]]] = {
    "crush": ("material", lambda stage: replace(stage, crush=6e-3)),
    "burst": ("material", lambda stage: wheel_with(stage, material=WEAK)),
    "rim_safety": ("material", lambda stage: wheel_with(stage, material=WEAK)),
    "tyre_retention": ("lip", lambda stage: wheel_with(stage, {"held_by": Hold.STRETCH})),
    "tyre_turning": ("hub friction", lambda stage: wheel_with(stage, {"hub_friction": 0.05})),
}
"""By limit: what is unknown of one stage, as in UNKNOWN, and a change of another by which it breaks the limit."""


@pytest.mark.parametrize("index", range(STAGES))
@pytest.mark.parametrize("name", BREAKING)
def test_known_stage_breaks_a_limit_although_another_is_unknown(name: str, index: int) -> None:
    unknown, worse = BREAKING[name]
    stages = [FULL.template] * STAGES
    stages[index], stages[index - 1] = UNKNOWN[unknown][0](FULL.template), worse(FULL.template)
    point = point_of(replace(FULL, stages=tuple(stages)), [18.0, 18.0, 18.0])
    assert name not in {one.name for one in not_judged(point)}
    assert not judged(name, point).satisfied


def test_batch_of_points_is_judged_by_all_limits() -> None:
    speeds = np.array([[9.0, 12.0], [16.0, 18.0]])
    both = evaluate_limits(point_of(FULL, speeds))
    assert [one.name for one in both] == [limit.name for limit in LIMITS]
    for k in range(2):
        usual = [one for one in both if one.name != LATER]
        for one, alone in zip(usual, evaluate_limits(point_of(FULL, speeds[k])), strict=True):
            assert one.name == alone.name
            assert np.broadcast_to(one.slack, 2)[k] == pytest.approx(float(alone.slack), abs=1e-6)


@pytest.mark.parametrize("count", [0, 1, 3])
def test_slack_of_a_bound_of_zero_is_the_margin(count: int) -> None:
    assert float(judged("stages", point_of(FULL, np.full(count, 9.0), stages=0)).slack) == -count


def test_input_unknown_of_the_whole_launcher_leaves_its_limits_unjudged() -> None:
    electric = ("average_power", "peak_power", "supply_current", "winding_temperature", "settled_loss", "throttle")
    none = replace(FULL, template=drive_with(FULL.template, no_load_known=False, heat=None), supply=None)
    thin = replace(FULL, projectile=replace(FULL.projectile, shape=DISC, thickness=None, contact_area=None))
    for machine, expected in (
        (none, dict.fromkeys((*electric, "voltage", "drive_reach"), "supply")),
        (thin, {"toy": "projectile.contact_area", "energy_per_area": "projectile.thickness"}),
    ):
        assert {one.name: one.missing for one in not_judged(point_of(machine, [10.0, 11.0]))} == expected
    at_rest = replace(point_of(FULL, [10.0, 11.0]), grip_limit=None)
    assert {one.name: one.missing for one in not_judged(at_rest)} == {"grip_margin": NO_GRIP_LIMIT}


def test_limits_have_the_units_of_their_keys() -> None:
    schema = LimitsTable.model_json_schema()["properties"]
    for name, limit in BY_NAME.items():
        if name in schema and name not in ("cost", "toy"):  # a currency, a name
            found = [schema[name], *schema[name].get("anyOf", [])]
            unit = next((one["x-unit"] for one in found if "x-unit" in one), "-")
            assert limit.unit == unit, name


def test_kinds_are_what_values_depend_on() -> None:
    """Evaluated without the throw, at other speeds, and at another rate."""
    point, other = mixed(), point_of(MIXED, 4.0 * SPEED_A, 4.0 * SPEED_B)
    still = replace(point, throw=no_throw(SPEED_A, SPEED_B), grip_limit=None)
    quick = replace(point, launcher=replace(MIXED, feed=replace(MIXED.feed, rate=4.0)))

    def value(limit: Any, at: OperatingPoint) -> float | None:
        found = limit.value(at)
        return None if found is None else float(np.asarray(found))

    for limit in (limit for limit in LIMITS if limit.name != LATER):
        here = value(limit, point)
        by_speed = here != value(limit, other)
        by_rate = here != value(limit, quick)
        assert limit.settles is by_rate, limit.name
        assert (limit.kind is Kind.DESIGN) is not by_speed, limit.name
        if limit.kind is not Kind.STEADY:
            assert (limit.kind is Kind.THROW) is (here != value(limit, still)), limit.name
        assert limit.needs_exit is (limit.kind is Kind.THROW or by_rate)


HARD = {
    "exit_energy", "exit_speed", "energy_per_area", "toy", "acceleration", "crush", "wheel_speed", "motor_speed",
    "drive_reach", "burst", "tyre_retention", "rim_safety", "tyre_turning", "supply_current", "winding_temperature",
    LATER,
}  # fmt: skip
"""Limits that keep people, the projectile, wheels, motors and the supply from harm; drive_reach is one of them, as the
speed range of a search ends there in all builds."""


def test_limits_that_keep_from_harm_are_hard() -> None:
    assert {limit.name for limit in LIMITS if limit.hard} == HARD
    assert {limit.name for limit in LIMITS if limit.floor} == {"rim_safety", "grip_margin"}
    for name in set(BY_NAME) - {LATER}:
        assert judged(name, mixed()).hard is BY_NAME[name].hard


def test_toy_limit_ends_at_its_energy() -> None:
    """Up to the exempted energy no area is needed; at it the limit is active, and above it the area decides."""
    bare = replace(FULL, projectile=replace(FULL.projectile, contact_area=None))
    toy = limit_values().toy
    assert toy is not None
    assert toy.energy_per_area is not None
    point = point_of(bare, [10.0])
    energy = float(point.exit_energy)
    frontal = np.pi * 0.019**2
    for exempted, missing in ((energy, None), (energy * (1 - 1e-12), "projectile.contact_area")):
        at = replace(point, limit_values=limit_values(toy=replace(toy, energy=exempted)))
        found = judged("toy", at)
        assert BY_NAME["toy"].missing(at) == missing
        assert float(found.bound) == pytest.approx(energy if missing is None else toy.energy_per_area * frontal)
        plain = replace(at, limit_values=limit_values(toy=replace(toy, energy=exempted, energy_per_area=None)))
        assert float(judged("toy", plain).bound) == exempted
        assert BY_NAME["toy"].missing(plain) is None


def one_of(launcher: Launcher, sample: int) -> Launcher:
    """Return one sample of a batch of launchers, of plain floats."""
    return each(launcher, lambda array: float(array[sample]))  # type: ignore[arg-type, return-value, no-any-return]


@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)
def test_batch_of_launchers_equals_each_of_them(limit: Limit) -> None:
    """Values and bounds vary from launcher to launcher, of which there are more than stages."""
    batch, done, speeds = drawn_batch()
    values = limit_values(toy=replace(limit_values().toy, energy=0.9))  # type: ignore[type-var]
    grip = np.array([20.0, 25.0])
    point = OperatingPoint(launcher=batch, limit_values=values, throw=done, grip_limit=np.tile(grip, (BATCH, 1)))
    both, by_stage = evaluate(limit, point), slacks(limit, point)
    assert both is not None
    assert by_stage is not None
    for k in range(BATCH if limit.name != LATER else 0):
        alone = one_of(batch, k)
        single = OperatingPoint(
            launcher=alone, limit_values=values, throw=throw(alone, speeds), grip_limit=grip
        )  # fmt: skip
        known, alone_by_stage = evaluate(limit, single), slacks(limit, single)
        assert known is not None
        for name in ("value", "bound", "slack"):
            assert np.broadcast_to(getattr(both, name), BATCH)[k] == pytest.approx(
                float(getattr(known, name)), rel=1e-6, abs=2e-7
            )
        assert np.broadcast_to(by_stage, (BATCH, by_stage.shape[-1]))[k] == pytest.approx(
            alone_by_stage, rel=1e-6, abs=2e-7
        )


BATCH = 4


@cache
def drawn_batch() -> tuple[Launcher, Throw, Floats]:
    """Return launchers whose parts and bounds vary, throws with them, and their wheel speeds [m/s]."""
    rng, speeds = np.random.default_rng(3), np.array([9.0, 12.0])

    def about(value: Any) -> Any:
        return float(value) * rng.uniform(0.9, 1.1, BATCH)

    template, projectile = drive_with(FULL.template, resistance=about(0.06), max_speed=about(500.0)), FULL.projectile
    template = replace(template, crush=about(4e-3), cost=about(38.0), mass=about(0.6))
    weak = replace(WEAK, yield_strength=about(2e6), tensile_strength=about(3e6))
    template = wheel_with(template, {"hub_friction": about(0.9), "lip_strength": about(2e5)}, material=weak)
    assert FULL.supply is not None
    batch = replace(
        FULL, template=template, supply=replace(FULL.supply, voltage=about(14.8)),
        projectile=replace(
            projectile, mass=about(0.018), max_crush=about(4e-3), max_acceleration=about(6e3),
            contact_area=about(2e-4), diameter=about(0.038),
        ),
    )  # fmt: skip
    return batch, throw(batch, np.tile(speeds, (BATCH, 1))), speeds


@pytest.mark.parametrize("name", ["motor_speed", "drive_reach", "burst", "tyre_retention"])
@pytest.mark.parametrize("speed", [0.0, 0.3, 0.9])
def test_share_of_a_ceiling_grows_with_speed_from_rest(name: str, speed: float) -> None:
    at_rest, slow = (replace(mixed(), throw=no_throw(np.full(4, one))) for one in (speed, 9.0))
    found, more = (BY_NAME[name].each(one) for one in (at_rest, slow))  # type: ignore[misc]
    assert found is not None
    assert more is not None
    assert found == pytest.approx(more * speed / 9.0)


def test_throws_stage_by_stage_are_thrown_anew_before_they_settle() -> None:
    """A loss at a rate compares with a throw of the same accuracy: one that is known, or one of its own."""
    rough = throw(FULL, np.array([9.0, 12.0]), options=Options(tolerance=1e-3))
    exact = throw(FULL, np.array([9.0, 12.0]))
    for whole, first in ((True, rough), (False, exact)):
        point = OperatingPoint(launcher=FULL, limit_values=limit_values(), throw=rough, whole=whole)
        assert point.settled is not None
        assert float(point.settled.first.exit_speed) == float(first.exit_speed)
    assert float(rough.exit_speed) != float(exact.exit_speed)
    assert OperatingPoint(launcher=FULL, limit_values=limit_values(), throw=rough).whole


@pytest.mark.parametrize("own", [None, 2e4, np.array([1e4, 2e4, 3e4])])
@pytest.mark.parametrize("asked", [None, 1.5e4])
def test_acceleration_is_bounded_by_user_and_projectile_whichever_is_less(own: Any, asked: float | None) -> None:
    # What the projectile bears may be uncertain, and differ from draw to draw.
    machine = replace(FULL, projectile=replace(FULL.projectile, max_acceleration=own))
    bound = BY_NAME["acceleration"].bound(point_of(machine, [9.0], acceleration=asked))
    if own is None or asked is None:
        assert np.array_equal(bound, own if asked is None else asked)  # type: ignore[arg-type]
    else:
        assert np.array_equal(bound, [min(float(one), asked) for one in np.ravel(own)] if np.ndim(own) else 1.5e4)  # type: ignore[arg-type]


@pytest.mark.parametrize("batched", [False, True])
def test_sides_of_a_pair_have_two_speeds_only_where_they_differ(batched: bool) -> None:
    # Side B of a rail is at rest, which is no second speed.
    stages = (replace(FULL.template, layout=RAIL), FULL.template, FULL.template)
    machine, a = replace(FULL, stages=stages), np.array([9.0, 11.0, 12.0])
    for second in (None, np.array([9.0, 11.0, 11.5])):
        if batched:
            point = point_of(machine, np.tile(a, (2, 1)), None if second is None else np.tile(second, (2, 1)))
        else:
            point = point_of(machine, a, second)
        speed, speed_b = point.set_speeds
        assert (speed == a).all()
        assert (speed_b is None) is (second is None)
        assert speed_b is None or (speed_b[..., 1:] == [11.0, 11.5]).all()
        assert point.train is not None
        assert point.train.size == (3 if second is None else 5)
