"""What measured throws are for: is one more stage worth it, and which wheel speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.draws import Ensemble
from stager.fit.prediction import Step, chain
from stager.fit.tuning import Finder, at
from stager.model.arrays import Floats
from stager.physics.chain import throw
from stager.physics.muzzle import indicated_speed
from stager.physics.options import SURE

CHOICES = np.linspace(0.7, 1.3, 25)
SETTINGS = np.linspace(0.4, 1.7, 27)
LOSES = 0.01
"""A wheel speed is wrongly chosen where it loses more than this of what the stage could give."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stakes:
    """What is at stake over draws that are equally likely.

    worthwhile: whether the next stage adds enough, (draws,), None where there can be none; choices: wheel speeds of
    the last built stage [m/s], (choices,); loss: share of its best exit speed that each choice loses, (choices, draws);
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
        bad = weights @ (self.loss > LOSES).T.astype(np.float64)
        return stage, bad.min(axis=-1)

    def misled(self, weights: Floats) -> float:
        """Share of draws, each the truth for one row of weights (draws, draws), at which what the weights choose is
        wrong: on the stage plus on the speed."""
        speed = np.argmin(weights @ (self.loss > LOSES).T.astype(np.float64), axis=1)
        wrong = (self.loss > LOSES)[speed, np.arange(speed.size)].mean()
        if self.worthwhile is not None:
            wrong = wrong + ((weights @ self.worthwhile > 0.5) != (self.worthwhile > 0.5)).mean()
        return float(wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class Experiments:
    """Settings that could be measured: wheel speeds [m/s], (settings, stages), and ln of the exit speeds that each
    draw expects there, (settings, draws); −inf: a jam."""

    wheel_speed: Floats
    expected: Floats


def stakes(ensemble: Ensemble, built: int, find: Finder) -> tuple[Stakes, Experiments]:
    """Decisions and possible measurements with `built` stages; lane 0 of the ensemble is left out of the draws."""
    goal, limit_values = ensemble.scenario.goal, ensemble.scenario.limit_values
    more = built < limit_values.stages
    steps = list(chain(ensemble, built + more, find))
    last = steps[built - 1]
    worthwhile = None
    if more:
        here, beyond = at(ensemble, last.settings)[0], at(ensemble, steps[built].settings)[0]
        worthwhile = (beyond / np.maximum(here, 1e-9) - 1 >= goal.worthwhile)[1:].astype(np.float64)
    limit = _limit(last)
    exits = _exits(ensemble, last, limit * CHOICES)
    peak = np.maximum(exits.max(axis=0), np.nan_to_num(last.found.peak_exit))
    loss = 1 - exits / np.maximum(peak, 1e-9)
    settings = limit * SETTINGS
    with np.errstate(divide="ignore"):
        expected = np.log(indicated_speed(ensemble.launcher, _exits(ensemble, last, settings)))
    before = np.broadcast_to(last.settings[0, :-1], (settings.size, built - 1))
    return (
        Stakes(worthwhile=worthwhile, choices=limit * CHOICES, loss=loss[:, 1:], grip_limit=_limits(last)),
        Experiments(wheel_speed=np.column_stack([before, settings]), expected=expected[:, 1:]),
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


def _exits(ensemble: Ensemble, step: Step, settings: Floats) -> Floats:
    """Exit speeds [m/s], (settings, lanes), with the last stage at `settings` and those before as the best guess sets
    them."""
    before = np.broadcast_to(step.settings[0, :-1], (settings.size, ensemble.lanes, step.settings.shape[1] - 1))
    last = np.broadcast_to(settings[:, None, None], (settings.size, ensemble.lanes, 1))
    return throw(ensemble.launcher, np.concatenate([before, last], axis=-1), options=SURE).exit_speed
