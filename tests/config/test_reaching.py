"""Each value of a configuration reaches its own field of the launcher, the limits and the goal, and no other one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from math import pi
from pathlib import Path
from typing import Any

import pytest

from stager.config.load import understand
from stager.config.toml import show_tree
from stager.model.launcher import (
    Contact,
    Feed,
    Guide,
    Launcher,
    Measuring,
    Outlet,
    Pusher,
    Scenario,
)
from stager.model.projectile import BALL, RING, Flight, Placement, Projectile, Spread
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import PAIR, RAIL, Battery, Drive, Hold, Stage, Supply, Tyre, Wheel
from stager.physics.friction import Falling
from stager.physics.safety import TOY_LIMITS
from stager.physics.wheel import TYRE_MATERIALS, WHEEL_MATERIALS, gent_modulus
from tests.broken.corpus import VALID
from tests.config.test_every_key import complete, holder, one_stage

RPM = pi / 30


def scenario_of(tree: dict[str, Any]) -> Scenario:
    return understand(Path("a.toml"), show_tree(tree), "").scenario()


def leaves(record: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the fields of a record that are no records themselves."""
    if is_dataclass(record):
        for field in (field for field in fields(record) if field.compare):
            yield from leaves(getattr(record, field.name), f"{path}.{field.name}")
    elif isinstance(record, tuple) and record and not isinstance(record[0], float | int):
        for number, one in enumerate(record):
            yield from leaves(one, f"{path}.{number}")
    else:
        yield path, record


def changed(before: Any, after: Any) -> dict[str, Any]:
    """Return the fields that differ, with their values in `after`."""
    old = dict(leaves(before))
    return {path.removeprefix("."): value for path, value in leaves(after) if old.get(path) != value}


WHOLE, ONE = scenario_of(complete()), scenario_of(one_stage())
OTHER_NAMES = {"stage.idler.inertia": "idler_inertia", "stage.wheel.tyre.hardness": "modulus"}
HOMES = {"stage": "template", "stages": "stages"}


@pytest.mark.parametrize("key", [*ONE.values, *(key for key in WHOLE.values if key.startswith("stages."))])
def test_each_quantity_sets_the_field_of_its_name_alone(key: str) -> None:
    scenario = WHOLE if key.startswith("stages.") else ONE
    old, parts = scenario.values[key], key.split(".")
    new = old * 1.03 if old else 0.07
    name = OTHER_NAMES.get(key, parts[-1])
    ((field, value),) = changed(scenario.launcher, scenario.realise({key: new})).items()
    *table, last = field.split(".")
    assert table[0] == HOMES.get(parts[0], parts[0])
    assert parts[0] != "stages" or int(table[1]) == int(parts[1]) - 1
    if parts[-1].isdigit():
        assert last == {"slip": "slip", "coefficient": "friction"}[parts[-2]]
        assert value[int(parts[-1]) - 1] == new
    else:
        assert last == name
        assert value == (gent_modulus(new) if name == "modulus" and "hardness" in key else new)


def test_speed_in_turns_follows_the_radius_and_a_chosen_part_the_sums() -> None:
    assert changed(WHOLE.launcher, WHOLE.realise({"stage.wheel.radius": 0.05}))["stages.1.speed"] == pytest.approx(
        4000 * RPM * 0.05
    )
    # A wheel more of 1 g in a pair, where an option replaces it: the stage is lighter by two.
    lighter = changed(WHOLE.launcher, WHOLE.realise({"stage.wheel.mass": 0.081}))
    assert lighter["stages.0.mass"] == pytest.approx(float(WHOLE.launcher.stages[0].mass or 0.0) - 0.002)


TOY = {toy.name: toy for toy in TOY_LIMITS}
PLACES: dict[str, tuple[Any, dict[str, Any]]] = {
    # key: (another value, fields of the scenario that change)
    "title": ("Other", {"title": "Other"}),
    "projectile.shape": ("ring", {"shape.name": "ring", "shape.inertia_factor": RING.inertia_factor}),
    "projectile.spread.mass": ("1 %", {"mass_spread.value": 0.01}),
    "projectile.spread.diameter": ("0.5 mm", {"diameter_spread.value": 5e-4}),
    "feed.magazine": (41, {"magazine": 41}),
    "feed.spread.speed": ("0.2 m/s", {"speed_spread.value": 0.2, "speed_spread.relative": False}),
    "guide.air_drag": (False, {"air_drag": False}),
    "stage.crush_range": (["3 mm", "5 mm"], {"crush_range": (0.003, 0.005)}),
    "stage.spread.speed": ("3 %", {"speed_spread.value": 0.03, "speed_spread.relative": True}),
    "stage.wheel.name": ("Other", {"name": "Other"}),
    "stage.wheel.brittle": (True, {"brittle": True}),
    "stage.wheel.radius_range": (["31 mm", "51 mm"], {"radius_range": (0.031, 0.051)}),
    "stage.wheel.inertia_range": (["1e-5 kg m^2", "9e-5 kg m^2"], {"inertia_range": (1e-5, 9e-5)}),
    "stage.wheel.tyre.held_by": ("bond", {"held_by": Hold.BOND}),
    "stage.drive.name": ("Other", {"name": "Other"}),
    "stage.drive.governed": (False, {"governed": False}),
    "stage.drive.mount.screws": (6, {"screws": 6}),
    "stage.drive.heat.fin_count": (5, {"fin_count": 5}),
    "supply.cells": (5, {"cells": 5}),
    "flight.side_a": ("left", {"side_a": Placement.LEFT}),
    "flight.spread.tilt": ("0.01 rad", {"tilt_spread.value": 0.01}),
    "flight.spread.heading": ("0.02 rad", {"heading_spread.value": 0.02}),
    "goal.aim": ("fastest", {"aim": Aim.FASTEST}),
    "goal.exit_speed": ("19 m/s", {"exit_speed": 19.0}),
    "goal.worthwhile": (0.1, {"worthwhile": 0.1}),
    "limits.toy": ("EN 71-1 before A1:2018 (rigid)", {"toy": TOY["EN 71-1 before A1:2018 (rigid)"]}),
}


@pytest.mark.parametrize("key", PLACES)
def test_each_other_value_sets_the_field_of_its_name(key: str) -> None:
    value, expected = PLACES[key]
    trees = one_stage(), one_stage()
    path = tuple(key.split("."))
    holder(trees[1], path)[path[-1]] = value
    before, after = (scenario_of(tree) for tree in trees)
    parts = ("title", "launcher", "goal", "limit_values")
    found = {
        f"{part}.{field}": new
        for part in parts
        for field, new in changed(getattr(before, part), getattr(after, part)).items()
    }
    if key == "limits.toy":
        assert after.limit_values.toy == expected["toy"]
        return
    assert len(found) == len(expected)
    for end, new in expected.items():
        ((_, value),) = [(field, one) for field, one in found.items() if field.rstrip(".").endswith(end)]
        assert value == new


def test_limits_are_those_of_the_file_in_si_units() -> None:
    assert WHOLE.limit_values == LimitValues(
        exit_energy=8.0, stages=6, length=0.9, average_power=150.0, peak_power=1200.0, supply_current=80.0,
        rim_safety=3.0, exit_speed=30.0, wheel_speed=60.0, energy_per_area=30e3, winding_temperature=383.15,
        settled_loss=0.05, slip_heat=6.0, voltage=16.0, mass=3.0, cost=300.0, acceleration=600 * 9.80665,
        grip_margin=0.05, toy=TOY["ASTM F963-17"], confidence=0.9,
    )  # fmt: skip
    assert WHOLE.goal == Goal(aim=Aim.REACH, exit_speed=18.0, spin=None, worthwhile=0.08)
    tree = one_stage()
    tree["goal"]["spin"] = "-3 rev/s"
    tree["projectile"] |= {"shape": "ball"}
    del tree["projectile"]["thickness"]
    assert scenario_of(tree).goal.spin == pytest.approx(-6 * pi)


def _stage() -> Stage:
    return Stage(
        layout=PAIR, crush=0.004,
        wheel=Wheel(
            radius=0.04, width=0.018, material=WHEEL_MATERIALS["aluminium"],
            tyre=Tyre(material=TYRE_MATERIALS["nitrile 70"], depth=0.003),
        ),
        drive=Drive(speed_constant=1400 * RPM, resistance=0.06, no_load_known=False),
    )  # fmt: skip


def test_keys_that_are_left_out_have_the_defaults_of_the_model() -> None:
    friction = Falling(0.75, 0.22, 9.0)
    found = understand(Path("a.toml"), VALID, "").scenario()
    assert found.launcher == Launcher(
        projectile=Projectile(shape=BALL, mass=0.018, diameter=0.038), feed=Feed(speed=1.2),
        contact=Contact(stiffness=40e3, creep=0.15, friction=friction, rail_friction=friction),
        template=_stage(), supply=Supply(voltage=14.8),
    )  # fmt: skip
    assert found.limit_values == LimitValues(exit_energy=8.0, stages=4)
    assert found.goal == Goal(aim=Aim.FASTEST)
    assert found.title == "Right"
    assert found.draws is None
    assert understand(Path("a.toml"), VALID.partition("\n")[2], "").title == "untitled launcher"


TABLES = """[guide]
[outlet]
[measuring]
[flight]
height = "1.2 m"
[feed.pusher]
force = "6 N"
travel = "30 mm"
return_time = "0.1 s"
[[supply.batteries]]
cells = 3
capacity = "2 Ah"
[[supply.batteries]]
name = "large"
cells = 4
capacity = "3 Ah"
resistance = "20 mohm"
mass = "200 g"
cost = 30
[[stages]]
layout = "rail"
"""


def test_tables_with_required_keys_alone_have_the_defaults_of_the_model() -> None:
    found = understand(Path("a.toml"), VALID + TABLES, "").scenario().launcher
    assert (found.guide, found.outlet, found.measuring) == (Guide(), Outlet(), Measuring())
    assert found.flight == Flight(height=1.2)
    assert found.feed == Feed(speed=1.2, pusher=Pusher(force=6.0, travel=0.03, return_time=0.1))
    assert found.supply is not None
    assert found.supply.batteries == (
        Battery(name="", cells=3, capacity=7200.0),
        Battery(name="large", cells=4, capacity=10800.0, resistance=0.02, mass=0.2, cost=30.0),
    )
    assert found.stages[0].layout is RAIL
    assert found.stages[0].wheel == found.template.wheel == _stage().wheel


@pytest.mark.parametrize(("bore", "expected"), [(None, (0.0, False)), ("0 mm", (0.0, True)), ("5 mm", (0.005, False))])
def test_bore_says_whether_a_wheel_is_solid(bore: str | None, expected: tuple[float, bool]) -> None:
    text = VALID if bore is None else VALID.replace('width = "18 mm"', f'width = "18 mm"\nbore = "{bore}"')
    wheel = understand(Path("a.toml"), text, "").scenario().launcher.template.wheel
    assert (wheel.bore, wheel.solid) == expected


@pytest.mark.parametrize(
    ("text", "spread"),
    [
        ("2 %", Spread(0.02, relative=True)),
        ("0 %", Spread(0.0, relative=True)),
        ("2%", Spread(0.02, relative=True)),
        ("0.4 g", Spread(0.0004)),
        ("0 g", Spread(0.0)),
    ],
)
def test_spread_is_a_share_or_a_quantity(text: str, spread: Spread) -> None:
    tree = one_stage()
    tree["projectile"]["spread"]["mass"] = text
    assert scenario_of(tree).launcher.projectile.mass_spread == spread


@pytest.mark.parametrize(("chosen", "radius"), [(None, 0.04), (0, 0.04), (1, 0.03), (2, 0.05), ('"b"', 0.05)])
def test_speed_in_turns_is_at_the_rim_of_the_wheel_that_is_in(chosen: object, radius: float) -> None:
    wheel = '{{name = "{}", radius = "{} mm", inertia = "4e-5 kg m^2"}}'
    options = [wheel.format(name, size) for name, size in (("a", 30), ("b", 50))]
    keys = f'speed = "600 rpm : 300 rpm"\nwheel_options = [{", ".join(options)}]\n'
    keys += "" if chosen is None else f"wheel_option = {chosen}\n"
    found = understand(Path("a.toml"), VALID.replace("[stage]\n", f"[stage]\n{keys}"), "").scenario()
    stage = found.launcher.template
    assert (stage.speed, stage.speed_b) == pytest.approx((600 * RPM * radius, 300 * RPM * radius))
    assert (found.values["stage.speed"], found.values["stage.speed_b"]) == (stage.speed, stage.speed_b)
