"""What to measure next, or that enough is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.calibrate.deciding import Experiments, Stakes, stakes
from stager.calibrate.draws import Ensemble, after, before
from stager.calibrate.records import Fit
from stager.calibrate.tuning import Finder, Span, span_of
from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario

DRAWS, OUTCOMES = 400, 120
ENDS = (0.025, 0.5, 0.975)
FIRST_SCATTER = 0.02
"""Taken for the scatter of one throw before any is measured; an assumption."""

SURE_STAGE, SURE_SPEED = 0.025, 0.05
HARDLY = 0.1
"""A plan that takes away less than this share of the chance of a wrong decision is not worth the evening."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggested:
    """One throw of the plan: wheel speeds [m/s], (stages,); chance of a wrong decision once it and those before are
    measured, on average over what they may show [-]."""

    wheel_speed: Floats
    wrong_after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """The answer.

    built: stages on the launcher; probability_worthwhile: of one more (None: there can be none); wrong_stage,
    wrong_speed: chance of a wrong decision now; best_speed: wheel speed of the last stage to choose now [m/s];
    wheel_speed (settings,), wrong_after (settings,): what one throw at each setting would leave; low, median, high of
    the exit speed there [m/s], (settings,), 0: a jam; grip_limit: of the last stage (None: in most draws exit speed
    still rises at the end of the range); behind: wheel speeds of the stages before it [m/s]; plan: throws in the order
    to make them; enough: nothing needs to be measured; helps: a plan is worth its throws.
    """

    built: int
    probability_worthwhile: float | None
    wrong_stage: float
    wrong_speed: float
    best_speed: float
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

    @property
    def wrong(self) -> float:
        """Chance of a wrong decision now, on the stage plus on the speed."""
        return self.wrong_stage + self.wrong_speed


def suggest(fit: Fit, find: Finder, rng: np.random.Generator, *, throws: int = 6) -> Next:
    """Settings whose measurement takes away most of the chance of a wrong decision, for so many `throws`."""
    return weigh(after(fit, rng, DRAWS), fit.built, fit.scatter, find, rng, throws=throws)


def expect(scenario: Scenario, built: int, find: Finder, rng: np.random.Generator, *, throws: int = 1) -> Next:
    """Likewise before there is a fit, from what the configuration says of `built` stages."""
    return weigh(before(scenario, rng, DRAWS), built, FIRST_SCATTER, find, rng, throws=throws)


def weigh(
    ensemble: Ensemble, built: int, scatter: float, find: Finder, rng: np.random.Generator, *, throws: int
) -> Next:
    """Likewise for an ensemble of DRAWS draws; scatter: relative standard deviation of one throw [-]."""
    what, where = stakes(ensemble, built, find)
    even = np.full(DRAWS, 1 / DRAWS)
    stage, speed = (float(wrong) for wrong in what.wrong(even))
    enough = stage < SURE_STAGE and speed < SURE_SPEED
    plan, first = _plan(what, where, scatter, 0 if enough else throws, rng)
    left = plan[-1].wrong_after if plan else stage + speed
    low, median, high = np.exp(np.quantile(where.expected, ENDS, axis=1, method="closest_observation"))
    return Next(
        built=built, probability_worthwhile=None if what.worthwhile is None else float(what.worthwhile.mean()),
        wrong_stage=stage, wrong_speed=speed,
        best_speed=float(what.choices[int(np.argmin(what.loss.mean(axis=1)))]),
        wheel_speed=where.wheel_speed[:, -1], wrong_after=first, low=low, median=median, high=high,
        grip_limit=None if np.isnan(what.grip_limit).any() else span_of(what.grip_limit),
        behind=where.wheel_speed[0, :-1], plan=plan, enough=enough,
        helps=not enough and stage + speed - left >= HARDLY * (stage + speed),
    )  # fmt: skip


def _plan(
    what: Stakes, where: Experiments, scatter: float, throws: int, rng: np.random.Generator
) -> tuple[tuple[Suggested, ...], Floats]:
    """Throws one by one, each the best beside those before it; and what a single throw at each setting would leave.

    For outcomes simulated from some of the draws, all draws are weighted by how well they agree.
    """
    truths = rng.choice(DRAWS, OUTCOMES, replace=False)
    usable = np.isfinite(where.expected).mean(axis=1) > 0.5
    expected = np.where(np.isfinite(where.expected), where.expected, -20.0)
    known = np.zeros((OUTCOMES, DRAWS))
    plan: list[Suggested] = []
    first = np.full(expected.shape[0], np.nan)
    for number in range(max(throws, 1)):
        seen = expected[:, truths] + scatter * rng.normal(size=(expected.shape[0], OUTCOMES))
        agreement = -0.5 * ((seen[:, :, None] - expected[:, None, :]) / scatter) ** 2
        left = np.array([_left(what, known + agreement[k]) if usable[k] else np.inf for k in range(usable.size)])
        if number == 0:
            first = left
        if number < throws:
            best = int(np.argmin(left))
            known = known + agreement[best]
            plan.append(Suggested(wheel_speed=where.wheel_speed[best], wrong_after=float(left[best])))
    return tuple(plan), first


def _left(what: Stakes, log_weights: Floats) -> float:
    """Chance of a wrong decision on average over outcomes, for ln weights (outcomes, draws)."""
    weights = np.exp(log_weights - log_weights.max(axis=1, keepdims=True))
    stage, speed = what.wrong(weights / weights.sum(axis=1, keepdims=True))
    return float((stage + speed).mean())
