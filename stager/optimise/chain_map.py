"""A chain of stage maps: thousands of chains a millisecond, for searching."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.span import span
from stager.optimise.spun import way_of
from stager.optimise.stage_map import Entries, Passed, StageMap
from stager.physics.guide import free_run
from stager.physics.layout import free_runs

SPEEDS, SHARES = 16, 4
GRIP_SLACK = 1e-5
PAST_PEAK, FAR_PAST = 1.02, 2.0
ROOM = 1.2
"""How far maps go past the end of the range: where peaks met it they would bend, which cubics cannot follow."""
CLEAR, WIDER, WIDENINGS = 1.05, 1.5, 6


@dataclass(frozen=True, slots=True)
class ChainRun:
    """Chains in lanes, arrays (lanes, stages): wheel_speed, exit_speed, grip_limit [m/s] (NaN: not known, the end of
    the range where exit speed rises up to there), slip_heat [J], peak_acceleration [m/s^2]; through, (lanes,)."""

    wheel_speed: Floats
    exit_speed: Floats
    grip_limit: Floats
    slip_heat: Floats
    peak_acceleration: Floats
    through: NDArray[np.bool_]


class ChainMap:
    """Maps of the stages of a launcher, made as they are needed; equal stages behind the first share theirs.

    Settings are shares of the greatest wheel speed open to a stage at its own entry: the grip limit less its margin,
    or just past the peak. So the limits of a stage on its own are straight edges.
    """

    samples = 3000

    def __init__(
        self, launcher: Launcher, limit_values: LimitValues, most: int, fastest: float, spin: float | None = None,
        entry: float = 0.0,
    ) -> None:  # fmt: skip
        """most: stages that there may be; fastest: exit speed that need not be exceeded [m/s]; spin: that is asked for
        [rad/s]; entry: speed into a stage that maps must reach [m/s]."""
        self.spin, self.way = spin, way_of(launcher, limit_values, spin)
        self.launcher, self.limit_values = launcher, limit_values
        self.feed = float(launcher.feed.speed)
        self.tops = [float(span(launcher, limit_values, k).top) for k in range(most)]
        strains = (limit_values.acceleration, launcher.projectile.max_acceleration)
        self.strained = any(strain is not None for strain in strains)
        self.first = self._map(0, Entries(self.feed, self.feed, 1))
        guided = launcher.guide is not None and most > 1
        self.gaps = free_runs(launcher, most, np.array([self.tops[0] / 2])) if guided else []
        self._shares = self._share_range()
        self._maps: dict[int, StageMap] = {}
        self._fastest, self._high = fastest, max(self._guess(fastest), entry)
        self._widen(fastest)

    def stage(self, index: int) -> StageMap:
        """The map of stage `index`."""
        if index == 0:
            return self.first
        key = id(self.launcher.stage(index))
        if key not in self._maps:
            low = min(self.feed, self._high) * 0.8
            self._maps[key] = self._map(index, Entries(low, self._high, SPEEDS, *self._shares))
        return self._maps[key]

    def under(self, limit_values: LimitValues, most: int) -> ChainMap:
        """The same under other limits, for up to `most` stages; maps are shared where these leave them as they are."""
        tops = [float(span(self.launcher, limit_values, k).top) for k in range(most)]
        same = tops == self.tops[:most] and bool(limit_values.grip_margin) == bool(self.limit_values.grip_margin)
        if not same:
            return ChainMap(self.launcher, limit_values, most, self._fastest, self.spin)
        other = copy(self)
        other.limit_values, other.tops = limit_values, tops
        return other

    def enter(self, index: int, exit_speed: Floats) -> Floats:
        """Speed into stage `index` [m/s] behind one that leaves at `exit_speed` [m/s]."""
        if index == 0 or not self.gaps:
            return exit_speed
        return free_run(self.launcher.guide, self.launcher.projectile, exit_speed, self.gaps[index - 1])

    def open(self, index: int, anchors: Floats, grip: float = 1.0) -> Floats:
        """Greatest wheel speed open to stage `index` [m/s], by its anchors (lanes, 4)."""
        margin, top = self.limit_values.grip_margin, self.tops[index]
        # Between the entries of a map anchors may lie a little above the end of the range.
        highest = np.minimum(anchors[:, 2], top)
        if not margin:
            return highest
        limited = anchors[:, 3] < top * (1 - 1e-9)
        return np.where(limited, np.minimum((1 - margin - GRIP_SLACK) * grip * anchors[:, 3], top), highest)

    def wheel(self, index: int, anchors: Floats, setting: Floats, grip: float = 1.0) -> Floats:
        """Wheel speed [m/s] of stage `index` at a share of what is open to it, arrays (lanes,)."""
        share = np.clip(setting, 0.0, 1.0)
        return np.maximum(share * self.open(index, anchors, grip), np.minimum(anchors[:, 0], anchors[:, 1]))

    def run(self, settings: Floats, grip: Floats | None = None) -> ChainRun:
        """Chains at `settings` (shares of what is open), shape (lanes, stages).

        grip: true grip limits as multiples of the maps', shape (stages,).
        """

        def wheel(index: int, anchors: Floats) -> Floats:
            return self.wheel(index, anchors, settings[:, index], 1.0 if grip is None else float(grip[index]))

        return self._chain(len(settings), settings.shape[1], wheel)

    def at(self, wheel_speed: Floats) -> ChainRun:
        """Chains at wheel speeds [m/s], shape (lanes, stages)."""
        return self._chain(len(wheel_speed), wheel_speed.shape[1], lambda index, anchors: wheel_speed[:, index])

    def _chain(self, lanes: int, stages: int, choose: Callable[[int, Floats], Floats]) -> ChainRun:
        """Chains whose wheel speeds [m/s] are chosen by stage and anchors."""
        wheel, leaving, limit, heat, peak = (np.zeros((lanes, stages)) for _ in range(5))
        out = ChainRun(wheel, leaving, limit, heat, peak, np.ones(lanes, bool))
        speed, share = np.full(lanes, self.feed), np.zeros(lanes)
        for k in range(stages):
            chart, speed = self.stage(k), self.enter(k, speed)
            near = chart.near(speed, share)
            anchors = chart.anchors(near)
            wheel[:, k], limit[:, k] = choose(k, anchors), anchors[:, 3]
            passed = chart.run(near, speed, wheel[:, k], anchors)
            leaving[:, k], heat[:, k], peak[:, k] = passed.exit_speed, passed.slip_heat, passed.peak_acceleration
            out.through[:] &= passed.through
            speed, share = passed.exit_speed, passed.share
        return out

    def grips(self, exit_speed: Floats, share: Floats) -> Floats:
        """The maps' grip limits [m/s] behind exits of shapes (stages,): speeds [m/s] and shares of each stage."""
        speed, spin, found = np.array([self.feed]), np.zeros(1), np.zeros(exit_speed.shape)
        for k in range(exit_speed.size):
            speed = self.enter(k, speed)
            chart = self.stage(k)
            found[k] = chart.anchors(chart.near(speed, spin))[0, 3]
            speed, spin = exit_speed[k : k + 1], share[k : k + 1]
        return found

    def _map(self, index: int, entries: Entries) -> StageMap:
        beyond = 1.0 if self.limit_values.grip_margin else FAR_PAST if self.strained else PAST_PEAK
        return StageMap(self.launcher, index, entries, ROOM * self.tops[index], beyond, self.way)

    def _after_first(self) -> Passed:
        """What may leave the first stage."""
        speed, share = np.full(33, self.feed), np.zeros(33)
        near = self.first.near(speed, share)
        anchors = self.first.anchors(near)
        wheel = np.maximum(np.linspace(0.2, 1.0, 33) * self.open(0, anchors), anchors[:, 0])
        return self.first.run(near, speed, wheel, anchors)

    def _share_range(self) -> tuple[float, float, int]:
        """Spins that may come in behind the first stage, where they are not the one asked for."""
        if self.spin:
            return 0.0, 0.0, 1
        passed = self._after_first()
        shares = passed.share[passed.through]
        if shares.size == 0 or not np.abs(shares).max() > 1e-6:
            return 0.0, 0.0, 1
        low, high = float(min(shares.min(), 0.95)) - 0.02, float(max(shares.max(), 1.0)) + 0.02
        return low, high, 2 if high - low < 0.15 else SHARES

    def _guess(self, fastest: float) -> float:
        passed = self._after_first()
        speeds = passed.exit_speed[passed.through]
        first = float(speeds.max()) if speeds.size else self.feed
        return float(max(min(CLEAR * fastest, 1.25 * first * np.sqrt(max(len(self.tops) - 1, 1))), 1.2 * self.feed))

    def _widen(self, fastest: float) -> None:
        """Maps that reach as far as the fastest chain does."""
        for _ in range(WIDENINGS if len(self.tops) > 1 else 0):
            before = self.run(np.ones((1, len(self.tops)))).exit_speed[0, :-1].max()
            if before < self._high or self._high >= CLEAR * fastest:
                return
            self._high = min(WIDER * self._high, CLEAR * fastest)
            self._maps.clear()
