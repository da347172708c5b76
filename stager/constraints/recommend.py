"""The recommended wheel speed of one stage, the same for plan, fit, sweep, bench, next and page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, NotJudged, OperatingPoint, evaluate, speed_range
from stager.constraints.limit import JAMS, ROUNDING
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.barrel import overlapping
from stager.physics.chain import SURE, Options, onward, throw
from stager.physics.flight import outlet_speed
from stager.physics.records import Throw, take

HARD = frozenset(limit.name for limit in LIMITS if limit.hard)
"""Names of the limits that are to be kept in enough builds; all others are judged in the nominal launcher alone."""
GRID_POINTS = 48
"""Settings of the first grid, over the whole speed range."""
REFINED_POINTS = 7
"""Settings of each finer grid about the best one."""
REFINEMENTS = 3
"""Finer grids, each between the neighbours of the best setting, with a quarter of the spacing before it."""
NEIGHBOURS = 3
"""Settings of the first grid on either side of the best one that the second grid reaches to."""
PLATEAU_LOSS = 2e-4
"""Share of the greatest mean exit speed that a slower wheel may lack to count as on its plateau [-]."""
PLATEAU_SPEED = 0.95
"""Wheel speed on the plateau, by that of the greatest mean, below which the slower one is taken [-]."""
SLIP_GAIN = 0.01
"""Share of mean exit speed that a setting faster than a broken one must gain over the slower ones [-]."""
GOAL_TOLERANCE = 2.5e-4
"""Share of the exit speed asked for that a setting may lack [-]."""
SIGMAS = 3.0
"""Standard deviations of sampling by which the share of draws must exceed the confidence asked for [-]."""
FRESH_DRAWS = 2000
"""Draws, besides those that a setting is chosen on, in which the hard limits must be kept with that confidence."""
NOMINAL_ONLY = 0.5
"""Confidence up to which only the nominal launcher must keep the limits [-]."""
GRID_DRAWS = 40
"""Draws of the first grid."""
STEADY_DRAWS = 100
"""Draws for limits of kind STEADY, where each takes a simulation of throwing at a rate."""
HALVINGS = 14
"""Halvings of the wheel speed for limits of kind STEADY: to 6e-5 of it."""
NOMINAL_OPTIONS = Options(tolerance=1e-5)
"""How throws of the nominal launcher are integrated, whose slip heat is limited too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommended:
    """The recommended wheel speed of a stage.

    wheel_speed [m/s]: None where no setting keeps the limits
    exit_speed, mean_exit [m/s]: of the nominal launcher, and the mean over all draws
    kept: share of the draws that keep all hard limits together [-]
    by: why no faster: name of a limit, "goal", "range", or "peak" where a faster wheel throws slower on average;
        without a setting, the limit that most draws break, or JAMS
    broken: share of the draws that break it, without a setting [-]; 0 where the nominal launcher does
    not_judged: hard limits that apply and whose inputs are unknown
    confidence: as asked for [-]
    draws: number of draws; 0: nothing is uncertain
    grip_margin: as asked for [-]
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
    not_judged: tuple[NotJudged, ...] = ()

    @property
    def reason(self) -> str:
        """Return why this speed, in one sentence."""
        words = self.by.replace("_", " ")
        sure = self.draws and self.confidence > NOMINAL_ONLY and self.by in HARD
        if self.by == JAMS:
            return "No wheel speed gets the projectile through."
        if self.wheel_speed is None:
            often = (
                f" in {100 * self.confidence:.3g} of 100 builds: {100 * self.broken:.0f} break"
                if sure and self.broken
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
                return "It is the end of the speed range that was searched."
        more = f" in more than {100 * (1 - self.confidence):.3g} of 100 builds" if sure else ""
        return f"A faster one would break {words}{more}."


def required_share(confidence: float, draws: int, sigmas: float = SIGMAS) -> float:
    """Return the share of `draws` that must keep hard limits so that fresh draws keep them with `confidence` [-].

    c + z·√(c(1 − c)(1/draws + 1/fresh)), the normal approximation of two binomial shares, at most 1 − 1/draws.
    """
    spread = np.sqrt(confidence * (1 - confidence) * (1 / draws + 1 / FRESH_DRAWS))
    return float(min(confidence + sigmas * spread, 1.0 - 1.0 / draws))


def recommend(
    launcher: Launcher, samples: int, limit_values: LimitValues, before: tuple[Floats, Floats],
    grip_limit: float | None, *, asked: float | None = None,
) -> Recommended:  # fmt: skip
    """Return the wheel speed with the greatest mean exit speed, for the stage behind `before`.

    The nominal launcher keeps every limit there, and a share `limit_values.confidence` of the draws keeps all hard
    limits together. On a plateau of exit speed its slow end is taken.

    Parameters
    ----------
    launcher : Launcher
        Arrays over the samples: sample 0 is nominal, the others are equally likely draws.
    samples : int
        Number of samples; 1: nothing is uncertain.
    limit_values : LimitValues
        The limits.
    before : tuple of array, shape (index,)
        Speeds of sides A and B of the stages before it [m/s].
    grip_limit : float or None
        Grip limit of the nominal launcher [m/s]; None where it has none within the speed range.
    asked : float or None
        Exit speed that is enough [m/s]; None: the greatest.
    """
    return _Chooser(launcher, samples, limit_values, before, grip_limit, asked).choose()


def safe_settings(
    launcher: Launcher,
    samples: int,
    limit_values: LimitValues,
    settings: Floats,
    settings_b: Floats | None = None,
    *,
    whole: bool = False,
) -> NDArray[np.bool_]:
    """Return which settings keep all hard limits on single throws, in the nominal launcher and in enough draws.

    Parameters
    ----------
    launcher, samples, limit_values
        As in `recommend`.
    settings, settings_b : array, shape (settings, stages)
        Wheel speeds [m/s]; of sides B where pairs run two speeds.
    whole : bool
        Every draw must keep the limits, not only a share.

    Returns
    -------
    array of bool, shape (settings,)
    """
    shape = (len(settings), samples, settings.shape[-1])
    wide_a, wide_b = (
        None if one is None else np.broadcast_to(one[:, None, :], shape) for one in (settings, settings_b)
    )
    done = throw(launcher, settings if wide_a is None else wide_a, wide_b, options=SURE)
    kept = keeps_hard(launcher, limit_values, done)
    return np.asarray(kept.all(axis=-1)) if whole else enough_kept(kept, limit_values.confidence)


def keeps_hard(launcher: Launcher, limit_values: LimitValues, done: Throw) -> NDArray[np.bool_]:
    """Return which throws keep all hard limits on single throws together; shape of the throws."""
    return _together(hard_slacks(launcher, limit_values, done, steady=False), done.exit_speed.shape)


def enough_kept(kept: NDArray[np.bool_], confidence: float) -> NDArray[np.bool_]:
    """Return where the nominal sample and enough of the draws keep the limits; kept: shape (..., samples)."""
    draws = kept.shape[-1] - 1
    if draws == 0 or confidence <= NOMINAL_ONLY:
        return kept[..., 0]
    surely: NDArray[np.bool_] = kept[..., 0] & (kept[..., 1:].mean(axis=-1) >= required_share(confidence, draws))
    return surely


def hard_slacks(launcher: Launcher, limit_values: LimitValues, done: Throw, *, steady: bool) -> dict[str, Floats]:
    """Return the slack of each hard limit by its name [-], shape of the throws; limits without known inputs left out.

    steady: limits on throw after throw; else all others.
    """
    point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=done)
    found = {}
    for limit in LIMITS:
        if limit.hard and limit.settles is steady and (result := evaluate(limit, point)) is not None:
            found[limit.name] = np.nan_to_num(np.broadcast_to(result.slack, done.exit_speed.shape), nan=-1.0)
    return found


def _together(slacks: dict[str, Floats], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return where all limits are kept."""
    kept = np.ones(shape, bool)
    for slack in slacks.values():
        kept &= slack >= -ROUNDING
    return kept


def _most_broken(slacks: dict[str, Floats], place: int) -> tuple[str, float]:
    """Return the limit that most draws break at a setting, and their share [-]."""
    shares = {name: float((slack[place] < -ROUNDING).mean()) for name, slack in slacks.items()}
    name = max(shares, key=lambda one: shares[one])
    return name, shares[name]


@dataclass(frozen=True, slots=True)
class _Tried:
    """Wheel speeds that were tried; every array has shape (settings,).

    speed [m/s]
    nominal, mean: exit speed of the nominal launcher, and mean over the draws [m/s]
    fine: whether the limits are kept
    share: of the draws that keep the hard limits [-]
    by: name of a limit that is broken, "" where none is
    """

    speed: Floats
    nominal: Floats
    mean: Floats
    fine: NDArray[np.bool_]
    share: Floats
    by: NDArray[np.str_]


class _Chooser:
    """Search over the wheel speed for `recommend`, whose parameters it takes."""

    def __init__(
        self, launcher: Launcher, samples: int, limit_values: LimitValues, before: tuple[Floats, Floats],
        grip_limit: float | None, asked: float | None,
    ) -> None:  # fmt: skip
        self.launcher, self.samples, self.limit_values, self.before = launcher, samples, limit_values, before
        self.asked, margin = asked, limit_values.grip_margin
        self.nominal_launcher = take(launcher, np.zeros(1, np.intp)) if samples > 1 else launcher
        reach = speed_range(self.nominal_launcher, limit_values, before[0].size)
        top = float(np.min(reach.top))
        self.top = top if grip_limit is None or not margin else min(top, (1 - margin) * grip_limit)
        self.ends_by = "grip_margin" if self.top < top else reach.ends_by
        self.most_broken = (JAMS, 0.0)
        # Earlier stages let the projectile go before this one, so that they are thrown through once.
        fastest = np.array([max(self.top, before[0].max(initial=0.0), before[1].max(initial=0.0))])
        self.apart = launcher.guide is None and not overlapping(launcher, before[0].size + 1, fastest)
        self.earlier: dict[tuple[int, Options], Throw] = {}

    def choose(self) -> Recommended:
        """Return the recommended wheel speed; see `recommend`."""
        coarse, low = np.linspace(0.0, self.top, GRID_POINTS + 1), 0.0
        if self.samples > GRID_DRAWS + 1:
            rough = [self._try(coarse[1:], GRID_DRAWS + 1)]
            first = self._best(rough)
            if first is not None:
                first = self._before_broken(rough, first, GRID_DRAWS + 1)
                place = int(np.searchsorted(coarse, first))
                low, high = coarse[max(place - NEIGHBOURS, 0)], coarse[min(place + NEIGHBOURS, GRID_POINTS)]
                coarse = np.linspace(low, high, REFINED_POINTS + 2)
                coarse = coarse if high >= self.top else np.append(coarse, self.top)
        seen = [self._try(coarse[1:])]
        for _ in range(REFINEMENTS):
            best = self._best(seen)
            if best is None:
                return self._no_setting()
            known = np.unique(np.concatenate([[low], *(one.speed for one in seen)]))
            place = int(np.searchsorted(known, best))
            ends = known[max(place - 1, 0)], known[min(place + 1, known.size - 1)]
            seen.append(self._try(np.linspace(*ends, REFINED_POINTS + 2)[1:-1]))
        best = self._best(seen)
        if best is None:
            return self._no_setting()
        best = self._before_broken(seen, best)
        by = self._by(seen, best)
        if by == "goal":
            best = self._slowest_reaching(best)
        steady = self._steady(seen, best)
        if steady is None:
            return self._no_setting()
        if steady != best:
            by = "peak" if steady > best else self.most_broken[0]
        return self._recommended(steady, by)

    def _best(self, seen: list[_Tried]) -> float | None:
        """Return the setting of the greatest mean exit speed, or the slowest that reaches the exit speed asked for."""
        speed, nominal, mean = (
            np.concatenate([getattr(one, name) for one in seen]) for name in ("speed", "nominal", "mean")
        )
        fine = np.concatenate([one.fine for one in seen]) & (mean > 0)
        if not fine.any():
            return None
        if self.asked is not None and (fine & (nominal >= self.asked)).any():
            return float(speed[fine & (nominal >= self.asked)].min())
        fastest = float(speed[fine][np.argmax(mean[fine])])
        slowest = float(speed[fine & (mean >= (1 - PLATEAU_LOSS) * mean[fine].max())].min())
        return slowest if slowest < PLATEAU_SPEED * fastest else fastest

    def _before_broken(self, seen: list[_Tried], best: float, samples: int | None = None) -> float:
        """Return the fastest setting below the first broken one, where it throws about as fast as `best`, else `best`.

        A wheel that slips can keep a limit on the exit at twice the speed of one that grips: it wears the tyre, and as
        it runs down the limit breaks. What is tried is added to `seen`.
        """
        speed, mean, fine = (np.concatenate([getattr(one, name) for one in seen]) for name in ("speed", "mean", "fine"))
        kept = fine & (mean > 0)
        broken = speed[~fine & (speed > speed[kept].min()) & (speed < best)]
        if not broken.size:
            return best
        high = float(broken.min())
        low, slow = max((float(u), float(v)) for u, v in zip(speed[kept], mean[kept], strict=True) if u < high)
        for _ in range(HALVINGS):
            middle = self._try(np.array([(low + high) / 2]), samples)
            seen.append(middle)
            if middle.fine[0]:
                low, slow = float(middle.speed[0]), float(middle.mean[0])
            else:
                high = float(middle.speed[0])
        return low if slow >= (1 - SLIP_GAIN) * float(mean[speed == best][0]) else best

    def _slowest_reaching(self, fast: float) -> float:
        """Return the setting up to `fast` [m/s] at which the nominal launcher just reaches the exit speed asked for."""
        slow = 0.0
        for _ in range(2 * HALVINGS):
            middle = (slow + fast) / 2
            point = self._nominal(np.array([middle]))
            reached = float(point.outlet_speed[0, 0]) >= (self.asked or 0.0) * (1 - GOAL_TOLERANCE)
            slow, fast = (slow, middle) if reached else (middle, fast)
        return fast

    def _by(self, seen: list[_Tried], best: float) -> str:
        """Return why the wheel is not faster than `best`, as in `Recommended.by`."""
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

    def _try(self, speed: Floats, samples: int | None = None) -> _Tried:
        """Throw at wheel speeds and evaluate the limits, on the first `samples` only where given."""
        launcher = self.launcher if samples is None else take(self.launcher, np.arange(samples))
        samples = self.samples if samples is None else samples
        done = self._throw(speed, launcher, samples, SURE)
        slacks = hard_slacks(launcher, self.limit_values, done, steady=False)
        kept = _together(slacks, done.exit_speed.shape)
        fine = enough_kept(kept, self.limit_values.confidence)
        by = np.array(["" if good else _most_broken(slacks, k)[0] for k, good in enumerate(fine)], dtype="<U40")
        exits = outlet_speed(launcher, done.exit_speed)
        drawn = slice(1, None) if samples > 1 else slice(None)
        mean = exits[:, drawn].mean(axis=-1)
        passes, mostly = mean > 0, (exits > 0).mean(axis=-1) > 0.5
        if not (fine & passes).any():
            # Builds that jam keep limits on the throw, so it is told where most get through.
            place = int(np.argmax(np.where(mostly | ~mostly.any(), kept.mean(axis=-1), -1.0)))
            self.most_broken = self.most_broken if kept[place].all() else _most_broken(slacks, place)
        point = self._nominal(speed)
        for limit in LIMITS:
            if limit.kind is not Kind.STEADY and not limit.hard and (result := evaluate(limit, point)) is not None:
                broken = np.broadcast_to(result.slack, (speed.size, 1))[:, 0] < -ROUNDING
                by[fine & broken] = limit.name
                if (fine & passes).any() and not (fine & passes & ~broken).any():
                    self.most_broken = limit.name, 0.0
                fine = fine & ~broken
        return _Tried(speed, exits[:, 0], mean, fine, kept[:, drawn].mean(axis=-1), by)

    def _nominal(self, speed: Floats) -> OperatingPoint:
        done = self._throw(speed, self.nominal_launcher, 1, NOMINAL_OPTIONS)
        # Stage by stage and at another accuracy than throws at a rate: the loss at a rate is computed from both anew.
        return OperatingPoint(launcher=self.nominal_launcher, limit_values=self.limit_values, throw=done, whole=False)

    def _throw(self, speed: Floats, launcher: Launcher, samples: int, options: Options) -> Throw:
        a, b = self.before
        if self.apart and a.size:
            key = samples, options
            if key not in self.earlier:
                wide_a, wide_b = (np.broadcast_to(one, (samples, a.size)) for one in (a, b))
                self.earlier[key] = throw(launcher, wide_a, None if np.array_equal(a, b) else wide_b, options=options)
            return onward(launcher, self.earlier[key], speed[:, None], options=options)
        shape = (speed.size, samples, a.size + 1)

        def chains(before: Floats) -> Floats:
            chain = np.column_stack([np.broadcast_to(before, (speed.size, a.size)), speed])
            return np.broadcast_to(chain[:, None, :], shape)

        return throw(launcher, chains(a), None if np.array_equal(a, b) else chains(b), options=options)

    def _steady(self, seen: list[_Tried], best: float) -> float | None:
        """Return the setting of the greatest mean exit speed that keeps the limits of kind STEADY too; None: none does.

        Losses fall where a faster wheel slips, and powers rise, so that it may lie on either side of `best`.
        """
        if self._keeps_steady(best):
            return best
        speed, nominal, mean, fine = (
            np.concatenate([getattr(one, name) for one in seen]) for name in ("speed", "nominal", "mean", "fine")
        )
        possible = fine & (mean > 0)
        reaching = possible & (nominal >= self.asked) if self.asked is not None else np.zeros_like(possible)
        order = np.concatenate([np.sort(speed[reaching]), speed[possible][np.argsort(-mean[possible], kind="stable")]])
        broken = {best}
        for kept in dict.fromkeys(order.tolist()):
            if kept in broken:
                continue
            if self._keeps_steady(kept):
                break
            broken.add(kept)
        else:
            kept, broken = 0.0, {float(min(broken))}
        between = [one for one in broken if (one > kept) == (best > kept)]
        over = min(between, key=lambda one: abs(one - kept))
        for _ in range(HALVINGS):
            middle = (kept + over) / 2
            kept, over = (middle, over) if self._keeps_steady(middle) else (kept, middle)
        if kept == 0.0:
            return None
        found = self._try(np.array([kept]))
        return kept if found.fine[0] and found.nominal[0] > 0 else None

    def _keeps_steady(self, speed: float) -> bool:
        point = self._nominal(np.array([speed]))
        steady = [result for limit in LIMITS if limit.kind is Kind.STEADY and (result := evaluate(limit, point))]
        for result in steady:
            if float(np.min(np.nan_to_num(result.slack, nan=-1.0))) < -ROUNDING:
                self.most_broken = result.name, 0.0
                return False
        few = min(STEADY_DRAWS + 1, self.samples)
        if few == 1 or self.limit_values.confidence <= NOMINAL_ONLY:
            return True
        some = take(self.launcher, np.arange(few))
        # Throwing at a rate needs contact times and the wheels' speeds after the throw, so not SURE.
        done = self._throw(np.array([speed]), some, few, NOMINAL_OPTIONS)
        slacks = hard_slacks(some, self.limit_values, done, steady=True)
        if not slacks or enough_kept(_together(slacks, (1, few)), self.limit_values.confidence)[0]:
            return True
        self.most_broken = _most_broken(slacks, 0)
        return False

    def _recommended(self, speed: float, by: str) -> Recommended:
        here = self._try(np.array([speed]))
        return Recommended(
            wheel_speed=speed, exit_speed=float(here.nominal[0]), mean_exit=float(here.mean[0]),
            kept=float(here.share[0]), by=by, confidence=self.limit_values.confidence, draws=self.samples - 1,
            grip_margin=self.limit_values.grip_margin,
        )  # fmt: skip

    def _no_setting(self) -> Recommended:
        name, share = self.most_broken
        return Recommended(
            wheel_speed=None, by=name, broken=share, draws=self.samples - 1, confidence=self.limit_values.confidence
        )
