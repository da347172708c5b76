"""With any optional key removed, no limit that depends on it is reported as satisfied."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stager.config.configuration import Configuration
from stager.config.load import read_tree, understand
from stager.config.toml import show_tree
from stager.constraints import LIMITS, OperatingPoint, evaluate, evaluate_limits, not_judged
from stager.constraints.limit import NO_LOAD
from stager.errors import InputErrors
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.model.stage import PAIR, RAIL, Drive, Layout, Supply
from stager.physics.chain import throw
from tests.cli.run import ROOT
from tests.constraints.machines import FULL, limit_values
from tests.drive.machines import HEAT, RPM

SHIPPED = sorted((ROOT / "configs").glob("*.toml"))
ALL_LIMITS = {
    "exit_energy": "5 kJ", "stages": 6, "length": "2 m", "average_power": "2 kW", "peak_power": "20 kW",
    "supply_current": "2000 A", "rim_safety": 1.5, "exit_speed": "60 m/s", "wheel_speed": "90 m/s",
    "energy_per_area": "200 kJ/m^2", "toy": "ASTM F963-17", "winding_temperature": "200 degC", "settled_loss": 0.5,
    "slip_heat": "50 J", "voltage": "60 V", "mass": "20 kg", "cost": 2000, "acceleration": "60000 m/s^2",
}  # fmt: skip
EXTRA = {
    "projectile.max_crush": "9 mm", "projectile.contact_area": "200 mm^2", "feed.rate": "1 /s", "feed.session": "5 min",
    "stage.wheel.tyre.lip_strength": "4 MPa", "stage.wheel.tyre.bond_strength": "4 MPa",
    "stage.wheel.tyre.hub_friction": 1.5, "stage.wheel.tyre.stretch": 0.06, "stage.drive.no_load_current": "0.5 A",
    "stage.drive.heat": {"winding_capacity": "7 J/K", "winding_to_case": "2 K/W", "case_capacity": "30 J/K"},
}  # fmt: skip
ASSUMED = {"exponent", "rebound", "fade_exponent", "clearance", "rail_friction", "capacity", "gear", "governed",
           "rotor_inertia", "session", "resistance", "stages", "confidence", "grip_margin", "worthwhile", "brittle",
           "strength_factor", "current_limit", "held_by", "case_to_air", "max_acceleration", "max_crush"}  # fmt: skip
"""Keys with a documented default: a value, the conservative case (such as no current limit), or no limit."""
NEGLIGIBLE = 1e-4
"""Negligible slack [-]: the effect of the shaft hole on wheel growth."""
ASSUMED_AT_MOST = {"stage.drive.no_load_current"}
"""Keys whose greatest value is assumed, see `test_limits_kept_without_the_no_load_current_are_kept_with_any`."""


def complete_tree(path: Path) -> dict[str, Any]:
    """Return a shipped scenario with every limit and all data that limits use."""
    tree = read_tree(path, path.read_text(encoding="utf-8"))
    tree["limits"] = dict(ALL_LIMITS)
    for key, value in EXTRA.items():
        table, name = holder(tree, key)
        table.setdefault(name, copy.deepcopy(value))
    return tree


def holder(tree: dict[str, Any], key: str) -> tuple[dict[str, Any], str]:
    *path, name = key.split(".")
    for part in path:
        tree = tree.setdefault(part, {})
    return tree, name


def keys(tree: dict[str, Any], path: str = "") -> Iterator[str]:
    """Yield every key and table of the hardware and the feed."""
    for name, value in tree.items():
        if path or name in ("projectile", "feed", "contact", "stage", "supply"):
            if path:
                yield f"{path}.{name}"
            if isinstance(value, dict):
                yield from keys(value, f"{path}.{name}" if path else name)


def read(tree: dict[str, Any]) -> Configuration | None:
    """Return the configuration, or None if it is refused."""
    try:
        return understand(Path("drawn.toml"), show_tree(tree), "")
    except InputErrors:
        return None


def limit_states(configuration: Configuration, speeds: list[float]) -> tuple[dict[str, bool | None], dict[str, float]]:
    scenario = configuration.scenario()
    point = OperatingPoint(
        launcher=scenario.launcher, limit_values=scenario.limit_values, grip_limit=np.array(speeds) * 2,
        throw=throw(scenario.launcher, np.array(speeds)),
    )  # fmt: skip
    states: dict[str, bool | None] = {one.name: one.satisfied for one in evaluate_limits(point)}
    states |= {one.name: None for one in not_judged(point)}
    found = [one for limit in LIMITS if (one := evaluate(limit, point)) is not None]
    return states, {one.name: float(one.slack) for one in found}


def optional_keys(tree: dict[str, Any]) -> list[str]:
    """Return the keys that may be missing. Without `tyre` the wheel is a different one, so that key is excluded."""
    return [key for key in keys(tree) if key.rpartition(".")[2] not in ASSUMED and key != "stage.wheel.tyre"]


def check(tree: dict[str, Any], speeds: list[float], chosen: list[str]) -> None:
    configuration = read(tree)
    assert configuration is not None
    before, slack = limit_states(configuration, speeds)
    for key in chosen:
        without = copy.deepcopy(tree)
        table, name = holder(without, key)
        del table[name]
        bare = read(without)
        if bare is None:
            continue
        after, left = limit_states(bare, speeds)
        for limit, kept in after.items():
            # A default used in place of the key must be the conservative case.
            harder = left.get(limit, -np.inf) <= slack.get(limit, np.inf) + NEGLIGIBLE
            assert kept is not True or harder or key in ASSUMED_AT_MOST, f"{limit} is kept without {key}"
        for limit, kept in after.items():
            assert not (kept is True and before.get(limit) is None), f"{limit} becomes kept without {key}"


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_no_limit_is_satisfied_without_the_key_it_depends_on(path: Path) -> None:
    tree = complete_tree(path)
    check(tree, [12.0], optional_keys(tree))


@settings(max_examples=6)
@given(
    data=st.data(), path=st.sampled_from(SHIPPED), held_by=st.sampled_from(["stretch", "clamp", "lip", "bond"]),
    first=st.floats(7.0, 15.0), second=st.floats(10.0, 20.0), layout=st.sampled_from(["pair", "rail"]),
)  # fmt: skip
def test_no_limit_of_a_drawn_launcher_is_satisfied_without_its_key(
    data: Any, path: Path, held_by: str, first: float, second: float, layout: str
) -> None:
    tree = complete_tree(path)
    tree["stage"]["layout"] = layout
    tyre = tree["stage"]["wheel"]["tyre"]
    tyre["held_by"] = held_by
    if held_by == "clamp":
        tyre["clamp_force"] = "200 N"
    check(tree, [first, second], data.draw(st.lists(st.sampled_from(optional_keys(tree)), min_size=3, max_size=3)))


BY_NAME = {limit.name: limit for limit in LIMITS}
DRIVEN = ("peak_power", "supply_current", "average_power", "winding_temperature", "settled_loss")
"""Limits on drives with a bound that is given."""
UNSET = ("drive_reach", "throttle")
"""Limits on drives whose bound is 1."""


def with_drive(machine: Launcher, **changes: Any) -> Launcher:
    template = machine.template
    assert template.drive is not None
    return replace(machine, template=replace(template, drive=replace(template.drive, **changes)))


def at(machine: Launcher, values: LimitValues, speeds: list[float]) -> OperatingPoint:
    given = np.array(speeds)
    return OperatingPoint(
        launcher=machine, limit_values=values, throw=throw(machine, given), grip_limit=np.full(given.shape, np.inf)
    )


@settings(max_examples=60)
@given(
    constant=st.floats(600.0, 2500.0), ohm=st.floats(0.02, 0.6), limit=st.sampled_from([np.inf, 60.0, 25.0]),
    governed=st.booleans(), source=st.sampled_from([0.0, 0.03, 0.1]), layout=st.sampled_from([PAIR, RAIL]),
    rate=st.floats(0.1, 3.0), session=st.sampled_from([None, 120.0]), share=st.floats(0.0, 1.0),
    speeds=st.lists(st.floats(6.0, 40.0), min_size=1, max_size=2), room=st.floats(1.0, 12.0),
)  # fmt: skip
def test_limits_kept_without_the_no_load_current_are_kept_with_any(
    constant: float, ohm: float, limit: float, governed: bool, source: float, layout: Layout, rate: float,
    session: float | None, share: float, speeds: list[float], room: float,
) -> None:  # fmt: skip
    """The current is at most NO_LOAD of the stall current; what is not judged is broken by the greatest one.

    Or the motor does not hold its speed with that, or throws at the rate jam.
    """
    drive = Drive(
        speed_constant=constant * RPM, resistance=ohm, no_load_known=False, current_limit=limit, governed=governed,
        heat=HEAT,
    )  # fmt: skip
    supply = Supply(voltage=14.8, resistance=source)
    machine = replace(
        FULL, template=replace(FULL.template, layout=layout, drive=drive), supply=supply,
        feed=replace(FULL.feed, rate=rate, session=session),
    )  # fmt: skip
    bare = at(machine, limit_values(), speeds)
    used = {name: found for name in DRIVEN if (found := evaluate(BY_NAME[name], bare)) is not None}
    bounds = {name: max(float(one.value), 1e-3) * room for name, one in used.items()}
    values = limit_values(**bounds)
    point = at(machine, values, speeds)
    most = NO_LOAD * supply.voltage / ohm

    def known(current: float) -> dict[str, bool]:
        there = at(with_drive(machine, no_load_current=current, no_load_known=True), values, speeds)
        return {one.name: one.satisfied for one in evaluate_limits(there)}

    kept = [one.name for one in evaluate_limits(point) if one.satisfied and one.name in (*DRIVEN, *UNSET)]
    for current in (share * most, most):
        after = known(current)
        assert [name for name in kept if not after[name]] == []
    lacking = [one.name for one in not_judged(point) if one.missing == "stage.drive.no_load_current"]
    assert [name for name in lacking if after.get(name, False) and after["throttle"]] == []
