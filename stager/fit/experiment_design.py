"""Plan what to measure next (Bayesian experiment design), or find that the decisions are certain enough already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.constraints.recommend import Recommended, enough_kept, keeps_hard
from stager.fit.adequacy import LEAST_WILD, ONE_SETTING
from stager.fit.posterior import Fit, Misfit
from stager.fit.prediction import (
    FIRST_SCATTER,
    Ensemble,
    Finder,
    Span,
    Step,
    at,
    chain,
    ensemble_of,
    known_of,
    recommended_chain,
    span_of,
)
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.physics.chain import SURE, throw
from stager.physics.flight import indicated_speed

CHOICE_RATIOS = np.linspace(0.7, 1.3, 25)
"""Wheel speeds among which to choose, over the grip limit [-]."""
SETTING_RATIOS = np.linspace(0.4, 1.7, 27)
"""Wheel speeds to measure at, over the grip limit [-]."""
SLOWER_RATIOS = np.linspace(0.4, 1.0, 13)
"""Further wheel speeds to measure at, over the recommended setting [-], which may lie far below the grip limit."""
GREATEST_LOSS = 0.01
"""Share of the best exit speed above whose loss a choice of wheel speed is wrong [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stakes:
    """Decisions, and what each draw says of them: whether to build one more stage, and the last stage's wheel speed.

    worthwhile: 1 where the next stage adds enough, else 0, (draws,); None where there can be no next stage
    choices: wheel speeds of the last built stage within the limits, (choices,) [m/s]
    loss: share of the best exit speed among them that each choice loses, (choices, draws) [-]
    grip_limit: of the last built stage, (lanes,), best guess first [m/s]; NaN where most draws have none
    """

    worthwhile: Floats | None
    choices: Floats
    loss: Floats
    grip_limit: Floats

    def wrong(self, weights: Floats) -> tuple[Floats, Floats]:
        """Return the probabilities of a wrong decision on the stage and on the speed, for weights (..., draws).

        The weights sum to 1 over the draws.
        """
        stage = np.zeros(weights.shape[:-1])
        if self.worthwhile is not None:
            yes = weights @ self.worthwhile
            # Weights sum to 1 but for rounding, which must not decide between experiments.
            stage = np.maximum(np.minimum(yes, 1 - yes).round(12), 0.0)
        if not self.choices.size:
            return stage, np.zeros(weights.shape[:-1])
        bad = weights @ (self.loss > GREATEST_LOSS).T.astype(np.float64)
        return stage, bad.min(axis=-1)

    def spread(self, weights: Floats) -> Floats:
        """Return the standard deviation of the grip limit over its best guess [-], for weights (..., draws).

        0 where most draws have no grip limit.
        """
        if np.isnan(self.grip_limit).any():
            return np.zeros(weights.shape[:-1])
        limit = self.grip_limit[1:] / self.grip_limit[0] - 1
        mean = weights @ limit
        return np.asarray(np.sqrt(np.maximum(weights @ limit**2 - mean**2, 0.0)))

    def misled(self, weights: Floats) -> float:
        """Return the rate of wrong decisions where each draw is the truth for its row of weights, (draws, draws) [-].

        It is the sum of the rates for the stage and for the speed.
        """
        wrong = np.float64(0.0)
        if self.choices.size:
            speed = np.argmin(weights @ (self.loss > GREATEST_LOSS).T.astype(np.float64), axis=1)
            wrong = (self.loss > GREATEST_LOSS)[speed, np.arange(speed.size)].mean()
        if self.worthwhile is not None:
            wrong = wrong + ((weights @ self.worthwhile > 0.5) != (self.worthwhile > 0.5)).mean()
        return float(wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class Experiments:
    """Settings that could be measured.

    wheel_speed: (settings, stages) [m/s]
    expected: ln of the exit speed that each draw predicts, (settings, draws); −inf: a jam
    safe: whether a setting keeps the hard limits, (settings,)
    """

    wheel_speed: Floats
    expected: Floats
    safe: NDArray[np.bool_]


def stakes(
    ensemble: Ensemble, built: int, find: Finder, chosen: Sequence[Recommended], *, whole: bool = False,
    also: Sequence[float] | Floats = (),
) -> tuple[Stakes, Experiments]:  # fmt: skip
    """Return decisions and possible measurements with `built` stages; lane 0, the best guess, is not among the draws.

    Parameters
    ----------
    ensemble : Ensemble
    built : int
        Number of stages on the launcher.
    find : Finder
    chosen : sequence of Recommended
        Recommended settings of the stages in turn.
    whole : bool
        Experiments keep the hard limits in every draw, not only with the confidence that the limits require.
    also : sequence of float
        Further wheel speeds to measure at [m/s].
    """
    goal, limit_values = ensemble.scenario.goal, ensemble.scenario.limit_values
    more = built < limit_values.stages
    steps = list(chain(ensemble, built + more, find))
    last = steps[built - 1]
    worthwhile = None
    if more:
        here, beyond = at(ensemble, last.settings)[0], at(ensemble, steps[built].settings)[0]
        worthwhile = (beyond / np.maximum(here, 1e-9) - 1 >= goal.worthwhile)[1:].astype(np.float64)
    limit, known = _limit(last), [one.wheel_speed for one in chosen]
    before = np.array([speed for speed in known[: built - 1] if speed is not None])
    if before.size < built - 1:
        # No setting of an earlier stage keeps the limits: use its grip limit. No experiment will be safe then.
        before = last.settings[0, :-1]
    choices, settings = limit * CHOICE_RATIOS, np.union1d(limit * SETTING_RATIOS, np.asarray(also, dtype=np.float64))
    best = known[built - 1] if built <= len(known) else None
    if best is not None:
        # Where limits lie far below the grip limit, all allowed settings do too.
        choices = np.union1d(choices, best * np.append(CHOICE_RATIOS[CHOICE_RATIOS < 1], 1.0))
        settings = np.union1d(settings, best * SLOWER_RATIOS)

    # Choices and experiments overlap, so each setting is computed once.
    speeds = np.union1d(choices, settings)
    chains = np.column_stack([np.broadcast_to(before, (speeds.size, before.size)), speeds])
    done = throw(
        ensemble.launcher, np.broadcast_to(chains[:, None, :], (speeds.size, ensemble.lanes, built)), options=SURE
    )  # fmt: skip
    kept = keeps_hard(ensemble.launcher, limit_values, done)
    fine = enough_kept(kept, limit_values.confidence)
    safe: NDArray[np.bool_] = np.asarray(kept.all(axis=-1)) if whole else fine
    choose = np.isin(speeds, choices) & fine
    look = np.isin(speeds, settings)
    exits = done.exit_speed[choose]
    loss = 1 - exits / np.maximum(exits.max(axis=0, initial=0.0), 1e-9)
    with np.errstate(divide="ignore"):
        expected = np.log(indicated_speed(ensemble.launcher, done.exit_speed[look]))
    return (
        Stakes(worthwhile=worthwhile, choices=speeds[choose], loss=loss[:, 1:], grip_limit=_limits(last)),
        Experiments(wheel_speed=chains[look], expected=expected[:, 1:], safe=safe[look]),
    )


def _limits(step: Step) -> Floats:
    """Return grip limits (lanes,) [m/s]; of draws without one the fastest setting, NaN if the best guess has none."""
    found = step.found
    known = ~np.isnan(found.wheel_speed)
    if not known[0] or known.mean() <= 0.5:
        return np.full(known.shape, np.nan)
    return np.where(known, found.wheel_speed, found.peak_speed)


def _limit(step: Step) -> float:
    """Return the best guess of the grip limit, or of the fastest setting [m/s]."""
    limit = float(step.found.wheel_speed[0])
    return float(step.found.peak_speed[0]) if np.isnan(limit) else limit


QUANTILES = (0.025, 0.5, 0.975)
"""Median and ends of a 95 % interval [-]."""
JAMMED = -20.0
"""ln of the exit speed [m/s] that stands for a jam: far from any other."""
MOST_ALIKE = 2
"""Greatest number of throws of a first session at one setting, besides that for drift."""
LEAST_FOR_DRIFT = 4
"""Throws of a first session from which the last one tests for drift."""
SESSION = 6
"""Throws of a first session where nobody asks for another number."""
CLOSE = 0.05
"""Share of the wheel speed within which a throw tests the model at a setting [-]."""
WIDEST = 0.15
"""Widest gap between tested settings, over the recommended one, that needs no further test [-]."""
TESTS = 4
"""One throw of so many tests whether the model fits, while that is open."""
CERTAIN_TESTS = 2
"""The same where decisions are certain if it does."""
SURE_STAGE = 0.025
"""Probability of a wrong decision on the stage below which it is certain enough [-]."""
SURE_SPEED = 0.05
"""Probability of a wrong decision on the wheel speed below which it is certain enough [-]."""
FASTER = 2.0
"""Greatest wheel speed of an advised throw over the fastest one thrown so far [-]."""
LEAST_REDUCTION = 0.1
"""Share of the probability of a wrong decision that a plan must remove to be worth its throws [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggested:
    """One throw of a plan.

    wheel_speed: (stages,) [m/s]
    wrong_after: probability of a wrong decision after this throw and those before it, averaged over outcomes [-]
    purpose: "decision"; "limit", to narrow the grip limit where decisions are certain; "model", to test whether the
        model fits; "again", to see whether a throw that does not agree with the others was by chance; or "drift", to
        test for drift in the session
    """

    wheel_speed: Floats
    wrong_after: float
    purpose: str = "decision"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSettings:
    """Settings of the last stage that were thrown at.

    wheel_speed: of all throws with all built stages, (throws,) [m/s]
    doubtful: of probable outliers that other throws neither confirm nor refute, (doubtful,) [m/s]
    """

    wheel_speed: Floats
    doubtful: Floats

    @property
    def reach(self) -> float:
        """Greatest wheel speed to throw at next, as a model says little of wheels much faster than those seen [m/s]."""
        return FASTER * float(self.wheel_speed.max(initial=0.0)) or np.inf

    @classmethod
    def of(cls, fit: Fit) -> MeasuredSettings:
        """Return what was measured for a fit."""
        throws = fit.throws.chosen(fit.used)
        whole = throws.present.sum(axis=1) == fit.built
        launcher, stages = fit.launcher, tuple(range(fit.built))
        speeds = throws.chosen(whole).surface_speed(launcher, stages, 0)[..., -1].ravel()
        wild, close = fit.found.outlier_probability[whole] > 0.5, _near(speeds, speeds, CLOSE)
        # Where all throws are outliers, one more may show that they agree; enough of them are a misfit anyway.
        open_still = wild & (close <= wild).all(axis=1) & (close.sum(axis=1) < LEAST_WILD)
        return cls(wheel_speed=speeds, doubtful=speeds[open_still])


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """What to measure next.

    launcher: the best guess of the launcher, whose tachometer shows what is set; its fields may be arrays of one value
    built: number of stages on the launcher
    probability_worthwhile: that one more stage adds enough [-]; None where there can be none
    wrong_stage, wrong_speed: probabilities of a wrong decision now [-]
    recommended: wheel speed of the last stage to choose now
    wheel_speed: of the last stage at each possible setting, (settings,) [m/s]
    wrong_after: probability of a wrong decision after one throw there, (settings,) [-]; NaN where it is not allowed
    low, median, high: of the predicted exit speed there, (settings,) [m/s]; 0: a jam
    grip_limit: of the last stage [m/s]; None where in most draws exit speed still rises at the end of the range
    plan: throws in the order to make them
    enough: whether nothing needs to be measured
    certain: whether the decisions are certain enough if the model fits, which throws may have to test yet
    helps: whether the plan is worth its throws
    unmeasured: whether there was no fit, so that the plan is a first session
    misfits: what speaks against the model that all this rests on
    reach: greatest wheel speed of the plan, by what was thrown so far [m/s]; None: nothing was
    refitted: whether the configuration comes from a fit itself
    """

    launcher: Launcher
    built: int
    probability_worthwhile: float | None
    wrong_stage: float
    wrong_speed: float
    recommended: Recommended
    wheel_speed: Floats
    wrong_after: Floats
    low: Floats
    median: Floats
    high: Floats
    grip_limit: Span | None
    plan: tuple[Suggested, ...]
    enough: bool
    certain: bool
    helps: bool
    unmeasured: bool = False
    misfits: tuple[Misfit, ...] = ()
    reach: float | None = None
    refitted: bool = False

    @property
    def far(self) -> bool:
        """Whether the recommended speed is beyond what to throw at next."""
        best = self.recommended.wheel_speed
        return best is not None and self.reach is not None and best > self.reach

    @property
    def wrong(self) -> float:
        """Probability of a wrong decision now, on the stage plus on the speed [-]."""
        return self.wrong_stage + self.wrong_speed


def suggest(
    fit: Fit, find: Finder, rng: np.random.Generator, *, throws: int = 6, least: int | None = None,
    chosen: Sequence[Recommended] | None = None,
) -> Next:  # fmt: skip
    """Return the plan whose measurement reduces the probability of a wrong decision most.

    Some of its throws test whether the model fits: they repeat outliers, and throw at the recommended setting and in
    the widest gaps between it and the slowest throw, until none of that is open. Where decisions are certain, the
    others narrow the grip limit.

    Parameters
    ----------
    fit : Fit
    find : Finder
    rng : Generator
    throws : int
        Greatest number of throws of the plan.
    least : int, optional
        The plan ends after so many throws once it is worth them; None: it always has `throws`.
    chosen : sequence of Recommended, optional
        Recommended settings of the stages; None: computed.
    """
    chosen = recommended_chain(known_of(fit), fit.built) if chosen is None else chosen[: fit.built]
    found = weigh(
        ensemble_of(fit), fit.built, fit.scatter, find, rng, chosen, throws=throws, least=least,
        measured=MeasuredSettings.of(fit),
    )  # fmt: skip
    return replace(found, misfits=fit.misfits, refitted=fit.scenario.draws is not None)


def first_session(scenario: Scenario, built: int, find: Finder, rng: np.random.Generator, *, throws: int) -> Next:
    """Plan the first `throws` with `built` stages, from the configuration's uncertainties.

    All throws keep the hard limits in every draw. Their wheel speeds rise from slow to fast. A quarter of them fill the
    widest gaps between the settings, to test whether the model fits. The last one repeats the slowest setting, to test
    for drift. The others reduce the probability of a wrong decision most, at most MOST_ALIKE at one setting.
    """
    chosen = recommended_chain(known_of(scenario), built)
    return weigh(
        ensemble_of(scenario), built, FIRST_SCATTER, find, rng, chosen, throws=throws, whole=True, session=True
    )  # fmt: skip


def weigh(
    ensemble: Ensemble, built: int, scatter: float, find: Finder, rng: np.random.Generator,
    chosen: Sequence[Recommended], *, throws: int, least: int | None = None, whole: bool = False,
    session: bool = False, measured: MeasuredSettings | None = None,
) -> Next:  # fmt: skip
    """Return the plan for an ensemble, each of whose draws is the truth once.

    scatter: relative standard deviation of one throw [-]; session: plan a first session, see `first_session`; measured:
    what was thrown at, None: the model is not to be tested; whole and chosen as in `stakes`, throws and least as in
    `suggest`.
    """
    also, reach, best = np.zeros(0), None, chosen[-1].wheel_speed
    if measured is not None:
        also, reach = measured.doubtful, measured.reach
        if best is not None and best > reach:
            also = np.append(also, reach * SLOWER_RATIOS)
    what, where = stakes(ensemble, built, find, chosen, whole=whole, also=also)
    if reach is not None:
        where = replace(where, safe=where.safe & (where.wheel_speed[:, -1] <= reach))
    even = np.full(ensemble.lanes - 1, 1 / (ensemble.lanes - 1))
    stage, speed = (float(wrong) for wrong in what.wrong(even))
    # Without a measurement the decisions are not certain, however small the configuration's uncertainties are.
    certain = stage < SURE_STAGE and speed < SURE_SPEED and not whole
    rows = [] if measured is None else _tests(where, measured, best)
    rows = rows[: -(-throws // (CERTAIN_TESTS if certain else TESTS))]
    # Where a plan may end early, it ends with certain decisions; without a setting within the limits nothing is left.
    narrows = best is not None and not np.isnan(what.grip_limit).any()
    ends = certain and (least is not None or not narrows)
    most = 0 if ends else throws - len(rows)
    if session:
        plan, first = _session(what, where, scatter, throws, rng, now=stage + speed)
    else:
        # Throws at one setting only cannot show that the model does not fit.
        alike = (most + 1) // 2 if most > 2 else None
        few = most if least is None else least
        purpose = "limit" if certain else "decision"
        plan, first = _plan(
            what, where, scatter, most, rng, now=stage + speed, least=few, alike=alike, purpose=purpose
        )  # fmt: skip
        if rows:
            # An outlier may change all that is advised, so it is thrown again first. Where decisions are certain, it is
            # the tests of the model that are needed.
            others = _rows(where, plan)
            rows = sorted([*rows, *others] if certain else [*others, *rows], key=lambda row: row[1] != "again")
            plan = _rated(what, where, rows, scatter, rng, now=stage + speed)
    left = plan[-1].wrong_after if plan else stage + speed
    low, median, high = np.exp(np.quantile(where.expected, QUANTILES, axis=1, method="closest_observation"))
    return Next(
        launcher=ensemble.best, built=built,
        probability_worthwhile=None if what.worthwhile is None else float(what.worthwhile.mean()),
        wrong_stage=stage, wrong_speed=speed,
        recommended=chosen[-1],
        wheel_speed=where.wheel_speed[:, -1], wrong_after=first, low=low, median=median, high=high,
        grip_limit=None if np.isnan(what.grip_limit).any() else span_of(what.grip_limit),
        plan=plan, enough=certain and not rows, certain=certain,
        helps=bool(rows) or (not certain and (session or _worth(left, stage + speed))), unmeasured=session, reach=reach,
    )  # fmt: skip


def _tests(where: Experiments, measured: MeasuredSettings, recommended: float | None) -> list[tuple[int, str]]:
    """Return settings and purposes of the throws that would show whether the model fits, most telling first.

    They repeat the outliers, then throw at the recommended setting, or as near to it as what was thrown so far lets
    them, then in the widest gaps between it and the slowest throw; all within the limits.
    """
    speeds = where.wheel_speed[:, -1]
    usable = np.flatnonzero(_usable(where))
    if not usable.size or recommended is None:
        return []
    recommended = min(recommended, measured.reach)

    def at(wheel_speed: float) -> list[int]:
        """Return the usable setting at a wheel speed, none where there is none close to it."""
        k = int(usable[np.abs(speeds[usable] - wheel_speed).argmin()])
        return [k] if abs(speeds[k] - wheel_speed) <= CLOSE * wheel_speed else []

    rows = [(k, "again") for k in dict.fromkeys(k for one in measured.doubtful for k in at(one))]
    done = np.append(measured.wheel_speed, speeds[[k for k, _ in rows]])
    if not _near(np.array([recommended]), done, CLOSE).any():
        rows += [(k, "model") for k in at(recommended)]
        done = np.append(done, recommended)
    below = usable[(speeds[usable] <= recommended) & (speeds[usable] >= measured.wheel_speed.min())]
    while below.size:
        k, gap = _farthest(speeds, below, done)
        if gap <= 0.5 * WIDEST * recommended:
            break
        rows.append((k, "model"))
        done = np.append(done, speeds[k])
    return rows


def _farthest(speeds: Floats, among: NDArray[np.intp], done: Floats) -> tuple[int, float]:
    """Return which setting `among` those of `speeds` is farthest from any in `done`, and how far it is [m/s]."""
    apart = np.abs(speeds[among, None] - done).min(axis=1, initial=np.inf)
    k = int(apart.argmax())
    return int(among[k]), float(apart[k])


def _near(speeds: Floats, others: Floats, share: float) -> NDArray[np.bool_]:
    """Return which of `others` lie within a share of each of `speeds`, (speeds, others)."""
    return np.asarray(np.abs(speeds[:, None] - others) <= share * speeds[:, None])


def _rows(where: Experiments, plan: Sequence[Suggested]) -> list[tuple[int, str]]:
    """Return the settings and purposes of a plan."""
    speeds = where.wheel_speed[:, -1]
    return [(int(np.flatnonzero(speeds == one.wheel_speed[-1])[0]), one.purpose) for one in plan]


def _rated(
    what: Stakes, where: Experiments, rows: Sequence[tuple[int, str]], scatter: float, rng: np.random.Generator, *,
    now: float,
) -> tuple[Suggested, ...]:  # fmt: skip
    """Return throws at given settings with the probability of a wrong decision after each; all else as in `_plan`."""
    expected = np.where(np.isfinite(where.expected), where.expected, JAMMED)
    known, shares = _initial_log_weights(expected), []
    for k, _ in rows:
        seen = expected[k] + scatter * rng.normal(size=expected.shape[1])
        known = known - 0.5 * ((seen[:, None] - expected[k]) / scatter) ** 2
        shares.append(what.misled(_normalised(known)))
    return tuple(
        Suggested(wheel_speed=where.wheel_speed[k], wrong_after=min(left, now), purpose=purpose)
        for (k, purpose), left in zip(rows, _monotone(shares), strict=True)
    )


def _plan(
    what: Stakes,
    where: Experiments,
    scatter: float,
    throws: int,
    rng: np.random.Generator,
    *,
    now: float,
    least: int,
    alike: int | None = None,
    purpose: str = "decision",
) -> tuple[tuple[Suggested, ...], Floats]:
    """Return a greedy plan, and the probability of a wrong decision after a single throw at each setting, (settings,).

    Each draw is the truth once; all others are weighted by the likelihood of what is then measured. A setting is chosen
    by the expected probability of a wrong decision under these weights, which has little sampling noise, plus the
    expected relative standard deviation of the grip limit, which decides where the decisions are certain. The result is
    the rate of wrong decisions against the truths, because the minimum over many noisy estimates is too optimistic.
    Information makes no decision worse on average, so no result exceeds `now`.

    now: present probability of a wrong decision [-]; least: as in `suggest`; alike: greatest number of throws within
    ONE_SETTING of one setting, None: no limit; purpose: of the throws.
    """
    usable = _usable(where)
    if not usable.any():
        return (), np.full(usable.size, np.nan)
    expected, speeds = np.where(np.isfinite(where.expected), where.expected, JAMMED), where.wheel_speed[:, -1]
    known = _initial_log_weights(expected)
    chosen: list[int] = []
    shares: list[float] = []
    first = np.full(expected.shape[0], np.nan)
    for number in range(max(throws, 1)):
        seen = expected + scatter * rng.normal(size=expected.shape)

        def after(k: int, known: Floats = known, seen: Floats = seen) -> Floats:
            return np.asarray(known - 0.5 * ((seen[k, :, None] - expected[k]) / scatter) ** 2)

        weights = [_normalised(after(k)) if there else None for k, there in enumerate(usable)]
        if number == 0:
            first = np.array([np.inf if one is None else what.misled(one) for one in weights])
        if number < throws:
            full = _near(speeds, speeds[chosen], ONE_SETTING).sum(axis=1) >= (throws if alike is None else alike)
            left = [
                np.inf if one is None or spent else _cost(what, one) for one, spent in zip(weights, full, strict=True)
            ]
            if not np.isfinite(left).any():
                break
            best = int(np.argmin(left))
            known = after(best)
            chosen.append(best)
            shares.append(what.misled(_normalised(known)))
            if number + 1 >= least and _worth(_monotone(shares)[-1], now):
                break
    plan = zip(chosen, _monotone(shares), strict=True)
    first = np.where(np.isfinite(first), np.minimum(first, now), np.nan)
    advised = tuple(
        Suggested(wheel_speed=where.wheel_speed[k], wrong_after=min(left, now), purpose=purpose) for k, left in plan
    )
    return advised, first


def _session(
    what: Stakes, where: Experiments, scatter: float, throws: int, rng: np.random.Generator, *, now: float
) -> tuple[tuple[Suggested, ...], Floats]:
    """Return the plan of `first_session`; all else as in `_plan`."""
    again = 1 if throws >= LEAST_FOR_DRIFT else 0
    checks = throws // 4
    settles, first = _plan(what, where, scatter, throws - again - checks, rng, now=now, least=throws, alike=MOST_ALIKE)
    usable = np.flatnonzero(_usable(where))
    if not usable.size:
        return (), first
    speeds, rows = where.wheel_speed[:, -1], _rows(where, settles)
    while len(rows) < throws - again:
        rows.append((_farthest(speeds, usable, speeds[[k for k, _ in rows]])[0], "model"))
    rows.sort(key=lambda row: (speeds[row[0]], row[1]))
    rows += [(rows[0][0], "drift")] * again
    return _rated(what, where, rows, scatter, rng, now=now), first


def _usable(where: Experiments) -> NDArray[np.bool_]:
    """Return which settings keep the hard limits and do not jam in most draws, (settings,)."""
    return np.asarray((np.isfinite(where.expected).mean(axis=1) > 0.5) & where.safe)


def _worth(left: float, now: float) -> bool:
    """Whether throws are worth it that reduce the probability of a wrong decision from `now` to `left`."""
    return now - left >= LEAST_REDUCTION * now


def _cost(what: Stakes, weights: Floats) -> float:
    """Return the mean of what `_plan` minimises under weights (truths, draws) [-]."""
    stage, speed = what.wrong(weights)
    return float((stage + speed + what.spread(weights)).mean())


def _monotone(shares: list[float]) -> list[float]:
    """Return the shares made non-increasing by isotonic regression: rises are sampling noise."""
    from scipy.optimize import isotonic_regression

    return [max(float(share), 0.0) for share in isotonic_regression(shares, increasing=False).x] if shares else []


def _initial_log_weights(expected: Floats) -> Floats:
    """Return ln weights (truths, draws) before a measurement: 0, but −inf for the truth itself and its duplicates.

    Where all draws are duplicates of a truth, it has weight all the same.
    """
    alike = (expected[:, :, None] == expected[:, None, :]).all(axis=0)
    alike[alike.all(axis=1)] = False
    return np.where(alike, -np.inf, 0.0)


def _normalised(log_weights: Floats) -> Floats:
    """Return weights that sum to 1 over the draws, from ln weights (truths, draws)."""
    weights = np.exp(log_weights - log_weights.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
