"""Settings for nearly all builds: a high low quantile of exit speed, or the least spread of it.

At the nominal optimum wheels are as fast as the nominal launcher's grip allows; a little slower, nearly every build
still grips. A choice is made on some draws and judged on others, since it flatters itself on its own
(Luedtke and Ahmed, SIAM J. Optim. 19, 2008).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from stager.constraints import LIMITS, Kind, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.draws import Draws, draw, is_uncertain
from stager.optimise.judge import JUDGED, REACHED, judged
from stager.optimise.parts import Row
from stager.optimise.problem import Problem, Trial
from stager.optimise.records import Robust, Settings
from stager.optimise.refine import Effort, refine
from stager.optimise.search import Solution, chosen
from stager.optimise.spin import sides, way_of
from stager.physics.batch import flatten
from stager.physics.chain import Options, throw
from stager.physics.records import Throw

ROUGH = Options(tolerance=1e-4)
QUANTILE, CHANCE, SURE = 0.05, 0.95, 0.95
CHOSEN_ON, JUDGED_ON, STEADIED_ON = 100, 400, 64
COMMON, OWN = np.linspace(0.7, 1.0, 25), np.array([0.96, 0.98, 0.99, 1.0, 1.01, 1.02])
PASSES, SLACK = 2, 1e-6
NEAR = 0.1
"""Limits that drives and supply keep are looked at where the nominal design is as near to them [-]."""
CLEARLY = 0.02
"""By how much more stages must be steadier [-]."""


class Sample:
    """Launchers drawn, sample 0 the nominal one."""

    def __init__(self, scenario: Scenario, count: int, rng: np.random.Generator) -> None:
        drawn = draw(scenario, count, rng)
        self.scenario = scenario
        self.draws = Draws(values=drawn.values, launcher=flatten(drawn.launcher, (drawn.lanes,)), lanes=drawn.lanes)
        self.way = way_of(scenario.launcher, scenario.limit_values, scenario.goal.spin)

    def throw(self, lead: Floats, options: Options = ROUGH) -> Throw:
        """Throw with leading wheels at speeds [m/s], (candidates, stages), set as the nominal launcher spins as asked;
        arrays (candidates, samples, ...)."""
        speed, other = sides(self.way, self.scenario.launcher, lead, ROUGH)
        each = np.ones((self.draws.lanes, 1))
        second = None if other is None else other[:, None, :] * each
        return throw(self.draws.launcher, speed[:, None, :] * each, second, options=options)

    def kept(self, done: Throw, near: OperatingPoint) -> Floats:
        """1 for each throw that keeps the limits on throws, and those on drives that `near` is near, else 0."""
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


def robust(row: Row, rng: np.random.Generator) -> Robust | None:
    """Return robust settings for the stages of a plan; None where nothing is uncertain or there is no stage."""
    scenario, best = row.scenario, row.settings
    if best.count == 0 or not is_uncertain(scenario):
        return None
    from scipy.special import betaincinv

    people, fresh = Sample(scenario, CHOSEN_ON, rng), Sample(scenario, JUDGED_ON, rng)
    start = best.lead
    lead = _pick(people, best, COMMON[:, None] * start)
    for _ in range(PASSES):
        for k in range(best.count):
            tries = np.tile(lead, (OWN.size, 1))
            tries[:, k] = np.minimum(tries[:, k] * OWN, start[k])
            lead = _pick(people, best, np.vstack([lead, tries]))
    nominal = _within_grip(scenario, lead, best)
    (low, share), (before, share_before) = (_judge(fresh, best, speeds) for speeds in (nominal.lead, start))
    count = round(share * JUDGED_ON)
    surely = 0.0 if count == 0 else float(betaincinv(count, JUDGED_ON - count + 1, 1 - SURE))
    return Robust(
        settings=nominal, quantile=QUANTILE, low=low, low_before=before, kept=share, kept_at_least=surely,
        kept_before=share_before, cost=1 - nominal.exit_speed / best.exit_speed,
    )  # fmt: skip


def _within_grip(scenario: Scenario, lead: Floats, best: Settings) -> Settings:
    """The speeds in the nominal launcher, slowed stage by stage to their grip margin: behind slower stages that is
    less."""
    margin, launcher = scenario.limit_values.grip_margin, best.design.launcher
    found = judged(scenario, lead, launcher)
    for _ in range(lead.size if margin else 0):
        most = (1 - margin) * (1 - SLACK) * found.grip_limit
        if not (found.lead > most * (1 + SLACK)).any():
            break
        found = judged(scenario, np.fmin(found.lead, most), launcher)
    return found


def _pick(people: Sample, best: Settings, candidates: Floats) -> Floats:
    """The candidate with the greatest low quantile of those that keep the limits often enough, else the one that
    keeps them most often."""
    done = people.throw(candidates)
    low = np.quantile(done.exit_speed[:, 1:], QUANTILE, axis=1)
    share = people.kept(done, best.design)[:, 1:].mean(axis=1)
    return np.asarray(candidates[int(np.argmax(np.where(share >= CHANCE, low, share - 1)))])


def _judge(people: Sample, best: Settings, lead: Floats) -> tuple[float, float]:
    """Low quantile of exit speed [m/s], and how often limits are kept."""
    done = people.throw(lead[None])
    share = people.kept(done, best.design)[0, 1:].mean()
    return float(np.quantile(done.exit_speed[0, 1:], QUANTILE)), float(share)


def steadiest(
    rows: Sequence[Row], margins: Mapping[str, float], rng: np.random.Generator
) -> tuple[Row | None, float | None, float | None]:
    """Return the steadiest design that leaves at the speed asked for; the spread of its exit speed, and that of the
    fewest stages with the least heat, as standard deviations over the asked speed. None where none is found."""
    asked = rows[0].scenario.goal.asked
    fits = [row for row in rows if asked and row.feasible and row.settings.exit_speed >= asked * (1 - REACHED)]
    if asked is None or not fits:
        return None, 0.0, 0.0
    if not is_uncertain(rows[0].scenario) or fits[0].count == 0:
        return fits[0], 0.0, 0.0
    state = rng.bit_generator.state
    best: Row = fits[0]
    least = plain = np.inf
    for row in fits:
        if row.solution is None:
            continue
        rng.bit_generator.state = state
        people = Sample(row.scenario, STEADIED_ON, rng)
        spread = _spread(people, row.settings.lead, asked)
        if not np.isfinite(plain):
            least = plain = spread
        found = _steadied(row, people, asked, margins)
        if found is not None:
            other = _spread(people, found.settings.lead, asked)
            if other < spread:
                row, spread = replace(row, solution=found, settings=found.settings), other
        # More stages must be clearly steadier.
        if spread < least * (1 - (CLEARLY if row.count > best.count else 0)):
            best, least = row, spread
    return best, least, plain


def _steadied(row: Row, people: Sample, asked: float, margins: Mapping[str, float]) -> Solution | None:
    """The steadiest settings of so many stages, from those with the least heat."""
    assert row.solution is not None
    problem: Problem = row.solution.problem

    def steadiness(trial: Trial) -> Floats:
        done = people.throw(trial.lead, JUDGED)
        varied = done.exit_speed[:, 1:].std(axis=1) / asked
        return np.where(done.jammed.any(axis=1), -10.0, 1 - varied)

    found = refine(
        problem, row.solution.trial, steadiness, Effort(16, 0.1, 1e-4, 1e-6), least=asked * (1 - 0.5 * REACHED)
    )
    settings = judged(row.scenario, found.lead[0], chosen(problem, found))
    return Solution(problem, found, settings) if settings.feasible else None


def _spread(people: Sample, lead: Floats, asked: float) -> float:
    return float(people.throw(lead[None], JUDGED).exit_speed[0, 1:].std() / asked)
