"""The grip limit against its definition on a dense grid of wheel speeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stager.api import load
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import LAYOUTS
from stager.physics.chain import Options, transit
from stager.physics.friction import Constant, Falling
from stager.physics.grip_limit import Coupled, grip_limit
from tests.cli.run import ROOT
from tests.physics.machines import launcher

FEED, TOP = 1.2, 90.0
WHEEL = np.geomspace(0.5 * FEED, TOP, 1200)


def _exit_speeds(machine: Launcher) -> Floats:
    return transit(machine, 0, FEED, WHEEL, options=Options(tolerance=1e-5, energies=False)).exit_speed


def _with_soft_tyre(modulus: float, friction: float) -> Launcher:
    """Return an invented foam wheel with a tyre of this modulus [Pa] and a heavy ball."""
    machine = load(ROOT / "tests" / "recovery" / "scenarios" / "constant_pair.toml").scenario.launcher
    stage = machine.template
    assert stage.wheel.tyre is not None
    rubber = replace(stage.wheel.tyre.material, modulus=modulus)
    wheel = replace(stage.wheel, tyre=replace(stage.wheel.tyre, material=rubber))
    friction_law = Constant(friction)
    return replace(
        machine, template=replace(stage, wheel=wheel),
        contact=replace(machine.contact, friction=friction_law, rail_friction=friction_law),
    )  # fmt: skip


def _grip_limit(machine: Launcher) -> float:
    return float(grip_limit(machine, 0, np.array([FEED]), np.zeros(1), np.array([TOP])).wheel_speed[0])


def _grip_limit_by_definition(exits: Floats) -> float:
    """Return the lowest wheel speed [m/s] within 0.1 % of the level that defines the grip limit.

    The level is the greatest exit speed, or the exit speed at the greatest exit / wheel^0.1 where that ratio is more
    than 0.1 % above its value at the greatest exit speed.
    """
    best, better = _best_tradeoff(exits)
    level = exits[best] if better > 1.001 else exits.max()
    return float(WHEEL[np.argmax(exits >= 0.999 * level)])


def _best_tradeoff(exits: Floats) -> tuple[int, float]:
    """Return the index of the greatest exit / wheel^0.1, and its ratio to the value at the greatest exit speed."""
    peak = int(np.argmax(exits))
    traded = exits * (WHEEL / WHEEL[peak]) ** -0.1
    best = int(np.argmax(traded))
    return best, float(traded[best] / exits[peak])


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
@settings(max_examples=30)
@given(friction=st.floats(0.2, 0.9), fall=st.floats(0.2, 1.0), fade=st.floats(2.0, 20.0))
def test_grip_limit_matches_its_definition(layout: object, friction: float, fall: float, fade: float) -> None:
    machine = launcher(
        layout=layout, law=Falling(friction, fall * friction, fade), crush=3e-3, stiffness=2e4, creep=0.15,
        inertia=4e-5, feed=FEED,
    )  # type: ignore[arg-type]  # fmt: skip
    exits = _exit_speeds(machine)
    if exits[-1] > 0:
        assume(abs(_best_tradeoff(exits)[1] - 1.001) > 3e-4)  # At a tie of both definitions either is right.
        assert _grip_limit(machine) == pytest.approx(_grip_limit_by_definition(exits), rel=6e-3)


@pytest.mark.parametrize("friction", [0.3, 0.45, 0.6])
def test_tyre_growth_hardly_moves_the_grip_limit(friction: float) -> None:
    # A growing tyre raises the normal force, so exit speed still rises a little past the limit, although the contact
    # slips from the same wheel speed on as with a tyre too stiff to grow.
    hard, soft = _with_soft_tyre(8e8, friction), _with_soft_tyre(4e6, friction)
    rising = _exit_speeds(soft)
    assert rising[-1] > 1.02 * rising[np.searchsorted(WHEEL, 1.3 * _grip_limit(hard))]
    assert _grip_limit(soft) == pytest.approx(_grip_limit(hard), rel=0.02)
    assert _grip_limit(soft) == pytest.approx(_grip_limit_by_definition(rising), rel=6e-3)


def test_grip_limit_is_nan_if_the_range_ends_in_full_grip() -> None:
    machine = launcher(law=Constant(0.9), crush=3e-3, stiffness=2e4, creep=0.15, inertia=4e-5, feed=FEED)
    top = np.array([4.0])
    for margin in (0.0, 0.05):
        found = grip_limit(machine, 0, np.array([FEED]), np.zeros(1), top, margin=margin)
        assert np.isnan(found.wheel_speed[0])
        # The greatest exit speed within the range is that at its end, also where a margin asks what is beyond.
        assert found.peak_speed == top
        assert found.peak_exit == pytest.approx(transit(machine, 0, FEED, top).exit_speed, rel=1e-4)


@pytest.mark.parametrize("gap", [-3.0, -0.4, 0.0, 0.4, 3.0])
def test_faster_side_of_a_coupled_stage_leads_by_the_gap(gap: float) -> None:
    machine, before = launcher(crush=2e-3, inertia=4e-5, creep=0.1), (np.array([6.0]),)
    done = Coupled(before, before, gap)(machine, 1, 0.0, np.array([9.0, 14.0]))
    assert done.wheel_speed_a - done.wheel_speed_b == pytest.approx(gap)
    assert np.maximum(done.wheel_speed_a, done.wheel_speed_b) == pytest.approx([9.0, 14.0])
    assert np.sign(np.round(done.exit_spin)).tolist() == [np.sign(gap)] * 2
