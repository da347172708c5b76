"""One stage within a plan: what wheel speeds are open to it, and the best of them by some score."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.hardware.wish import Allowances
from stager.physics.chain import transit
from stager.physics.options import Options
from stager.physics.records import Transit
from stager.staging.grip import IDLE, GripLimit, grip_limit
from stager.staging.span import span
from stager.staging.zoom import first_above

SEARCH = Options(tolerance=5e-5)
POINTS, ROUNDS = 48, 2
PEAK_MARGIN = 1e-3
TIE = 1e-4
GRIP_SLACK = 1e-4


@dataclass(frozen=True, slots=True)
class Passing:
    """A projectile between stages: speed [m/s] and spin [rad/s]."""

    speed: float
    spin: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A wheel speed [m/s] chosen for a stage, what it leads to, and the grip limit there [m/s] (NaN: none)."""

    wheel_speed: float
    after: Passing
    slip_heat: float
    grip_limit: float


@dataclass(frozen=True, slots=True)
class Chooser:
    """Chooses wheel speeds of single stages for a launcher under its local limits."""

    launcher: Launcher
    allowances: Allowances
    _opened: dict[tuple[int, Passing], tuple[float, float]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def bearable(self) -> float | None:
        """Greatest acceleration allowed [m/s^2], less what a peak may hide between two steps."""
        known = [self.allowances.acceleration, self.launcher.projectile.max_acceleration]
        values = [float(value) for value in known if value is not None]
        return min(values) * (1 - PEAK_MARGIN) if values else None

    def open_range(
        self, index: int, speed: Floats, spin: Floats, *, rounds: int = 2
    ) -> tuple[Floats, GripLimit]:
        """Greatest wheel speed worth a look [m/s] and the grip limit, for entries of shape (lanes,)."""
        top = np.broadcast_to(span(self.launcher, self.allowances, index).top, speed.shape)
        limit = grip_limit(self.launcher, index, speed, spin, top, rounds=rounds)
        allowed = np.where(
            np.isnan(limit.wheel_speed), top, (1 - self.allowances.grip_margin - GRIP_SLACK) * limit.wheel_speed
        )
        if self.allowances.grip_margin:
            return allowed, limit
        # Past the peak more wheel speed only helps where a soft, slipping contact spares the projectile.
        return (top if self.bearable is not None else np.minimum(top, 1.02 * limit.peak_speed)), limit

    def transit(
        self, index: int, speed: Floats, spin: Floats, wheel_speed: Floats, options: Options = SEARCH
    ) -> Transit:
        """Transits with works and peaks; speeds [m/s] and spin [rad/s] broadcast."""
        return transit(self.launcher, index, speed, wheel_speed, entry_spin=spin, options=options)

    def usable(self, done: Transit) -> Floats:
        """Exit speed [m/s], −inf where it jams or strains the projectile too much."""
        bad = done.jammed
        if self.bearable is not None:
            bad = bad | (done.peak_acceleration > self.bearable)
        return np.where(bad, -np.inf, done.exit_speed)

    def best(self, index: int, entry: Passing, score: Callable[[Floats, Floats], Floats]) -> Choice | None:
        """The wheel speed with the greatest score(exit speed, slip heat); None where nothing gets through."""
        top, limit = self._open(index, entry)
        return self._best(index, entry, score, top, limit)[0]

    def _open(self, index: int, entry: Passing) -> tuple[float, float]:
        """Greatest wheel speed and grip limit for one projectile [m/s], looked at once."""
        if (index, entry) not in self._opened:
            high, limit = self.open_range(index, np.array([entry.speed]), np.array([entry.spin]))
            self._opened[index, entry] = float(high[0]), float(limit.wheel_speed[0])
        return self._opened[index, entry]

    def _best(
        self, index: int, entry: Passing, score: Callable[[Floats, Floats], Floats], top: float, limit: float
    ) -> tuple[Choice | None, bool]:
        """The best choice, and whether a clearly slower wheel leaves as fast."""
        low, level = min(IDLE * entry.speed, top), False
        best: Choice | None = None
        most = -np.inf
        for _ in range(ROUNDS):
            grid = np.linspace(low, top, POINTS)
            done = self.transit(index, np.array(entry.speed), np.array(entry.spin), grid)
            usable = self.usable(done)
            scores = np.where(np.isfinite(usable), score(done.exit_speed, done.slip_heat), -np.inf)
            place = int(np.argmax(scores))
            if not np.isfinite(scores[place]):
                break
            if scores[place] > most:
                most, best = float(scores[place]), _choice(grid, done, place, limit)
            level = level or bool((usable[: max(place - 1, 0)] >= usable[place] * (1 - TIE)).any())
            if place == POINTS - 1:
                break
            low, top = float(grid[max(place - 1, 0)]), float(grid[min(place + 1, POINTS - 1)])
        return best, level

    def fastest(self, index: int, entry: Passing) -> Choice | None:
        """Greatest exit speed; of settings within 0.01 % of it the slowest wheel, which slips least."""
        top, limit = self._open(index, entry)
        best, level = self._best(index, entry, _exit_speed, top, limit)
        if best is None or not level:
            return best
        return self.reaching(index, entry, best.after.speed * (1 - TIE), upto=best) or best

    def reaching(self, index: int, entry: Passing, target: float, *, upto: Choice) -> Choice | None:
        """The slowest wheel, up to that of `upto`, which still leaves at `target` [m/s]; None where none does."""

        def usable(speeds: Floats) -> Floats:
            flat = self.transit(index, np.array(entry.speed), np.array(entry.spin), speeds[:, 0])
            return self.usable(flat)[:, None]

        low = min(IDLE * entry.speed, upto.wheel_speed)
        grid = np.linspace(low, upto.wheel_speed, POINTS)[:, None]
        speed, _ = first_above(usable, np.array([target]), grid, usable(grid), points=POINTS, rounds=ROUNDS)
        if np.isnan(speed[0]):
            return None
        done = self.transit(index, np.array(entry.speed), np.array(entry.spin), speed)
        if not np.isfinite(self.usable(done)[0]):
            return None
        return _choice(speed, done, 0, upto.grip_limit)


def _exit_speed(exit_speed: Floats, slip_heat: Floats) -> Floats:
    return exit_speed


def _choice(speeds: Floats, done: Transit, place: int, limit: float) -> Choice:
    after = Passing(float(done.exit_speed[place]), float(done.exit_spin[place]))
    return Choice(
        wheel_speed=float(speeds[place]), after=after, slip_heat=float(done.slip_heat[place]), grip_limit=limit
    )
