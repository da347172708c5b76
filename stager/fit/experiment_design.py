"""What to measure next, or that enough is known: the decisions at stake, and the throws that settle them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.constraints.recommend import Recommended, enough_kept, keeps_hard
from stager.fit.grip_ensemble import Ensemble, Finder, Span, after, at, before, span_of
from stager.fit.prediction import Step, chain, known_of, recommended_chain
from stager.fit.records import Fit
from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.physics.chain import SURE, throw
from stager.physics.muzzle import indicated_speed

CHOICES = np.linspace(0.7, 1.3, 25)
SETTINGS = np.linspace(0.4, 1.7, 27)
SLOWER = np.linspace(0.4, 1.0, 13)
"""Settings to choose and to measure at, by the grip limit or, slower ones, by the recommended setting [-]."""
LOSES = 0.01
"""A wheel speed is wrongly chosen where it loses more than this of what the stage could give."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stakes:
    """What is at stake over draws that are equally likely.

    worthwhile: whether the next stage adds enough, (draws,), None where there can be none; choices: wheel speeds of
    the last built stage that keep the limits [m/s], (choices,), none where no setting does; loss: share of the best
    exit speed among them that each choice loses, (choices, draws);
    grip_limit: of the last built stage [m/s], (lanes,), best guess first; NaN where most draws have none.
    """

    worthwhile: Floats | None
    choices: Floats
    loss: Floats
    grip_limit: Floats

    def wrong(self, weights: Floats) -> tuple[Floats, Floats]:
        """Chance of a wrong decision on the stage, and on the speed, for weights (..., draws) that add to 1."""
        stage = np.zeros(weights.shape[:-1])
        if self.worthwhile is not None:
            yes = weights @ self.worthwhile
            stage = np.minimum(yes, 1 - yes)
        if not self.choices.size:
            return stage, np.zeros(weights.shape[:-1])
        bad = weights @ (self.loss > LOSES).T.astype(np.float64)
        return stage, bad.min(axis=-1)

    def misled(self, weights: Floats) -> float:
        """Share of draws, each the truth for one row of weights (draws, draws), at which what the weights choose is
        wrong: on the stage plus on the speed."""
        wrong = np.float64(0.0)
        if self.choices.size:
            speed = np.argmin(weights @ (self.loss > LOSES).T.astype(np.float64), axis=1)
            wrong = (self.loss > LOSES)[speed, np.arange(speed.size)].mean()
        if self.worthwhile is not None:
            wrong = wrong + ((weights @ self.worthwhile > 0.5) != (self.worthwhile > 0.5)).mean()
        return float(wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class Experiments:
    """Settings that could be measured: wheel speeds [m/s], (settings, stages), ln of the exit speeds that each draw
    expects there, (settings, draws); −inf: a jam; and whether they keep the hard limits, (settings,)."""

    wheel_speed: Floats
    expected: Floats
    safe: NDArray[np.bool_]


def stakes(
    ensemble: Ensemble, built: int, find: Finder, chosen: Sequence[Recommended], *, whole: bool = False
) -> tuple[Stakes, Experiments]:
    """Return decisions and possible measurements with `built` stages; lane 0 is left out of the draws.

    chosen: recommended settings of the stages in turn; whole: experiments keep the hard limits in every draw, not only
    in as many as the limits ask for.
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
        # Stages that no setting keeps within the limits: where they grip best, and nothing behind them is proposed.
        before = last.settings[0, :-1]
    choices, settings = limit * CHOICES, limit * SETTINGS
    best = known[built - 1] if built <= len(known) else None
    if best is not None:
        # Where limits lie far below the grip limit, all that may be thrown at does.
        choices = np.union1d(choices, best * np.append(CHOICES[CHOICES < 1], 1.0))
        settings = np.union1d(settings, best * SLOWER)

    # Settings to choose and to measure at are thrown once, together.
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
    """Grip limits [m/s], (lanes,); the fastest setting for draws that have none, NaN if the best guess has none."""
    found = step.found
    known = ~np.isnan(found.wheel_speed)
    if not known[0] or known.mean() <= 0.5:
        return np.full(known.shape, np.nan)
    return np.where(known, found.wheel_speed, found.peak_speed)


def _limit(step: Step) -> float:
    """Best guess of the grip limit, or of the fastest setting [m/s]."""
    limit = float(step.found.wheel_speed[0])
    return float(step.found.peak_speed[0]) if np.isnan(limit) else limit


DRAWS = 400
ENDS = (0.025, 0.5, 0.975)
FIRST_SCATTER = 0.02
"""Taken for the scatter of one throw before any is measured; an assumption."""

JAMMED = -20.0
"""ln of the exit speed that stands for a jam."""
ALIKE, LEAST_SESSION = 2, 4
"""Most throws of a first session at one setting; throws from which on the last one looks for drift."""
NEAR = 0.02
"""Share of the wheel speed within which settings count as one [-]."""
SURE_STAGE, SURE_SPEED = 0.025, 0.05
HARDLY = 0.1
"""A plan that takes away less than this share of the chance of a wrong decision is not worth the evening."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggested:
    """One throw of the plan: wheel speeds [m/s], (stages,); chance of a wrong decision once it and those before are
    measured, on average over what they may show [-]; purpose: "decision", "model" (does the model fit at all) or
    "drift" (does the launcher still throw as at the beginning)."""

    wheel_speed: Floats
    wrong_after: float
    purpose: str = "decision"


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """The answer.

    built: stages on the launcher; probability_worthwhile: of one more (None: there can be none); wrong_stage,
    wrong_speed: chance of a wrong decision now; recommended: wheel speed of the last stage to choose now;
    wheel_speed (settings,), wrong_after (settings,): what one throw at each setting would leave, NaN where it may not
    be thrown at; low, median, high of
    the exit speed there [m/s], (settings,), 0: a jam; grip_limit: of the last stage (None: in most draws exit speed
    still rises at the end of the range); behind: wheel speeds of the stages before it [m/s]; plan: throws in the order
    to make them; enough: nothing needs to be measured; helps: a plan is worth its throws; unmeasured: no fit was
    possible, so that the plan is a first session.
    """

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
    behind: Floats
    plan: tuple[Suggested, ...]
    enough: bool
    helps: bool
    unmeasured: bool = False

    @property
    def wrong(self) -> float:
        """Chance of a wrong decision now, on the stage plus on the speed."""
        return self.wrong_stage + self.wrong_speed


def suggest(
    fit: Fit, find: Finder, rng: np.random.Generator, *, throws: int = 6, least: int | None = None,
    chosen: Sequence[Recommended] | None = None,
) -> Next:  # fmt: skip
    """Settings whose measurement takes away most of the chance of a wrong decision, for so many `throws`; least: for
    as few as take away what is worth it, but so many; chosen: recommended settings of the stages, where known."""
    chosen = recommended_chain(known_of(fit), fit.built) if chosen is None else chosen[: fit.built]
    return weigh(after(fit, rng, DRAWS), fit.built, fit.scatter, find, rng, chosen, throws=throws, least=least)


def expect(scenario: Scenario, built: int, find: Finder, rng: np.random.Generator, *, throws: int = 1) -> Next:
    """Likewise before there is a fit, from what the configuration says of `built` stages.

    Nothing is measured: what is proposed keeps the hard limits in every draw.
    """
    chosen = recommended_chain(known_of(scenario), built)
    return weigh(
        before(scenario, rng, DRAWS), built, FIRST_SCATTER, find, rng, chosen, throws=throws, whole=True
    )  # fmt: skip


def first_session(scenario: Scenario, built: int, find: Finder, rng: np.random.Generator, *, throws: int) -> Next:
    """Plan the first `throws` with `built` stages, from what the configuration expects.

    All keep the hard limits in every draw. They rise from slow to fast, throws at one setting side by side. A quarter
    fills the widest gaps between the settings, to show whether the model fits at all; the last one goes back to the
    slowest setting, to show drift; the others are those that settle the decisions, at most `ALIKE` at one setting.
    """
    chosen = recommended_chain(known_of(scenario), built)
    return weigh(
        before(scenario, rng, DRAWS), built, FIRST_SCATTER, find, rng, chosen, throws=throws, whole=True, session=True
    )  # fmt: skip


def weigh(
    ensemble: Ensemble, built: int, scatter: float, find: Finder, rng: np.random.Generator,
    chosen: Sequence[Recommended], *, throws: int, least: int | None = None, whole: bool = False,
    session: bool = False,
) -> Next:  # fmt: skip
    """Likewise for an ensemble of DRAWS draws; scatter: relative standard deviation of one throw [-]; see `stakes`.

    session: the plan is a first session, see `first_session`.
    """
    what, where = stakes(ensemble, built, find, chosen, whole=whole)
    even = np.full(DRAWS, 1 / DRAWS)
    stage, speed = (float(wrong) for wrong in what.wrong(even))
    # What nothing was measured of is not known enough, whatever its configuration says.
    enough = stage < SURE_STAGE and speed < SURE_SPEED and not whole
    most, few = (0, 0) if enough else (throws, throws if least is None else least)
    if session:
        plan, first = _session(what, where, scatter, throws, rng, now=stage + speed)
    else:
        # Throws at one setting alone never show that the model does not fit.
        alike = (most + 1) // 2 if most > 2 else None
        plan, first = _plan(what, where, scatter, most, rng, now=stage + speed, least=few, alike=alike)
    left = plan[-1].wrong_after if plan else stage + speed
    low, median, high = np.exp(np.quantile(where.expected, ENDS, axis=1, method="closest_observation"))
    return Next(
        built=built, probability_worthwhile=None if what.worthwhile is None else float(what.worthwhile.mean()),
        wrong_stage=stage, wrong_speed=speed,
        recommended=chosen[-1],
        wheel_speed=where.wheel_speed[:, -1], wrong_after=first, low=low, median=median, high=high,
        grip_limit=None if np.isnan(what.grip_limit).any() else span_of(what.grip_limit),
        behind=where.wheel_speed[0, :-1], plan=plan, enough=enough,
        helps=not enough and (session or _worth(left, stage + speed)), unmeasured=session,
    )  # fmt: skip


def _plan(
    what: Stakes, where: Experiments, scatter: float, throws: int, rng: np.random.Generator, *, now: float, least: int,
    alike: int | None = None,
) -> tuple[tuple[Suggested, ...], Floats]:
    """Throws one by one, each the best beside those before it; and what a single throw at each setting would leave.

    Every draw is the truth once, all others are weighted by how well they agree with what is then measured. Settings
    are chosen by these weights, which vary little from look to look; what they leave is judged by the truths, since
    with few draws of any weight the least of many choices looks better than it is. Nothing that is learned makes a
    decision worse on average than `now`: what looks so comes of few draws. alike: most throws at one setting or within
    `NEAR` of it.
    """
    usable = _usable(where)
    if not usable.any():
        return (), np.full(usable.size, np.nan)
    expected, speeds = np.where(np.isfinite(where.expected), where.expected, JAMMED), where.wheel_speed[:, -1]
    known = _others(expected)
    chosen: list[int] = []
    shares: list[float] = []
    first = np.full(expected.shape[0], np.nan)
    for number in range(max(throws, 1)):
        seen = expected + scatter * rng.normal(size=expected.shape)

        def after(k: int, known: Floats = known, seen: Floats = seen) -> Floats:
            return np.asarray(known - 0.5 * ((seen[k, :, None] - expected[k]) / scatter) ** 2)

        weights = [_even(after(k)) if there else None for k, there in enumerate(usable)]
        if number == 0:
            first = np.array([np.inf if one is None else what.misled(one) for one in weights])
        if number < throws:
            near = np.abs(speeds[:, None] - speeds[chosen]) <= NEAR * speeds[:, None]
            full = near.sum(axis=1) >= (throws if alike is None else alike)
            left = [
                np.inf if one is None or spent else _left(what, one) for one, spent in zip(weights, full, strict=True)
            ]
            if not np.isfinite(left).any():
                break
            best = int(np.argmin(left))
            known = after(best)
            chosen.append(best)
            shares.append(what.misled(_even(known)))
            if number + 1 >= least and _worth(_falling(shares)[-1], now):
                break
    plan = zip(chosen, _falling(shares), strict=True)
    first = np.where(np.isfinite(first), np.minimum(first, now), np.nan)
    return tuple(Suggested(wheel_speed=where.wheel_speed[k], wrong_after=min(left, now)) for k, left in plan), first


def _session(
    what: Stakes, where: Experiments, scatter: float, throws: int, rng: np.random.Generator, *, now: float
) -> tuple[tuple[Suggested, ...], Floats]:
    """Plan a first session, see `first_session`; and what a single throw at each setting would leave."""
    again = 1 if throws >= LEAST_SESSION else 0
    checks = throws // 4
    settles, first = _plan(what, where, scatter, throws - again - checks, rng, now=now, least=throws, alike=ALIKE)
    usable = np.flatnonzero(_usable(where))
    if not usable.size:
        return (), first
    speeds = where.wheel_speed[:, -1]
    rows = [(int(np.flatnonzero(speeds == one.wheel_speed[-1])[0]), "decision") for one in settles]
    while len(rows) < throws - again:
        apart = np.abs(speeds[usable, None] - speeds[[k for k, _ in rows]]).min(axis=1, initial=np.inf)
        rows.append((int(usable[np.argmax(apart)]), "model"))
    rows.sort(key=lambda row: (speeds[row[0]], row[1]))
    rows += [(rows[0][0], "drift")] * again
    expected = np.where(np.isfinite(where.expected), where.expected, JAMMED)
    known, shares = _others(expected), []
    for k, _ in rows:
        seen = expected[k] + scatter * rng.normal(size=expected.shape[1])
        known = known - 0.5 * ((seen[:, None] - expected[k]) / scatter) ** 2
        shares.append(what.misled(_even(known)))
    plan = tuple(
        Suggested(wheel_speed=where.wheel_speed[k], wrong_after=min(left, now), purpose=purpose)
        for (k, purpose), left in zip(rows, _falling(shares), strict=True)
    )
    return plan, first


def _usable(where: Experiments) -> NDArray[np.bool_]:
    """Return which settings keep the limits and let most draws through."""
    return np.asarray((np.isfinite(where.expected).mean(axis=1) > 0.5) & where.safe)


def _worth(left: float, now: float) -> bool:
    """Whether throws are worth it that leave a chance `left` of the one `now`."""
    return now - left >= HARDLY * now


def _left(what: Stakes, weights: Floats) -> float:
    """Chance of a wrong decision by weights (truths, draws), on average."""
    stage, speed = what.wrong(weights)
    return float((stage + speed).mean())


def _falling(shares: list[float]) -> list[float]:
    """Shares that chance may have let rise, evened out: one throw more never makes a decision worse on average."""
    from scipy.optimize import isotonic_regression

    return [float(share) for share in isotonic_regression(shares, increasing=False).x] if shares else []


def _others(expected: Floats) -> Floats:
    """ln weights (truths, draws) before any look: a draw tells nothing of itself or its like, unless all are alike."""
    alike = (expected[:, :, None] == expected[:, None, :]).all(axis=0)
    alike[alike.all(axis=1)] = False
    return np.where(alike, -np.inf, 0.0)


def _even(log_weights: Floats) -> Floats:
    """Weights that add to 1, for ln weights (truths, draws)."""
    weights = np.exp(log_weights - log_weights.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
