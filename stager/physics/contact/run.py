"""A launcher as the kernel's arrays, a throw from stage to stage, and many throws on several threads.

The marks of all stages along the barrel (start of contact, axis plane, rear end of a rod there, end of contact) are
sorted. Between two marks the same nips are in contact and the forces are smooth, so that any number of stages may hold
the projectile at once.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from functools import cache
from math import inf, sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.errors import NotComputable
from stager.model.arrays import Block, Floats, IntegerMatrix, Integers, Matrix, Number, Vector
from stager.model.launcher import Launcher
from stager.model import stage as layouts
from stager.model.stage import Layout, Stage
from stager.parallel import cores
from stager.physics.air import disc
from stager.physics.barrel import free_flight, pitch, slowing
from stager.physics.compiled import COMPILES, compiled, entry
from stager.physics.contact.columns import (
    ACCELERATION, AFTER_A, AIR_CORE, AIR_DRAG, AIR_LAMINAR, AIR_TRANSITION, AIR_TURBULENT, AXIS, BRAKE, CREEP,
    CRUSH_LOSS, CURRENT_LIMIT, DEPTH, ENTRY, EXIT, EXPONENT, GAIN, GRIP, GROWTH, HALF_WIDTH, HEAT, HEAT_A, HEIGHT, HELD,
    HIGH_SLIP, IDLER, IDLER_INVERSE, IDLE_CURRENT, IMPULSE, IMPULSE_A, INVERSE_INERTIA, LAYOUT, LEAST_SLIP, LENGTH, LOW,
    LOW_A, LOW_SLIP, MASS, MOTOR_SLOPE, NIP, NIP_EXPONENT, NIP_LAYOUT, NIP_REBOUND, NIP_STIFFNESS, NORMALS, PAIR,
    PITCH, PULL, PUSH, PUSH_END, RADIUS, RAIL, RAMP, REACH, REBOUND, RECORD, REST_DEPTH, ROD_LENGTH, ROLLING, SIDE,
    SLOWING, SPEED, SPEED_A, SPEED_B, SPIN_IN, SPIN_OUT, SQUARE, SQUARE_A, START, STIFFENING, STIFFNESS, SYMMETRIC,
    TOP, TOP_A, TORQUE_HIGH, TORQUE_LOW, TORQUE_SLOPE, TURN, WHEEL_RADIUS, WORK, WORK_A,
)  # fmt: skip
from stager.physics.contact.equations import air_moment, crush_loss, number_and_values, stored
from stager.physics.contact.integrate import LOST, STOPPED, integrate_piece
from stager.physics.records import as_samples, batch_shape
from stager.physics.wheel import driven_inertia, growth, stiffened

SYNC_CREEPS = 3.0
"""Slip, by the creep speed, up to which a contact counts as in sync [-]."""
SYNC, SLIPS, JAM, NOT_REACHED = 0, 1, 2, 3
"""Values of `stager.physics.records.Grip`."""
PIECES = 3
"""Smooth pieces of a nip."""
BENDS = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [2.0, -1.0, 0.0], [0.0, 3.0, -2.0]])
"""Coefficients a, b, c of x = a τ + b τ² + c τ³ over 0 … 1: no contact begins or ends, one begins, one ends, both.

dx/dτ is 0 where a contact begins or ends, since powers of the crush are smooth there in τ and not in x."""


@compiled
def set_nip(nips: Floats, k: int, stage: Floats, body: Floats, axis: float, speed_a: float, speed_b: float) -> None:
    """Set up the nip of one stage at the set speeds of its sides [m/s].

    Growth adds to the wheel's radius and to the crush; with two wheels each side has the mean of both, and an idler is
    at rest.
    """
    nip = nips[k]
    for j in range(NIP):
        nip[j] = 0.0
    layout, radius, normals = stage[LAYOUT], stage[WHEEL_RADIUS], 2.0
    grown, mean = speed_a * speed_a, speed_a
    if layout == PAIR:
        grown, mean = 0.5 * (grown + speed_b * speed_b), 0.5 * (speed_a + speed_b)
    elif layout == IDLER:
        grown *= 0.5
    else:
        normals = 1.0
    grown *= stage[GROWTH]
    nip[SPEED_A], nip[GRIP], nip[AXIS], nip[NIP_LAYOUT], nip[NORMALS] = speed_a, NOT_REACHED, axis, layout, normals
    nip[NIP_STIFFNESS] = stiffened(body[STIFFNESS], body[STIFFENING], mean)
    nip[NIP_EXPONENT], nip[NIP_REBOUND] = body[EXPONENT], body[REBOUND]
    nip[LOW_SLIP], nip[HIGH_SLIP] = inf, -inf
    depth = max(stage[REST_DEPTH] + grown, 0.0)
    if body[ROD_LENGTH] < 0.0:
        rest = radius + body[HALF_WIDTH]
        height = rest - stage[REST_DEPTH]
        nip[REACH], nip[HEIGHT] = rest + grown, height
        nip[RAMP] = sqrt(depth * (rest + grown + height))
    else:
        half = sqrt(2.0 * (radius + grown) * depth)
        nip[DEPTH], nip[RAMP], nip[LENGTH] = depth, half, body[ROD_LENGTH]
        if half > 0.0:
            nip[ROLLING] = (1.0 - body[REBOUND]) * stored(nips, k, depth) / (normals * half)


@compiled
def set_side(side: Floats, stage: Floats, turn: float, speed: float, held: float) -> None:
    """Set up one side at its set speed and at the speed that its throttle would hold [m/s]; turn: −1 for side B.

    The throttle balances no-load current and windage at the held speed. As the wheel slows, the current rises along the
    motor's line, between 0 and the controller's limit. A governor is too slow to act during a contact.
    """
    for column in range(SIDE):
        side[column] = 0.0
    radius, inverse, slope = stage[WHEEL_RADIUS], stage[INVERSE_INERTIA], stage[MOTOR_SLOPE]
    if turn < 0.0 and stage[LAYOUT] != PAIR:
        speed, slope, inverse = 0.0, 0.0, stage[IDLER_INVERSE]
    side[TURN], side[RADIUS], side[GAIN], side[BRAKE] = turn, radius, radius * inverse, -radius * radius * inverse
    side[START], side[SPEED], side[TOP], side[LOW] = speed, speed, speed, speed
    side[HELD], side[TORQUE_SLOPE] = held, slope
    if slope > 0.0:
        pull = stage[PULL]
        drag = air_moment(
            held / radius, stage[AIR_LAMINAR], stage[AIR_TURBULENT], stage[AIR_CORE], stage[AIR_TRANSITION]
        )
        holding = stage[IDLE_CURRENT] + drag / pull
        side[TORQUE_LOW], side[TORQUE_HIGH] = -pull * holding, pull * max(stage[CURRENT_LIMIT] - holding, 0.0)


@compiled
def sort_marks(nips: Floats, count: int, at: Floats, owner: Any, number: Any) -> int:
    """Write the places of all marks in their order, the stage of each and its number there; return their number."""
    marks = 0
    for k in range(count):
        place = nips[k, AXIS] - nips[k, RAMP]
        for j in range(PIECES + 1):
            n = marks
            while n > 0 and at[n - 1] > place:
                at[n], owner[n], number[n] = at[n - 1], owner[n - 1], number[n - 1]
                n -= 1
            at[n], owner[n], number[n] = place, k, j
            marks += 1
            place += nips[k, LENGTH] if j == 1 else nips[k, RAMP]
    return marks


@compiled
def complete_record(nips: Floats, k: int, sides: Floats, body: Floats, speed: float, spin: float, offset: float,
           jams: bool) -> None:  # fmt: skip
    """Complete the record of stage `k`, left at `speed` [m/s], `offset` [m] past the axis plane."""
    nip = nips[k]
    least = max(nip[LOW_SLIP], -nip[HIGH_SLIP], 0.0)
    nip[GRIP] = SYNC if least <= SYNC_CREEPS * body[CREEP] else SLIPS
    if jams:
        nip[GRIP] = JAM
    nip[EXIT], nip[SPIN_OUT], nip[LEAST_SLIP] = speed, spin, least
    nip[CRUSH_LOSS], nip[ACCELERATION] = crush_loss(nips, k, offset), nip[ACCELERATION] / body[MASS]
    for j in range(2):
        side = sides[2 * k + j]
        nip[AFTER_A + j], nip[WORK_A + j], nip[HEAT_A + j] = side[SPEED], side[WORK], side[HEAT]
        nip[IMPULSE_A + j], nip[SQUARE_A + j] = side[IMPULSE], side[SQUARE]
        nip[TOP_A + j], nip[LOW_A + j] = side[TOP], side[LOW]


@compiled
def throw_one(
    body: Floats, stages: Floats, law_numbers: Any, laws: Floats, speed_a: Floats, speed_b: Floats, held_a: Floats,
    held_b: Floats, speed: float, spin: float, count: int, options: Floats, nips: Floats, sides: Floats, places: Floats,
    marks: Any, out: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Throw one projectile through `count` stages.

    Parameters
    ----------
    body, stages, law_numbers, laws : array
        The launcher, see `run.pack`.
    speed_a, speed_b, held_a, held_b : array, shape (stages,)
        Set and held surface speeds [m/s].
    speed, spin : float
        At the entry [m/s], [rad/s].
    options : array, shape (3,)
        TOLERANCE, STEPS and SUM_ENERGIES.
    nips, sides, places, marks : array
        Workspace.
    out : array, shape (RECORD, stages)
        Written to: records of the stages.

    Returns
    -------
    speed, spin : float
        At the exit, 0 after a jam.
    grip : int
        SLIPS where it got through, else JAM; NOT_REACHED where MAX_STEPS did not suffice.
    """
    axis, planned, grip = 0.0, speed_a.shape[0], SLIPS
    for k in range(planned):
        stage, b, held = stages[k], speed_b[k], held_b[k]
        set_nip(nips, k, stage, body, axis, speed_a[k], b)
        set_side(sides[2 * k], stage, 1.0, speed_a[k], held_a[k])
        set_side(sides[2 * k + 1], stage, -1.0, b, held)
        if stage[LAYOUT] == PAIR:
            nips[k, SPEED_B] = b
            nips[k, SYMMETRIC] = 1.0 if b == speed_a[k] and held == held_a[k] else 0.0
        axis += stage[PITCH]
    at, piece, start, parts = places[0], places[1], places[2], places[3:5]
    owner, number, active, pieces, acting = marks[0], marks[1], marks[2], marks[3], marks[4]
    wheel_law, rail_law = laws[0], laws[1]
    total, touching, opening = sort_marks(nips, count, at, owner, number), 0, 0
    for mark in range(total):
        k = owner[mark]
        if number[mark] == 0:
            nips[k, ENTRY], nips[k, SPIN_IN] = speed, spin
            active[touching], touching, opening = k, touching + 1, 1
            if not speed > 0.0:
                nips[k, GRIP], grip = JAM, JAM
                break
        if number[mark] == PIECES:
            complete_record(nips, k, sides, body, speed, spin, at[mark] - nips[k, AXIS], grip == JAM)
            touching -= 1
            passed = 0
            for j in range(touching):
                if active[j] == k:
                    passed = 1
                active[j] = active[j + passed]
        pieces[k] = number[mark]
        if mark + 1 == total:
            break
        span = at[mark + 1] - at[mark]
        if not span > 0.0:
            continue
        if touching == 0:
            speed = free_flight(speed, span, body[SLOWING], body[AIR_DRAG])
            continue
        symmetric, n, origin = spin == 0.0, 0, nips[active[0], AXIS]
        for j in range(touching):
            symmetric = symmetric and nips[active[j], SYMMETRIC] > 0.0
        for j in range(touching):
            k = active[j]
            nips[k, AXIS] -= origin
            acting[n], n = 2 * k, n + 1
            if not symmetric:
                nips[k, SYMMETRIC] = 0.0
                acting[n], n = 2 * k + 1, n + 1
        bent = opening + 2 if number[mark + 1] == PIECES else opening
        opening = 0
        piece[0] = at[mark] - origin
        for j in range(3):
            piece[1 + j] = span * BENDS[bent, j]
        speed, spin, place, ending = integrate_piece(
            acting[:n], active, touching, pieces, nips, sides, body, law_numbers, wheel_law, rail_law, symmetric,
            options, piece, speed, spin, start, parts,
        )  # fmt: skip
        if ending == LOST:
            grip = NOT_REACHED
            break
        for j in range(touching):
            k = active[j]
            if symmetric:
                a, b_side = sides[2 * k], sides[2 * k + 1]
                b_side[SPEED], b_side[WORK], b_side[HEAT] = a[SPEED], a[WORK], a[HEAT]
                b_side[IMPULSE], b_side[SQUARE] = a[IMPULSE], a[SQUARE]
                b_side[TOP], b_side[LOW] = a[TOP], a[LOW]
            if ending == STOPPED:
                complete_record(nips, k, sides, body, 0.0, spin, place - nips[k, AXIS], j == touching - 1)
            nips[k, AXIS] += origin
        if ending == STOPPED:
            grip = JAM
            break
    for k in range(planned):
        for j in range(RECORD):
            out[j, k] = nips[k, j]
    if grip != SLIPS:
        return 0.0, 0.0, grip
    return speed, spin, grip


@entry
def throw_samples(
    low: int, high: int, body: Matrix, stages: Block, law_numbers: Integers, laws: Block, speed_a: Matrix,
    speed_b: Matrix, held_a: Matrix, held_b: Matrix, entry: Vector, spin: Vector, ends: Integers, options: Vector,
    out: Block, exits: Matrix, nips: Matrix, sides: Matrix, places: Matrix, marks: IntegerMatrix,
) -> int:  # fmt: skip
    """Throw the samples from `low` up to `high`; return the number of throws that MAX_STEPS did not suffice for.

    The first axis of all arrays is over the samples; those with fewer rows begin again after the last one.

    Parameters
    ----------
    body : array, shape (rows, 13)
    stages : array, shape (rows, stages, 15)
    law_numbers : array of int, shape (2,)
        Number of the friction law of the wheels and of the rail.
    laws : array, shape (rows, 2, values)
    speed_a, speed_b, held_a, held_b : array, shape (samples, stages)
    entry, spin, ends : array, shape (rows,)
        Entry speed [m/s], spin [rad/s] and number of stages.
    options : array, shape (3,)
        TOLERANCE, STEPS and SUM_ENERGIES.
    out : array, shape (samples, RECORD, stages)
        Written to.
    exits : array, shape (samples, 3)
        Written to: exit speed [m/s], spin [rad/s], grip.
    nips, sides, places, marks : array
        See `workspace`.
    """
    count, lost = speed_a.shape[1], 0
    for i in range(low, high):
        exits[i, 0], exits[i, 1], exits[i, 2] = throw_one(
            body[i % body.shape[0]], stages[i % stages.shape[0]], law_numbers, laws[i % laws.shape[0]], speed_a[i],
            speed_b[i], held_a[i], held_b[i], entry[i % entry.shape[0]], spin[i % spin.shape[0]],
            min(ends[i % ends.shape[0]], count), options, nips, sides, places, marks, out[i],
        )  # fmt: skip
        if exits[i, 2] == NOT_REACHED:
            lost += 1
    return lost


def workspace(count: int) -> tuple[Floats, Floats, Floats, NDArray[np.int64]]:
    """Return arrays for `throw_one` with `count` stages: nips, sides, places and marks."""
    return (
        np.zeros((count, NIP)), np.zeros((2 * count, SIDE)), np.zeros((5, 4 * count + 6)),
        np.zeros((5, 4 * count + 1), np.int64),
    )  # fmt: skip


class Packed(NamedTuple):
    """Arrays of a launcher for `stages.throw_samples`, and the shape of its batch."""

    body: Floats
    stages: Floats
    law_numbers: NDArray[np.int64]
    laws: Floats
    shape: tuple[int, ...]


def pack(launcher: Launcher, first: int, count: int) -> Packed:
    """Return the arrays of `count` stages from stage `first` on.

    Raises ValueError where a part that a throw needs is missing from the launcher.
    """
    shape = batch_shape(launcher)
    wheel, rail = launcher.contact.friction, launcher.contact.rail_friction
    found = [number_and_values(law) for law in ((wheel,) if rail is wheel else (wheel, rail))]
    found = found * (3 - len(found))
    width = max(len(values) for _, values in found)
    return Packed(
        body=_rows([[*_body(launcher), *(_push(launcher) if first == 0 else (0.0, 0.0))]], shape)[:, 0],
        stages=_rows([_stage(launcher, first + k, k + 1 < count) for k in range(count)], shape),
        law_numbers=np.array([number for number, _ in found], dtype=np.int64),
        laws=_rows([[*values, *[0.0] * (width - len(values))] for _, values in found], shape),
        shape=shape,
    )


def part(packed: Packed, first: int, count: int) -> Packed:
    """Return the arrays of `count` stages from `first` on, out of those of a launcher from its first stage on."""
    body, stages = packed.body, packed.stages[:, first : first + count].copy()
    stages[:, -1:, PITCH] = 0.0
    if first:
        body = body.copy()
        body[:, [PUSH, PUSH_END]] = 0.0
    return packed._replace(body=body, stages=stages)


def spread(packed: Packed, shape: tuple[int, ...]) -> Packed:
    """Return a packed launcher for samples of `shape`: as it is where the last axes of these are its batch."""
    if shape[len(shape) - len(packed.shape) :] == packed.shape:
        return packed

    def wide(values: Floats) -> Floats:
        if values.shape[0] == 1:
            return values
        inner = values.shape[1:]
        tall = values.reshape(*packed.shape, *inner)
        return np.ascontiguousarray(np.broadcast_to(tall, (*shape, *inner))).reshape(-1, *inner)

    return packed._replace(
        body=wide(packed.body), stages=wide(packed.stages), laws=wide(packed.laws), shape=shape
    )  # fmt: skip


def _body(launcher: Launcher) -> list[Number]:
    projectile, contact = launcher.projectile, launcher.contact
    rolls = projectile.shape.rolls
    if not rolls and projectile.length is None:
        raise ValueError("a rod needs a length")
    return [
        projectile.mass, projectile.radius, projectile.spin_inertia if rolls else 0.0,
        -1.0 if rolls or projectile.length is None else projectile.length,
        contact.stiffness, contact.exponent, contact.rebound, contact.creep, *slowing(launcher.guide, projectile),
        contact.stiffening,
    ]  # fmt: skip


def _push(launcher: Launcher) -> tuple[Number, Number]:
    """Return force of the pusher [N], and where it lets go, as a place of a rod's front or a round one's centre [m]."""
    feed, projectile = launcher.feed, launcher.projectile
    if feed.push is None:
        return 0.0, 0.0
    length = 0.0 if projectile.shape.rolls or projectile.length is None else projectile.length
    return feed.push, length / 2 + (length / 2 if feed.push_end is None else feed.push_end)


def _stage(launcher: Launcher, index: int, more: bool) -> list[Number]:
    stage = launcher.stage(index)
    layout, radius = stage.layout, stage.wheel.radius
    idles = layout.side_b_turns and not layout.side_b_driven
    if idles and stage.idler_inertia is None:
        raise ValueError("an idler needs its inertia")
    return [
        float(_kind(layout)), radius, layout.crush_share * stage.crush, growth(stage.wheel, 1.0),
        1 / driven_inertia(stage), 1 / stage.idler_inertia if idles and stage.idler_inertia is not None else 0.0,
        pitch(launcher, index) if more else 0.0, *_drive(stage),
    ]  # fmt: skip


KINDS = {layouts.PAIR: PAIR, layouts.RAIL: RAIL, layouts.IDLER: IDLER}
"""Numbers of the layouts in the kernel's arrays."""


def _kind(layout: Layout) -> int:
    if layout not in KINDS:
        raise ValueError(f'the contact kernel has no layout "{layout.name}"')
    return KINDS[layout]


def _drive(stage: Stage) -> list[Number]:
    drive, air = stage.drive, disc(stage.wheel.radius)
    turning = [air.laminar, air.turbulent, air.core, air.transition]
    if drive is None:
        return [0.0, 1.0, 0.0, 0.0, *turning]
    pull = drive.gear * drive.torque_constant
    slope = pull * drive.gear / (drive.speed_constant * drive.resistance * stage.wheel.radius)
    return [slope, pull, drive.no_load_current, drive.current_limit, *turning]


def _rows(rows: Sequence[Sequence[Any]], shape: tuple[int, ...]) -> Floats:
    """Return the numbers or arrays over the batch as one array of shape (samples or 1, rows, columns)."""
    flat = [value for row in rows for value in row]
    if all(isinstance(value, float) or np.size(value) == 1 for value in flat):
        table = np.array([value if isinstance(value, float) else np.asarray(value).item() for value in flat])
        return table.reshape(1, len(rows), -1) if rows else np.zeros((1, 0, 0))
    columns = [as_samples(value, shape) for value in flat]
    table = np.empty((max(column.size for column in columns), len(flat)))
    for number, column in enumerate(columns):
        table[:, number] = column
    return table.reshape(len(table), len(rows), -1)


FEW = 96
"""Contacts up to which one thread is used [-]: a second one takes about as long to begin."""
CHUNK = 32
"""Least contacts in a chunk [-]."""
ONE_SIDED = 3
"""Time that a contact with one driven wheel takes over that of two alike: its sides differ and it spins [-]."""
PER_THREAD = 4
"""Chunks for each thread [-], so that no thread waits long for another."""


def threads() -> int:
    """Return the number of threads: OMP_NUM_THREADS, else one a core; 1 in a worker process or without a compiler."""
    if not COMPILES or multiprocessing.parent_process() is not None:
        return 1
    if (said := os.environ.get("OMP_NUM_THREADS", "")).isdigit() and int(said):
        return int(said)
    return cores()


@cache
def helpers(count: int) -> ThreadPoolExecutor:
    """Return `count` threads beside the caller's; they stay, as starting them takes longer than most calls."""
    return ThreadPoolExecutor(count, "throws")


def share(work: Callable[[int, int], None], samples: int, cost: int) -> None:
    """Call `work(low, high)` for chunks of 0 … `samples` on several threads; a sample takes as long as `cost` contacts.

    Samples are independent: results are the same for any number of threads.
    """
    workers = threads() if samples > 1 and samples * cost > FEW else 1
    if workers == 1:
        work(0, samples)
        return
    size = max(-(-CHUNK // max(cost, 1)), -(-samples // (PER_THREAD * workers)), 1)
    chunks = iter(range(0, samples, size))

    def take() -> None:
        for low in chunks:
            work(low, min(low + size, samples))

    begun = [helpers(workers - 1).submit(take) for _ in range(workers - 1)]
    try:
        take()
    finally:
        # One that waits behind others' work finds no chunk left.
        running = [one for one in begun if not one.cancel()]
        wait(running)
    for one in running:
        one.result()


def run(
    packed: Packed, speeds: Sequence[Floats], entry_speed: Floats, spin: Floats, ends: Any,
    options: Floats, out: Floats, exits: Floats, *, lost_jams: bool = False,
) -> None:  # fmt: skip
    """Throw all samples; arguments as in `throw_samples`, speeds in [m/s].

    Raises NotComputable where the allowed number of steps does not suffice, unless such a throw counts as a jam.
    """

    def work(low: int, high: int) -> None:
        lost = throw_samples(
            low, high, packed.body, packed.stages, packed.law_numbers, packed.laws, *speeds, entry_speed, spin, ends,
            options, out, exits, *workspace(speeds[0].shape[1]),
        )  # fmt: skip
        if lost and lost_jams:
            exits[low:high, 2] = np.where(exits[low:high, 2] == NOT_REACHED, JAM, exits[low:high, 2])
        elif lost:
            raise NotComputable("a contact needs more than the allowed number of steps")

    one_sided = (packed.stages[:1, :, LAYOUT : LAYOUT + 1] != PAIR).any()
    share(work, len(exits), speeds[0].shape[1] * (ONE_SIDED if one_sided else 1))
