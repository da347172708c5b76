"""Reserves of hard limits, so that nearly all possible builds keep them.

The reserve of a hard limit is the slack that the nominal build needs for the requested share of builds to keep all hard
limits together. It is found on common random numbers: the shift of a limit's slack from the nominal build to a drawn
one hardly depends on the settings, so its quantiles give the slack that the nominal build needs.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate, no_throw
from stager.constraints.limit import ROUNDING
from stager.constraints.recommend import NOMINAL_ONLY, required_share
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.optimise.draws import Draws, draw, is_uncertain
from stager.optimise.records import Margin, Settings
from stager.physics.batch import flatten, take
from stager.physics.chain import Options, throw
from stager.physics.muzzle import outlet_speed
from stager.physics.records import FIELDS, Throw, Transit

DRAWN = Options(tolerance=1e-5)
"""Integration of throws of draws."""
NO_RESERVE: Mapping[str, float] = {}
MARGIN_DRAWS = 1000
"""Draws on which a reserve is found."""
SPREADS = 2.0
"""Standard errors by which the target share exceeds the confidence, as both samples vary [-]."""
LOOKED = 100
"""Draws on which costly limits are evaluated first."""
SURELY = 5.0
"""Distance of their mean slack from 0 in standard deviations that makes further draws needless [-]."""
TIGHT = 2e-3
"""Slack beyond its reserve up to which a limit counts as used up [-]."""
AT_REST = 0.95
"""Greatest reserve of a wheel's limit over its slack at rest [-]."""


def margin_draws(scenario: Scenario, seed: int = 7) -> Draws | None:
    """Return the draws on which reserves are found; None where no reserve is asked for."""
    if not is_uncertain(scenario) or scenario.limit_values.confidence <= NOMINAL_ONLY:
        return None
    found = draw(scenario, MARGIN_DRAWS, np.random.default_rng(seed))
    return Draws(values=found.values, launcher=flatten(found.launcher, (found.lanes,)), lanes=found.lanes)


def target(confidence: float) -> float:
    """Return the share of the draws that must keep the hard limits so that fresh ones do with `confidence` [-]."""
    return required_share(confidence, MARGIN_DRAWS, SPREADS)


def throw_draws(draws: Draws, settings: Settings) -> Throw:
    """Return throws of all draws at the same wheel speeds."""
    each = np.ones((draws.lanes, 1))
    other = None if settings.wheel_speed_b is None else each * settings.wheel_speed_b
    return throw(draws.launcher, each * settings.wheel_speed, other, options=DRAWN)


def hard_slacks(scenario: Scenario, draws: Draws, done: Throw) -> dict[str, tuple[Floats, Floats]]:
    """Return slack [-] and value, in units of the nominal bound, of each hard limit by name, shapes (draws + 1,)."""
    limit_values, lanes = scenario.limit_values, draws.lanes
    point = OperatingPoint(launcher=draws.launcher, limit_values=limit_values, throw=done, options=DRAWN)
    few = np.arange(min(LOOKED, lanes))
    some = OperatingPoint(
        launcher=take(draws.launcher, few), limit_values=limit_values, throw=rows(done, few), options=DRAWN
    )
    found: dict[str, tuple[Floats, Floats]] = {}
    for limit in LIMITS:
        if not limit.hard:
            continue
        if limit.kind is Kind.STEADY:
            result = evaluate(limit, some)
            if result is None:
                continue
            slack = np.nan_to_num(np.broadcast_to(result.slack, few.shape), nan=-1.0)
            if slack.mean() > SURELY * slack.std() and slack.min() > 0:
                filled = np.resize(slack[1:], lanes - 1)
                value = np.resize(np.broadcast_to(result.value, few.shape)[1:], lanes - 1)
                first = float(np.broadcast_to(result.value, few.shape)[0])
                found[limit.name] = np.append(slack[0], filled), np.append(first, value)
                continue
        result = evaluate(limit, point)
        if result is not None:
            slack = np.nan_to_num(np.broadcast_to(result.slack, (lanes,)), nan=-1.0)
            bound = np.broadcast_to(result.bound, (lanes,))
            with np.errstate(divide="ignore", invalid="ignore"):
                value = np.broadcast_to(result.value, (lanes,)) * np.where(bound != 0, bound[0] / bound, 1.0)
            found[limit.name] = slack, value
    return found


def at_rest(scenario: Scenario, draws: Draws, count: int) -> dict[str, Floats]:
    """Return the slack of each hard limit on wheels with all of them at rest [-], shapes (draws + 1,)."""
    done = no_throw(np.zeros((draws.lanes, count)))
    point = OperatingPoint(launcher=draws.launcher, limit_values=scenario.limit_values, throw=done)
    found = {}
    for limit in LIMITS:
        if limit.hard and limit.kind is Kind.WHEEL and (result := evaluate(limit, point)) is not None:
            found[limit.name] = np.nan_to_num(np.broadcast_to(result.slack, (draws.lanes,)), nan=-1.0, posinf=1e3)
    return found


def margin_of(
    scenario: Scenario, draws: Draws, settings: Settings, held: Mapping[str, float] = NO_RESERVE, *,
    ranged: bool = False,
) -> Margin:  # fmt: skip
    """Return the share of builds that keep the hard limits, and the reserves that the nominal build needs.

    held: reserves under which the settings were found; ranged: the crush may still be chosen, so limits that builds
    break at rest may yet be kept.
    """
    confidence = scenario.limit_values.confidence
    done = throw_draws(draws, settings)
    slacks = hard_slacks(scenario, draws, done)
    resting = {} if ranged else at_rest(scenario, draws, settings.count)
    broken_at_rest = {name: slack[1:] < -ROUNDING for name, slack in resting.items()}
    shares = {name: float(broken.mean()) for name, broken in broken_at_rest.items()}
    unkeepable = {name: share for name, share in shares.items() if share > 1 - confidence}
    mendable = np.ones(draws.lanes - 1, bool)
    for name in unkeepable:
        mendable &= ~broken_at_rest[name]
    kept = np.ones(draws.lanes - 1, bool)
    for slack, _ in slacks.values():
        kept &= slack[1:] >= -ROUNDING
    floors = {limit.name for limit in LIMITS if limit.floor}
    low = 1 - confidence
    with np.errstate(invalid="ignore"):
        values = {
            name: float(np.quantile(np.nan_to_num(value[1:], posinf=1e300), low if name in floors else confidence))
            for name, (_, value) in slacks.items()
        }
    reserve = _reserve({name: slack for name, (slack, _) in slacks.items()}, mendable, target(confidence), held)
    for name, slack in resting.items():
        if name in reserve:
            reserve[name] = min(reserve[name], AT_REST * max(float(slack[0]), 0.0))
    return Margin(
        confidence=confidence, kept=float(kept.mean()), draws=draws.lanes - 1, jams=float(done.jammed[1:].mean()),
        mean_exit=float(outlet_speed(draws.launcher, done.exit_speed)[1:].mean()),
        at_confidence=values, reserve=reserve, unkeepable=unkeepable,
    )  # fmt: skip


def enough(margin: Margin) -> bool:
    """Return whether enough builds keep the hard limits."""
    return margin.kept >= target(margin.confidence) - max(margin.unkeepable.values(), default=0.0)


def _reserve(
    slacks: Mapping[str, Floats], mendable: NDArray[np.bool_], share: float, held: Mapping[str, float]
) -> dict[str, float]:
    """Return the slack of each limit in the nominal build with which `share` of the builds keep all together [-].

    mendable: builds that can keep all limits, (draws,); held: reserves under which the settings were found.
    """
    shifts = {name: slack[1:][mendable] - slack[0] for name, slack in slacks.items()}
    if not shifts or not mendable.any():
        return {}
    used_up = {name for name, slack in slacks.items() if slack[0] <= held.get(name, 0.0) + TIGHT}

    def reserves(level: float) -> dict[str, float]:
        return {name: max(float(np.quantile(-shift, level)), 0.0) for name, shift in shifts.items()}

    def joint(level: float) -> float:
        kept = np.ones(int(mendable.sum()), bool)
        for name, needed in reserves(level).items():
            have = needed if name in used_up else max(needed, float(slacks[name][0]))
            kept &= shifts[name] + have >= -0.5 * ROUNDING
        return float(kept.mean())

    low, high = 0.5, 1.0
    for _ in range(14):
        middle = (low + high) / 2
        low, high = (low, middle) if joint(middle) >= share else (middle, high)
    return reserves(high)


def rows(done: Throw, chosen: NDArray[np.intp]) -> Throw:
    """Return the chosen samples of throws with one batch axis."""
    stages = Transit(**{name: getattr(done.stages, name)[chosen] for name in FIELDS})
    return Throw(stages=stages, exit_speed=done.exit_speed[chosen], spin=done.spin[chosen], jammed=done.jammed[chosen])
