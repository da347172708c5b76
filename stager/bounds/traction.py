"""Extremes of friction over intervals of slip, and limits of spin and wheel speed within a contact.

φ(s) = μ(|s|)·tanh(s/ε) is odd. Its peaks and troughs at s > 0 are found once per law; over an interval the extremes
are at its ends, or at a peak or trough inside.

The limits follow from the energy, with the force of a driven wheel's motor: q = rΩ rises past max(q at the start, v so
far) only while the wheel drives it forward, u > v cos φ + q, and a wheel is faster than set only if the projectile has
sped it up, against its motor. Since the last moment with u = U, energy has not grown: at a first q above that maximum M
u² ≤ M U² + m v² + 2 S, S the crush energy, hence q² < U² + (m v² + 2 S)/M; then for the wheel M u² ≤ M U² + m v² + β m
q² + 2 S. Backwards it is the same from the last moment with u = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.bounds.normal_force import CRUSH, LIGHT, MOTOR_SLOPE, SET_HIGH, SPIN_HIGH, SPIN_LOW, STALL, TURNING
from stager.model.arrays import Floats, Matrix, Vector
from stager.model.launcher import FrictionLaw
from stager.model.stage import Stage
from stager.physics.air import windage
from stager.physics.compiled import compiled, entry, inlined
from stager.physics.contact.equations import grip, number_and_values
from stager.physics.wheel import driven_inertia

WIDEST_SLIP = 2000.0
"""Greatest slip of the tables [m/s]."""
ROUNDING = 1e-9
"""Share taken off tabulated φ for rounding [-]."""
LOST_BETWEEN = 1e-5
"""Share by which φ s may dip between two slips of its table [-]."""
NARROWED = 17
"""Slips at which an interval with an extremum is narrowed down."""


class Traction(NamedTuple):
    """φ of one side, as arguments of compiled functions.

    number, values: of the friction law, see `dispatch`; creep: ε [m/s]; peak: the greatest φ [-], at the slip `crest`
    [m/s]; single: slip of its only extremum at s > 0, 0 where there are more [m/s]; maxima: slips [m/s] and values
    [-] of the peaks and of the mirrored troughs, (2, n); rising: slips up to the first peak [m/s] and φ, (2, n);
    losses: slips [m/s] and the least φ s from there on [m/s], (2, n), empty where φ s rises everywhere.
    """

    number: int
    values: Vector
    creep: float
    peak: float
    crest: float
    single: float
    maxima: Matrix
    rising: Matrix
    losses: Matrix


def traction_of(law: FrictionLaw, creep: float) -> Traction:
    """Return the traction of a friction law with creep speed `creep` [m/s]."""
    number, given = number_and_values(law)
    values = np.array([float(value) for value in given])

    def at(slip: Floats) -> Floats:
        found = np.empty(slip.size)
        sample(number, values, creep, slip, found)
        return found

    peaks, troughs = _turns(law, creep, at)
    crest = max([*peaks, WIDEST_SLIP], key=lambda slip: float(at(np.array([slip]))[0]))
    single = WIDEST_SLIP if not peaks and not troughs else peaks[0] if len(peaks) == 1 and not troughs else 0.0
    maxima = np.array(sorted([*peaks, *(-place for place in troughs)]))
    slips = np.concatenate([[0.0], np.geomspace(1e-4 * creep, min([*peaks, WIDEST_SLIP]), 4000)])
    # Between two values the lower one is used, so a needed φ is found at the greater slip.
    rising = np.stack([slips, np.maximum.accumulate(at(slips)) * (1.0 - ROUNDING)])
    return Traction(
        number, values, creep, float(at(np.array([crest]))[0]), crest, single, np.stack([maxima, at(maxima)]), rising,
        _losses(creep, at),
    )  # fmt: skip


@entry
def sample(number: int, values: Vector, creep: float, slip: Vector, out: Vector) -> None:
    """Write φ [-] at each slip [m/s], of either sign, to `out`."""
    for n in range(slip.size):
        out[n] = grip(number, values, slip[n], creep)[0]


def _losses(creep: float, at: Any) -> Floats:
    """Return slips [m/s] and the least φ s from there on [m/s], (2, n), empty where φ s rises everywhere."""
    slips = np.concatenate([[0.0], np.geomspace(1e-4 * creep, WIDEST_SLIP, 40_000)])
    lost = at(slips) * slips
    if (np.diff(lost) >= 0.0).all():
        return np.zeros((2, 0))
    return np.stack([slips, np.minimum.accumulate(lost[::-1])[::-1] * (1.0 - LOST_BETWEEN)])


def _turns(law: FrictionLaw, creep: float, at: Any) -> tuple[list[float], list[float]]:
    """Return the slips of peaks and of troughs at s > 0 [m/s]."""
    knots = np.asarray(getattr(law, "slip", ()), dtype=np.float64)
    grid = np.unique(np.concatenate([np.geomspace(1e-3 * creep, WIDEST_SLIP, 6000), knots[knots > 0]]))
    value = at(grid)
    rise = np.diff(value)
    rise[np.abs(rise) < 1e-13 * np.abs(value).max()] = 0.0
    signs: NDArray[np.float64] = np.sign(rise)
    found: dict[bool, list[float]] = {True: [], False: []}
    for first, second in pairwise(np.flatnonzero(signs)):
        if signs[first] != signs[second]:
            up = bool(signs[first] > 0)
            found[up].append(_polish(at, grid[first], grid[second + 1], 1.0 if up else -1.0))
    return found[True], found[False]


def _polish(at: Any, low: float, high: float, sign: float) -> float:
    """Return the slip [m/s] of the extremum between `low` and `high`; sign: 1 of a peak, −1 of a trough.

    Narrowed down by values, as `scipy.optimize` would, which takes a tenth of a plan to import.
    """
    while high - low > ROUNDING * high:
        slips = np.linspace(low, high, NARROWED)
        best = int(np.argmax(sign * at(slips)))
        low, high = slips[max(best - 1, 0)], slips[min(best + 1, NARROWED - 1)]
    return float((low + high) / 2)


@inlined
def both(traction: Any, slip: float) -> tuple[float, float]:
    """Return φ [-] and dφ/ds [s/m] at `slip` [m/s], of either sign."""
    return grip(traction.number, traction.values, slip, traction.creep)


@compiled
def greatest(traction: Any, low: float, high: float) -> tuple[float, float]:
    """Return the greatest φ [-] for slip from `low` to `high` [m/s], and dφ/ds [s/m] there, 0 at a peak inside."""
    single = traction.single
    turns = single <= 0.0
    value, slope = both(traction, low if turns else min(max(single, low), high))
    # Left of −peak φ falls towards −peak, so the other end may be greater.
    if turns or (low < -single and high < single):
        other, slope_there = both(traction, high if turns else low)
        if other >= value:
            value, slope = other, slope_there
    if not turns:
        return value, slope
    for n in range(traction.maxima.shape[1]):
        place, top = traction.maxima[0, n], traction.maxima[1, n]
        if low < place and place < high and top > value:
            value, slope = top, 0.0
    return value, slope


@inlined
def least(traction: Any, low: float, high: float) -> tuple[float, float]:
    """Return the least φ [-] for slip from `low` to `high` [m/s], and dφ/ds [s/m] there."""
    value, slope = greatest(traction, -high, -low)
    return -value, slope


@inlined
def extreme(traction: Any, low: float, high: float, sign: float) -> tuple[float, float]:
    """Return the greatest (sign 1) or least (−1) φ [-] for slip from `low` to `high` [m/s], and dφ/ds [s/m] there."""
    if sign < 0.0:
        low, high = -high, -low
    value, slope = greatest(traction, low, high)
    return sign * value, slope


@compiled
def least_lost(traction: Any, slip: float) -> Any:
    """Return the least φ s [m/s] at slips of `slip` ≥ 0 [m/s] or more."""
    if traction.losses.shape[1] == 0:
        return both(traction, slip)[0] * slip
    return traction.losses[1, place_of(traction.losses[0], slip)]


@compiled
def slip_of(traction: Any, needed: float) -> float:
    """Return the least slip [m/s] with φ = `needed` [-], of its sign; infinite beyond the first peak."""
    slips, values = traction.rising[0], traction.rising[1]
    wanted, last = abs(needed), values.shape[0] - 1
    found = np.inf
    if wanted == values[last]:
        found = slips[last]
    elif wanted < values[last]:
        n = place_of(values, wanted)
        found = slips[n] + (slips[n + 1] - slips[n]) * (wanted - values[n]) / (values[n + 1] - values[n])
    return found if needed > 0.0 else -found if needed < 0.0 else 0.0


@compiled
def place_of(rising: Any, value: float) -> int:
    """Return the last index of a rising array with an element of at most `value`, at least 0."""
    before, after = 0, rising.shape[0]
    while after - before > 1:
        middle = (before + after) // 2
        if rising[middle] <= value:
            before = middle
        else:
            after = middle
    return before


SLOWEST = 1e-3
"""Least speed by which rates that loosen a bound are divided [m/s]."""
SLOW = 0.05
"""Least speed by which rates that tighten a bound are divided [m/s]: a bound that tightens too slowly still holds."""
STOPPED = 1e-2
"""Fall of the upper bound of v² below 0, over the greatest v² so far, at which a cell jams [-]."""


@inlined
def per_speed(gain: float, sign: float, slow: float, fast: float) -> float:
    """Return gain/v at its greatest (sign 1) or least (−1) for v between `slow` and `fast` [m/s]."""
    return gain / (max(slow, SLOWEST) if sign * gain > 0.0 else max(fast, SLOW))


@dataclass(frozen=True, slots=True)
class Motor:
    """A motor, its torque as a force τ/R at the rim [N].

    slope: force for each speed lost [N s/m]; stall: force at the current limit [N] (inf: no limit); idling: force of
    the no-load current [N]; windage_of: the stage whose windage it overcomes, None without a motor; wheel_mass: M =
    J/R² [kg]. Without a motor forces are 0.
    """

    slope: float
    stall: float
    idling: float
    windage_of: Stage | None
    wheel_mass: float

    @property
    def coasts(self) -> bool:
        """Whether there is no motor."""
        return self.windage_of is None

    def holding(self, set_speed: Floats) -> Floats:
        """Return the force at the rim that holds `set_speed` [m/s] without a throw [N]; shape as given."""
        if self.windage_of is None:
            return np.zeros_like(set_speed)
        wheel = self.windage_of.wheel
        radius = float(wheel.radius)
        return np.asarray(self.idling + windage(wheel, set_speed / radius) / radius)


def motor_of(stage: Stage) -> Motor:
    """Return the motor on each driven wheel of `stage`."""
    radius = float(stage.wheel.radius)
    mass = float(driven_inertia(stage)) / radius**2
    drive = stage.drive
    if drive is None:
        return Motor(0.0, 0.0, 0.0, None, mass)
    pull = float(drive.gear * drive.torque_constant) / radius
    slope = pull * float(drive.gear) / (float(drive.speed_constant) * float(drive.resistance) * radius)
    return Motor(slope, pull * float(drive.current_limit), pull * float(drive.no_load_current), stage, mass)


@inlined
def motor_force(body: Any, lost: float, holding: float) -> Any:
    """Return a motor's force at the rim beyond `holding` [N], the force that holds the set speed.

    lost: speed lost from the set speed [m/s]. The force rises with `lost` and falls with `holding`.
    """
    return min(max(body[MOTOR_SLOPE] * lost, -holding), max(body[STALL] - holding, 0.0))


@inlined
def speed_ranges(body: Any, lane: Any, fastest: float) -> tuple[float, float, float, float]:
    """Return the least and greatest q, least and greatest u [m/s], where v has been up to `fastest` [m/s].

    SPIN_LOW, SPIN_HIGH of the lane: q at the start [m/s]; CRUSH: 2 S/m [m^2/s^2]; TURNING of the body: β, 0 for rods,
    where q is an idler's speed, from 0 to the projectile's; LIGHT: m/M of the lightest wheel.
    """
    high, light = lane[SET_HIGH], body[LIGHT]
    if body[TURNING] == 0.0:
        return 0.0, fastest, 0.0, max(high, fastest)
    given = light * (fastest * fastest + lane[CRUSH])
    back = min(lane[SPIN_LOW], -(fastest + sqrt(given)))
    around = max(max(lane[SPIN_HIGH], fastest), sqrt(high * high + given))
    wheel = sqrt(high * high + given + light * body[TURNING] * around * around)
    return back, around, back, min(wheel, max(high, fastest + around))
