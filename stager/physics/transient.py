"""Speeds and energies of driven wheels over time, on a supply with internal resistance, compiled; spin-up.

Controllers pass a current between 0 and their limit. A fixed throttle is the one that holds the set speed. A governor
gives full throttle below its speed, none above, and holds it once reached. The method is that of Dormand and Prince
(1980, order 5 with an error estimate of order 4), between the times at which a governor switches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import expm1, inf, prod
from typing import Any

import numpy as np

from stager.errors import NotComputable
from stager.model.arrays import Block, Floats, Matrix, Number, Vector
from stager.model.stage import Supply
from stager.physics.air import Disc
from stager.physics.compiled import compiled, entry, inlined
from stager.physics.contact.equations import air_moment
from stager.physics.contact.run import share
from stager.physics.motor import Drivetrain, Holding, hold, peak_draw, power_up_to

(
    COUNT, INERTIA, PULL, RESISTANCE, IDLE_CURRENT, CURRENT_LIMIT, GOVERNED, AIR_LAMINAR, AIR_TURBULENT, AIR_CORE,
    AIR_TRANSITION, WHEEL_RADIUS,
) = range(12)  # fmt: skip
"""Columns of a wheel: its constants; see `motor.Drivetrain` and `stager.physics.air.Disc`."""
WHEEL = 12
TARGET, THROTTLE, HOLDING = 12, 13, 14
"""Set speed [rad/s], and the throttle [-] and current [A] that hold it."""
SPEED, HELD, COMMAND, TRIAL, FRESH, CURRENT, POWER, LOSSES, STORED, STEP_LOSSES, SLOPES = (
    15, 16, 17, 18, 19, 20, 21, 22, 25, 28, 31,
)  # fmt: skip
"""SPEED [rad/s]; HELD: 1 where a governor holds it; COMMAND: throttle [-]; TRIAL, FRESH: speed within and at the end of
a step [rad/s]; LOSSES: powers of the wheel's three losses [W], STORED: their sums [J], in the order of
`MotorEnergies`; SLOPES: accelerations of the seven stages of a step [rad/s^2]."""
ROOM = 38
BUS, DRAWN, HEAT, CHARGE, STEP_HEAT, STEP_CHARGE, ENERGIES = range(7)
"""Of the supply: terminal voltage [V], current [A], heat [J], charge [C]; ENERGIES: 1 where energies are summed."""

MAX_STEPS = 5000
"""Most steps [-]."""
RELAX_AFTER = 3500
"""Steps after which the tolerance is relaxed [-]: an overloaded supply makes the motors' currents oscillate."""
RELAX_STEPS = 250
"""Steps over which it is relaxed tenfold, each time [-]."""
SMALL_CHANGE = 10.0
"""Remaining change of speed, by the tolerance, below which the motor's lag alone finishes the integration [-]."""
ARRIVED = 1e-9
"""Share of its set speed within which a governed wheel has reached it [-]."""
LEAST_SPEED = 1.0
"""Set speed that counts for accuracy and first steps where a wheel is set to less, as to stand still [rad/s]."""
BISECTIONS = 40
"""For the time at which a governor switches or a wheel arrives: to 1e-12 of a step."""
ROUNDS = 60
"""Most iterations for the bus voltage [-]."""
CLOSE = 1e-13
"""Share of the open voltage to which it is found [-]."""
STAGES = np.array([
    [1 / 5, 0.0, 0.0, 0.0, 0.0, 0.0],
    [3 / 40, 9 / 40, 0.0, 0.0, 0.0, 0.0],
    [44 / 45, -56 / 15, 32 / 9, 0.0, 0.0, 0.0],
    [19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729, 0.0, 0.0],
    [9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656, 0.0],
    [35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84],
])  # fmt: skip
"""Coefficients of the seven stages; Dormand and Prince 1980."""
WEIGHTS = np.array([*STAGES[5], 0.0])
"""Weights of the order 5 result."""
ERRORS = WEIGHTS - np.array([5179 / 57600, 0.0, 7571 / 16695, 393 / 640, -92097 / 339200, 187 / 2100, 1 / 40])


@inlined
def bus_voltage(wheels: Floats, source: float, sag: float, guess: float) -> float:
    """Return the bus voltage [V] with the wheels at TRIAL [rad/s].

    V = V₀ − R_s·P(V)/V with P = Σ I (E + R I) and I = (θV − E)/R between 0 and the controller's limit, by bracketed
    Newton's method. CURRENT [A] and POWER [W] of each wheel are written to `wheels`.
    """
    bus, low, high = guess, source / 2.0, source
    for _ in range(ROUNDS):
        drawn = steeper = 0.0
        for i in range(wheels.shape[0]):
            volts, resistance = wheels[i, PULL] * wheels[i, TRIAL], wheels[i, RESISTANCE]
            slope = 0.0
            if wheels[i, HELD] > 0.0:
                current = wheels[i, HOLDING]
            else:
                current = (wheels[i, COMMAND] * bus - volts) / resistance
                if current <= 0.0:
                    current = 0.0
                elif current >= wheels[i, CURRENT_LIMIT]:
                    current = wheels[i, CURRENT_LIMIT]
                else:
                    slope = (volts + 2.0 * resistance * current) * wheels[i, COMMAND] / resistance
            power = current * (volts + resistance * current)
            wheels[i, CURRENT], wheels[i, POWER] = current, power
            drawn += wheels[i, COUNT] * power
            steeper += wheels[i, COUNT] * slope
        if sag == 0.0:
            return bus
        excess = bus - source + sag * drawn / bus
        if abs(excess) <= CLOSE * source:
            return bus
        if excess > 0.0:
            high = bus
        else:
            low = bus
        rising = 1.0 + sag * (steeper - drawn / bus) / bus
        fresh = bus - excess / rising if rising > 0.0 else low - 1.0
        if not (low <= fresh <= high):
            fresh = (low + high) / 2.0
        if fresh == bus:
            return bus
        bus = fresh
    return bus


@compiled
def rates(wheels: Floats, supply: Floats, totals: Floats, stage: float) -> None:
    """Compute each wheel's acceleration at TRIAL for stage `stage` of a step [rad/s^2], and its powers [W]."""
    totals[BUS] = bus_voltage(wheels, supply[0], supply[1], totals[BUS])
    drawn, energies = 0.0, totals[ENERGIES] > 0.0
    for i in range(wheels.shape[0]):
        speed, pull = wheels[i, TRIAL], wheels[i, PULL]
        drag = air_moment(
            speed, wheels[i, AIR_LAMINAR], wheels[i, AIR_TURBULENT], wheels[i, AIR_CORE], wheels[i, AIR_TRANSITION]
        )
        torque = pull * (wheels[i, CURRENT] - wheels[i, IDLE_CURRENT]) - drag
        if wheels[i, HELD] > 0.0 or (speed <= 0.0 and torque < 0.0):
            torque = 0.0
        wheels[i, SLOPES + int(stage)] = torque / wheels[i, INERTIA]
        if energies:
            drawn += wheels[i, COUNT] * wheels[i, POWER]
            wheels[i, LOSSES] = wheels[i, RESISTANCE] * wheels[i, CURRENT] * wheels[i, CURRENT]
            wheels[i, LOSSES + 1] = pull * speed * wheels[i, IDLE_CURRENT]
            wheels[i, LOSSES + 2] = drag * speed
    totals[DRAWN] = drawn / totals[BUS] if energies else 0.0


@compiled
def set_throttles(wheels: Floats) -> None:
    """Set the throttles from the speeds at the start of a step, and hold governed wheels that have arrived."""
    for i in range(wheels.shape[0]):
        target = wheels[i, TARGET]
        wheels[i, COMMAND] = wheels[i, THROTTLE]
        if wheels[i, GOVERNED] > 0.0:
            if abs(target - wheels[i, SPEED]) <= ARRIVED * target:
                wheels[i, HELD], wheels[i, SPEED] = 1.0, target
            wheels[i, COMMAND] = 0.0 if wheels[i, SPEED] > target else 1.0
        wheels[i, TRIAL] = wheels[i, SPEED]


@inlined
def add_energies(wheels: Floats, totals: Floats, sag: float, weight: float) -> None:
    """Add `weight` [s] times the powers to the energies of the step."""
    for i in range(wheels.shape[0]):
        for k in range(3):
            wheels[i, STEP_LOSSES + k] += weight * wheels[i, LOSSES + k]
    totals[STEP_HEAT] += weight * sag * totals[DRAWN] * totals[DRAWN]
    totals[STEP_CHARGE] += weight * totals[DRAWN]


@compiled
def crossing_time(start: float, start_slope: float, end: float, end_slope: float) -> float:
    """Return the root on 0 … 1 of the cubic with these ends, of opposite sign, and slopes."""
    low, high = 0.0, 1.0
    for _ in range(BISECTIONS):
        at = (low + high) / 2.0
        if cubic(at, start, start_slope, end, end_slope) * start > 0.0:
            low = at
        else:
            high = at
    return (low + high) / 2.0


@inlined
def cubic(at: float, start: float, start_slope: float, end: float, end_slope: float) -> float:
    """Return the cubic with these ends and slopes at `at` on 0 … 1."""
    away = 1.0 - at
    first = away * away * ((1.0 + 2.0 * at) * start + at * start_slope)
    return first + at * at * ((3.0 - 2.0 * at) * end - away * end_slope)


@compiled
def greatest_shortfall(wheels: Floats, at: float, pace: float) -> float:
    """Return the greatest share of its set speed that a wheel lacks at `at` 0 … 1 of the last step, `pace` [s]."""
    most = 0.0
    for i in range(wheels.shape[0]):
        speed = wheels[i, FRESH]
        if at < 1.0:
            first, last = pace * wheels[i, SLOPES], pace * wheels[i, SLOPES + 6]
            speed = cubic(at, wheels[i, SPEED], first, wheels[i, FRESH], last)
        if wheels[i, TARGET] > 0.0:
            most = max(most, 1.0 - speed / wheels[i, TARGET])
    return most


@compiled
def arrival(wheels: Floats, near: float, pace: float) -> float:
    """Return the time within the last step of `pace` [s] from which every wheel lacks at most `near` [s]."""
    low, high = 0.0, 1.0
    for _ in range(BISECTIONS):
        at = (low + high) / 2.0
        if greatest_shortfall(wheels, at, pace) > near:
            low = at
        else:
            high = at
    return high * pace


@compiled
def finish_by_lag(wheels: Floats, supply: Floats, totals: Floats, left: float) -> None:
    """Finish the remaining time `left` [s] with the exponential lag of each motor: FRESH, and the energies.

    Powers change from those at the start to those at the end with the same lag, those of the supply with the longest.
    """
    slowest = 0.0
    for i in range(wheels.shape[0]):
        lag = wheels[i, RESISTANCE] * wheels[i, INERTIA] / (wheels[i, PULL] * wheels[i, PULL])
        slowest = max(slowest, lag)
        span = -lag * expm1(-left / lag)
        wheels[i, FRESH] = wheels[i, TRIAL] = wheels[i, SPEED] + wheels[i, SLOPES] * span
        if (
            wheels[i, GOVERNED] > 0.0
            and (wheels[i, TARGET] - wheels[i, SPEED]) * (wheels[i, TARGET] - wheels[i, FRESH]) < 0.0
        ):
            wheels[i, FRESH] = wheels[i, TARGET]
        for k in range(3):
            wheels[i, STEP_LOSSES + k] = span * wheels[i, LOSSES + k]
    if totals[ENERGIES] == 0.0:
        return
    span = -slowest * expm1(-left / slowest)
    totals[STEP_HEAT], totals[STEP_CHARGE] = span * supply[1] * totals[DRAWN] * totals[DRAWN], span * totals[DRAWN]
    rates(wheels, supply, totals, 6.0)
    totals[STEP_HEAT] += (left - span) * supply[1] * totals[DRAWN] * totals[DRAWN]
    totals[STEP_CHARGE] += (left - span) * totals[DRAWN]
    for i in range(wheels.shape[0]):
        lag = wheels[i, RESISTANCE] * wheels[i, INERTIA] / (wheels[i, PULL] * wheels[i, PULL])
        span = -lag * expm1(-left / lag)
        for k in range(3):
            wheels[i, STEP_LOSSES + k] += (left - span) * wheels[i, LOSSES + k]


@compiled
def advance(wheels: Floats, supply: Floats, totals: Floats, duration: float, tolerance: float, near: float) -> float:
    """Integrate the wheels over `duration` [s], or until all lack at most `near` of their set speeds; return the time.

    Parameters
    ----------
    wheels : array, shape (wheels, ROOM)
        Columns up to SPEED are set; SPEED and energies, STORED [J], at the end are written.
    supply : array, shape (2,)
        Open voltage [V], resistance [ohm].
    totals : array, shape (7,)
        BUS: a guess; ENERGIES; HEAT [J] and CHARGE [C] are written.
    tolerance : float
        Local error relative to the set speeds [-].
    near : float
        Share that a wheel may lack [-]; below 0: integrate to the end.

    Returns
    -------
    float
        [s]; infinite where the wheels did not come near; NaN where MAX_STEPS did not suffice.
    """
    totals[HEAT] = totals[CHARGE] = 0.0
    for i in range(wheels.shape[0]):
        wheels[i, SPEED], wheels[i, HELD] = max(wheels[i, SPEED], 0.0), 0.0
        wheels[i, FRESH] = wheels[i, SPEED]
        for k in range(3):
            wheels[i, STORED + k] = 0.0
    if near >= 0.0 and greatest_shortfall(wheels, 1.0, 0.0) <= near:
        return 0.0
    left, size, energies = duration, inf, totals[ENERGIES] > 0.0
    for number in range(MAX_STEPS):
        if not left > 0.0:
            return inf if near >= 0.0 else duration
        set_throttles(wheels)
        rates(wheels, supply, totals, 0.0)
        ease = 10.0 ** (max(number - RELAX_AFTER, 0) / RELAX_STEPS)
        calm, brisk = True, inf
        for i in range(wheels.shape[0]):
            lag = wheels[i, RESISTANCE] * wheels[i, INERTIA] / (wheels[i, PULL] * wheels[i, PULL])
            rate = abs(wheels[i, SLOPES])
            coming = -rate * lag * expm1(-left / lag)
            calm = calm and coming <= SMALL_CHANGE * ease * tolerance * max(wheels[i, TARGET], LEAST_SPEED)
            if rate > 0.0:
                brisk = min(brisk, 0.05 * max(wheels[i, TARGET], LEAST_SPEED) / rate)
        if size == inf:
            size = brisk
        totals[STEP_HEAT] = totals[STEP_CHARGE] = 0.0
        if calm:
            finish_by_lag(wheels, supply, totals, left)
            accept_step(wheels, totals)
            return inf if near >= 0.0 and greatest_shortfall(wheels, 1.0, 0.0) > near else duration
        pace = min(size, left)
        for i in range(wheels.shape[0]):
            for k in range(3):
                wheels[i, STEP_LOSSES + k] = 0.0
        if energies:
            add_energies(wheels, totals, supply[1], pace * WEIGHTS[0])
        for stage in range(1, 7):
            for i in range(wheels.shape[0]):
                speed = 0.0
                for k in range(stage):
                    speed += STAGES[stage - 1, k] * wheels[i, SLOPES + k]
                wheels[i, TRIAL] = max(wheels[i, SPEED] + pace * speed, 0.0)
            rates(wheels, supply, totals, 1.0 * stage)
            if energies:
                add_energies(wheels, totals, supply[1], pace * WEIGHTS[stage])
        ratio, first = 0.0, inf
        for i in range(wheels.shape[0]):
            wheels[i, FRESH] = wheels[i, TRIAL]
            error = 0.0
            for k in range(7):
                error += ERRORS[k] * wheels[i, SLOPES + k]
            scale = ease * tolerance * max(wheels[i, TARGET], LEAST_SPEED)
            ratio = max(ratio, abs(pace * error) / scale)
            start, end = wheels[i, TARGET] - wheels[i, SPEED], wheels[i, TARGET] - wheels[i, FRESH]
            free = wheels[i, GOVERNED] > 0.0 and wheels[i, HELD] == 0.0
            if free and start * end < 0.0 and abs(end) > ARRIVED * wheels[i, TARGET]:
                slopes = -pace * wheels[i, SLOPES], -pace * wheels[i, SLOPES + 6]
                first = min(first, pace * crossing_time(start, slopes[0], end, slopes[1]))
        size = pace * min(max(0.9 * max(ratio, 1e-10) ** -0.2, 0.2), 5.0)
        if ratio <= 1.0 and first < inf:
            size = min(size, first)
        elif ratio <= 1.0:
            if near >= 0.0 and greatest_shortfall(wheels, 1.0, 0.0) <= near:
                return duration - left + arrival(wheels, near, pace)
            accept_step(wheels, totals)
            left = left - pace if pace < left else 0.0
    return np.nan


@compiled
def accept_step(wheels: Floats, totals: Floats) -> None:
    """Accept a step: speeds and energies."""
    for i in range(wheels.shape[0]):
        wheels[i, SPEED] = wheels[i, FRESH]
        if totals[ENERGIES] > 0.0:
            for k in range(3):
                wheels[i, STORED + k] += wheels[i, STEP_LOSSES + k]
    totals[HEAT] += totals[STEP_HEAT]
    totals[CHARGE] += totals[STEP_CHARGE]


@compiled
def set_wheels(wheels: Floats, built: Floats, settings: Floats) -> None:
    """Write the constants and the settings of the wheels to their columns."""
    for i in range(wheels.shape[0]):
        for j in range(WHEEL):
            wheels[i, j] = built[i, j]
        for j in range(3):
            wheels[i, TARGET + j] = settings[i, j]


@compiled
def read_wheels(wheels: Floats, totals: Floats, speed: Floats, energy: Floats, whole: Floats) -> None:
    """Write speeds [rad/s] and energies [J] of the wheels, and heat and charge of the supply, to the results."""
    for i in range(wheels.shape[0]):
        speed[i] = wheels[i, SPEED]
        for k in range(3):
            energy[i, k] = wheels[i, STORED + k]
    whole[0], whole[1] = totals[HEAT], totals[CHARGE]


@entry
def advance_samples(
    low: int, high: int, built: Block, supply: Matrix, settings: Block, bus: Vector, start: Matrix, duration: Vector,
    tolerance: float, energies: bool, near: float, speed: Matrix, energy: Block, whole: Matrix, wheels: Matrix,
    totals: Vector,
) -> None:  # fmt: skip
    """Integrate the samples from `low` up to `high`, see `advance`.

    Parameters
    ----------
    built : array, shape (samples or 1, wheels, WHEEL)
    supply : array, shape (samples or 1, 2)
    settings : array, shape (samples or 1, wheels, 3)
        TARGET, THROTTLE, HOLDING.
    bus, duration : array, shape (samples or 1,)
    start, speed : array, shape (samples, wheels)
        Speeds before and after [rad/s].
    energy : array, shape (samples, wheels, 3)
    whole : array, shape (samples, 3)
        Written to: heat of the supply [J], charge [C], time [s].
    wheels, totals : array
        See `workspace`.
    """
    count = start.shape[1]
    totals[ENERGIES] = 1.0 if energies else 0.0
    for n in range(low, high):
        set_wheels(wheels, built[n % built.shape[0]], settings[n % settings.shape[0]])
        for i in range(count):
            wheels[i, SPEED] = start[n, i]
        totals[BUS] = bus[n % bus.shape[0]]
        source, time = supply[n % supply.shape[0]], duration[n % duration.shape[0]]
        whole[n, 2] = advance(wheels, source, totals, time, tolerance, near)
        read_wheels(wheels, totals, speed[n], energy[n], whole[n])


def workspace(wheels: int) -> tuple[Floats, Floats]:
    """Return arrays for `advance` with so many wheels: wheels and totals."""
    return np.zeros((wheels, ROOM)), np.zeros(7)


@dataclass(frozen=True, slots=True)
class MotorEnergies:
    """Energies over a time: of one wheel of each column, shape (..., wheels), and of the supply, shape (...).

    copper, no_load, windage: losses of the motor [J]
    supply_heat: in the supply's resistance [J]; charge: taken from it [C]
    """

    copper: Floats
    no_load: Floats
    windage: Floats
    supply_heat: Floats
    charge: Floats


def transient(
    train: Drivetrain, holding: Holding, supply: Supply, speed: Floats, duration: Number, *,
    tolerance: float = 1e-9, energies: bool = True,
) -> tuple[Floats, MotorEnergies | None]:  # fmt: skip
    """Return the wheels' speeds [rad/s] after `duration` [s] on their way to the set speeds, and the energies.

    Parameters
    ----------
    speed : array, shape (..., wheels)
        At the start [rad/s].
    duration : float or array, shape (...)
        [s].
    tolerance : float
        Local error relative to the set speeds [-].
    energies : bool
        Whether to sum energies; else None is returned for them.

    Raises
    ------
    ValueError
        Where a speed is NaN.
    """
    ended, energy, whole = _advance(train, holding, supply, speed, duration, tolerance, energies, -1.0)
    if not energies:
        return ended, None
    return ended, motor_energies(energy, whole)


def motor_energies(energy: Floats, whole: Floats) -> MotorEnergies:
    """Return a kernel's energies [J], shapes (..., wheels, 3) and (..., at least 2), as a record."""
    copper, no_load, air = np.moveaxis(energy, -1, 0)
    return MotorEnergies(copper, no_load, air, whole[..., 0], whole[..., 1])


def time_until(
    train: Drivetrain, holding: Holding, supply: Supply, speed: Floats, near: float, longest: float
) -> Floats:
    """Return the time [s], shape (...), from `speed` [rad/s] until every wheel lacks at most `near` of its set speed.

    Infinite where one does not get there in `longest` [s].
    """
    return np.asarray(_advance(train, holding, supply, speed, longest, 1e-7, False, near)[2][..., 2])


def _advance(
    train: Drivetrain, holding: Holding, supply: Supply, speed: Floats, duration: Number, tolerance: float,
    energies: bool, near: float,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    lead = np.broadcast_shapes(np.shape(speed)[:-1], np.shape(duration), holding.bus_voltage.shape)
    samples, wheels = prod(lead), train.size
    start = np.ascontiguousarray(np.broadcast_to(speed, (*lead, wheels))).reshape(samples, wheels)
    if np.isnan(start).any() or np.isnan(holding.angular_speed).any():
        raise ValueError("wheels go from known speeds to known speeds")
    built, source = pack_wheels(train, lead), pack_supply(supply, lead)
    settings, bus = pack_holding(holding, lead, wheels)
    spans = np.ascontiguousarray(np.broadcast_to(duration, lead), dtype=np.float64).reshape(-1)
    ended, energy, whole = np.empty((samples, wheels)), np.empty((samples, wheels, 3)), np.empty((samples, 3))

    def work(low: int, high: int) -> None:
        advance_samples(
            low, high, built, source, settings, bus, start, spans, tolerance, energies, near, ended, energy, whole,
            *workspace(wheels),
        )  # fmt: skip

    share(work, samples, 1)
    if np.isnan(whole[:, 2]).any():
        raise NotComputable("the speeds of the wheels over time need more than the allowed number of steps")
    return ended.reshape(*lead, wheels), energy.reshape(*lead, wheels, 3), whole.reshape(*lead, 3)


def pack_wheels(train: Drivetrain, lead: tuple[int, ...]) -> Floats:
    """Return the constants of the wheels as an array for `advance_samples`; lead: shape of the batch."""
    disc = train.disc
    return _columns(
        [
            train.count, train.inertia, train.pull, train.resistance, train.idle_current, train.current_limit,
            train.governed, disc.laminar, disc.turbulent, disc.core, disc.transition, train.radius,
        ],
        lead, train.size,
    )  # fmt: skip


def pack_supply(supply: Supply, lead: tuple[int, ...]) -> Floats:
    """Return voltage and resistance of the supply as an array for `advance_samples`."""
    return _columns([supply.voltage, supply.resistance], lead, None)


def pack_holding(holding: Holding, lead: tuple[int, ...], wheels: int) -> tuple[Floats, Floats]:
    """Return the settings of the wheels and the bus voltage as arrays for `advance_samples`."""
    throttle = np.minimum(holding.throttle, 1.0)
    settings = _columns([holding.angular_speed, throttle, holding.current], lead, wheels)
    return settings, _columns([holding.bus_voltage], lead, None)[:, 0]


def _columns(values: list[Any], lead: tuple[int, ...], wheels: int | None) -> Floats:
    """Return values of shape (..., wheels), or (...), stacked on the last axis of an array over samples, or over 1."""
    last = () if wheels is None else (wheels,)
    wide = max((np.ndim(value) for value in values), default=0) > len(last)
    shape = (*lead, *last) if wide else last
    table = np.empty((*shape, len(values)))
    for number, value in enumerate(values):
        table[..., number] = value
    return table.reshape(-1, *last, len(values))


NEAR = 0.02
"""Share of its set speed that a wheel may lack at the end of spin-up [-]."""
LONGEST = 1e3
"""Time after which a wheel counts as never reaching its speed [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinUp:
    """Spin-up from rest.

    time: until every wheel lacks at most NEAR of its set speed [s]; inf where one never reaches it
    current [A], power [W]: upper bounds of what the supply gives
    """

    time: Floats
    current: Floats
    power: Floats


def spin_up(train: Drivetrain, holding: Holding, supply: Supply) -> SpinUp:
    """Return the spin-up of all wheels together from rest."""
    current, power = peak_draw(train, spin_up_throttle(train, holding), supply)
    start = np.zeros(holding.angular_speed.shape)
    return SpinUp(time=time_to(train, holding, supply, start), current=np.asarray(current), power=np.asarray(power))


def spin_up_in_turn(train: Drivetrain, holding: Holding, supply: Supply) -> SpinUp:
    """Return the spin-up of one stage after the other, with the earlier ones held at their speeds."""
    time, current, power = np.zeros(()), *peak_in_turn(train, holding, supply)
    for column in range(train.size):
        single = single_wheel(train, column)
        there = hold(single, holding.angular_speed[..., [column]], supply)
        time = time + time_to(single, there, supply, np.zeros(there.angular_speed.shape))
    return SpinUp(time=time, current=current, power=power)


def peak_in_turn(train: Drivetrain, holding: Holding, supply: Supply) -> tuple[Floats, Floats]:
    """Return upper bounds of current [A] and power [W] while one stage spins up and all others are held.

    As the wheel that spins up pulls the voltage down, those that are held take more current for their power.
    """
    draw = train.count * holding.current * holding.voltage
    throttle = np.broadcast_to(spin_up_throttle(train, holding), draw.shape)
    current = np.zeros(draw.shape[:-1])
    with np.errstate(divide="ignore"):
        shorted = supply.voltage / np.asarray(supply.resistance, dtype=np.float64)
    for column in range(train.size):
        single, share = single_wheel(train, column), throttle[..., [column]]
        others = draw.sum(axis=-1) - draw[..., column]
        total = held = np.asarray(others / holding.bus_voltage)
        for _ in range(ROUNDS):
            left = np.maximum(supply.voltage - supply.resistance * held, 0.0)
            total = np.minimum(held + peak_draw(single, share, replace(supply, voltage=left))[0], shorted)
            bus = supply.voltage - supply.resistance * total
            fresh = np.minimum(others / np.maximum(bus, 1e-9 * supply.voltage), shorted)
            done = np.abs(fresh - held).max(initial=0.0) <= CLOSE * np.max(fresh, initial=0.0)
            held = fresh
            if done:
                break
        current = np.maximum(current, total)
    return current, power_up_to(supply, current)


def spin_up_throttle(train: Drivetrain, holding: Holding) -> Floats:
    """Return the throttle during spin-up [-]: full for a governor, else that which holds the set speed."""
    return np.where(train.governed, 1.0, np.minimum(holding.throttle, 1.0))


def time_to(train: Drivetrain, holding: Holding, supply: Supply, start: Floats, near: float = NEAR) -> Floats:
    """Return the time from speeds `start` [rad/s], (..., wheels), until every wheel is near its set speed [s], (...).

    near: share of the set speed that it may lack [-]. inf where one does not get there in LONGEST.
    """
    return time_until(train, holding, supply, start, near, LONGEST)


def single_wheel(train: Drivetrain, column: int) -> Drivetrain:
    """Return one column of a drivetrain."""

    def pick(values: Floats) -> Floats:
        return values[..., [column]]

    disc = train.disc
    return replace(
        train, radius=pick(train.radius), inertia=pick(train.inertia), pull=pick(train.pull),
        resistance=pick(train.resistance), idle_current=pick(train.idle_current),
        current_limit=pick(train.current_limit), governed=train.governed[[column]], count=pick(train.count),
        stage=(train.stage[column],), side=(train.side[column],),
        disc=Disc(pick(disc.laminar), pick(disc.turbulent), pick(disc.core), pick(disc.transition)),
    )  # fmt: skip
