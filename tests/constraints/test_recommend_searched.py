"""The recommended wheel speed against a plain search: behind other stages, of two speeds, with limits on drives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, Limit, OperatingPoint, evaluate
from stager.constraints.recommend import NOMINAL_ONLY, Recommended, recommend, required_share
from stager.model.arrays import Floats
from stager.model.launcher import Guide, Launcher
from stager.model.projectile import ROD
from stager.model.requirements import LimitValues
from stager.model.stage import RAIL
from stager.physics.chain import throw
from stager.physics.flight import outlet_speed
from stager.physics.records import take
from tests.constraints.machines import FULL
from tests.drive.machines import DRIVE, HEAT, SUPPLY, launcher

Flags = NDArray[np.bool_]
BY_NAME = {limit.name: limit for limit in LIMITS}
NEAR = 0.004
"""Share of the greatest mean exit speed that the search may miss [-]: the spacing of its finest grid."""


TOP = 16.0
"""Greatest wheel speed [m/s], below that of the greatest exit speed: more speed throws faster, and wears limits out."""


@dataclass(frozen=True)
class Case:
    """A stage behind others, and why its wheel should not turn faster."""

    by: str
    machine: Launcher = FULL
    limits: dict[str, Any] = field(default_factory=dict)
    before: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    samples: int = 1
    asked: float | None = None
    grip: float | None = None

    @property
    def values(self) -> LimitValues:
        return LimitValues(**{"exit_energy": 50.0, "wheel_speed": TOP, **self.limits})

    def drawn(self) -> Launcher:
        """Return the launcher with drawn mass and crush where there is more than one sample."""
        if self.samples == 1:
            return self.machine
        rng = np.random.default_rng(7)
        mass, crush = (np.append(1.0, 1 + 0.04 * rng.normal(size=self.samples - 1)) for _ in range(2))
        projectile, template = self.machine.projectile, self.machine.template
        return replace(
            self.machine, projectile=replace(projectile, mass=projectile.mass * mass),
            template=replace(template, crush=template.crush * crush),
        )  # fmt: skip

    def find(self) -> Recommended:
        before = np.array(self.before[0]), np.array(self.before[1])
        return recommend(self.drawn(), self.samples, self.values, before, self.grip, asked=self.asked)

    def thrown(self, speeds: Floats, samples: int) -> OperatingPoint:
        """Return the points of the first samples at wheel speeds [m/s], thrown in one go, shape (speeds, samples)."""
        machine = take(self.drawn(), slice(samples)) if self.samples > 1 else self.drawn()
        a, b = (
            np.stack([*(np.full((speeds.size, samples), u) for u in one), np.tile(speeds, (samples, 1)).T], axis=-1)
            for one in self.before
        )
        done = throw(machine, a, None if np.array_equal(a, b) else b)
        return OperatingPoint(launcher=machine, limit_values=self.values, throw=done)

    def broken(self, speeds: Floats) -> dict[str, Flags]:
        """Return by limit which samples break it, (speeds, samples): all of them a hard one, the nominal one others."""
        nominal, found = self.thrown(speeds, 1), {}
        sure = self.samples == 1 or self.values.confidence <= NOMINAL_ONLY
        every = nominal if sure else self.thrown(speeds, self.samples)
        for limit in LIMITS:
            if (result := evaluate(limit, every if limit.hard else nominal)) is not None:
                samples = self.samples if limit.hard and not sure else 1
                found[limit.name] = np.broadcast_to(~(result.slack >= -1e-6), (speeds.size, samples))
        return found

    def kept(self, speeds: Floats) -> Flags:
        """Return where the nominal launcher keeps all limits, and enough draws the hard ones, those of a rate apart."""
        fine, together = np.ones(speeds.size, bool), np.zeros((2, speeds.size, self.samples), bool)
        for name, bad in self.broken(speeds).items():
            fine &= ~bad[:, 0]
            if bad.shape[1] > 1:
                together[int(BY_NAME[name].kind is Kind.STEADY)] |= bad
        if self.samples > 1:
            needed = required_share(self.values.confidence, self.samples - 1)
            fine &= ((~together[..., 1:]).mean(axis=-1) >= needed).all(axis=0)
        return fine

    def exits(self, speeds: Floats) -> tuple[Floats, Floats]:
        """Return the exit speed of the nominal launcher and the mean over the draws [m/s], each (speeds,)."""
        point = self.thrown(speeds, self.samples)
        exits = np.asarray(outlet_speed(point.launcher, point.throw.exit_speed))
        return exits[:, 0], exits[:, min(1, self.samples - 1) :].mean(axis=1)


SECOND = ((8.0,), (8.0,))
TWO_SPEEDS = ((8.0,), (8.6,))
WARM = launcher(drive=replace(DRIVE, heat=HEAT), rate=6.0)
HOT = launcher(drive=replace(DRIVE, heat=HEAT), rate=20.0)
WEAK = launcher(supply=replace(SUPPLY, voltage=2.0))
CASES = {
    "one stage": Case("exit_energy", limits={"exit_energy": 0.9}),
    "second stage": Case("exit_energy", limits={"exit_energy": 1.3}, before=SECOND, samples=31),
    "behind two speeds": Case("exit_energy", limits={"exit_energy": 1.3}, before=TWO_SPEEDS, samples=31),
    "in a barrel": Case(
        "exit_energy", replace(FULL, guide=Guide(friction=0.3)), {"exit_energy": 1.3}, TWO_SPEEDS, samples=11
    ),
    "rod in two nips": Case(
        "exit_energy",
        replace(FULL, projectile=replace(FULL.projectile, shape=ROD, length=0.12)),
        {"exit_energy": 0.9},
        TWO_SPEEDS,
    ),
    "nominal only": Case("exit_energy", limits={"exit_energy": 1.3, "confidence": 0.5}, before=SECOND, samples=11),
    "first of many draws": Case("exit_energy", limits={"exit_energy": 0.9}, samples=61),
    "peak": Case("peak", limits={"wheel_speed": 30.0}, before=SECOND, samples=11),
    "rail": Case(
        "slip_heat", replace(FULL, template=replace(FULL.template, layout=RAIL)), {"slip_heat": 0.3}, samples=5
    ),
    "end of the range": Case("wheel_speed", limits={"wheel_speed": 9.0}),
    "grip margin": Case("grip_margin", limits={"grip_margin": 0.1}, grip=11.0, before=SECOND),
    "goal": Case("goal", before=SECOND, asked=9.5, samples=11),
    "goal out of reach": Case("exit_energy", limits={"exit_energy": 0.9}, asked=40.0),
    "slip heat": Case("slip_heat", limits={"slip_heat": 0.45}, before=SECOND, samples=11),
    "throttle": Case("throttle", WEAK, before=SECOND),
    "peak power": Case("peak_power", launcher(), {"peak_power": 180.0}, SECOND, samples=5),
    "supply current": Case("supply_current", launcher(), {"supply_current": 12.5}, SECOND, samples=5),
    "windings": Case("winding_temperature", HOT, {"winding_temperature": 320.0}, SECOND, samples=21),
    "settled loss": Case("settled_loss", WARM, {"settled_loss": 6e-3}, SECOND),
}


@pytest.mark.parametrize("name", CASES)
def test_recommended_speed_is_the_best_of_a_plain_search(name: str) -> None:
    case = CASES[name]
    found = case.find()
    assert found.wheel_speed is not None
    speed = found.wheel_speed
    assert found.by == case.by
    grid = np.array([speed, 1.05 * speed, *np.linspace(1.0, case.values.wheel_speed or TOP, 24)])
    kept, (nominal, mean) = case.kept(grid), case.exits(grid)
    assert kept[0]
    assert (found.exit_speed, found.mean_exit) == pytest.approx((nominal[0], mean[0]), rel=1e-4)
    assert (found.draws, found.confidence) == (case.samples - 1, case.values.confidence)
    if case.grip is not None:
        kept &= grid <= (1 - case.values.grip_margin) * case.grip
    if case.by == "goal":
        assert grid[kept & (nominal >= (case.asked or 0.0))].min() >= speed
        assert found.exit_speed == pytest.approx(case.asked, rel=3e-4)
    else:
        assert mean[kept].max() <= (1 + NEAR) * found.mean_exit
    if case.by in BY_NAME and case.by != "grip_margin":
        assert case.broken(grid[1:2])[case.by].any()
    if case.values.confidence > NOMINAL_ONLY:
        hard = [limit.name for limit in LIMITS if limit.hard and limit.kind is not Kind.STEADY]
        broken = [bad[0, min(1, case.samples - 1) :] for name, bad in case.broken(grid[:1]).items() if name in hard]
        assert found.kept == pytest.approx(1 - np.logical_or.reduce(broken).mean())


@pytest.mark.parametrize("energy", [0.6, 0.8, 0.9, 1.0])
@pytest.mark.parametrize("samples", [1, 11, 61])
def test_wheel_does_not_slip_where_a_slower_one_throws_as_fast(energy: float, samples: int) -> None:
    # Far beyond the grip limit a wheel throws no faster than a slow one: it wears its tyre, and as it runs down it
    # passes speeds at which the limit is broken.
    case = Case("exit_energy", limits={"exit_energy": energy, "wheel_speed": 80.0, "confidence": 0.5}, samples=samples)
    found = case.find()
    assert found.wheel_speed is not None
    assert found.by == "exit_energy"
    slower = case.broken(np.linspace(0.5, found.wheel_speed, 40))["exit_energy"]
    assert not slower.any()
    assert found.exit_speed == pytest.approx((2 * energy / 0.018) ** 0.5, rel=NEAR)


def made_up(value: Callable[[Floats], Floats], kind: Kind = Kind.THROW, *, hard: bool = True) -> Limit:
    """Return a limit of 1 on a value over the wheel speed of the last stage [m/s]."""
    return Limit(
        name="gap", kind=kind, unit="-", hard=hard, bound=lambda point: 1.0, remedy=lambda point: "",
        value=lambda point: value(point.throw.stages.wheel_speed_a[..., -1]),
    )  # fmt: skip


@pytest.mark.parametrize("kind", [Kind.THROW, Kind.STEADY])
@pytest.mark.parametrize("hard", [True, False])
def test_speeds_beyond_broken_ones_are_taken_where_they_throw_faster(
    hard: bool, kind: Kind, monkeypatch: pytest.MonkeyPatch
) -> None:
    grid = np.linspace(10.0, 30.0, 501)
    peak = float(grid[np.argmax(Case("peak").exits(grid)[0])])
    for low, high, top, by, end in (
        (6.0, 9.0, 30.0, "peak", peak), (6.0, 9.0, 12.0, "wheel_speed", 12.0), (6.0, 9.0, 8.0, "gap", 6.0),
        (12.0, 19.0, 30.0, "peak", 19.0), (16.0, 30.0, 25.0, "gap", 16.0),
    ):  # fmt: skip
        gap = made_up(lambda u, low=low, high=high: np.where((u > low) & (u < high), 2.0, 0.0), kind, hard=hard)  # type: ignore[misc]
        monkeypatch.setattr("stager.constraints.recommend.LIMITS", (gap,))
        found = Case(by, limits={"wheel_speed": top}).find()
        assert found.by == by
        assert found.wheel_speed == pytest.approx(end, rel=3e-3)


@pytest.mark.parametrize("kind", [Kind.THROW, Kind.STEADY])
@pytest.mark.parametrize("samples", [1, 11])
def test_limit_without_a_number_is_not_kept(kind: Kind, samples: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # What cannot be computed is not safe: beyond 9 m/s the value is not a number.
    unknown = made_up(lambda u: np.where(u > 9.0, np.nan, 0.0), kind)
    monkeypatch.setattr("stager.constraints.recommend.LIMITS", (unknown,))
    found = Case("gap", samples=samples).find()
    assert found.by == "gap"
    assert found.wheel_speed == pytest.approx(9.0, rel=3e-3)
