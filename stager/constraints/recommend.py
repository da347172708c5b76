"""The wheel speed to set one stage to: one choice for plan, fit, sweep, bench, next and page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, speed_range
from stager.constraints.limit import ROUNDING
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.batch import take
from stager.physics.chain import SURE, Options, throw
from stager.physics.muzzle import outlet_speed
from stager.physics.records import Throw

GRID, ZOOM, ZOOMS = 48, 8, 3
"""Settings looked at over the whole range on FEW draws, and about the best one, so many times, on all."""
AROUND = 3
"""Coarse settings on either side of the best one between which the first closer look is taken."""
NEARLY, PLATEAU = 2e-4, 0.95
"""Share of the greatest mean exit speed that a slower wheel may lack, and how much slower it must be: a plateau is
entered at its near end [-]."""
MET = 2.5e-4
"""Share of the exit speed asked for that a setting may lack: it is met from the slow side [-]."""
SPREADS = 3.0
"""Standard deviations by which more draws must keep the hard limits than is asked for, since draws are chance [-]."""
FRESH = 2000
"""Draws that a setting must stand, besides those it was chosen on."""
NOMINAL_ONLY = 0.5
"""Confidence at and below which the best guess alone keeps the limits [-]."""
FEW, SOME = 40, 100
"""Draws of the first look; draws on which limits of throwing at a rate are judged."""
HALVINGS = 14
BOOKED = Options(tolerance=1e-5)
"""How throws of the best guess are integrated, their heat included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommended:
    """The wheel speed to set a stage to; speeds in m/s.

    wheel_speed: None where no setting keeps the limits; exit_speed: of the best guess there; mean_exit: over all draws;
    kept: share of the draws that keep all hard limits together [-]; by: what keeps it from being faster: a limit by
    name, "goal", "range", or "peak" where a faster wheel throws slower on average; where there is no setting, the limit
    that most draws break, `broken` of them [-]; confidence: as asked for [-]; draws: 0: nothing is uncertain.
    """

    wheel_speed: float | None
    exit_speed: float = 0.0
    mean_exit: float = 0.0
    kept: float = 0.0
    by: str
    confidence: float
    draws: int
    grip_margin: float = 0.0
    broken: float = 0.0

    @property
    def reason(self) -> str:
        """Why this speed, in one sentence."""
        words = self.by.replace("_", " ")
        sure = self.draws and self.confidence > NOMINAL_ONLY
        if self.wheel_speed is None:
            often = (
                f" in {100 * self.confidence:.3g} of 100 builds: {100 * self.broken:.0f} break"
                if sure
                else ": it breaks"
            )
            return f"No wheel speed keeps the limits{often} {words}."
        match self.by:
            case "peak":
                return f"A faster wheel throws slower{' on average over what is not known' if self.draws else ''}."
            case "goal":
                return "It gives the exit speed that is asked for."
            case "grip_margin":
                return f"It is {100 * self.grip_margin:.3g} % below the grip limit, as limits.grip_margin asks."
            case "range":
                return "No faster wheel was looked at."
        more = f" in more than {100 * (1 - self.confidence):.3g} of 100 builds" if sure else ""
        return f"A faster one would break {words}{more}."


def target(confidence: float, draws: int, spreads: float = SPREADS) -> float:
    """Return the share of `draws` that must keep hard limits for fresh ones to do so with `confidence` [-]."""
    spread = np.sqrt(confidence * (1 - confidence) * (1 / draws + 1 / FRESH))
    return float(min(confidence + spreads * spread, 1.0 - 1.0 / draws))


def recommend(
    launcher: Launcher, lanes: int, limit_values: LimitValues, before: tuple[Floats, Floats],
    grip_limit: float | None, *, asked: float | None = None,
) -> Recommended:  # fmt: skip
    """Choose the wheel speed of the stage behind `before`.

    Of the settings that the best guess may have under every limit, and under all hard limits together at least
    `limit_values.confidence` of the draws, the one of the greatest mean exit speed; of those that are nearly as fast
    the slowest.

    Parameters
    ----------
    launcher : Launcher
        Arrays over the lanes: lane 0 is the best guess, the others are equally likely draws.
    lanes : int
        Number of lanes; 1: nothing is uncertain.
    limit_values : LimitValues
        The limits.
    before : tuple of array, shape (index,)
        Speeds of sides A and B of the stages before it [m/s].
    grip_limit : float or None
        Grip limit of the best guess [m/s]; None where it has none within the range.
    asked : float or None
        Exit speed that is enough [m/s].
    """
    return _Chooser(launcher, lanes, limit_values, before, grip_limit, asked).choose()


def safe(
    launcher: Launcher, lanes: int, limit_values: LimitValues, settings: Floats, settings_b: Floats | None = None,
    *, whole: bool = False,
) -> NDArray[np.bool_]:
    """Return which settings may be thrown at: all hard limits together keep in enough draws, and in the best guess.

    Limits of throwing at a rate are left out, as single throws are meant.

    Parameters
    ----------
    launcher, lanes, limit_values
        As in `recommend`.
    settings, settings_b : array, shape (settings, stages)
        Wheel speeds [m/s]; of sides B where pairs run two speeds.
    whole : bool
        Every draw must keep them.
    """
    shape = (len(settings), lanes, settings.shape[-1])
    wide_a, wide_b = (
        None if one is None else np.broadcast_to(one[:, None, :], shape) for one in (settings, settings_b)
    )
    done = throw(launcher, settings if wide_a is None else wide_a, wide_b, options=SURE)
    kept = keeps_hard(launcher, limit_values, done)
    return np.asarray(kept.all(axis=-1)) if whole else enough(kept, limit_values.confidence)


def keeps_hard(launcher: Launcher, limit_values: LimitValues, done: Throw) -> NDArray[np.bool_]:
    """Return which throws keep all hard limits together, those of throwing at a rate left out; shape of the throws."""
    return _together(hard_slacks(launcher, limit_values, done, steady=False), done.exit_speed.shape)


def enough(kept: NDArray[np.bool_], confidence: float) -> NDArray[np.bool_]:
    """Return where the best guess and enough of the draws keep the limits; kept: shape (..., lanes)."""
    draws = kept.shape[-1] - 1
    if draws == 0 or confidence <= NOMINAL_ONLY:
        return kept[..., 0]
    surely: NDArray[np.bool_] = kept[..., 0] & (kept[..., 1:].mean(axis=-1) >= target(confidence, draws))
    return surely


def hard_slacks(launcher: Launcher, limit_values: LimitValues, done: Throw, *, steady: bool) -> dict[str, Floats]:
    """Return the slack of each hard limit that is known [-], shape of the throws.

    steady: those of throwing at a rate alone, or all others.
    """
    point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=done)
    found = {}
    for limit in LIMITS:
        if limit.hard and (limit.kind is Kind.STEADY) is steady and (result := evaluate(limit, point)) is not None:
            found[limit.name] = np.nan_to_num(np.broadcast_to(result.slack, done.exit_speed.shape), nan=-1.0)
    return found


def _together(slacks: dict[str, Floats], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Where all limits keep."""
    kept = np.ones(shape, bool)
    for slack in slacks.values():
        kept &= slack >= -ROUNDING
    return kept


def _worst(slacks: dict[str, Floats], place: int) -> tuple[str, float]:
    """Limit that most draws break at a setting, and the share of them."""
    shares = {name: float((slack[place] < -ROUNDING).mean()) for name, slack in slacks.items()}
    name = max(shares, key=lambda one: shares[one])
    return name, shares[name]


@dataclass(frozen=True, slots=True)
class _Looked:
    """Settings [m/s], (settings,); exit speed of the best guess and mean of the draws there; whether they keep the
    limits; share of the draws that do; limit that stands in the way of each, "" where none does."""

    speed: Floats
    nominal: Floats
    mean: Floats
    fine: NDArray[np.bool_]
    share: Floats
    by: NDArray[np.str_]


class _Chooser:
    def __init__(
        self, launcher: Launcher, lanes: int, limit_values: LimitValues, before: tuple[Floats, Floats],
        grip_limit: float | None, asked: float | None,
    ) -> None:  # fmt: skip
        self.launcher, self.lanes, self.limit_values, self.before = launcher, lanes, limit_values, before
        self.asked, margin = asked, limit_values.grip_margin
        self.best_guess = take(launcher, np.zeros(1, np.intp)) if lanes > 1 else launcher
        reach = speed_range(self.best_guess, limit_values, before[0].size)
        top = float(np.min(reach.top))
        self.top = top if grip_limit is None or not margin else min(top, (1 - margin) * grip_limit)
        self.ends_by = "grip_margin" if self.top < top else reach.ends_by
        self.nearest = ("the limits", 1.0)

    def choose(self) -> Recommended:
        """See `recommend`."""
        coarse, low = np.linspace(0.0, self.top, GRID + 1), 0.0
        if self.lanes > FEW + 1:
            first = self._best([self._look(coarse[1:], FEW + 1)])
            if first is not None:
                place = int(np.searchsorted(coarse, first))
                low, high = coarse[max(place - AROUND, 0)], coarse[min(place + AROUND, GRID)]
                coarse = np.append(np.linspace(low, high, 2 * ZOOM + 1), [] if high >= self.top else [self.top])
        seen = [self._look(coarse[1:])]
        for _ in range(ZOOMS):
            best = self._best(seen)
            if best is None:
                return self._none()
            known = np.unique(np.concatenate([[low], *(one.speed for one in seen)]))
            place = int(np.searchsorted(known, best))
            ends = known[max(place - 1, 0)], known[min(place + 1, known.size - 1)]
            seen.append(self._look(np.linspace(*ends, ZOOM + 2)[1:-1]))
        best = self._best(seen)
        if best is None:
            return self._none()
        by = self._by(seen, best)
        if by == "goal":
            best = self._met(best)
        slower = self._steady(best)
        if slower is None:
            return self._none()
        return self._recommended(slower, by if slower == best else self.nearest[0])

    def _best(self, seen: list[_Looked]) -> float | None:
        speed, nominal, mean = (
            np.concatenate([getattr(one, name) for one in seen]) for name in ("speed", "nominal", "mean")
        )
        fine = np.concatenate([one.fine for one in seen]) & (mean > 0)
        if not fine.any():
            return None
        if self.asked is not None and (fine & (nominal >= self.asked)).any():
            return float(speed[fine & (nominal >= self.asked)].min())
        fastest = float(speed[fine][np.argmax(mean[fine])])
        early = float(speed[fine & (mean >= (1 - NEARLY) * mean[fine].max())].min())
        return early if early < PLATEAU * fastest else fastest

    def _met(self, fast: float) -> float:
        """The setting up to `fast` [m/s] at which the best guess has just the exit speed that is asked for."""
        slow = 0.0
        for _ in range(2 * HALVINGS):
            middle = (slow + fast) / 2
            point = self._nominal(np.array([middle]))
            enough = float(point.outlet_speed[0, 0]) >= (self.asked or 0.0) * (1 - MET)
            slow, fast = (slow, middle) if enough else (middle, fast)
        return fast

    def _by(self, seen: list[_Looked], best: float) -> str:
        """What keeps the wheel from being faster than `best`."""
        names = ("speed", "nominal", "mean", "fine", "by")
        speed, nominal, mean, fine, by = (np.concatenate([getattr(one, name) for one in seen]) for name in names)
        here = int(np.argmax(speed == best))
        if self.asked is not None and nominal[here] >= self.asked:
            return "goal"
        fastest = int(np.argmax(mean))
        if fine[fastest]:
            return self.ends_by if speed[fastest] == speed.max() else "peak"
        above = (speed > best) & ~fine
        return str(by[above][np.argmin(speed[above])]) if above.any() else "peak"

    def _look(self, speed: Floats, lanes: int | None = None) -> _Looked:
        """Look at settings, on the first `lanes` alone where that is given."""
        launcher = self.launcher if lanes is None else take(self.launcher, np.arange(lanes))
        lanes = self.lanes if lanes is None else lanes
        done = self._throw(speed, launcher, lanes, SURE)
        slacks = hard_slacks(launcher, self.limit_values, done, steady=False)
        kept = _together(slacks, done.exit_speed.shape)
        fine = enough(kept, self.limit_values.confidence)
        by = np.array(["" if good else _worst(slacks, k)[0] for k, good in enumerate(fine)], dtype="<U40")
        if not fine.any() and slacks:
            self.nearest = _worst(slacks, int(np.argmax(kept.mean(axis=-1))))
        point = self._nominal(speed)
        for limit in LIMITS:
            if limit.kind is not Kind.STEADY and not limit.hard and (result := evaluate(limit, point)) is not None:
                broken = np.broadcast_to(result.slack, (speed.size, 1))[:, 0] < -ROUNDING
                by[fine & broken] = limit.name
                fine = fine & ~broken
        exits = outlet_speed(launcher, done.exit_speed)
        drawn = slice(1, None) if lanes > 1 else slice(None)
        return _Looked(speed, exits[:, 0], exits[:, drawn].mean(axis=-1), fine, kept[:, drawn].mean(axis=-1), by)

    def _nominal(self, speed: Floats) -> OperatingPoint:
        done = self._throw(speed, self.best_guess, 1, BOOKED)
        return OperatingPoint(launcher=self.best_guess, limit_values=self.limit_values, throw=done)

    def _throw(self, speed: Floats, launcher: Launcher, lanes: int, options: Options) -> Throw:
        a, b = self.before
        shape = (speed.size, lanes, a.size + 1)

        def chains(before: Floats) -> Floats:
            chain = np.column_stack([np.broadcast_to(before, (speed.size, a.size)), speed])
            return np.broadcast_to(chain[:, None, :], shape)

        return throw(launcher, chains(a), None if np.array_equal(a, b) else chains(b), options=options)

    def _steady(self, speed: float) -> float | None:
        """The greatest setting up to `speed` that keeps the limits of throwing at a rate too."""
        if self._keeps_steady(speed):
            return speed
        low, high = 0.0, speed
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if self._keeps_steady(middle) else (low, middle)
        return low if low > 0 and bool(self._look(np.array([low])).fine[0]) else None

    def _keeps_steady(self, speed: float) -> bool:
        point = self._nominal(np.array([speed]))
        steady = [result for limit in LIMITS if limit.kind is Kind.STEADY and (result := evaluate(limit, point))]
        for result in steady:
            if float(np.min(np.nan_to_num(result.slack, nan=-1.0))) < -ROUNDING:
                self.nearest = result.name, 1.0
                return False
        few = min(SOME + 1, self.lanes)
        if few == 1 or self.limit_values.confidence <= NOMINAL_ONLY:
            return True
        some = take(self.launcher, np.arange(few))
        done = self._throw(np.array([speed]), some, few, SURE)
        slacks = hard_slacks(some, self.limit_values, done, steady=True)
        if not slacks or enough(_together(slacks, (1, few)), self.limit_values.confidence)[0]:
            return True
        self.nearest = _worst(slacks, 0)
        return False

    def _recommended(self, speed: float, by: str) -> Recommended:
        here = self._look(np.array([speed]))
        return Recommended(
            wheel_speed=speed, exit_speed=float(here.nominal[0]), mean_exit=float(here.mean[0]),
            kept=float(here.share[0]), by=by, confidence=self.limit_values.confidence, draws=self.lanes - 1,
            grip_margin=self.limit_values.grip_margin,
        )  # fmt: skip

    def _none(self) -> Recommended:
        name, share = self.nearest
        return Recommended(
            wheel_speed=None, by=name, broken=share, draws=self.lanes - 1, confidence=self.limit_values.confidence
        )
