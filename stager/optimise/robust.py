"""Robust settings: the greatest low quantile of exit speed over builds, or the least spread of it.

At the nominal optimum wheels are as fast as the nominal launcher's grip allows; a little slower, nearly every build
still grips. Settings are chosen on some draws and evaluated on others, as they look too good on their own draws
(Luedtke and Ahmed, SIAM J. Optim. 19, 2008).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.optimise.draws import Draws, draw, is_uncertain
from stager.optimise.judge import JUDGED, REACHED, settings_at
from stager.optimise.parts import BestDesign
from stager.optimise.problem import Problem, Trial
from stager.optimise.records import Robust, Settings
from stager.optimise.refine import Effort, refine
from stager.optimise.search import Solution, launcher_of
from stager.optimise.spin import sides, way_of
from stager.physics.batch import flatten
from stager.physics.chain import Options, throw
from stager.physics.records import Throw

ROUGH = Options(tolerance=1e-4)
"""Integration of throws of draws."""
QUANTILE = 0.05
"""Quantile of exit speed that is maximised [-]."""
CHANCE = 0.95
"""Share of draws that must keep the limits [-]."""
SURE = 0.95
"""Confidence of the lower bound on that share [-]."""
CHOSEN_ON = 100
"""Draws on which settings are chosen."""
JUDGED_ON = 400
"""Fresh draws on which they are evaluated."""
STEADIED_ON = 64
"""Draws on which the spread of exit speed is minimised."""
COMMON = np.linspace(0.7, 1.0, 25)
"""Factors on all wheel speeds that are tried [-]."""
OWN = np.array([0.96, 0.98, 0.99, 1.0, 1.01, 1.02])
"""Factors on the wheel speed of one stage that are tried [-]."""
PASSES = 2
"""Passes over the stages."""
SLACK = 1e-6
"""Room kept to the grip margin, for rounding [-]."""
NEAR = 0.1
"""Slack of the nominal design below which limits on drives and supply are evaluated on draws [-]."""
STEADYING = Effort(16, 0.1, 1e-4, 1e-6, finish=True)
"""Effort for settings with the least spread, whose objective is smooth."""
CLEARLY = 0.02
"""Share by which more stages must reduce the spread to be chosen [-]."""


class Sample:
    """Drawn launchers, sample 0 the nominal one."""

    def __init__(self, scenario: Scenario, count: int, rng: np.random.Generator) -> None:
        drawn = draw(scenario, count, rng)
        self.scenario = scenario
        self.draws = Draws(values=drawn.values, launcher=flatten(drawn.launcher, (drawn.lanes,)), lanes=drawn.lanes)
        self.way = way_of(scenario.launcher, scenario.limit_values, scenario.goal.spin)

    def throw(self, lead: Floats, options: Options = ROUGH) -> Throw:
        """Throw all samples at leading wheel speeds [m/s], (candidates, stages); arrays (candidates, samples, ...).

        The other wheels run as the nominal launcher needs for the spin that is asked for.
        """
        speed, other = sides(self.way, self.scenario.launcher, lead, ROUGH)
        each = np.ones((self.draws.lanes, 1))
        second = None if other is None else other[:, None, :] * each
        return throw(self.draws.launcher, speed[:, None, :] * each, second, options=options)

    def kept(self, done: Throw, near: OperatingPoint) -> Floats:
        """Return 1 for each throw that keeps the limits, else 0; those on drives only where `near` has little slack."""
        point = OperatingPoint(launcher=self.draws.launcher, limit_values=self.scenario.limit_values, throw=done)
        fine = ~done.jammed
        for limit in LIMITS:
            if limit.kind not in (Kind.THROW, Kind.STEADY):
                continue
            here = evaluate(limit, near) if limit.kind is Kind.STEADY else None
            if limit.kind is Kind.STEADY and (here is None or float(np.min(here.slack)) > NEAR):
                continue
            if (result := evaluate(limit, point)) is not None:
                fine = fine & (np.broadcast_to(result.slack, fine.shape) >= -1e-6)
        return fine.astype(np.float64)


def robust(row: BestDesign, rng: np.random.Generator) -> Robust | None:
    """Return robust settings for the stages of a plan; None where nothing is uncertain or there is no stage."""
    scenario, best = row.scenario, row.settings
    if best.count == 0 or not is_uncertain(scenario):
        return None
    from scipy.special import betaincinv

    sample, fresh = Sample(scenario, CHOSEN_ON, rng), Sample(scenario, JUDGED_ON, rng)
    start = best.lead
    lead = _pick(sample, best, COMMON[:, None] * start)
    for _ in range(PASSES):
        for k in range(best.count):
            tries = np.tile(lead, (OWN.size, 1))
            tries[:, k] = np.minimum(tries[:, k] * OWN, start[k])
            lead = _pick(sample, best, np.vstack([lead, tries]))
    nominal = _within_grip(scenario, lead, best)
    (low, share), (before, share_before) = (
        _quantile_and_share(fresh, best, speeds) for speeds in (nominal.lead, start)
    )
    count = round(share * JUDGED_ON)
    surely = 0.0 if count == 0 else float(betaincinv(count, JUDGED_ON - count + 1, 1 - SURE))
    return Robust(
        settings=nominal, quantile=QUANTILE, low=low, low_before=before, kept=share, kept_at_least=surely,
        kept_before=share_before, cost=1 - nominal.exit_speed / best.exit_speed,
    )  # fmt: skip


def _within_grip(scenario: Scenario, lead: Floats, best: Settings) -> Settings:
    """Return settings at `lead` [m/s], slowed to the grip margin of each stage, which falls as earlier stages slow."""
    margin, launcher = scenario.limit_values.grip_margin, best.design.launcher
    found = settings_at(scenario, lead, launcher)
    for _ in range(lead.size if margin else 0):
        most = (1 - margin) * (1 - SLACK) * found.grip_limit
        if not (found.lead > most * (1 + SLACK)).any():
            break
        found = settings_at(scenario, np.fmin(found.lead, most), launcher)
    return found


def _pick(sample: Sample, best: Settings, candidates: Floats) -> Floats:
    """Return the candidate with the greatest low quantile of those that keep the limits often enough.

    Where none does, the one that keeps them most often.
    """
    done = sample.throw(candidates)
    low = np.quantile(done.exit_speed[:, 1:], QUANTILE, axis=1)
    share = sample.kept(done, best.design)[:, 1:].mean(axis=1)
    return np.asarray(candidates[int(np.argmax(np.where(share >= CHANCE, low, share - 1)))])


def _quantile_and_share(sample: Sample, best: Settings, lead: Floats) -> tuple[float, float]:
    """Return the low quantile of exit speed [m/s], and the share of draws that keep the limits."""
    done = sample.throw(lead[None])
    share = sample.kept(done, best.design)[0, 1:].mean()
    return float(np.quantile(done.exit_speed[0, 1:], QUANTILE)), float(share)


def steadiest(
    rows: Sequence[BestDesign], margins: Mapping[str, float], rng: np.random.Generator
) -> tuple[BestDesign | None, float | None, float | None]:
    """Return the design with the least spread of exit speed at the speed that is asked for.

    Returns
    -------
    BestDesign or None
        None where no design reaches the speed.
    float or None, float or None
        Standard deviation of exit speed over the asked speed [-], of this design and of the fewest stages with the
        least heat.
    """
    asked = rows[0].scenario.goal.asked
    fits = [row for row in rows if asked and row.feasible and row.settings.exit_speed >= asked * (1 - REACHED)]
    if asked is None or not fits:
        return None, 0.0, 0.0
    if not is_uncertain(rows[0].scenario) or fits[0].count == 0:
        return fits[0], 0.0, 0.0
    state = rng.bit_generator.state
    best: BestDesign = fits[0]
    least = plain = np.inf
    for row in fits:
        if row.solution is None:
            continue
        rng.bit_generator.state = state
        sample = Sample(row.scenario, STEADIED_ON, rng)
        spread = _spread(sample, row.settings.lead, asked)
        if not np.isfinite(plain):
            least = plain = spread
        found = _steadied(row, sample, asked, margins)
        if found is not None:
            other = _spread(sample, found.settings.lead, asked)
            if other < spread:
                row, spread = replace(row, solution=found, settings=found.settings), other
        # More stages must be clearly steadier.
        if spread < least * (1 - (CLEARLY if row.count > best.count else 0)):
            best, least = row, spread
    return best, least, plain


def _steadied(row: BestDesign, sample: Sample, asked: float, margins: Mapping[str, float]) -> Solution | None:
    """Return the settings of a row with the least spread, found from those with the least heat."""
    assert row.solution is not None
    problem: Problem = row.solution.problem

    def steadiness(trial: Trial) -> Floats:
        done = sample.throw(trial.lead, JUDGED)
        varied = done.exit_speed[:, 1:].std(axis=1) / asked
        return np.where(done.jammed.any(axis=1), -10.0, 1 - varied)

    found = refine(problem, row.solution.trial, steadiness, STEADYING, least=asked * (1 - 0.5 * REACHED))
    settings = settings_at(row.scenario, found.lead[0], launcher_of(problem, found))
    return Solution(problem, found, settings) if settings.feasible else None


def _spread(sample: Sample, lead: Floats, asked: float) -> float:
    """Return the standard deviation of exit speed over `asked` [-]."""
    return float(sample.throw(lead[None], JUDGED).exit_speed[0, 1:].std() / asked)
