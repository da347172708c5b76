"""Behind the last wheel: flight of the projectile, energy loss in the outlet, readings of instruments.

Flight is trajectory, landing, range and fall line; spin parameter and wobble. Coordinates are (forward, up,
right) seen from the muzzle, with the ground at height 0. Instruments are chronograph, range and tachometer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.projectile import BALL, HOLLOW_BALL, ROD, Flight, Placement, Projectile
from stager.physics.air import SEA_LEVEL, STANDARD_GRAVITY, Air, lift_coefficient, sphere_coefficient, sphere_reynolds

SPHERES = (BALL, HOLLOW_BALL)
"""Shapes whose drag is a sphere's."""
LIFT_CAUTION = "A spinning disc or ring is lifted by the air: it can fly farther than any of these distances."
ROUND_CAUTION = "A ball with backspin is lifted by the air and can fly farther than with drag alone."
TUMBLE_CAUTION = "A rod may tumble or glide: take the distance without air, and more."


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """How trajectories are integrated, by the Runge-Kutta method of order 4.

    count: steps of a flight without air [-]
    max_factor: most steps, by `count` [-]
    stop_share: longest step, by the time in which drag would stop the projectile [-]
    angles: tilts of the first search for the farthest fall [rad]
    refined: tilts of the second, about the best of the first [-]
    """

    count: int = 60
    max_factor: int = 20
    stop_share: float = 0.2
    angles: tuple[float, ...] = tuple(np.radians(np.linspace(-5.0, 60.0, 14)).tolist())
    refined: int = 9


STEPS = Steps()


@dataclass(frozen=True, slots=True, kw_only=True)
class Glide:
    """Lift and drag of a flying disc at angle of attack α [rad].

    C_L = lift + lift_slope·α, C_D = drag + drag_slope·(α − zero)²

    stall: angle of attack beyond which the flow separates, and coefficients stay [rad]
    """

    lift: float = 0.15
    lift_slope: float = 1.4
    drag: float = 0.08
    drag_slope: float = 2.72
    zero: float = float(np.radians(-4.0))
    stall: float = float(np.radians(30.0))


FLYING_DISC = Glide()
"""Morrison, The Physics of Frisbees (2005), as used in two published programs; the area is that seen from above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """State of a projectile at the muzzle; numbers or arrays that broadcast.

    speed [m/s]; height: above the ground [m]; tilt: above level [rad]; heading: to the right [rad]
    spin: about `axis` [rad/s]
    drag: coefficient [-]; None: that of a smooth sphere
    air: None: without drag and lift
    lifted: whether lift by the spin is included
    """

    projectile: Projectile
    speed: Number
    height: Number = 0.0
    tilt: Number = 0.0
    heading: Number = 0.0
    spin: Number = 0.0
    axis: tuple[float, float, float] = Placement.BOTTOM.axis
    drag: Number | None = None
    air: Air | None = SEA_LEVEL
    lifted: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """End of a flight; NaN where it is never reached.

    distance: along the ground [m]; height [m]; sideways: to the right [m]; speed [m/s]; time [s]
    """

    distance: Floats
    height: Floats
    sideways: Floats
    speed: Floats
    time: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class FallLine:
    """Greatest distance of a fall over all tilts [m].

    vacuum: without air
    drag: of a ball with drag; None: not a ball
    lift: of a ball with drag and the lift of its spin as backspin; None: not a ball, or without spin
    glide: of a disc or ring that flies as well as a flying disc; None: other shapes
    caution: what these distances leave out
    """

    vacuum: float
    drag: float | None
    lift: float | None = None
    glide: float | None = None
    caution: str

    @property
    def danger(self) -> float:
        """Return the greatest of the known distances [m], within which nobody may be."""
        return max(found for found in (self.vacuum, self.drag, self.lift, self.glide) if found is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """Landing of a flight from a given height and tilt.

    vacuum, drag, lift: without air, with drag, with drag and lift; None: unknown
    at_target: where the most complete of them passes the target; None: no target
    danger: greatest known distance of a fall over all tilts [m]
    gravity_loss: greatest share of exit speed that a climb through the barrel takes [-]
    lift_unknown: the projectile spins, and the direction of its lift is unknown
    """

    vacuum: Arrival
    drag: Arrival | None
    lift: Arrival | None
    at_target: Arrival | None
    danger: float
    gravity_loss: float
    lift_unknown: bool = False

    @property
    def best(self) -> Arrival:
        """Return the most complete of the three flights."""
        return self.lift or self.drag or self.vacuum


def spin_parameter(spin: Number, speed: Number, projectile: Projectile) -> Floats:
    """Return the spin parameter rΩ/v [-] from `spin` [rad/s] and `speed` [m/s]; 0 at rest; shapes broadcast."""
    moving = np.where(np.asarray(speed) > 0, speed, 1.0)
    return np.where(np.asarray(speed) > 0, projectile.radius * spin / moving, 0.0)


def inertia_ratio(projectile: Projectile) -> Number:
    """Return the moment of inertia about the spin axis / that across it [-]: 1 for balls, near 2 for thin discs.

    Discs and rings: β m r² / (½β m r² + m t²/12) with thickness t, 0 where it is unknown.
    """
    beta = projectile.shape.inertia_factor
    if projectile.shape in SPHERES:
        return 1.0
    thickness = projectile.thickness if projectile.length is None else projectile.length
    flat = 0.0 if thickness is None else thickness**2 / 12
    return beta * projectile.radius**2 / (beta / 2 * projectile.radius**2 + flat)


def wobble_rate(spin: Number, projectile: Projectile) -> Number:
    """Return the wobble rate of a freely spinning body, I_spin/I_across·Ω [rad/s], at `spin` [rad/s].

    Without torques and for small angles (any text on rigid bodies); twice the spin for a thin disc.
    """
    return inertia_ratio(projectile) * spin


def vacuum_range(speed: Number, height: Number = 0.0) -> Floats:
    """Return the greatest range without air, v/g·√(v² + 2gh) [m], at `speed` [m/s] from `height` [m].

    An upper bound for a body without lift.
    """
    return np.asarray(speed / STANDARD_GRAVITY * np.sqrt(np.square(speed) + 2 * STANDARD_GRAVITY * height))


def gravity_loss(length: Number, tilt: Number, speed: Number) -> Floats:
    """Return the greatest share of exit speed that a climb through the barrel takes, 1 − √(1 − 2gL·sin tilt/v²) [-].

    length: of the barrel [m]; tilt [rad]; speed: at the exit [m/s]. A wheel that grips gives some of it back.
    """
    left = 1 - 2 * STANDARD_GRAVITY * length * np.sin(tilt) / np.square(np.maximum(speed, 1e-12))
    return np.asarray(1 - np.sqrt(np.maximum(left, 0.0)))


def land(release: Release) -> Arrival:
    """Return the landing on the ground; shapes broadcast."""
    return _arrive(release, 1, 0.0)


def hit(release: Release, target: Number) -> Arrival:
    """Return where the projectile passes the distance `target` [m], above or below the ground."""
    return _arrive(release, 0, target)


def trajectory(release: Release) -> Floats:
    """Return points of one trajectory up to the landing, (forward, up, right) [m], shape (points, 3)."""
    end = land(release)
    found = [state[:3, 0] for state, _ in _steps_of(release, None)]
    above = [place for place in found if place[0] < float(end.distance)]
    last = [float(end.distance), float(end.height), float(end.sideways)]
    return np.array([*above, last])


def farthest(release: Release) -> Floats:
    """Return the greatest distance of a fall over all tilts [m]; shape as the numbers of the release broadcast."""
    shape = np.broadcast_shapes(*(np.shape(value) for value in _numbers(release)))
    angles = np.broadcast_to(np.reshape(STEPS.angles, (-1, *(1,) * len(shape))), (len(STEPS.angles), *shape))
    reached = np.nan_to_num(land(replace(release, tilt=angles)).distance)
    best = np.clip(np.argmax(reached, axis=0), 1, len(angles) - 2)[None]
    low, high = (np.take_along_axis(angles, best + shift, axis=0)[0] for shift in (-1, 1))
    angles = np.linspace(low, high, STEPS.refined)
    reached = np.nan_to_num(land(replace(release, tilt=angles)).distance)
    best = np.clip(np.argmax(reached, axis=0), 1, len(angles) - 2)[None]
    left, top, right = (np.take_along_axis(reached, best + shift, axis=0)[0] for shift in (-1, 0, 1))
    # The maximum of the parabola through the best and its neighbours.
    bend = np.minimum(left - 2 * top + right, -1e-12)
    return np.asarray(
        np.maximum(top - np.clip(left - right, 4 * bend, -4 * bend) ** 2 / (8 * bend), np.max(reached, axis=0))
    )


def glide_range(speed: float, projectile: Projectile, height: float, *, glide: Glide = FLYING_DISC) -> float:
    """Return the range of a disc or ring with the coefficients of a flying disc [m], at `speed` [m/s], `height` [m].

    Its spin keeps its pitch fixed; the best of launch angles and angles of attack. Mass and area are its own; a ring
    shaped for flight may fly farther.
    """
    area = np.pi * projectile.radius**2

    def farthest_of(angles: Floats, attacks: Floats) -> tuple[float, float, float]:
        """Return the greatest range [m] of all pairs of launch angle and angle of attack [rad], and that pair."""
        angle, attack = (one.ravel() for one in np.meshgrid(angles, attacks))
        pitch = angle + attack

        def force(state: Floats) -> tuple[Floats, Floats, Floats]:
            x, y = state[3], state[4]
            flown_at = np.clip(pitch - np.arctan2(y, x), -glide.stall, glide.stall)
            factor = SEA_LEVEL.density * area * np.hypot(x, y) / (2 * float(projectile.mass))
            brake = -factor * (glide.drag + glide.drag_slope * (flown_at - glide.zero) ** 2)
            lift = factor * (glide.lift + glide.lift_slope * flown_at)
            return brake * x - lift * y, brake * y + lift * x, np.zeros_like(x)

        release = Release(projectile=projectile, speed=speed, height=height, tilt=angle)
        far = np.nan_to_num(_arrive(release, 1, 0.0, force).distance)
        best = int(np.argmax(far))
        return float(far[best]), float(angle[best]), float(attack[best])

    coarse, fine = np.radians([5.0, 3.0]), np.linspace(-1.0, 1.0, 17)
    _, angle, attack = farthest_of(np.radians(np.arange(-10.0, 51.0, 5.0)), np.radians(np.arange(-13.0, 21.0, 3.0)))
    return farthest_of(angle + coarse[0] * fine, attack + coarse[1] * fine)[0]


@lru_cache(maxsize=64)
def fall_line(
    speed: float, projectile: Projectile, height: float, spin: float = 0.0, drag: float | None = None
) -> FallLine:
    """Return the greatest distances of a fall from `height` [m] at `speed` [m/s].

    spin: taken as backspin, the worst case [rad/s]; drag: coefficient of a ball [-], None: that of a smooth sphere.
    """
    release = Release(projectile=projectile, speed=speed, height=height, drag=drag)
    if projectile.shape in SPHERES:
        lift = float(farthest(replace(release, spin=abs(spin), lifted=True))) if spin else None
        return FallLine(
            vacuum=float(vacuum_range(speed, height)), drag=float(farthest(release)), lift=lift, caution=ROUND_CAUTION
        )
    flat = projectile.shape is not ROD and projectile.shape.rolls
    return FallLine(
        vacuum=float(vacuum_range(speed, height)), drag=None,
        glide=glide_range(speed, projectile, height) if flat and speed > 0 else None,
        caution=LIFT_CAUTION if flat else TUMBLE_CAUTION,
    )  # fmt: skip


def releases(
    flight: Flight, projectile: Projectile, speed: Number, spin: Number
) -> tuple[Release, Release | None, Release | None]:
    """Return releases without air, with drag, with drag and lift; None where drag or lift is unknown.

    speed [m/s], spin [rad/s]: at the muzzle. Lift needs a spinning ball and the direction of side A.
    """
    bare = Release(projectile=projectile, speed=speed, height=flight.height, tilt=flight.tilt, air=None)
    known = projectile.shape in SPHERES or (flight.drag is not None and projectile.known_frontal_area is not None)
    if not known:
        return bare, None, None
    drag = replace(bare, air=SEA_LEVEL, drag=flight.drag)
    if projectile.shape not in SPHERES or flight.side_a is None or not np.any(spin):
        return bare, drag, None
    return bare, drag, replace(drag, spin=spin, axis=flight.side_a.axis, lifted=True)


def landing(
    flight: Flight, projectile: Projectile, speed: float, spin: float = 0.0, length: Number = 0.0
) -> Landing:  # fmt: skip
    """Return the landing of a flight at `speed` [m/s], `spin` [rad/s] and the tilt of `flight`; length: barrel [m]."""
    found = releases(flight, projectile, speed, spin)
    vacuum, drag, lift = (None if one is None else land(one) for one in found)
    assert vacuum is not None
    best = next(one for one in reversed(found) if one is not None)
    line = fall_line(speed, projectile, float(flight.height), spin, None if flight.drag is None else float(flight.drag))
    return Landing(
        vacuum=vacuum, drag=drag, lift=lift, at_target=None if flight.target is None else hit(best, flight.target),
        lift_unknown=bool(spin) and projectile.shape in SPHERES and flight.side_a is None, danger=line.danger,
        gravity_loss=float(gravity_loss(length, flight.tilt, speed)),
    )  # fmt: skip


def _numbers(release: Release) -> list[Number]:
    """Return the fields that may be arrays."""
    projectile = release.projectile
    found = (release.speed, release.height, release.tilt, release.heading, release.spin, release.drag, projectile.mass,
             projectile.diameter, projectile.length, projectile.thickness)  # fmt: skip
    return [value for value in found if value is not None]


Force = Callable[[Floats], tuple[Floats, Floats, Floats]]
"""Acceleration by the air (forward, up, right) [m/s^2] of states (6, samples)."""


def _force(release: Release, size: int) -> Force:
    """Return a function for the acceleration by drag and lift, with `size` samples."""
    air, projectile = release.air, release.projectile

    def flat(value: Number) -> Floats:
        shape = np.broadcast_shapes(*(np.shape(one) for one in _numbers(release)))
        return np.broadcast_to(np.asarray(value, dtype=np.float64), shape).reshape(-1)

    if air is None:
        nothing = np.zeros(size)
        return lambda state: (nothing, nothing, nothing)
    diameter, mass, spin = flat(projectile.diameter), flat(projectile.mass), flat(release.spin)
    area = np.pi * diameter**2 / 4 if projectile.shape in SPHERES else flat(projectile.frontal_area)
    fixed = None if release.drag is None else flat(release.drag)
    factor, (ahead, over, aside) = air.density * area / (2 * mass), release.axis

    def force(state: Floats) -> tuple[Floats, Floats, Floats]:
        x, y, z = state[3], state[4], state[5]
        fast = np.maximum(np.sqrt(x**2 + y**2 + z**2), 1e-9)
        drag = sphere_coefficient(sphere_reynolds(diameter, fast, air)) if fixed is None else fixed
        brake = -factor * drag * fast
        if not release.lifted:
            return brake * x, brake * y, brake * z
        across = over * z - aside * y, aside * x - ahead * z, ahead * y - over * x
        turned = np.maximum(np.sqrt(across[0] ** 2 + across[1] ** 2 + across[2] ** 2), 1e-12)
        lift = factor * lift_coefficient(diameter / 2 * spin * turned / fast**2) * np.sign(spin) * fast**2 / turned
        return brake * x + lift * across[0], brake * y + lift * across[1], brake * z + lift * across[2]

    return force


def _steps_of(release: Release, target: Number | None, force: Force | None = None) -> Iterator[tuple[Floats, Floats]]:
    """Yield states (6, samples), place and velocity, and times [s] (samples,), step by step (Runge-Kutta, order 4)."""
    shape = np.broadcast_shapes(
        *(np.shape(value) for value in _numbers(release)), np.shape(target if target is not None else 0.0)
    )

    def flat(value: Number) -> Floats:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), shape).reshape(-1)

    speed, height, tilt, heading = map(flat, (release.speed, release.height, release.tilt, release.heading))
    along, up = speed * np.cos(tilt), speed * np.sin(tilt)
    zero = np.zeros_like(speed)
    state = np.stack([zero, height, zero, along * np.cos(heading), up, along * np.sin(heading)])
    longest = (up + np.sqrt(np.maximum(up**2 + 2 * STANDARD_GRAVITY * height, 0.0))) / STANDARD_GRAVITY
    if target is not None:
        longest = flat(target) / np.maximum(along * np.cos(heading), 1e-9)
    longest = np.maximum(longest, 1e-6) / STEPS.count
    acceleration = _force(release, speed.size) if force is None else force

    def rate(state: Floats) -> Floats:
        forward, up, right = acceleration(state)
        return np.stack([state[3], state[4], state[5], forward, up - STANDARD_GRAVITY, right])

    time = zero
    yield state, time
    for _ in range(STEPS.max_factor * STEPS.count):
        first = rate(state)
        # Air stops light bodies before they fall: steps are short against that time.
        stop = np.hypot(np.hypot(state[3], state[4]), state[5]) / np.maximum(_air(first), 1e-9)
        step = np.minimum(longest, STEPS.stop_share * stop + 1e-9)
        second = rate(state + step / 2 * first)
        third = rate(state + step / 2 * second)
        state = state + step / 6 * (first + 2 * second + 2 * third + rate(state + step * third))
        time = time + step
        yield state, time


def _air(rate: Floats) -> Floats:
    """Return the magnitude of the acceleration by the air [m/s^2] in the rate of a state."""
    return np.asarray(np.sqrt(rate[3] ** 2 + (rate[4] + STANDARD_GRAVITY) ** 2 + rate[5] ** 2))


def _arrive(release: Release, axis: int, goal: Number, force: Force | None = None) -> Arrival:
    """Return where coordinate `axis` first reaches `goal` [m]: forward (0) rising, or height (1) falling."""
    target = goal if axis == 0 else None
    shape = np.broadcast_shapes(*(np.shape(value) for value in _numbers(release)), np.shape(goal))
    goals = np.broadcast_to(np.asarray(goal, dtype=np.float64), shape).reshape(-1)
    sign = 1.0 if axis == 0 else -1.0
    before: Floats | None = None
    found = np.full((7, goals.size), np.nan)
    for state, time in _steps_of(release, target, force):
        row = np.concatenate([state, time[None]])
        if before is not None:
            due = np.isnan(found[0]) & (sign * (state[axis] - goals) >= 0) & (sign * state[3 + axis] > 0)
            if due.any():
                found[:, due] = _between(before[:, due], row[:, due], axis, goals[due])
                if not np.isnan(found[0]).any():
                    break
        before = row
    parts = [column.reshape(shape) for column in found]
    return Arrival(
        distance=np.hypot(parts[0], parts[2]) if axis == 1 else parts[0], height=parts[1], sideways=parts[2],
        speed=np.sqrt(parts[3] ** 2 + parts[4] ** 2 + parts[5] ** 2), time=parts[6],
    )  # fmt: skip


def _between(before: Floats, after: Floats, axis: int, goal: Floats) -> Floats:
    """Return states at which a coordinate is `goal`, between two steps, by cubic Hermite interpolation in time."""
    step = after[6] - before[6]

    def place(s: Floats, of: int | slice) -> Floats:
        """Return coordinates at the share `s` of the step [m]."""
        left, start, end = 1 - s, step * before[3:6][of], step * after[3:6][of]
        return np.asarray(
            left * left * ((1 + 2 * s) * before[:3][of] + s * start)
            + s * s * ((3 - 2 * s) * after[:3][of] - left * end)
        )  # fmt: skip

    low, high = np.zeros_like(step), np.ones_like(step)
    rising = after[axis] >= before[axis]
    for _ in range(40):
        middle = (low + high) / 2
        early = (place(middle, axis) < goal) == rising
        low, high = np.where(early, middle, low), np.where(early, high, middle)
    share = (low + high) / 2
    return np.concatenate([place(share, slice(3)), before[3:] + share * (after[3:] - before[3:])])


BLUNT_DRAG = 1.0
"""Drag coefficient of a flat-faced body on its frontal area [-]; of a disc's rim too. Rough: cylinders along the
flow have 0.85 to 0.99, square plates 1.17 (Aeronautical Engineer's Data Book, fig. 5.13)."""
MAX_SPEED_RATIO = 30.0
"""Greatest speed that is searched for, by the speed without air [-]."""
RANGE_ACCURACY = 1e-8
"""Relative error of the range at which a speed is found [-]; that of a landing is of the same size."""
MOST_FLIGHTS = 30
"""Flights until then at most; five to ten are usual."""
LEAST_APART = 1e-12
"""Least difference of logarithms of range that is divided by [-]."""


def outlet_speed(launcher: Launcher, exit_speed: Number) -> Floats:
    """Return the speed at which the projectile leaves the outlet.

    v_out² = v² − 2·loss/m; 0 where the outlet takes more than the throw's energy.

    Parameters
    ----------
    launcher : Launcher
        Fields are floats, or arrays that broadcast against `exit_speed`.
    exit_speed : float or ndarray, any shape
        Speed as it leaves the last wheel [m/s].

    Returns
    -------
    ndarray
        [m/s], shape as `exit_speed`.
    """
    exit_speed = np.asarray(exit_speed, dtype=np.float64)
    if launcher.outlet is None:
        return exit_speed
    lost = 2 * launcher.outlet.loss / launcher.projectile.mass
    return np.sqrt(np.maximum(exit_speed**2 - lost, 0.0))


def speed_before_outlet(launcher: Launcher, speed: Number) -> Number:
    """Return the speed behind the last wheel [m/s] that leaves the outlet at `speed` [m/s]; shapes broadcast."""
    if launcher.outlet is None:
        return speed
    return np.sqrt(speed**2 + 2 * launcher.outlet.loss / launcher.projectile.mass)


def indicated_speed(launcher: Launcher, exit_speed: Number) -> Floats:
    """Return the reading of the chronograph.

    Parameters
    ----------
    launcher : Launcher
        Fields are floats, or arrays that broadcast against `exit_speed`.
    exit_speed : float or ndarray, any shape
        Speed as it leaves the last wheel [m/s].

    Returns
    -------
    ndarray
        Outlet speed, slowed by the air over `measuring.distance`, / `measuring.exit_speed` [m/s].
    """
    speed = outlet_speed(launcher, exit_speed)
    if launcher.measuring is None:
        return speed
    return np.asarray(speed * _slowed(launcher, speed) / launcher.measuring.exit_speed)


def last_wheel_speed(launcher: Launcher, indicated: Floats) -> Floats:
    """Return the speed behind the last wheel [m/s] for a reading `indicated` of the chronograph [m/s].

    The inverse of `indicated_speed`, with the drag coefficient at the chronograph; shapes broadcast.
    """
    speed = indicated
    if launcher.measuring is not None:
        speed = speed * launcher.measuring.exit_speed
        speed = speed / _slowed(launcher, speed)
    return np.where(indicated > 0, np.asarray(speed_before_outlet(launcher, speed)), indicated)


def speed_from_range(projectile: Projectile, distance: Floats, drop: Floats) -> Floats:
    """Return the exit speed of a level throw from where it lands.

    Parameters
    ----------
    projectile : Projectile
        Drag is that of a sphere; for other shapes it is unknown and left out.
    distance, drop : ndarray, shape (n,)
        Along the ground, and height of the outlet above it [m]; NaN where not measured.

    Returns
    -------
    ndarray, shape (n,)
        [m/s]; 0 for a distance of 0, NaN where not measured, inf where drag lets no throw fly so far.
    """
    plain = distance * np.sqrt(STANDARD_GRAVITY / (2 * np.maximum(drop, 1e-12)))
    if projectile.shape not in (BALL, HOLLOW_BALL):
        return plain
    known = np.flatnonzero(np.isfinite(plain) & (plain > 0))
    out = plain.copy()
    if not known.size:
        return out

    def beyond(speed: Floats) -> Floats:
        there = land(Release(projectile=projectile, speed=speed, height=drop[known])).distance
        return np.nan_to_num(np.log(there / distance[known]), nan=-1.0, neginf=-1.0)

    # Regula falsi in logarithms with the Illinois rule, as range is nearly a power of speed.
    low, high = plain[known], plain[known] * MAX_SPEED_RATIO
    short, far = beyond(low), beyond(high)
    reached, side = far >= 0, np.zeros(known.size)
    middle = high
    for _ in range(MOST_FLIGHTS):
        apart = np.maximum(far - short, LEAST_APART)
        middle = low * (high / low) ** np.clip(-short / apart, 0.0, 1.0)
        error = beyond(middle)
        if (np.abs(error[reached]) <= RANGE_ACCURACY).all():
            break
        # An end that stays twice in a row counts half.
        now = np.sign(error)
        again = 1.0 - 0.5 * (now == side)
        low, short = np.where(now < 0, middle, low), np.where(now < 0, error, short * again)
        high, far = np.where(now < 0, high, middle), np.where(now < 0, far * again, error)
        side = now
    out[known] = np.where(reached, middle, np.inf)
    return out


EXPONENT_STEP = 1e-3
"""Step of the logarithm of a quantity at which its effect is found [-]."""


def range_exponents(projectile: Projectile, speed: Floats, drop: Floats) -> tuple[Floats, Floats]:
    """Return d ln v / d ln of range and of drop for a level throw with exit speed v [-], both (n,).

    speed [m/s] and drop [m] are (n,). Where nothing flew they are 1 and −½, as without air.
    """
    of_range, of_drop = np.ones(speed.shape), np.full(speed.shape, -0.5)
    flew = np.flatnonzero(np.isfinite(speed) & (speed > 0) & np.isfinite(drop))
    if projectile.shape in (BALL, HOLLOW_BALL) and flew.size:
        steps = np.exp(EXPONENT_STEP * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]))[:, :, None]
        release = Release(projectile=projectile, speed=speed[flew] * steps[:, 0], height=drop[flew] * steps[:, 1])
        there = np.log(land(release).distance)
        by_speed, by_drop = (there[::2] - there[1::2]) / (2 * EXPONENT_STEP)
        of_range[flew], of_drop[flew] = 1 / by_speed, -by_drop / by_speed
    return of_range, of_drop


def time_exponents(projectile: Projectile, time: Floats, distance: Floats) -> tuple[Floats, Floats]:
    """Return d ln v / d ln of flight time and of distance for an initial speed v [-], both (n,)."""
    up, down = np.exp(EXPONENT_STEP), np.exp(-EXPONENT_STEP)
    pairs = (
        (speed_from_time(projectile, time * up, distance), speed_from_time(projectile, time * down, distance)),
        (speed_from_time(projectile, time, distance * up), speed_from_time(projectile, time, distance * down)),
    )
    by_time, by_distance = (np.log(above / below) / (2 * EXPONENT_STEP) for above, below in pairs)
    return by_time, by_distance


def speed_from_time(projectile: Projectile, time: Floats, distance: Floats) -> Floats:
    """Return the initial speed [m/s] of a flight of `time` [s] over `distance` [m], (n,); NaN where not measured.

    With drag k = ρcA/(2m): t = (exp(k x) − 1)/(k v), c at the mean speed.
    """
    mean = np.where(time > 0, distance / np.where(time > 0, time, 1.0), np.nan)
    if projectile.shape not in (BALL, HOLLOW_BALL):
        return mean
    drag = SEA_LEVEL.density * _coefficient(projectile, mean) * projectile.frontal_area / (2 * projectile.mass)
    return np.asarray(mean * np.expm1(drag * distance) / (drag * distance))


def indicated_wheel_speed(launcher: Launcher, wheel_speed: Number) -> Number:
    """Return the reading of the tachometer at `wheel_speed` [m/s or rad/s], in the same unit."""
    return wheel_speed if launcher.measuring is None else wheel_speed / launcher.measuring.wheel_speed


def _slowed(launcher: Launcher, speed: Number) -> Number:
    """Return the share of `speed` [m/s] that remains at the chronograph: exp(−ρ c A x/(2m)), c at `speed`."""
    measuring, projectile = launcher.measuring, launcher.projectile
    if measuring is None or not np.any(measuring.distance):
        return 1.0
    drag = SEA_LEVEL.density * _coefficient(projectile, speed) * projectile.frontal_area / (2 * projectile.mass)
    return np.exp(-drag * measuring.distance)


def _coefficient(projectile: Projectile, speed: Number) -> Number:
    """Return the drag coefficient on the frontal area [-] at `speed` [m/s]: a sphere's, else a blunt body's."""
    if projectile.shape in (BALL, HOLLOW_BALL):
        return sphere_coefficient(sphere_reynolds(projectile.diameter, np.maximum(speed, 0.1)))
    return BLUNT_DRAG
