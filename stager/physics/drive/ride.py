"""Wheels under their motors through time: from any speeds, for a given while, with books."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import StagerError
from stager.model.arrays import Floats, Number
from stager.model.drive import Supply
from stager.physics.drive.bus import Command, flow
from stager.physics.drive.lanes import lanes, record_in_lanes
from stager.physics.drive.supply import Holding
from stager.physics.drive.train import Train

PATIENCE, EAGER, EASING = 5000, 3500, 250
"""Most steps; steps from which on, and over how many of which each time tenfold, errors are let pass: an overloaded
supply makes motors chatter between what they ask for and what they get."""
CALM, SNAP = 10.0, 1e-9
"""Tolerances from rest within which the motor's lag alone brings wheels there; share of its set speed within which a
governed wheel has arrived [-]."""
BISECTIONS = 40
# Dormand & Prince 1980, order 5 with an estimate of order 4; the last stage is the next step's first.
_STAGES = (
    (1 / 5,),
    (3 / 40, 9 / 40),
    (44 / 45, -56 / 15, 32 / 9),
    (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729),
    (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656),
    (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84),
)
_WEIGHTS = (*_STAGES[-1], 0.0)
_LOWER = (5179 / 57600, 0.0, 7571 / 16695, 393 / 640, -92097 / 339200, 187 / 2100, 1 / 40)
_ERROR = tuple(high - low for high, low in zip(_WEIGHTS, _LOWER, strict=True))


@dataclass(frozen=True, slots=True)
class Ledger:
    """Energies [J] of a while, shape (..., wheels) for one wheel of each column, and of the supply, shape (...).

    electrical: into the motors; copper, no_load, windage: what becomes heat there; supply_heat: in the supply;
    charge: taken from it [C].
    """

    electrical: Floats
    copper: Floats
    no_load: Floats
    windage: Floats
    supply_heat: Floats
    charge: Floats


@dataclass(slots=True)
class Run:
    """Lanes on their way: `speed` [rad/s], target, throttle [-] and holding current [A] of shape (lanes, wheels)."""

    train: Train
    supply: Supply
    target: Floats
    throttle: Floats
    current: Floats
    speed: Floats
    held: NDArray[np.bool_]
    bus: Floats
    books: bool

    def rates(self, speed: Floats) -> tuple[Floats, tuple[Floats, ...]]:
        """Acceleration of the wheels at `speed` [rad/s^2] and the rates of the books, as in Ledger.

        What a governor does is decided at the start of a step, so that the right side is smooth within.
        """
        train = self.train
        command = Command(
            throttle=np.where(train.governed, np.where(self.speed > self.target, 0.0, 1.0), self.throttle),
            holding=self.held, held=self.current,
        )  # fmt: skip
        emf = train.pull * speed
        now = flow(train, command, self.supply, emf, self.bus)
        self.bus = now.bus_voltage
        drag = train.disc.moment(speed)
        torque = train.pull * (now.current - train.idle_current) - drag
        torque = np.where(self.held | ((speed <= 0) & (torque < 0)), 0.0, torque)
        if not self.books:
            return torque / train.inertia, ()
        drawn = (train.count * now.power).sum(axis=-1, keepdims=True) / now.bus_voltage
        heat = drawn**2 * np.asarray(self.supply.resistance)[..., None]
        books = (now.power, train.resistance * now.current**2, emf * train.idle_current, drag * speed, heat, drawn)
        return torque / train.inertia, books

    def crossings(self, fresh: Floats, rate: Floats, fresh_rate: Floats, pace: Floats) -> Floats:
        """Time of the first crossing of a target by a governed wheel within a step [s], shape (lanes, 1); inf: none."""
        start, end = self.target - self.speed, self.target - fresh
        passed = self.train.governed & ~self.held & (start * end < 0) & (np.abs(end) > SNAP * self.target)
        if not passed.any():
            return np.full(pace.shape, np.inf)
        share = _root(start, -pace * rate, end, -pace * fresh_rate)
        return np.asarray(np.where(passed, pace * share, np.inf).min(axis=-1, keepdims=True))

    def settle(self) -> None:
        """Governed wheels that have come to their target are held there."""
        new = self.train.governed & (np.abs(self.target - self.speed) <= SNAP * self.target)
        self.held = self.held | new
        self.speed = np.where(new, self.target, self.speed)


def ride(
    train: Train, holding: Holding, supply: Supply, speed: Floats, duration: Number, *,
    tolerance: float = 1e-9, books: bool = True,
) -> tuple[Floats, Ledger | None]:  # fmt: skip
    """Wheels from `speed` [rad/s], shape (..., wheels), for `duration` [s], shape (...), on their way to `holding`.

    Open throttles stay at the setting that holds the speed, or at full; governors give full throttle below it, none
    above, and hold it once there. tolerance: local error relative to the set speeds [-]. Gives the speeds and, if
    asked for, the books. Raises ValueError where a speed is NaN.
    """
    lead = np.broadcast_shapes(np.shape(speed)[:-1], np.shape(duration), holding.bus_voltage.shape)
    wheels = train.size
    start = lanes(speed, lead, wheels)
    if np.isnan(start).any() or np.isnan(holding.angular_speed).any():
        raise ValueError("wheels ride from known speeds to known speeds")
    # A jam can turn a light wheel backward: that little is forgotten.
    start = np.maximum(start, 0.0)
    target, throttle, current = (
        lanes(value, lead, wheels) for value in (holding.angular_speed, holding.throttle, holding.current)
    )
    run = Run(
        train=record_in_lanes(train, lead, wheels), supply=record_in_lanes(supply, lead, None), target=target,
        throttle=np.minimum(throttle, 1.0), current=current, speed=start, held=np.zeros(start.shape, bool),
        bus=lanes(holding.bus_voltage, lead)[:, None], books=books,
    )  # fmt: skip
    run.settle()
    kept = _through(run, lanes(np.asarray(duration, dtype=np.float64), lead)[:, None], tolerance)
    ended = run.speed.reshape(*lead, wheels)
    if not books:
        return ended, None
    wide = (book.reshape(*lead, wheels) for book in kept[:4])
    return ended, Ledger(*wide, *(book.reshape(lead) for book in kept[4:]))


def _through(run: Run, duration: Floats, tolerance: float) -> list[Floats]:
    """Take `run` through `duration` [s], shape (lanes, 1), each lane at its own pace; gives the books."""
    rate, booked = run.rates(run.speed)
    books = [np.zeros(item.shape) for item in booked]
    left = duration.copy()
    lag = run.train.resistance * run.train.inertia / run.train.pull**2
    size = np.full(duration.shape, np.inf)
    strict = np.maximum(run.target, 1e-300) * tolerance
    for number in range(PATIENCE):
        if not (left > 0).any():
            return books
        scale = strict * 10.0 ** (max(number - EAGER, 0) / EASING)
        coming = -rate * lag * np.expm1(-left / lag)
        calm = (np.abs(coming) <= CALM * scale).all(axis=-1, keepdims=True)
        brisk = np.where(np.abs(rate) > 0, 0.05 * run.target / np.maximum(np.abs(rate), 1e-300), np.inf)
        size = np.where(np.isinf(size), brisk.min(axis=-1, keepdims=True), size)
        pace = np.where(calm, 0.0, np.minimum(size, left))
        before, held = run.speed, run.held
        fresh, error, gathered, last = _step(run, rate, booked, pace)
        fresh = np.where(calm, run.speed + coming, fresh)
        pace = np.where(calm, left, pace)
        if booked and calm.any():
            rest = _calm_books(run, fresh, booked, left, lag)
            gathered = [np.where(calm, much, item) for much, item in zip(rest, gathered, strict=True)]
        ratio = (np.abs(error) / scale).max(axis=-1, keepdims=True)
        crossing = run.crossings(fresh, rate, last[0], pace)
        good = ((ratio <= 1.0) | calm) & np.isinf(crossing)
        run.speed = np.where(good, fresh, before)
        for book, item in zip(books, gathered, strict=True):
            book += np.where(good, item, 0.0)
        left = np.where(good, np.where(pace >= left, 0.0, left - pace), left)
        size = pace * np.clip(0.9 * np.maximum(ratio, 1e-10) ** -0.2, 0.2, 5.0)
        size = np.where(ratio <= 1.0, np.minimum(size, crossing), size)
        run.settle()
        if not good.all() or not np.array_equal(held, run.held):
            rate, booked = run.rates(run.speed)
        else:
            rate, booked = last
    raise StagerError("wheels did not come through their time within the allowed number of steps")


def _calm_books(run: Run, fresh: Floats, booked: tuple[Floats, ...], left: Floats, lag: Floats) -> list[Floats]:
    """What the books gain in `left` [s] while the motors' lags [s] bring wheels to rest at `fresh` [rad/s]: their rates
    go over from those `booked` to those there as speeds do; the supply's with the slowest wheel."""
    own, all_of_them = (-span * np.expm1(-left / span) for span in (lag, lag.max(axis=-1, keepdims=True)))
    spans = (own,) * 4 + (all_of_them,) * 2
    ends = run.rates(fresh)[1]
    return [left * end + (now - end) * span for now, end, span in zip(booked, ends, spans, strict=True)]


def _step(
    run: Run, rate: Floats, booked: tuple[Floats, ...], pace: Floats
) -> tuple[Floats, Floats, list[Floats], tuple[Floats, tuple[Floats, ...]]]:
    """One step of `pace` [s], shape (lanes, 1): speeds, their error, what the books gain, and the rates at its end."""
    slopes, accounts = [rate], [booked]
    speed = run.speed
    for row in _STAGES:
        speed = run.speed + pace * _mix(row, slopes)
        found = run.rates(np.maximum(speed, 0.0))
        slopes.append(found[0])
        accounts.append(found[1])
    gathered = [pace * _mix(_WEIGHTS, [account[k] for account in accounts]) for k in range(len(booked))]
    return np.maximum(speed, 0.0), pace * _mix(_ERROR, slopes), gathered, (slopes[-1], accounts[-1])


def _root(start: Floats, start_slope: Floats, end: Floats, end_slope: Floats) -> Floats:
    """Where on 0…1 the cubic with these ends and slopes is 0 [-]; the ends have opposite signs."""
    low, high = np.zeros(start.shape), np.ones(start.shape)
    for _ in range(BISECTIONS):
        at = (low + high) / 2
        away = 1 - at
        value = away**2 * ((1 + 2 * at) * start + at * start_slope) + at**2 * ((3 - 2 * at) * end - away * end_slope)
        low, high = np.where(value * start > 0, at, low), np.where(value * start > 0, high, at)
    return (low + high) / 2


def _mix(weights: tuple[float, ...], values: list[Floats]) -> Floats:
    total = np.zeros(())
    for weight, value in zip(weights, values, strict=False):
        if weight:
            total = total + weight * value
    return total
