"""The grip limit is what its definition says, looked for on a plain grid of wheel speeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stager.api import load
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import LAYOUTS
from stager.physics.chain import Options, transit
from stager.physics.friction import Constant, Falling
from stager.physics.grip_limit import grip_limit
from tests.cli.run import ROOT
from tests.physics.machines import launcher

FEED, TOP = 1.2, 90.0
WHEEL = np.geomspace(0.5 * FEED, TOP, 1200)


def _exits(machine: Launcher) -> Floats:
    return transit(machine, 0, FEED, WHEEL, options=Options(tolerance=1e-5, books=False)).exit_speed


def _grown(modulus: float, friction: float) -> Launcher:
    """The soft tyre of an invented foam wheel on a heavy ball."""
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


def _found(machine: Launcher) -> float:
    return float(grip_limit(machine, 0, np.array([FEED]), np.zeros(1), np.array([TOP])).wheel_speed[0])


def _defined(exits: Floats) -> float:
    """The least wheel speed within 0.1 % of the greatest exit speed, or of the greatest exit / wheel^0.1 if that is
    clearly more than at the greatest exit speed."""
    best, better = _trade(exits)
    level = exits[best] if better > 1.001 else exits.max()
    return float(WHEEL[np.argmax(exits >= 0.999 * level)])


def _trade(exits: Floats) -> tuple[int, float]:
    """Place of the greatest exit / wheel^0.1, and how much more that is than at the greatest exit speed."""
    peak = int(np.argmax(exits))
    traded = exits * (WHEEL / WHEEL[peak]) ** -0.1
    best = int(np.argmax(traded))
    return best, float(traded[best] / exits[peak])


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
@given(friction=st.floats(0.2, 0.9), fall=st.floats(0.2, 1.0), fade=st.floats(2.0, 20.0))
def test_found_is_what_the_definition_says(layout: object, friction: float, fall: float, fade: float) -> None:
    machine = launcher(
        layout=layout, law=Falling(friction, fall * friction, fade), crush=3e-3, stiffness=2e4, creep=0.15,
        inertia=4e-5, feed=FEED,
    )  # type: ignore[arg-type]  # fmt: skip
    exits = _exits(machine)
    if exits[-1] > 0:
        assume(abs(_trade(exits)[1] - 1.001) > 3e-4)  # Where the two kinds of limit are equally good, either is found.
        assert _found(machine) == pytest.approx(_defined(exits), rel=6e-3)


@pytest.mark.parametrize("friction", [0.3, 0.45, 0.6])
def test_a_tyre_that_grows_moves_the_grip_limit_little(friction: float) -> None:
    """A growing tyre presses harder, so exit speed creeps up past the limit; the contact slips from there on as it
    does with a tyre so hard that it hardly grows."""
    hard, soft = _grown(8e8, friction), _grown(4e6, friction)
    rising = _exits(soft)
    assert rising[-1] > 1.02 * rising[np.searchsorted(WHEEL, 1.3 * _found(hard))]
    assert _found(soft) == pytest.approx(_found(hard), rel=0.02)
    assert _found(soft) == pytest.approx(_defined(rising), rel=6e-3)


def test_there_is_none_where_wheels_still_grip_at_the_end() -> None:
    machine = launcher(law=Constant(0.9), crush=3e-3, stiffness=2e4, creep=0.15, inertia=4e-5, feed=FEED)
    found = grip_limit(machine, 0, np.array([FEED]), np.zeros(1), np.array([4.0]))
    assert np.isnan(found.wheel_speed[0])
