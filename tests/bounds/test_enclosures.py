"""Enclosures of pairs: throws lie within the bounds of their cell, and bounds of point cells are exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stager.bounds.entry_sets import Cells, Enclosed
from stager.bounds.normal_force import DEPTH, RADIUS, RAMP, press_between
from stager.bounds.stages import enclosure
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.chain import Options, transit
from stager.physics.friction import Constant
from stager.physics.wheel import growth
from tests.drive.machines import launcher as driven
from tests.optimise.machines import GUIDED, HEAVY, HOLLOW, LIGHT, MIXED, PLATEAU, STREAMER

MACHINES = {
    "heavy": HEAVY, "light": LIGHT, "constant friction": PLATEAU, "hollow ball": HOLLOW, "rod": STREAMER,
    "motorless": GUIDED, "smaller wheels": MIXED,
}  # fmt: skip
CLOSE = Options(tolerance=1e-9)


@pytest.mark.parametrize("name", MACHINES)
def test_throws_lie_within_the_bounds_of_their_cell(name: str) -> None:
    # Cells of all widths are integrated in one batch.
    machine, rng = MACHINES[name], np.random.default_rng(7)
    count, inside, width = 72, 12, np.repeat([0.0, 0.02, 0.5], 24)
    low = np.stack([rng.uniform(0.5, 15.0, count), np.zeros(count), rng.uniform(2.0, 40.0, count)])
    high = low + width * np.array([[1.0], [0.0], [1.0]])
    found = _enclose(machine, Cells(low, high, np.zeros(count, np.intp)))
    share = rng.uniform(0.0, 1.0, (2, inside, count))
    share[:, :4] = np.array([[0.0, 0.0, 1.0, 1.0], [0.0, 1.0, 0.0, 1.0]])[:, :, None]
    done = transit(
        machine, 0, low[0] + share[0] * (high - low)[0], low[2] + share[1] * (high - low)[2], options=CLOSE
    )  # fmt: skip
    assert (done.exit_speed <= found.high + 1e-6).all()
    through = ~done.jammed.any(axis=0)
    assert (done.exit_speed[:, through] >= found.low[through] - 1e-6).all()
    assert (found.low[~through] == 0.0).all()
    assert (done.peak_acceleration[:, through] >= found.strain[through] * (1 - 5e-3)).all()
    # Near a jam the bound's steps are too coarse for this check.
    clear = (width == 0.0) & through & (done.exit_speed[0] > 1.0)
    assert clear.sum() > 6
    assert found.high[clear] == pytest.approx(done.exit_speed[0, clear], rel=2e-3)
    assert found.low[clear] == pytest.approx(done.exit_speed[0, clear], rel=2e-3)


def test_rod_is_pressed_by_wheels_that_have_grown() -> None:
    wheel = driven().template.wheel
    pair = replace(STREAMER.template, wheel=wheel)
    machine = replace(STREAMER, template=pair)
    low, high = np.array([0.0, 20.0, 40.0]), np.array([10.0, 40.0, 60.0])
    found = press_between(machine, pair, low, high).columns
    for end, speed in enumerate((low, high)):
        grown = growth(wheel, speed)
        assert grown[-1] > 1e-6
        radius, crush = float(wheel.radius) + grown, float(pair.crush) / 2 + grown
        np.testing.assert_allclose(found[:, DEPTH + end], crush)
        np.testing.assert_allclose(found[:, RADIUS + end], radius, rtol=1e-12)
        # Along the ramp the crush falls as ξ²/(2 R).
        np.testing.assert_allclose(found[:, RAMP + end] ** 2 / (2 * radius), crush, rtol=1e-12)


@pytest.mark.parametrize("name", ["heavy", "constant friction", "hollow ball", "rod"])
def test_bounds_converge_as_cells_shrink(name: str) -> None:
    machine, speed = MACHINES[name], 12.0
    done = float(transit(machine, 0, 6.0, speed, options=CLOSE).exit_speed)
    widths = np.array([0.8, 0.2, 0.05])
    centre, none = np.full(3, speed), np.zeros(3)
    entry = np.full(3, 6.0)
    cells = Cells(
        np.stack([entry, none, centre - widths]), np.stack([entry, none, centre + widths]), np.zeros(3, np.intp)
    )
    over = _enclose(machine, cells).high - done
    assert (over[1:] < 0.35 * over[:-1]).all()


def _enclose(machine: Launcher, cells: Cells) -> Enclosed:
    enclose = enclosure(machine, machine.stage(0), spins=False)
    assert not isinstance(enclose, str)
    coarse, fine = enclose(cells, 64), enclose(cells, 128)
    return fine.widened(2.0 * fine.apart(coarse) + 1e-5 * fine.high)


def test_cell_without_bite_has_bound_zero() -> None:
    # Friction below tan φ at entry: the bite condition of rolling mills is not met.
    weak = replace(HEAVY, contact=replace(HEAVY.contact, friction=Constant(0.1)))
    slow: Floats = np.array([[0.05], [0.0], [5.0]])
    assert bool(transit(weak, 0, 0.05, 5.0).jammed)
    assert _enclose(weak, Cells(slow, slow + 0.01, np.zeros(1, np.intp))).high[0] == 0.0
