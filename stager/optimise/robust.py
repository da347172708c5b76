"""Wheel speeds for a low quantile of exit speed, with limits kept in most builds; and what that costs.

At the nominal optimum wheels are as fast as the nominal launcher's grip allows; a little slower, nearly every build
still grips. The choice is made on some draws and judged on others, since it flatters itself on its own
(Luedtke and Ahmed 2008, from memory).
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.records import Robust, Settings
from stager.optimise.settle import judged
from stager.optimise.spread import ROUGH, Crowd, crowd, kept
from stager.optimise.spun import sides, way_of
from stager.physics.records import Throw

QUANTILE, CHANCE, SURE = 0.05, 0.95, 0.95
CHOSEN_ON, JUDGED_ON = 100, 400
COMMON, OWN = np.linspace(0.7, 1.0, 25), np.array([0.96, 0.98, 0.99, 1.0, 1.01, 1.02])
PASSES, SLACK = 2, 1e-6


def robust(scenario: Scenario, best: Settings, rng: np.random.Generator) -> Robust | None:
    """Robust settings for the stages of `best`; None where nothing is uncertain or there is no stage."""
    if best.count == 0 or not (scenario.uncertain or scenario.draws):
        return None
    from scipy.special import betaincinv

    people, fresh = crowd(scenario, CHOSEN_ON, rng), crowd(scenario, JUDGED_ON, rng)
    start = best.lead
    chosen = _pick(scenario, people, best, COMMON[:, None] * start)
    for _ in range(PASSES):
        for k in range(best.count):
            tries = np.tile(chosen, (OWN.size, 1))
            tries[:, k] = np.minimum(tries[:, k] * OWN, start[k])
            chosen = _pick(scenario, people, best, np.vstack([chosen, tries]))
    nominal = _within_grip(scenario, chosen)
    chosen = nominal.lead
    (low, share), (before, share_before) = (_judge(scenario, fresh, best, speeds) for speeds in (chosen, start))
    count = round(share * JUDGED_ON)
    surely = 0.0 if count == 0 else float(betaincinv(count, JUDGED_ON - count + 1, 1 - SURE))
    return Robust(
        settings=nominal, quantile=QUANTILE, low=low, low_before=before, kept=share, kept_at_least=surely,
        kept_before=share_before, cost=1 - nominal.exit_speed / best.exit_speed,
    )  # fmt: skip


def _within_grip(scenario: Scenario, speeds: Floats) -> Settings:
    """The speeds in the nominal launcher, slowed stage by stage to their grip margin: behind slower stages that is
    less."""
    margin = scenario.limit_values.grip_margin
    (found,) = judged(scenario, [speeds])
    for _ in range(speeds.size if margin else 0):
        most = (1 - margin) * (1 - SLACK) * found.grip_limit
        if not (found.lead > most * (1 + SLACK)).any():
            break
        (found,) = judged(scenario, [np.fmin(found.lead, most)])
    return found


def _pick(scenario: Scenario, people: Crowd, best: Settings, candidates: Floats) -> Floats:
    """The candidate with the greatest low quantile of those that keep the limits often enough, else the one that
    keeps them most often."""
    done = _throw(scenario, people, candidates)
    low = np.quantile(done.exit_speed[:, 1:], QUANTILE, axis=1)
    share = kept(scenario, people, done, best.design)[:, 1:].mean(axis=1)
    merit = np.where(share >= CHANCE, low, share - 1)
    return np.asarray(candidates[int(np.argmax(merit))])


def _throw(scenario: Scenario, people: Crowd, lead: Floats) -> Throw:
    """With the wheels beside the leading ones so that the nominal launcher spins as asked."""
    way = way_of(scenario.launcher, scenario.limit_values, scenario.goal.spin)
    return people.throw(*sides(way, scenario.launcher, lead, ROUGH))


def _judge(scenario: Scenario, people: Crowd, best: Settings, speeds: Floats) -> tuple[float, float]:
    """Low quantile of exit speed [m/s], and how often limits are kept."""
    done = _throw(scenario, people, speeds[None])
    share = kept(scenario, people, done, best.design)[0, 1:].mean()
    return float(np.quantile(done.exit_speed[0, 1:], QUANTILE)), float(share)
