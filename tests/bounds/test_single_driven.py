"""Enclosures of stages with one driven wheel: throws lie within the bounds of speed, spin and both together."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stager.bounds import bound, normal_force, stages
from stager.bounds.entry_sets import Cells
from stager.bounds.stages import enclosure
from stager.bounds.traction import speed_ranges
from stager.model.stage import IDLER, RAIL
from stager.physics.chain import Options, transit
from stager.physics.friction import Constant
from tests.optimise.machines import FOAM, HOOP, SEED, STREAMER, launcher, scenario, stage

ROD = replace(STREAMER, template=replace(STREAMER.template, layout=RAIL))
MACHINES = {
    "disc": FOAM,
    "ball": launcher(SEED, stage(layout=RAIL)),
    "ball, lighter wheels": launcher(SEED, stage(layout=RAIL, inertia=4e-5)),
    "rod": replace(ROD, contact=replace(ROD.contact, rail_friction=Constant(0.1))),
    "rod and idler": replace(ROD, template=replace(ROD.template, layout=IDLER, idler_inertia=1e-6)),
}
CLOSE = Options(tolerance=1e-9)


@pytest.mark.parametrize("name", MACHINES)
def test_throws_lie_within_the_bounds_of_their_cell(name: str) -> None:
    # Cells of all widths are integrated in one batch.
    machine, rng, count = MACHINES[name], np.random.default_rng(5), 72
    width = np.repeat([0.0, 0.05, 0.4], 24)
    rolls = machine.projectile.shape.rolls
    inertia, radius = machine.projectile.shape.inertia_factor if rolls else 0.0, float(machine.projectile.radius)
    speed, wheel = rng.uniform(1.0, 18.0, count), rng.uniform(2.0, 40.0, count)
    around = np.where(rng.random(count) < 0.6, speed * rng.uniform(0.9, 1.05, count), 0.0) * rolls
    low = np.stack([speed + inertia * around, speed - around, wheel])
    high = low + width * np.array([[1.0], [0.25 if rolls else 1.0], [1.0]])
    enclose = enclosure(machine, machine.stage(0), spins=rolls)
    assert not isinstance(enclose, str)
    coarse, fine = (enclose(Cells(low, high, np.zeros(count, np.intp)), steps) for steps in (48, 96))
    found = fine.widened(2.0 * fine.apart(coarse) + 1e-5 * fine.high)
    corners = np.array([[number >> side & 1 for number in range(8)] for side in range(3)], dtype=float)
    share = np.concatenate([np.broadcast_to(corners[:, :, None], (3, 8, count)), rng.uniform(size=(3, 8, count))], 1)
    lead, band, set_speed = low[:, None] + share * (high - low)[:, None]
    entry = (lead + inertia * band) / (1.0 + inertia) if rolls else lead
    spin = (lead - band) / ((1.0 + inertia) * radius) if rolls else np.zeros_like(lead)
    done = transit(machine, 0, entry, set_speed, entry_spin=spin, options=CLOSE)
    through, exits, turning = ~done.jammed, done.exit_speed, radius * done.exit_spin
    assert through.sum() > count
    assert (exits <= found.high + 1e-6).all()
    assert (np.where(through, exits, np.inf) >= found.low - 1e-6).all()
    assert (found.low[~through.all(axis=0)] == 0.0).all()
    if rolls:
        lead_out, band_out = exits + inertia * turning, exits - turning
        assert (np.where(through, lead_out, -np.inf) <= found.lead_high + 1e-4).all()
        assert (np.where(through, lead_out, np.inf) >= found.lead_low - 1e-4).all()
        assert (np.where(through, band_out, -np.inf) <= found.band_high + 1e-4).all()
        assert (np.where(through, band_out, np.inf) >= found.band_low - 1e-4).all()
    clear = (width == 0.0) & through[0] & (exits[0] > 2.0)
    assert clear.sum() > 6
    assert np.median(found.high[clear] / exits[0, clear]) < 1.001


@pytest.mark.parametrize("name", MACHINES)
def test_cell_without_bite_has_bound_zero(name: str) -> None:
    # Friction below tan φ at entry: the bite condition of rolling mills is not met.
    weak = Constant(0.02)
    given = MACHINES[name]
    machine = replace(given, contact=replace(given.contact, friction=weak, rail_friction=weak))
    enclose = enclosure(machine, machine.stage(0), spins=machine.projectile.shape.rolls)
    assert not isinstance(enclose, str)
    low = np.array([[0.05], [0.05], [5.0]])
    assert bool(transit(machine, 0, 0.05, 5.0).jammed)
    found = enclose(Cells(low, low + 0.01, np.zeros(1, np.intp)), 96)
    assert (found.low[0], found.high[0]) == (0.0, 0.0)
    assert (found.lead_high[0], found.band_high[0]) == (0.0, 0.0)


@pytest.mark.parametrize("name", ["disc", "ball", "ball, lighter wheels"])
def test_rail_throws_keep_to_the_speeds_that_energy_allows(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    machine, rng, count, kept = MACHINES[name], np.random.default_rng(6), 20, []
    integrate = stages._integrate

    def keep(take: Any, tractions: Any, body: Any, press: Any, lanes: Any, *rest: Any) -> Any:
        kept.append((body.copy(), lanes.copy()))
        return integrate(take, tractions, body, press, lanes, *rest)

    monkeypatch.setattr(stages, "_integrate", keep)
    enclose = enclosure(machine, machine.stage(0), spins=True)
    assert not isinstance(enclose, str)
    inertia, radius = machine.projectile.shape.inertia_factor, float(machine.projectile.radius)
    speed, wheel, around = (rng.uniform(*ends, count) for ends in ((1.0, 12.0), (2.0, 30.0), (-4.0, 8.0)))
    low = np.stack([speed + inertia * around, speed - around, wheel])
    high = low + np.array([[0.4], [0.1], [0.4]])
    enclose(Cells(low, high, np.zeros(count, np.intp)), 12)
    ((body, lanes),) = kept
    lead, band, set_speed = np.moveaxis(low + rng.uniform(size=(8, 3, count)) * (high - low), 1, 0)
    entry, turning = (lead + inertia * band) / (1 + inertia), (lead - band) / (1 + inertia)
    assert (turning >= lanes[:, normal_force.SPIN_LOW]).all()
    assert (turning <= lanes[:, normal_force.SPIN_HIGH]).all()
    done = transit(machine, 0, entry, set_speed, entry_spin=turning / radius, options=CLOSE)
    through = ~done.jammed
    assert through.any(axis=0).sum() > count / 2
    crush, stiffness = float(machine.stage(0).crush), float(machine.contact.stiffness)
    mass = float(machine.projectile.mass)
    for at in np.flatnonzero(through.any(axis=0)):
        fine, lane = through[:, at], lanes[at]
        fastest_so_far = float(np.maximum(entry, done.exit_speed)[fine, at].max())
        back, most, slowest, fastest = speed_ranges(body, lane, fastest_so_far)
        spun = radius * done.exit_spin[fine, at]
        assert back <= spun.min() <= spun.max() <= most
        assert slowest <= done.wheel_low_a[fine, at].min() <= done.wheel_top_a[fine, at].max() <= fastest
        # The whole crush is the wheel's. Twice its energy k c²/2 over m, as these wheels do not grow.
        assert lane[normal_force.CRUSH] == pytest.approx(stiffness * crush**2 / mass)


def test_rings_with_idlers_have_no_bound_but_the_cap() -> None:
    found = bound(scenario(HOOP, exit_energy=4.0), 2)
    assert "idlers" in found.missing
    assert found.speed == pytest.approx(np.sqrt(2 * 4.0 / 0.02), rel=1e-5)
