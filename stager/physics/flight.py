"""What happens once the projectile has left: spin, wobble, how far it may fall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.projectile import BALL, HOLLOW_BALL, Projectile
from stager.physics.air import SEA_LEVEL, STANDARD_GRAVITY, Air
from stager.physics.drag import sphere_drag

ANGLES = np.radians(np.linspace(0.0, 50.0, 51))
ROUNDS, STEPS = 3, 300
SPHERES = (BALL, HOLLOW_BALL)
LIFT_CAUTION = "A spinning disc or ring is lifted by the air: it can fly farther than any of these distances."
ROUND_CAUTION = "A ball with backspin is lifted by the air and can fly farther than with drag alone."
TUMBLE_CAUTION = "A rod may tumble or glide: take the distance without air, and more."


@dataclass(frozen=True, slots=True, kw_only=True)
class FallLine:
    """Farthest falls [m]: without air; of a ball with drag (None: not a ball); and what neither of them knows."""

    vacuum: float
    drag: float | None
    caution: str


def spin_parameter(spin: Number, speed: Number, projectile: Projectile) -> Floats:
    """rΩ/v [-] from `spin` [rad/s] and `speed` [m/s]; 0 at rest; shapes broadcast."""
    moving = np.where(np.asarray(speed) > 0, speed, 1.0)
    return np.where(np.asarray(speed) > 0, projectile.radius * spin / moving, 0.0)


def inertia_ratio(projectile: Projectile) -> Number:
    """Moment of inertia about the spin axis by that across it [-]: 1 for balls, near 2 for a thin disc or ring.

    Discs and rings: β m r² against ½β m r² + m t²/12, thickness t (0 where not known).
    """
    beta = projectile.shape.inertia_factor
    if projectile.shape in SPHERES:
        return 1.0
    thickness = projectile.thickness if projectile.length is None else projectile.length
    flat = 0.0 if thickness is None else thickness**2 / 12
    return beta * projectile.radius**2 / (beta / 2 * projectile.radius**2 + flat)


def wobble_rate(spin: Number, projectile: Projectile) -> Number:
    """Rate [rad/s] at which a spinning body that was let go askew wobbles, seen from outside: I_spin/I_across·Ω.

    Free of torques and for small angles (any text on rigid bodies); twice the spin for a thin disc.
    """
    return inertia_ratio(projectile) * spin


def precession_rate(moment: Number, spin: Number, projectile: Projectile) -> Number:
    """Rate [rad/s] at which `moment` [N m] across the spin axis turns that axis: M/(I_spin·Ω); spin [rad/s]."""
    return moment / (projectile.spin_inertia * spin)


def vacuum_range(speed: Number, height: Number = 0.0) -> Floats:
    """Farthest fall without air [m] from `speed` [m/s] at `height` above ground [m], at the best angle.

    v/g·√(v² + 2gh): an upper bound for whatever has no lift.
    """
    return np.asarray(speed / STANDARD_GRAVITY * np.sqrt(np.square(speed) + 2 * STANDARD_GRAVITY * height))


def sphere_range(speed: Number, projectile: Projectile, height: Number = 0.0, *, air: Air = SEA_LEVEL) -> Floats:
    """Farthest fall of a ball [m] with drag, without lift, over launch angles; `speed` [m/s], `height` [m].

    Trajectories by Runge-Kutta's method in time, all angles at once, then closer around the best. A spinning ball may
    fly farther: its lift is left out, and so is the drag crisis above Re = 2e5.
    """
    shape = np.broadcast_shapes(
        np.shape(speed), np.shape(height), np.shape(projectile.mass), np.shape(projectile.diameter)
    )
    angles = np.broadcast_to(ANGLES.reshape(-1, *(1,) * len(shape)), (ANGLES.size, *shape))
    found = np.zeros(shape)
    for _ in range(ROUNDS):
        reached = _fall(speed, angles, projectile, height, air)
        best = np.clip(np.argmax(reached, axis=0), 1, len(angles) - 2)[None]
        found = np.max(reached, axis=0)
        low, high = (np.take_along_axis(angles, best + shift, axis=0)[0] for shift in (-1, 1))
        angles = np.linspace(low, high, 9)
    return found


def fall_line(speed: float, projectile: Projectile, height: float) -> FallLine:
    """Where to draw the line [m] behind which a projectile let go at `speed` [m/s] and `height` [m] cannot fall."""
    round_one = projectile.shape in SPHERES
    return FallLine(
        vacuum=float(vacuum_range(speed, height)),
        drag=float(sphere_range(speed, projectile, height)) if round_one else None,
        caution=ROUND_CAUTION if round_one else LIFT_CAUTION if projectile.shape.rolls else TUMBLE_CAUTION,
    )


def _fall(speed: Number, angle: Floats, projectile: Projectile, height: Number, air: Air) -> Floats:
    """Where trajectories at `angle` come down [m]. Time is cut in equal steps of the flight without air."""
    up, along = speed * np.sin(angle), speed * np.cos(angle)
    longest = (up + np.sqrt(up**2 + 2 * STANDARD_GRAVITY * height)) / STANDARD_GRAVITY
    step = longest / STEPS
    state = np.stack(np.broadcast_arrays(0.0 * angle, height + 0.0 * angle, along, up))
    landed = np.full(state.shape[1:], np.nan)
    for _ in range(STEPS + 1):
        fresh = _step(state, step, projectile, air)
        down = (fresh[1] <= 0) & (state[1] >= 0) & np.isnan(landed)
        share = state[1] / np.where(down, state[1] - fresh[1], 1.0)
        landed = np.where(down, state[0] + share * (fresh[0] - state[0]), landed)
        state = fresh
        if not np.isnan(landed).any():
            break
    return np.where(np.isnan(landed), state[0], landed)


def _step(state: Floats, step: Floats, projectile: Projectile, air: Air) -> Floats:
    first = _rate(state, projectile, air)
    second = _rate(state + step / 2 * first, projectile, air)
    third = _rate(state + step / 2 * second, projectile, air)
    fourth = _rate(state + step * third, projectile, air)
    return np.asarray(state + step / 6 * (first + 2 * second + 2 * third + fourth))


def _rate(state: Floats, projectile: Projectile, air: Air) -> Floats:
    speed = np.hypot(state[2], state[3])
    brake = sphere_drag(projectile.diameter, speed, air) / (projectile.mass * np.maximum(speed, 1e-12))
    return np.stack([state[2], state[3], -brake * state[2], -brake * state[3] - STANDARD_GRAVITY])
