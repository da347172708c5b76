"""Throwing at a rate: wheels slow down in each throw and recover until the next one.

One cycle is the throw and the recovery until the next; a sequence is cycle after cycle from the set speeds. The settled
state is the fixed point of the cycle that the sequence reaches; there may be others, as of wheels that stand almost
still. Compiled code follows the sequence, with extrapolation, until the fixed point is near, and finds it by Broyden's
method on the wheels' speeds at the start of a throw. Wheels that slow down little are near it from the start. Then come
its energies, its loss of exit speed, and the highest rate within a loss.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stager.errors import NotComputable
from stager.model.arrays import Block, Floats, IntegerMatrix, Integers, Matrix, Number, Vector
from stager.model.launcher import Launcher
from stager.model.stage import Supply
from stager.physics.chain import DEFAULT, QUICK, Options, as_throw, options_array, prepare, throw
from stager.physics import transient as recovery
from stager.physics.compiled import compiled, entry
from stager.physics.contact import run
from stager.physics.contact.columns import AFTER_A, ENTRY, GRIP, RECORD, SPEED_A, SUM_ENERGIES, TOLERANCE
from stager.physics.contact.run import JAM, NOT_REACHED, SYNC, share, spread, throw_one
from stager.physics.motor import Drivetrain, Holding, build_drivetrain, hold, loaded_voltage
from stager.physics.records import FIELDS, Throw, as_samples, common_shape, shape_of
from stager.physics.transient import (
    BUS, ENERGIES, SPEED, TARGET, WHEEL_RADIUS, MotorEnergies, advance, motor_energies, pack_holding, pack_supply,
    pack_wheels, read_wheels, set_wheels, transient,
)  # fmt: skip

SEARCH_TOLERANCE = 1e-8
"""Tolerance of a recovery in the search [-]."""
FINAL_TOLERANCE = 1e-9
"""Tolerance of the last recovery, whose energies are returned [-]."""
CLOSE = 0.2
"""Relative error of the wheel speeds, by the tolerance of the throws [-]."""
MOST_CYCLES = 500
"""Most cycles of a search [-]."""
BROYDEN_CYCLES = 30
"""Most cycles of one attempt of Broyden's method [-]."""
PATIENCE = 6
"""Least number of cycles from one such attempt to the next [-]."""
NEAR = 0.1
"""Estimated distance of the fixed point from where Broyden's method starts, by the set speed of each wheel [-]."""
TRUST = 0.2
"""Distance from there beyond which it goes no further [-]."""
LOOSE = 1e-5
"""Change by the set speeds with which an attempt that goes on changing counts as converged [-]: the accuracy of throws
where grip sets in."""
ROUGH_TOLERANCE = 1e-4
"""Tolerance of the throws that are followed, and of the first one of the search [-]."""
MAX_OVERSPEED = 4.0
"""Greatest speed by the set speed of a wheel that throws speed up [-]."""
MAX_EXTRAPOLATION = 0.05
"""Greatest extrapolation, by a wheel's set speed [-]: no fixed point is skipped that is not as close to another one."""
MAX_RATIO = 0.995
"""Greatest ratio of one change to the last that is extrapolated [-]."""
POINT, VALUE, CHANGE, DROP, REACHED, ALONG, LAST, ANCHOR, SCALE = range(9)
"""Rows of the workspace: speeds at the start of a cycle and at its end, last change of the point, decrease of the
residual VALUE − POINT, the products of the inverse with DROP and CHANGE, last change of a sequence that is followed,
the point to which the search returns, and the set speed, where that is 0 the greatest one of all wheels."""


@compiled
def by_sides(wheels: Floats, place: Any, column: int, sides: Floats, row: int) -> None:
    """Write a column of angular speeds as surface speeds of sides A and B of the stages [m/s]."""
    for k in range(place.shape[1]):
        for side in range(2):
            i = place[side, k]
            sides[row + side, k] = wheels[i, column] * wheels[i, WHEEL_RADIUS]


@compiled
def set_after_throw(wheels: Floats, place: Any, out: Floats) -> None:
    """Set the wheels to the speeds that a throw leaves [rad/s]."""
    for k in range(place.shape[1]):
        for side in range(1, -1, -1):
            i = place[side, k]
            wheels[i, SPEED] = out[AFTER_A + side, k] / wheels[i, WHEEL_RADIUS]


@compiled
def first_guess(wheels: Floats, place: Any, first: Floats, rows: Floats, inverse: Floats) -> None:
    """Set a diagonal estimate of the inverse of −d(residual)/d(point) from the first throw and recovery.

    A lack of speed before a throw remains after it while the wheel slips. With full grip, projectile and wheel come to
    a common speed, and the share 1 − (loss of speed)/(u − v₀) remains. VALUE is the end of the first recovery.
    """
    for i in range(inverse.shape[0]):
        for j in range(inverse.shape[0]):
            inverse[i, j] = 0.0
    for k in range(place.shape[1]):
        excess = first[SPEED_A, k] - first[ENTRY, k]
        lost = first[SPEED_A, k] - first[AFTER_A, k]
        own = 1.0 - lost / excess if first[GRIP, k] == SYNC and excess > lost and excess > 0.0 else 1.0
        for side in range(2):
            i = place[side, k]
            after = first[AFTER_A + side, k] / wheels[i, WHEEL_RADIUS]
            missing = wheels[i, TARGET] - after
            left = (wheels[i, TARGET] - rows[VALUE, i]) / missing if missing != 0.0 else 0.0
            slope = min(max(left, 0.0), 0.999) * min(max(own, 0.0), 1.0)
            inverse[i, i] = 1.0 / max(1.0 - slope, 1e-3)


@compiled
def broyden_step(wheels: Floats, rows: Floats, inverse: Floats) -> float:
    """Move POINT by Broyden's step; return by how much it still moves, or its residual, by the set speeds [-].

    Negative where it would go too far from ANCHOR. A step beyond bounds ends at VALUE: bounds are 0, the set speed, or
    MAX_OVERSPEED times that where a recovery ends above it, and those of TRUST.
    """
    count, inside, size = inverse.shape[0], True, 0.0
    for i in range(count):
        change = 0.0
        for j in range(count):
            change += inverse[i, j] * (rows[VALUE, j] - rows[POINT, j])
        aim, top = rows[POINT, i] + change, wheels[i, TARGET]
        if rows[VALUE, i] > top:
            top = MAX_OVERSPEED * rows[SCALE, i]
        inside = inside and aim >= 0.0 and aim <= top and abs(aim - rows[ANCHOR, i]) <= TRUST * rows[SCALE, i]
        rows[CHANGE, i] = change
    for i in range(count):
        residual = rows[VALUE, i] - rows[POINT, i]
        if not inside:
            rows[CHANGE, i] = residual
            if abs(rows[VALUE, i] - rows[ANCHOR, i]) > TRUST * rows[SCALE, i]:
                return -1.0
        size = max(size, max(abs(rows[CHANGE, i]), abs(residual)) / rows[SCALE, i])
        rows[DROP, i] = residual
    for i in range(count):
        rows[POINT, i] += rows[CHANGE, i]
    return size


@compiled
def broyden_update(wheels: Floats, rows: Floats, inverse: Floats) -> None:
    """Update `inverse` by Broyden's good update from the end of a cycle."""
    count = inverse.shape[0]
    for i in range(count):
        rows[VALUE, i] = wheels[i, SPEED]
        rows[DROP, i] -= rows[VALUE, i] - rows[POINT, i]
    scale = squares = 0.0
    for i in range(count):
        rows[REACHED, i] = rows[ALONG, i] = 0.0
        for j in range(count):
            rows[REACHED, i] += inverse[i, j] * rows[DROP, j]
            rows[ALONG, i] += rows[CHANGE, j] * inverse[j, i]
        scale += rows[ALONG, i] * rows[DROP, i]
        squares += rows[CHANGE, i] * rows[CHANGE, i]
    if abs(scale) > 1e-12 * squares:
        for i in range(count):
            for j in range(count):
                inverse[i, j] += (rows[CHANGE, i] - rows[REACHED, i]) * rows[ALONG, j] / scale


@compiled
def follow(rows: Floats, inverse: Floats) -> float:
    """Move POINT to the end of a cycle; return the estimated distance from there to the fixed point, by set speeds [-].

    The estimate is that of the geometric series of this change and the last one; `inverse` and CHANGE get it.
    """
    count, distance = inverse.shape[0], 0.0
    for i in range(count):
        change, last = rows[VALUE, i] - rows[POINT, i], rows[LAST, i]
        ratio = min(max(change / last, 0.0), MAX_RATIO) if last != 0.0 else 0.0
        for j in range(count):
            inverse[i, j] = 0.0
        inverse[i, i] = 1.0 / (1.0 - ratio)
        rows[CHANGE, i] = change * ratio * inverse[i, i]
        distance = max(distance, abs(rows[CHANGE, i]) / rows[SCALE, i])
        rows[POINT, i], rows[LAST, i] = rows[VALUE, i], change
    return distance


@compiled
def extrapolate(rows: Floats) -> None:
    """Move POINT on by the estimate of `follow`, each wheel by MAX_EXTRAPOLATION of its set speed at most."""
    for i in range(rows.shape[1]):
        most = MAX_EXTRAPOLATION * rows[SCALE, i]
        rows[POINT, i] = max(rows[POINT, i] + min(max(rows[CHANGE, i], -most), most), 0.0)


@compiled
def set_anchor(rows: Floats) -> None:
    """Let the search return to POINT."""
    for i in range(rows.shape[1]):
        rows[ANCHOR, i] = rows[POINT, i]


@compiled
def return_to_anchor(rows: Floats) -> None:
    """Return to the point to which the throws have been followed, with no last change."""
    for i in range(rows.shape[1]):
        rows[POINT, i], rows[LAST, i] = rows[ANCHOR, i], 0.0


@compiled
def start_search(wheels: Floats, place: Any, first: Floats, rows: Floats, inverse: Floats) -> float:
    """Start the search at the set speeds, with the wheels at the end of the recovery from the first throw.

    Returns the estimated distance of the fixed point by the set speeds [-].
    """
    greatest, distance = 0.0, 0.0
    for i in range(wheels.shape[0]):
        greatest = max(greatest, wheels[i, TARGET])
    for i in range(wheels.shape[0]):
        rows[SCALE, i] = wheels[i, TARGET] if wheels[i, TARGET] > 0.0 else max(greatest, 1e-300)
        rows[POINT, i], rows[VALUE, i] = wheels[i, TARGET], wheels[i, SPEED]
        rows[ANCHOR, i], rows[LAST, i] = wheels[i, TARGET], 0.0
    first_guess(wheels, place, first, rows, inverse)
    for i in range(wheels.shape[0]):
        distance = max(distance, inverse[i, i] * abs(rows[VALUE, i] - rows[POINT, i]) / rows[SCALE, i])
    return distance


@entry
def settle_samples(
    low: int, high: int, body: Matrix, stages: Block, law_numbers: Integers, laws: Block, built: Block, supply: Matrix,
    settings: Block, bus: Vector, place: IntegerMatrix, fed: Matrix, rest: Vector, first: Block, options: Vector,
    point: Matrix, out: Block, exits: Matrix, ended: Matrix, energy: Block, whole: Matrix, found: Vector, nips: Matrix,
    sides: Matrix, places: Matrix, marks: IntegerMatrix, wheels: Matrix, totals: Vector, speeds: Matrix, rows: Matrix,
    inverse: Matrix, accuracy: Vector,
) -> int:  # fmt: skip
    """Find the settled state of the samples from `low` up to `high`; return the number of throws that failed.

    Arguments as in `throw_samples` and `advance_samples`, rows as there.

    Parameters
    ----------
    place : array of int, shape (2, stages)
        The wheel of side A and of side B of each stage; the same where both are alike.
    fed : array, shape (samples, 2)
        Entry speed [m/s] and spin [rad/s].
    rest : array, shape (samples or 1,)
        Time for recovery [s].
    first : array, shape (samples, RECORD, stages)
        Records of the throws from the set speeds.
    point, out, exits : array
        Written to: wheel speeds at the start of a settled throw [rad/s], its records and its exit.
    ended, energy, whole : array
        Written to: speeds at the end of the recovery and its energies.
    found : array, shape (samples,)
        Written to: 1 where the search converged, else 0.
    nips, sides, places, marks, wheels, totals, speeds, rows, inverse, accuracy : array
        See `workspace`.
    """
    count, wide, lost = place.shape[1], built.shape[1], 0
    close = CLOSE * options[TOLERANCE]
    for n in range(low, high):
        set_wheels(wheels, built[n % built.shape[0]], settings[n % settings.shape[0]])
        source, voltage = supply[n % supply.shape[0]], bus[n % bus.shape[0]]
        pause, tolerance = rest[n % rest.shape[0]], SEARCH_TOLERANCE
        set_after_throw(wheels, place, first[n])
        totals[BUS], totals[ENERGIES], accuracy[SUM_ENERGIES] = voltage, 0.0, 0.0
        advance(wheels, source, totals, pause, tolerance, -1.0)
        # Broyden's method, or throw after throw, every second one (`paired`) extrapolated unless that led to a jam
        # (`plain`) and with no other attempt of Broyden's method before call number `again`.
        broyden = start_search(wheels, place, first[n], rows, inverse) <= NEAR
        last = converged = paired = plain = jammed = False
        steps, again = 0, 0
        for call in range(MOST_CYCLES + 1):
            stepped = astray = False
            if call == MOST_CYCLES:
                last = True
            elif jammed:
                last, astray, plain = plain and not broyden, True, plain or not broyden
            elif broyden:
                size, steps = broyden_step(wheels, rows, inverse), steps + 1
                last = converged = 0.0 <= size <= (close if steps < BROYDEN_CYCLES else max(close, LOOSE))
                astray = size < 0.0 or steps == BROYDEN_CYCLES
                stepped = not (last or astray)
            else:
                distance = follow(rows, inverse)
                if paired:
                    set_anchor(rows)
                    broyden, steps = distance <= NEAR and call >= again, 0
                    if not (broyden or plain):
                        extrapolate(rows)
                paired = not paired
            if astray and not last:
                return_to_anchor(rows)
                broyden, paired, again = False, False, call + PATIENCE
            accuracy[TOLERANCE] = options[TOLERANCE]
            if not last and (call == 0 or not broyden):
                accuracy[TOLERANCE] = max(ROUGH_TOLERANCE, options[TOLERANCE])
            if last:
                accuracy[SUM_ENERGIES], totals[ENERGIES], tolerance = options[SUM_ENERGIES], 1.0, FINAL_TOLERANCE
                found[n] = 1.0 if converged else 0.0
                for i in range(wide):
                    point[n, i] = rows[POINT, i]
            for i in range(wide):
                wheels[i, SPEED] = rows[POINT, i]
            by_sides(wheels, place, SPEED, speeds, 0)
            by_sides(wheels, place, TARGET, speeds, 2)
            exits[n, 0], exits[n, 1], exits[n, 2] = throw_one(
                body[n % body.shape[0]], stages[n % stages.shape[0]], law_numbers,
                laws[n % laws.shape[0]], speeds[0], speeds[1], speeds[2], speeds[3], fed[n, 0], fed[n, 1],
                count, accuracy, nips, sides, places, marks, out[n],
            )  # fmt: skip
            set_after_throw(wheels, place, out[n])
            totals[BUS], jammed = voltage, exits[n, 2] == JAM
            whole[n, 2] = advance(wheels, source, totals, pause, tolerance, -1.0)
            if last:
                break
            if stepped:
                broyden_update(wheels, rows, inverse)
            for i in range(wide):
                rows[VALUE, i] = wheels[i, SPEED]
        if exits[n, 2] == NOT_REACHED:
            lost += 1
        read_wheels(wheels, totals, ended[n], energy[n], whole[n])
    return lost


def workspace(stages: int, wheels: int) -> tuple[Any, ...]:
    """Return arrays for `settle_samples`: those of throws and of wheels, then speeds, rows, inverse and accuracy."""
    return (
        *run.workspace(stages), *recovery.workspace(wheels), np.zeros((4, stages)), np.zeros((9, wheels)),
        np.zeros((wheels, wheels)), np.zeros(3),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """Throws of a launcher at regular intervals.

    train: driven wheels; holding: drives at the set speeds
    interval: from throw to throw [s]; contact: the part of it that the throw takes [s]
    split: whether pairs run two speeds
    """

    launcher: Launcher
    supply: Supply
    train: Drivetrain
    holding: Holding
    interval: Number
    contact: Number
    stages: int
    split: bool

    @property
    def target(self) -> Floats:
        """Return the set angular speeds [rad/s], shape (..., wheels)."""
        return self.holding.angular_speed

    def throw(self, angular_speed: Floats, options: Options = DEFAULT) -> Throw:
        """Return a throw with the wheels at `angular_speed` [rad/s], shape (..., wheels).

        Throttles are those that hold the set speeds: a governor is too slow to act during a contact.
        """
        side_a, side_b = self.by_side(angular_speed * self.train.radius)
        held_a, held_b = self.by_side(self.target * self.train.radius)
        if not self.split:
            return throw(self.launcher, side_a, held_speed=held_a, options=options)
        return throw(self.launcher, side_a, side_b, held_speed=held_a, held_speed_b=held_b, options=options)

    def after(self, done: Throw) -> Floats:
        """Return the angular speeds of the wheels after a throw [rad/s], shape (..., wheels)."""
        stages = done.stages
        return self.train.columns(stages.wheel_speed_after_a, stages.wheel_speed_after_b) / self.train.radius

    @property
    def rest(self) -> Floats:
        """Return the time for recovery between throws [s], shape (...)."""
        return np.maximum(self.interval - np.asarray(self.contact), 0.0)

    def recover(self, after: Floats) -> Floats:
        """Return the angular speeds at the next throw [rad/s], from those after a throw [rad/s]."""
        return transient(self.train, self.holding, self.supply, after, self.rest, tolerance=1e-8, energies=False)[0]

    def by_side(self, values: Floats) -> tuple[Floats, Floats]:
        """Return columns (..., wheels) as sides A and B of each stage, (..., stages); B as A where it has no column."""
        columns = list(zip(self.train.stage, self.train.side, strict=True))
        first = [columns.index((stage, 0)) for stage in range(self.stages)]
        second = [columns.index((stage, 1)) if (stage, 1) in columns else first[stage] for stage in range(self.stages)]
        return values[..., first], values[..., second]

    def at(self, interval: Number) -> Cycle:
        """Return the cycle at another interval between throws [s]."""
        return replace(self, interval=interval)


def build_cycle(
    launcher: Launcher, interval: Number, contact: Number, wheel_speed: Floats, wheel_speed_b: Floats | None = None
) -> Cycle | None:
    """Return the cycle of throws every `interval` [s] at set surface speeds [m/s], shape (..., stages).

    contact: the longest contact of the first throw, taken off the time for recovery [s]; wheel_speed_b: None: as A.
    None where a stage has no drive or the launcher no supply.
    """
    speeds = np.asarray(wheel_speed, dtype=np.float64)
    split = wheel_speed_b is not None
    stages = speeds.shape[-1]
    train = build_drivetrain(launcher, stages, split=split)
    if train is None or launcher.supply is None:
        return None
    side_b = speeds if wheel_speed_b is None else np.asarray(wheel_speed_b, dtype=np.float64)
    target = train.columns(speeds, side_b) / train.radius
    return Cycle(
        launcher=launcher, supply=launcher.supply, train=train, holding=hold(train, target, launcher.supply),
        interval=interval, contact=contact, stages=stages, split=split,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """Throws one after the other.

    exit_speed: of each throw [m/s], (throws, ...)
    missing: share of its set speed that each wheel lacks at its start [-], (throws, ..., wheels), columns as in `Cycle`
    """

    exit_speed: Floats
    missing: Floats


def sequence(cycle: Cycle, throws: int, options: Options = DEFAULT) -> Sequence:
    """Return the first `throws` throws from the set speeds on."""
    speed = cycle.target
    exits, missing = [], []
    for _ in range(throws):
        done = cycle.throw(speed, options)
        exits.append(done.exit_speed)
        missing.append(_missing(cycle.target, speed))
        speed = cycle.recover(cycle.after(done))
    return Sequence(exit_speed=np.stack(exits), missing=np.stack(missing))


def _missing(target: Floats, speed: Floats) -> Floats:
    """Return the share of their set speeds that wheels lack [-]; 0 for those that are to stand still."""
    return np.where(target > 0, 1 - speed / np.where(target > 0, target, 1.0), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleEnergies:
    """Energies of one cycle [J]; source = supply_heat + Σ count·(copper + no_load + windage + wheel_work + stored).

    For one wheel of each column, shape (..., wheels):
    copper, no_load, windage: losses; wheel_work: ∫F·u of its side; stored: gain of kinetic energy.
    For all together, shape (...):
    source: at the supply's open voltage; delivered: at its terminals; supply_heat: in its resistance; charge [C].
    """

    copper: Floats
    no_load: Floats
    windage: Floats
    wheel_work: Floats
    stored: Floats
    source: Floats
    delivered: Floats
    supply_heat: Floats
    charge: Floats


def cycle_energies(cycle: Cycle, start: Floats, done: Throw, end: Floats, recovery: MotorEnergies) -> CycleEnergies:
    """Return the energies of a throw from `start` [rad/s] and of the recovery to `end` [rad/s], (..., wheels)."""
    train, supply = cycle.train, cycle.supply
    contact = contact_energies(cycle, start, done)
    charge = contact.charge + recovery.charge
    supply_heat = contact.supply_heat + recovery.supply_heat
    source = supply.voltage * charge
    return CycleEnergies(
        copper=contact.copper + recovery.copper,
        no_load=contact.no_load + recovery.no_load,
        windage=contact.windage + recovery.windage,
        wheel_work=train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b),
        stored=train.inertia * (end**2 - start**2) / 2,
        source=source, delivered=source - supply_heat, supply_heat=supply_heat, charge=charge,
    )  # fmt: skip


def contact_energies(cycle: Cycle, start: Floats, done: Throw) -> MotorEnergies:
    """Return the energies over the time of the longest contact, with the wheels at `start` [rad/s] before the throw.

    The throw's record has the work of each motor, and the integrals of its torque and of the square of it, above that
    which holds its wheel; torque by current is its constant.
    """
    train, holding = cycle.train, cycle.holding
    end = cycle.after(done)
    own = train.columns(done.stages.contact_time, done.stages.contact_time)
    whole = np.asarray(cycle.contact)[..., None]
    given = train.columns(done.stages.wheel_work_a, done.stages.wheel_work_b)
    work = given + train.inertia * (end**2 - start**2) / 2
    turned = (start + end) / 2 * own + end * (whole - own)
    stages = done.stages
    extra = train.columns(stages.motor_impulse_a, stages.motor_impulse_b) / train.pull
    squared = train.columns(stages.motor_square_a, stages.motor_square_b) / train.pull**2
    copper = train.resistance * (holding.current**2 * whole + 2 * holding.current * extra + squared)
    idle = train.pull * train.idle_current * turned
    drag = train.pull * holding.current * turned - idle
    total_energy = (train.count * (copper + idle + drag + work)).sum(axis=-1)
    span = np.where(whole[..., 0] > 0, whole[..., 0], 1.0)
    power = total_energy / span
    current = power / loaded_voltage(cycle.supply, power)
    return MotorEnergies(
        copper=copper, no_load=idle, windage=drag,
        supply_heat=(cycle.supply.voltage * current - power) * span, charge=current * span,
    )  # fmt: skip


SETTLING = 8
"""Typical number of throws of the search, to cut it into chunks for threads [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """First and settled throw at a rate; batch axes lead, stages (of throws) or wheels are last.

    rate [1/s]
    first: throw from the set speeds; throw: settled throw; loss: share of exit speed lost between them [-]
    droop: share of its set speed that each wheel lacks right after a settled throw [-], (..., wheels)
    missing: the same when the next throw begins [-]; columns as in `cycle`
    energies: of a settled cycle
    converged: whether the search converged, False where a throw jams
    Where it did not converge, energies of the supply and of the motors are NaN. Where it does not jam either, loss is
    NaN, and throw, droop and missing are those of one of the throws, which go on changing.
    """

    cycle: Cycle
    rate: Number
    first: Throw
    throw: Throw
    loss: Floats
    droop: Floats
    missing: Floats
    energies: CycleEnergies
    converged: NDArray[np.bool_]

    @property
    def unsettled(self) -> NDArray[np.bool_]:
        """Return where no settled state is known, though no throw jams."""
        return np.asarray(~self.converged & ~self.throw.jammed & ~self.first.jammed)

    @property
    def average_power(self) -> Floats:
        """Return the mean power of the supply over a settled cycle [W]."""
        return self.energies.delivered * self.rate

    @property
    def throws_per_charge(self) -> Floats | None:
        """Return the settled throws from one charge of the supply [-]; None where its capacity is unknown."""
        capacity = self.cycle.supply.capacity
        return None if capacity is None else np.asarray(capacity / self.energies.charge)


def settled(
    launcher: Launcher,
    rate: Number,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    first: Throw | None = None,
    options: Options = DEFAULT,
) -> Settled | None:
    """Return the settled state at `rate` [1/s] with set surface speeds [m/s], shape (..., stages).

    The fixed point of throw and recovery, by Broyden's method on the wheel speeds at the start of a throw.
    first: the throw from the set speeds, if known. None where a stage has no drive or the launcher no supply.
    """
    if launcher.supply is None:
        return None
    first = throw(launcher, wheel_speed, wheel_speed_b, options=options) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    cycle = build_cycle(launcher, 1 / rate, contact, wheel_speed, wheel_speed_b)
    return None if cycle is None else settle_cycle(cycle, first, options)


def settle_cycle(cycle: Cycle, first: Throw, options: Options = DEFAULT) -> Settled:
    """Return the settled state of a cycle with its first throw; without options.energies the throw's energies are 0."""
    rate, wheels, stages = 1 / cycle.interval, cycle.train.size, cycle.stages
    prepared = prepare(cycle.launcher, stages)
    shape = common_shape(prepared.packed.shape, first.exit_speed.shape, shape_of(rate), cycle.holding.bus_voltage.shape)
    samples = prod(shape)
    packed = spread(prepared.packed, shape)
    built, supply = pack_wheels(cycle.train, shape), pack_supply(cycle.supply, shape)
    settings, bus = pack_holding(cycle.holding, shape, wheels)
    columns = list(zip(cycle.train.stage, cycle.train.side, strict=True))
    place = np.array([[columns.index((k, 0)) for k in range(stages)]] * 2, dtype=np.int64)
    for number, (k, side) in enumerate(columns):
        place[side, k] = number
    fed = np.zeros((samples, 2))
    fed[:, 0] = as_samples(cycle.launcher.feed.speed, shape)
    fed[:, 1] = as_samples(cycle.launcher.feed.spin, shape)
    records = np.empty((samples, RECORD, stages))
    for number, name in enumerate(FIELDS):
        records[:, number] = np.broadcast_to(getattr(first.stages, name), (*shape, stages)).reshape(samples, stages)
    rest = np.ascontiguousarray(np.broadcast_to(cycle.rest, shape), dtype=np.float64).reshape(-1)
    point, ended = np.empty((2, samples, wheels))
    out, exits, found = np.empty((samples, RECORD, stages)), np.empty((samples, 3)), np.empty(samples)
    energy, whole = np.empty((samples, wheels, 3)), np.empty((samples, 3))

    def work(low: int, high: int) -> None:
        lost = settle_samples(
            low, high, packed.body, packed.stages, packed.law_numbers, packed.laws, built, supply, settings, bus,
            place, fed, rest, records, options_array(options), point, out, exits, ended, energy, whole, found,
            *workspace(stages, wheels),
        )  # fmt: skip
        if lost:
            raise NotComputable("a contact needs more than the allowed number of steps")

    share(work, samples, SETTLING * stages)
    done = as_throw(out, exits, shape)
    speed, ended = point.reshape(*shape, wheels), ended.reshape(*shape, wheels)
    jammed, target = done.jammed | first.jammed, np.broadcast_to(cycle.target, speed.shape)
    converged = (found > 0).reshape(shape) & ~jammed
    unknown = ~converged.reshape(-1)
    energy[unknown], whole[unknown] = np.nan, np.nan
    ledger = motor_energies(energy.reshape(*shape, wheels, 3), whole.reshape(*shape, 3))
    droop, missing = (_missing(target, at) for at in (cycle.after(done), speed))
    loss = 1 - done.exit_speed / np.where(first.exit_speed > 0, first.exit_speed, 1.0)
    loss = np.where(converged | jammed, loss, np.nan)
    return Settled(
        cycle=cycle, rate=rate, first=first, throw=done, loss=loss, droop=droop, missing=missing,
        energies=cycle_energies(cycle, speed, done, ended, ledger), converged=converged,
    )  # fmt: skip


LOWEST_RATE = 1e-2
"""Lowest rate of the search [1/s]."""
GRIDS = (8, 7, 6)
"""Rates of each grid of the search, the later ones within an interval of the one before [-]."""


def highest_rate(
    launcher: Launcher,
    loss: Number,
    wheel_speed: Floats,
    wheel_speed_b: Floats | None = None,
    *,
    first: Throw | None = None,
) -> Floats | None:
    """Return the highest rate whose settled exit speed is at most `loss` [-] below that of the first throw [1/s].

    wheel_speed, wheel_speed_b: set surface speeds [m/s], (..., stages); first: the throw from them, if known. Loss
    rises with the rate; grids between one throw in 100 s and throws without a pause, then linear interpolation in the
    logarithm of the rate. 0 where one throw in 100 s loses more; None where a stage has no drive or the launcher no
    supply.
    """
    first = throw(launcher, wheel_speed, wheel_speed_b) if first is None else first
    contact = first.stages.contact_time.max(axis=-1, initial=0.0)
    cycle = build_cycle(launcher, 1.0, contact, wheel_speed, wheel_speed_b)
    if cycle is None:
        return None
    low = np.full(contact.shape, np.log(LOWEST_RATE))
    high = -np.log(np.where(contact > 0, contact, 1.0)) - 1e-6
    pauseless, excess, ends = high, np.zeros((2, *contact.shape)), None
    for samples in GRIDS:
        at = np.linspace(low, high, samples)
        found = settle_cycle(cycle.at(np.exp(-at)), first, QUICK)
        excess = np.where(found.throw.jammed | found.unsettled, 1.0, found.loss) - loss
        ends = (excess[0] > 0, excess[-1] <= 0) if ends is None else ends
        below = np.clip((excess <= 0).sum(axis=0) - 1, 0, samples - 2)[None]
        pair = np.concatenate([below, below + 1])
        low, high = np.take_along_axis(at, pair, axis=0)
        excess = np.take_along_axis(excess, pair, axis=0)
    span = excess[1] - excess[0]
    share = np.clip(-excess[0] / np.where(span != 0, span, 1.0), 0.0, 1.0)
    never, unbound = ends if ends is not None else (share < 0, share < 0)
    logarithm = np.where(unbound, pauseless, low + share * (high - low))
    return np.where(never, 0.0, np.exp(logarithm))
