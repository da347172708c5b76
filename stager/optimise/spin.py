"""Speeds of the two wheels of a pair: equal, or apart so that the projectile leaves with the spin that is asked for.

The first stage makes the spin, where the projectile is slow and spinning it costs least exit speed. Each further stage
runs its wheels 2rΩ apart: u_A − (v cos φ + rΩ) = u_B − (v cos φ − rΩ), so both sides slip alike, the spin stays, and
the exit speed is that of two wheels at their mean speed. A chain is described by the speeds of its leading wheels, the
sides that drive the spin forward (A, or B where the spin is negative).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.constraints import speed_range
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.chain import DEFAULT, QUICK, Options, transit
from stager.physics.grip_limit import TransitFunction, TwoSpeeds
from stager.physics.records import Grip, Throw, Transit, batch_shape, flatten, take

SPIN_WITHIN = 1e-3
"""Relative error of spin that counts as reached [-]."""
GRID = 40
"""Points of a search grid for the greatest spin, each way."""
ZOOMS = 2
"""Times that this grid is refined."""
FOUND = 1e-6
"""Interval of wheel speed over the leading wheel's at which a search ends [-]."""
BESIDE_JAM = 2e-4
"""The same where one end of the interval jams [-]."""
TRIES = 40
"""Greatest number of steps of a search."""
HALF = 0.5
"""Step of bisection [-]."""
SPIN_ERROR = 5e-3
"""Relative error of spin up to which a search has not missed it [-]."""
TURNED = 1.03
"""Wheels that grip run about this many times 2rΩ apart, as the contact tilts [-]."""


def gap(launcher: Launcher, spin: Number) -> Number:
    """Return the difference of wheel speeds that keeps `spin` [rad/s] as it is [m/s]."""
    return 2.0 * launcher.projectile.radius * np.abs(spin)


@dataclass(frozen=True, slots=True)
class Making:
    """A search for the other wheel's speed with which stage `index` makes `spin` [rad/s]; arrays (lanes,).

    entry: entry speed [m/s]; lead: speed of the leading wheel [m/s]; before: spin at entry [rad/s], less than `spin`.
    """

    launcher: Launcher
    index: int
    entry: Floats
    lead: Floats
    before: Floats
    spin: Floats
    options: Options

    @property
    def twice(self) -> Making:
        """The lanes twice, one after the other."""
        entry, lead, before, spin = (np.tile(values, 2) for values in (self.entry, self.lead, self.before, self.spin))
        launcher = take(self.launcher, np.tile(np.arange(self.lead.size), 2))
        return Making(launcher, self.index, entry, lead, before, spin, self.options)

    def run(self, other: Floats) -> Transit:
        """Return transits with the other wheel at `other` [m/s], as jams where they miss the spin."""
        done = self._transit(np.arange(other.size), other)
        missed = np.abs(done.exit_spin / self.spin - 1.0) > SPIN_ERROR
        jam, none = np.int8(Grip.JAM), np.zeros_like(done.exit_speed)
        return replace(
            done, grip=np.where(missed, jam, done.grip), exit_speed=np.where(missed, none, done.exit_speed)
        )  # fmt: skip

    def other(self, much: Floats, little: Floats, guess: Floats) -> Floats:
        """Return the other wheel's speed [m/s] that makes the spin.

        It lies between `much`, where the spin is greater or it jams, and `little`, where it is less; guess: a start
        between them. Regula falsi with the Illinois method (Dowell and Jarratt, BIT 11 (1971) 168).
        """
        far, near, at = much.copy(), little.copy(), guess.copy()
        over, under = np.ones_like(far), self.before / self.spin - 1.0
        step = np.zeros_like(far)
        moved, who = np.zeros(far.shape, np.int8), np.arange(far.size)
        enough = max(FOUND, self.options.tolerance)
        for _ in range(TRIES):
            done = self._transit(who, at[who])
            excess = np.where(done.jammed, 1.0, done.exit_spin / self.spin[who] - 1.0)
            up = excess > 0
            far[who], near[who] = np.where(up, at[who], far[who]), np.where(up, near[who], at[who])
            side = np.where(up, np.int8(1), np.int8(-1))
            stays = np.where(side == moved[who], 0.5, 1.0)
            over[who] = np.where(up, excess, stays * over[who])
            under[who] = np.where(up, stays * under[who], excess)
            moved[who] = side
            # Bisect while the far end jams.
            step[who] = np.where(up, np.where(done.jammed, HALF, np.nan), step[who])
            wide = np.abs(far[who] - near[who]) > np.where(step[who] == HALF, BESIDE_JAM, FOUND) * self.lead[who]
            who = who[(np.abs(excess) > enough) & wide]
            if who.size == 0:
                break
            share = np.where(np.isnan(step[who]), over[who] / (over[who] - under[who]), step[who])
            at[who] = far[who] + share * (near[who] - far[who])
        return at

    def _transit(self, who: NDArray[np.intp], other: Floats) -> Transit:
        here, spin = take(self.launcher, who), self.before[who]
        return transit(
            here, self.index, self.entry[who], self.lead[who], other, entry_spin=spin, options=self.options
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Turned:
    """Transit of a pair whose other wheel runs so that the projectile leaves with `spin` [rad/s], a float or (lanes,).

    gripped: only settings where the other wheel grips; else it may also slip past its grip limit, up to `top` [m/s],
    where that throws faster. Where the spin cannot be reached the transit counts as a jam.
    """

    spin: Number
    gripped: bool
    top: Number

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """See TransitFunction."""
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
    """Transit of a chain with spin: the first stage makes it, see `Turned`, the others keep it.

    spin [rad/s] of either sign; top [m/s].
    """

    spin: float
    gripped: bool
    top: float

    def __call__(
        self, launcher: Launcher, index: int, entry_speed: Number, wheel_speed: Number, *, entry_spin: Number = 0.0,
        options: Options = DEFAULT,
    ) -> Transit:  # fmt: skip
        """See TransitFunction. Behind the first stage the entry spin is the one asked for; `entry_spin` is not used."""
        spin = abs(self.spin)
        if index == 0:
            making = Turned(spin, self.gripped, self.top)
            return making(launcher, index, entry_speed, wheel_speed, options=options)
        keeping = TwoSpeeds(gap(launcher, spin))
        return keeping(launcher, index, entry_speed, wheel_speed, entry_spin=spin, options=options)


def way_of(launcher: Launcher, limit_values: LimitValues, spin: float | None) -> TransitFunction:
    """Return the transit for a goal of `spin` [rad/s]; None or 0: both wheels at one speed."""
    if not spin:
        return transit
    return Spun(spin, bool(limit_values.grip_margin), float(np.max(speed_range(launcher, limit_values, 0).top)))


def sides(
    way: TransitFunction, launcher: Launcher, lead: Floats, options: Options = DEFAULT
) -> tuple[Floats, Floats | None]:
    """Return speeds of sides A and B [m/s] for leading wheels at `lead` [m/s], (..., stages); B None: as A."""
    if not isinstance(way, Spun) or lead.shape[-1] == 0:
        return lead, None
    other = np.maximum(lead - np.asarray(gap(launcher, way.spin))[..., None], 0.0)
    first = way(launcher, 0, launcher.feed.speed, lead[..., 0], entry_spin=launcher.feed.spin, options=options)
    other[..., 0] = first.wheel_speed_b
    return (lead, other) if way.spin > 0 else (other, lead)


def turns(way: TransitFunction, done: Throw) -> NDArray[np.bool_]:
    """Return which throws leave with the spin that is asked for, if any."""
    return np.asarray(not isinstance(way, Spun) or np.abs(done.spin / way.spin - 1.0) <= SPIN_ERROR)


def most_spin(launcher: Launcher, top: float) -> float:
    """Return about the greatest spin [rad/s] that the first stage makes with wheels up to `top` [m/s]."""
    most, low, high = 0.0, np.zeros(2), np.ones(2)
    for _ in range(ZOOMS):
        # Dense at the low end, as slow wheels make the most spin.
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
