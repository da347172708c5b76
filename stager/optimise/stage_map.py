"""What one stage makes of any entry and any wheel speed, from a few thousand transits.

Exit speed against wheel speed has a kink at its peak, which moves with the entry. The map runs its grid along the
peak, dense beside it, so that between its nodes everything is smooth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.optimise.grip import FAIRLY, IDLE, grip_limit
from stager.optimise.lattice import Lattice, Near
from stager.optimise.way import Way
from stager.physics.chain import transit
from stager.physics.options import Options

ROUGH = Options(tolerance=3e-5)
BELOW, ABOVE, SCARCELY_ABOVE = 24, 12, 3


@dataclass(frozen=True, slots=True)
class Entries:
    """Grid of what may come in: speeds low … high [m/s], dense at the low end, and spins as shares rΩ/v [-]."""

    low: float
    high: float
    speeds: int
    least_share: float = 0.0
    most_share: float = 0.0
    shares: int = 1

    def grid(self) -> tuple[Floats, Floats]:
        """Speeds [m/s] and shares, both of shape (speeds, shares)."""
        speed = self.low + (self.high - self.low) * np.linspace(0.0, 1.0, self.speeds) ** 2
        share = np.linspace(self.least_share, self.most_share, self.shares)
        grid = np.meshgrid(speed, share, indexing="ij")
        return grid[0], grid[1]

    def places(self, speed: Floats, share: Floats) -> tuple[Floats, Floats]:
        """Places of `speed` [m/s] and `share` in units of the grid."""
        first, second = np.zeros_like(speed), np.zeros_like(speed)
        if self.speeds > 1:
            first = np.sqrt(_share(speed - self.low, self.high - self.low)) * (self.speeds - 1)
        if self.shares > 1:
            second = (share - self.least_share) / (self.most_share - self.least_share) * (self.shares - 1)
        return first, second


@dataclass(frozen=True, slots=True)
class Passed:
    """What comes out, arrays (lanes,): exit_speed [m/s], share rΩ/v [-], slip_heat [J], peak_acceleration [m/s^2],
    whether it got through within the map."""

    exit_speed: Floats
    share: Floats
    slip_heat: Floats
    peak_acceleration: Floats
    through: NDArray[np.bool_]


class StageMap:
    """The map of one stage."""

    def __init__(
        self, launcher: Launcher, index: int, entries: Entries, top: float, beyond: float, way: Way = transit
    ) -> None:
        """top: greatest wheel speed [m/s]; beyond: how far past the peak the map goes, as a multiple of it; way: how
        the stage is passed."""
        self.entries = entries
        self.radius = float(launcher.projectile.radius)
        self.above = ABOVE if beyond > 1.05 else SCARCELY_ABOVE
        settings = BELOW + self.above + 1
        speed, share = entries.grid()
        flat_speed, flat_spin = speed.ravel(), (share * speed / self.radius).ravel()
        tops = np.full(flat_speed.shape, top)
        limit = grip_limit(launcher, index, flat_speed, flat_spin, tops, looks=FAIRLY, cliffs=True, way=way)
        grip = np.where(np.isnan(limit.wheel_speed), top, limit.wheel_speed)
        low = np.minimum(np.maximum(IDLE * flat_speed, limit.first_through), grip)
        edge = np.maximum(limit.edge, grip)
        high = np.maximum(np.minimum(limit.last_through, beyond * edge), edge)
        anchors = np.stack([low, edge, high, grip], axis=-1)
        self.jams = limit.peak_exit <= 0
        wheel = _wheel(anchors[:, None, :], np.arange(settings, dtype=np.float64), self.above)
        done = way(launcher, index, flat_speed[:, None], wheel, entry_spin=flat_spin[:, None], options=ROUGH)
        shape = (*speed.shape, settings)
        spun = self.radius * done.exit_spin / np.where(done.jammed, 1.0, done.exit_speed)
        values = np.stack([done.exit_speed, spun, done.slip_heat, done.peak_acceleration], axis=-1)
        values = _filled(values, done.jammed)
        values = np.concatenate([values, (~done.jammed)[..., None].astype(np.float64)], axis=-1)
        self._values = Lattice(values.reshape(*shape, values.shape[-1]))
        self._anchors = Lattice(anchors.reshape(*speed.shape, 4))

    def near(self, speed: Floats, share: Floats) -> Near:
        """Where entries at `speed` [m/s] with `share` lie, arrays (lanes,)."""
        return self._anchors.near(*self.entries.places(speed, share))

    def anchors(self, near: Near) -> Floats:
        """Lowest wheel speed, that of the peak, highest, grip limit [m/s], (lanes, 4), of entries.

        Peak and grip limit are the end of the range where exit speed still rises there.
        """
        return self._anchors.at(near)

    def run(self, near: Near, speed: Floats, wheel_speed: Floats, anchors: Floats) -> Passed:
        """Transits of the entries `near`, whose speed is `speed`, wheels at `wheel_speed` [m/s]; arrays (lanes,)."""
        place = _place(anchors, wheel_speed, self.above)
        at = self._values.at(near.along(place, self._values.sizes[-1]))
        inside = (speed <= self.entries.high * (1 + 1e-3)) & (speed >= self.entries.low * (1 - 1e-3))
        if self.entries.speeds == 1:
            inside = np.ones(speed.shape, bool)
        inside = inside & (wheel_speed >= anchors[:, 0] * (1 - 1e-9)) & (wheel_speed <= anchors[:, 2] * (1 + 1e-9))
        return Passed(at[:, 0], at[:, 1], at[:, 2], at[:, 3], inside & (at[:, 4] > 0.99) & (at[:, 0] > 0))


def _filled(values: Floats, jammed: NDArray[np.bool_]) -> Floats:
    """Values of the next setting towards the peak where a setting jams, so that nothing rings beside it."""
    values = values.copy()
    for setting in range(BELOW - 1, -1, -1):
        values[:, setting] = np.where(jammed[:, setting, None], values[:, setting + 1], values[:, setting])
    for setting in range(BELOW + 1, values.shape[1]):
        values[:, setting] = np.where(jammed[:, setting, None], values[:, setting - 1], values[:, setting])
    return values


def _wheel(anchors: Floats, place: Floats, count: int) -> Floats:
    """Wheel speed at a place of the grid: quadratic on either side of the peak, flat at it."""
    low, peak, high = anchors[..., 0], anchors[..., 1], anchors[..., 2]
    below = np.clip(1.0 - place / BELOW, 0.0, 1.0)
    above = np.clip((place - BELOW) / count, 0.0, 1.0)
    return peak - (peak - low) * below**2 + (high - peak) * above**2


def _place(anchors: Floats, wheel_speed: Floats, count: int) -> Floats:
    low, peak, high = anchors[:, 0], anchors[:, 1], anchors[:, 2]
    down, up = np.maximum(peak - low, 1e-12), np.maximum(high - peak, 1e-12)
    below = BELOW * (1.0 - np.sqrt(_share(peak - wheel_speed, down)))
    above = count * np.sqrt(_share(wheel_speed - peak, up))
    return np.where(wheel_speed <= peak, below, BELOW + above)


def _share(part: Floats, whole: Floats | float) -> Floats:
    return np.minimum(np.maximum(part / whole, 0.0), 1.0)
