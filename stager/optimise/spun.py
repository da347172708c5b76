"""How the two wheels of a stage run: alike, or apart so that the projectile leaves with the spin that is asked for.

The first stage makes the spin, where the projectile is slow and turning it costs least of its speed; each further one
runs its wheels 2rΩ apart. Then u_A − (v cos φ + rΩ) = u_B − (v cos φ − rΩ): both slip alike, so the spin stays, and
the exit speed is that of two wheels at their mean. A chain is told by the speed of its leading wheels, the sides that
drive the spin forward (A, or B where the spin is negative).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.optimise.making import ROUGHLY, TURNED, Making
from stager.optimise.span import span
from stager.optimise.way import Apart, Way
from stager.physics.batch import batch_shape, flatten
from stager.physics.chain import transit
from stager.physics.options import DEFAULT, QUICK, Options
from stager.physics.records import Throw, Transit

SPIN_WITHIN = 1e-3
"""How near a spin must come to the one that is asked for [-]."""
GRID, ZOOMS = 40, 2


def gap(launcher: Launcher, spin: Number) -> Number:
    """How far apart wheels keep `spin` [rad/s] as it is [m/s]."""
    return 2.0 * launcher.projectile.radius * np.abs(spin)


@dataclass(frozen=True, slots=True)
class Turned:
    """The other wheel runs so that the projectile leaves with `spin` [rad/s], a float or an array over the lanes, no
    less than it enters with.

    gripped: keep to settings where the other wheel grips; else it may also slip past its grip limit, up to `top`
    [m/s], where that throws faster. What cannot be turned so fast counts as jammed.
    """

    spin: Number
    gripped: bool
    top: Number

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """See Way."""
        given = [np.asarray(part) for part in (entry_speed, wheel_speed, entry_spin, self.spin, self.top)]
        shape = batch_shape(launcher, *given)
        entry, lead, before, spin, top = (np.broadcast_to(part, shape).ravel() for part in given)
        flat = flatten(launcher, shape)
        keeping = lead - gap(flat, before)
        slower = np.maximum(lead - TURNED * gap(flat, spin), 0.0)
        making = Making(flat, index, entry, lead, before, spin, options)
        if self.gripped:
            done = making.run(making.other(np.zeros_like(lead), keeping, slower))
        else:
            high = np.maximum(keeping, top)
            much, guess = np.append(np.zeros_like(lead), high), np.append(slower, (high + keeping) / 2)
            other = making.twice.other(much, np.tile(keeping, 2), guess)
            both = making.twice.run(other).exit_speed.reshape(2, -1)
            slow, fast = other.reshape(2, -1)
            done = making.run(np.where(both[1] > both[0], fast, slow))
        return Transit(**{name: getattr(done, name).reshape(shape) for name in Transit.__dataclass_fields__})


@dataclass(frozen=True, slots=True)
class Spun:
    """As Turned for the first stage of a chain, which a projectile enters without spin; the others keep the spin.
    spin [rad/s] of either sign, top [m/s]."""

    spin: float
    gripped: bool
    top: float

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """See Way; what enters spins as the stages before have left it, whatever `entry_spin` says."""
        spin = abs(self.spin)
        if index == 0:
            making = Turned(spin, self.gripped, self.top)
            return making(launcher, index, entry_speed, wheel_speed, options=options)
        keeping = Apart(gap(launcher, spin))
        return keeping(launcher, index, entry_speed, wheel_speed, entry_spin=spin, options=options)


def way_of(launcher: Launcher, limit_values: LimitValues, spin: float | None) -> Way:
    """How stages are passed where the projectile shall leave with `spin` [rad/s]; None or 0: wheels alike."""
    if not spin:
        return transit
    return Spun(spin, bool(limit_values.grip_margin), float(np.max(span(launcher, limit_values, 0).top)))


def sides(way: Way, launcher: Launcher, lead: Floats, options: Options = DEFAULT) -> tuple[Floats, Floats | None]:
    """Speeds of sides A and B [m/s] with leading wheels at `lead` [m/s], shape (..., stages); B None: all alike."""
    if not isinstance(way, Spun) or lead.shape[-1] == 0:
        return lead, None
    other = np.maximum(lead - np.asarray(gap(launcher, way.spin))[..., None], 0.0)
    first = way(launcher, 0, launcher.feed.speed, lead[..., 0], entry_spin=launcher.feed.spin, options=options)
    other[..., 0] = first.wheel_speed_b
    return (lead, other) if way.spin > 0 else (other, lead)


def turns(way: Way, done: Throw) -> NDArray[np.bool_]:
    """Where throws leave with the spin that is asked for, if any."""
    return np.asarray(not isinstance(way, Spun) or np.abs(done.spin / way.spin - 1.0) <= ROUGHLY)


def most_spin(launcher: Launcher, top: float) -> float:
    """About the greatest spin [rad/s] that the first stage makes with wheels up to `top` [m/s]."""
    most, low, high = 0.0, np.zeros(2), np.ones(2)
    for _ in range(ZOOMS):
        # Dense at the low end: a slow first stage turns most.
        root, share = np.meshgrid(*np.linspace(low, high, GRID).T)
        lead = top * root**2
        done = transit(
            launcher, 0, launcher.feed.speed, lead, share * lead, entry_spin=launcher.feed.spin, options=QUICK
        )
        spin = np.where(done.jammed, 0.0, done.exit_spin)
        best, step = np.unravel_index(int(np.argmax(spin)), spin.shape), (high - low) / (GRID - 1)
        most, here = max(most, float(spin[best])), np.array([root[best], share[best]])
        low, high = np.maximum(here - step, 0.0), np.minimum(here + step, 1.0)
    return most
