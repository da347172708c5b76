"""Setting the wheels: grip limit and recommended setting of each stage over an ensemble of launchers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.constraints.recommend import Recommended
from stager.fit.draws import Ensemble
from stager.fit.statistics.coverage import interval
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.chain import SURE, throw, transit

GRID = np.concatenate([np.linspace(0.6, 0.9, 7), np.linspace(0.92, 1.2, 15)])
OFF = 0.05


class GripLimits(Protocol):
    """Grip limits of lanes; speeds [m/s], NaN where exit speed still rises at the end of the range."""

    @property
    def wheel_speed(self) -> Floats:
        """The grip limit."""
        ...

    @property
    def exit_speed(self) -> Floats:
        """Exit speed there."""
        ...

    @property
    def peak_speed(self) -> Floats:
        """Wheel speed of the greatest exit speed."""
        ...

    @property
    def peak_exit(self) -> Floats:
        """The greatest exit speed."""
        ...


class Finder(Protocol):
    """Finds grip limits within what drive and limits allow."""

    def __call__(self, launcher: Launcher, index: int, entry_speed: Floats, entry_spin: Floats) -> GripLimits:
        """For stage `index` (from 0) of lanes that enter at `entry_speed` [m/s] with `entry_spin` [rad/s]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A quantity: best guess and the ends of its 95 % coverage interval."""

    nominal: float
    low: float
    high: float

    @property
    def width(self) -> float:
        """Width of the interval by the best guess [-]."""
        return (self.high - self.low) / self.nominal if self.nominal else np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """How to set one stage (counted from 1), all speeds in m/s.

    grip_limit (None: in most draws exit speed still rises at the end of the range); recommended: the setting, and
    recommended_exit what leaves there (NaN where there is no setting), over the draws that get through; jams: share of
    those that do not [-]; short, over: share of exit speed that is lost 5 % below and 5 % above the best guess of the
    grip limit, on average over draws that get through [-].
    """

    stage: int
    grip_limit: Span | None
    exit_speed: Span
    recommended: Recommended
    recommended_exit: Span
    jams: float
    short: float
    over: float


def span_of(lanes: Floats) -> Span:
    """Return the best guess (lane 0) and the 95 % interval of the other lanes (lanes,).

    Where the best guess lies outside, as on a plateau's edge, the median takes its place.
    """
    low, high = interval(lanes[1:])
    nominal = float(lanes[0]) if low <= lanes[0] <= high else float(np.median(lanes[1:]))
    return Span(nominal=nominal, low=low, high=high)


def limits(found: GripLimits) -> Floats:
    """Grip limits of lanes [m/s]; the wheel speed of the greatest exit speed where there is none."""
    return np.where(np.isnan(found.wheel_speed), found.peak_speed, found.wheel_speed)


def limit_span(found: GripLimits) -> Span | None:
    """Return the grip limit over lanes, None where most lanes, or the best guess, have none."""
    known = ~np.isnan(found.wheel_speed)
    return span_of(limits(found)) if known[0] and known.mean() > 0.5 else None


def tune(
    ensemble: Ensemble, index: int, entry_speed: Floats, entry_spin: Floats, found: GripLimits, chosen: Recommended
) -> Tuned:
    """Return grip limits `found` of stage `index` (from 0) and its recommended setting `chosen` over an ensemble.

    Entries [m/s], [rad/s], all (lanes,).
    """
    launcher = ensemble.launcher
    known, limit = ~np.isnan(found.wheel_speed), limits(found)
    grid = limit[0] * GRID
    exits = transit(
        launcher, index, entry_speed, grid[:, None], entry_spin=entry_spin, options=SURE
    ).exit_speed  # (settings, lanes)
    # Draws that jam there are told of as jams, not as a loss of speed.
    share = np.where(exits[:, 1:] > 0, exits[:, 1:] / np.maximum(found.peak_exit[1:], 1e-9), np.nan)
    mean = np.array([np.nanmean(row) if np.isfinite(row).any() else np.nan for row in share])
    lost = np.interp(limit[0] * np.array([1 - OFF, 1 + OFF]), grid, 1 - mean)
    leaves, jams = _exits_at(ensemble, index, entry_speed, entry_spin, chosen)
    return Tuned(
        stage=index + 1, grip_limit=limit_span(found),
        exit_speed=span_of(np.where(known, found.exit_speed, found.peak_exit)), recommended=chosen,
        recommended_exit=leaves, jams=jams, short=float(lost[0]), over=float(lost[1]),
    )  # fmt: skip


def _exits_at(
    ensemble: Ensemble, index: int, entry_speed: Floats, entry_spin: Floats, chosen: Recommended
) -> tuple[Span, float]:  # fmt: skip
    """Exit speed at the recommended setting over the draws that get through, and the share of those that jam."""
    if chosen.wheel_speed is None:
        return Span(nominal=np.nan, low=np.nan, high=np.nan), np.nan
    setting = np.full(ensemble.lanes, chosen.wheel_speed)
    exits = transit(ensemble.launcher, index, entry_speed, setting, entry_spin=entry_spin, options=SURE).exit_speed
    passed = exits[1:] > 0
    if not passed.any():
        return Span(nominal=float(exits[0]), low=np.nan, high=np.nan), float(1 - passed.mean())
    return span_of(np.append(exits[:1], exits[1:][passed])), float(1 - passed.mean())


def tune_behind(
    ensemble: Ensemble, index: int, before_a: Floats, before_b: Floats, find: Finder, chosen: Recommended
) -> Tuned | None:
    """Return grip limit and recommended setting `chosen` of stage `index` (from 0) behind wheels at given speeds [m/s].

    before_a, before_b: each (index,). None where the best guess does not get through.
    """
    speed, spin = behind(ensemble, before_a, before_b)
    found = find(ensemble.launcher, index, speed, spin)
    if speed[0] <= 0 or found.peak_exit[0] <= 0:
        return None
    return tune(ensemble, index, speed, spin, found, chosen)


def feed(ensemble: Ensemble) -> tuple[Floats, Floats]:
    """Speed [m/s] and spin [rad/s] at which the first stage is entered, (lanes,)."""
    fed = ensemble.launcher.feed
    speed, spin = (np.asarray(value, dtype=np.float64) for value in (fed.speed, fed.spin))
    return np.broadcast_to(speed, (ensemble.lanes,)), np.broadcast_to(spin, (ensemble.lanes,))


def at(ensemble: Ensemble, wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> tuple[Floats, Floats]:
    """Exit speed [m/s] and spin [rad/s], (lanes,), settings (stages,) or (lanes, stages) [m/s]; None: B runs as A."""
    shape = (ensemble.lanes, np.shape(wheel_speed)[-1])
    speeds_b = None if wheel_speed_b is None else np.broadcast_to(wheel_speed_b, shape)
    done = throw(ensemble.launcher, np.broadcast_to(wheel_speed, shape), speeds_b, options=SURE)
    return done.exit_speed, done.spin


def behind(ensemble: Ensemble, before_a: Floats, before_b: Floats) -> tuple[Floats, Floats]:
    """Speed [m/s] and spin [rad/s] behind wheels at given speeds [m/s], each (stages,); without any: of the feed."""
    return at(ensemble, before_a, before_b) if np.size(before_a) else feed(ensemble)
