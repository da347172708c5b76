"""Recommend wheel speeds, predict stages that are not built yet, and compare measured with expected exit speeds.

All recommendations and intervals use the same draws, so that all screens give the same figures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from stager.constraints import OperatingPoint, not_judged, speed_range
from stager.constraints.recommend import Recommended, recommend
from stager.fit.drift import Drift
from stager.fit.friction_laws import FRICTION, own_law, with_friction
from stager.fit.grip_ensemble import (
    Ensemble,
    Finder,
    GripLimits,
    Span,
    Tuned,
    after,
    at,
    before,
    behind,
    feed,
    span_of,
    tune,
)
from stager.fit.likelihood import forward_model
from stager.fit.records import Fit
from stager.fit.statistics.importance_sampling import interval
from stager.fit.table.throws import Mask, Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario, Uncertain
from stager.model.requirements import Aim
from stager.physics.batch import take
from stager.physics.chain import SURE, Options, throw, transit
from stager.physics.grip_limit import STANDARD, GripLimit, grip_limit
from stager.physics.guide import run_up
from stager.physics.muzzle import last_wheel_speed, speed_before_outlet

DRAWS = 400
"""Draws that recommendations and intervals are based on."""
SEED = 11
"""Seed of these draws, fixed so that they do not depend on other draws."""
LANES = FRICTION[:-1]
"""Key under which draws of averaged friction laws name the lane that has their law."""


def finder(scenario: Scenario) -> Finder:
    """Return a function that finds grip limits within the limits and drives of `scenario`."""

    def find(launcher: Launcher, index: int, entry_speed: Floats, entry_spin: Floats) -> GripLimit:
        top = np.asarray(speed_range(launcher, scenario.limit_values, index).top)
        return grip_limit(launcher, index, entry_speed, entry_spin, top, refinement=STANDARD, options=SURE)

    return find


def ensemble_of(source: Fit | Scenario) -> Ensemble:
    """Return the ensemble of launchers after a fit, or by a configuration: the same one for every screen."""
    rng = np.random.default_rng(SEED)
    return before(source, rng, DRAWS) if isinstance(source, Scenario) else after(source, rng, DRAWS)


def known_of(source: Fit | Scenario) -> Ensemble:
    """Return the ensemble for recommendations: a single launcher where nothing is uncertain."""
    found = ensemble_of(source)
    # Lanes may differ only in their friction laws, whose parameters are not among the values.
    if found.values or len(set(found.laws)) > 1:
        return found
    return replace(found, laws=found.laws[:1])


def fitted_scenario(fit: Fit) -> Scenario:
    """Return the scenario with the fitted launcher and draws from the posterior, those that `known_of` returns.

    Where several friction laws are averaged, draws name the lane that has their law, under the key of friction.
    """
    known, given = known_of(fit), fit.scenario
    realise = partial(_realise, fit, known.launcher)
    values = dict(known.values)
    if len(set(known.laws)) > 1:
        values[LANES] = np.arange(known.lanes, dtype=np.float64)
    uncertain = tuple(
        Uncertain(key=key, value=float(drawn[0]), standard_uncertainty=float(drawn[1:].std()))
        for key, drawn in values.items()
    )
    return replace(
        given, launcher=realise({}), values={**given.values, **{one.key: one.value for one in uncertain}},
        uncertain=uncertain, realise=realise,
        draws={key: drawn[1:] for key, drawn in values.items()} or None,
    )  # fmt: skip


def _realise(fit: Fit, lanes: Launcher, values: Mapping[str, Number]) -> Launcher:
    """Return the fitted launcher with other SI values by key, and the friction laws of some of `lanes`."""
    law, _ = fit.posteriors[fit.law]
    launcher = law.launcher(fit.scenario, fit.best | {key: value for key, value in values.items() if key != LANES})
    if LANES not in values:
        return launcher
    friction = take(lanes, np.atleast_1d(values[LANES]).astype(np.intp)).contact.friction
    return with_friction(launcher, friction)


def recommended(known: Ensemble, before_a: Floats, before_b: Floats) -> Recommended:
    """Recommend the wheel speed of the stage behind wheels at given speeds.

    Parameters
    ----------
    known : Ensemble
        As `known_of` returns it.
    before_a, before_b : ndarray, shape (index,)
        Surface speeds of sides A and B of the stages before it [m/s].
    """
    scenario, index = known.scenario, before_a.size
    best, limit_values, goal = take(known.launcher, np.zeros(1, np.intp)), scenario.limit_values, scenario.goal
    speed, spin = (np.atleast_1d(np.asarray(value, np.float64)) for value in (best.feed.speed, best.feed.spin))
    if index:
        done = throw(best, before_a[None], before_b[None])
        spin = done.spin
        speed = run_up(best, index, done.exit_speed, np.maximum(before_a, before_b)[-1:])
    grip = np.nan
    if speed[0] > 0:
        top = np.asarray(speed_range(best, limit_values, index).top)
        grip = float(grip_limit(best, index, speed, spin, np.atleast_1d(top)).wheel_speed[0])
    found = recommend(
        known.launcher, known.lanes, limit_values, (before_a, before_b), None if np.isnan(grip) else grip,
        asked=None if goal.aim is Aim.FASTEST else goal.exit_speed,
    )  # fmt: skip
    if found.wheel_speed is None:
        return found
    done = throw(scenario.launcher, np.append(before_a, found.wheel_speed), np.append(before_b, found.wheel_speed))
    point = OperatingPoint(launcher=scenario.launcher, limit_values=limit_values, throw=done)
    return replace(found, not_judged=tuple(one for one in not_judged(point) if one.hard))


def recommended_chain(known: Ensemble, stages: int) -> tuple[Recommended, ...]:
    """Recommend the wheel speeds of `stages` stages in turn, up to the first that has no recommendation."""
    found: list[Recommended] = []
    for _ in range(stages):
        settings = np.array([one.wheel_speed for one in found], dtype=np.float64)
        found.append(recommended(known, settings, settings))
        if found[-1].wheel_speed is None:
            break
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """Prediction of a chain.

    stages: stage count
    wheel_speed: recommended settings, (stages,) [m/s]
    exit_speed: over the draws, at these settings [m/s]
    tuned_exit: with each draw at its own best settings, as tuning at a bench would find them [m/s]
    gain: relative gain of tuned_exit over one stage less [-]; None for the first stage
    probability_worthwhile: that the gain is at least the goal's [-]; None for the first stage
    tuned: grip limit and recommended setting of the last stage
    measured: whether throws with so many stages were fitted
    """

    stages: int
    wheel_speed: Floats
    exit_speed: Span
    tuned_exit: Span
    gain: Span | None
    probability_worthwhile: float | None
    tuned: Tuned
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One stage of a chain whose settings are tuned for each launcher of an ensemble.

    entry_speed: (lanes,) [m/s]
    entry_spin: (lanes,) [rad/s]
    found: grip limits of the stage
    settings: wheel speeds of all stages up to it, (lanes, stages) [m/s]
    """

    entry_speed: Floats
    entry_spin: Floats
    found: GripLimits
    settings: Floats


def chain(ensemble: Ensemble, stages: int, find: Finder) -> Iterator[Step]:
    """Yield the stages in turn, each set to its grip limit less the required margin, or where it is fastest."""
    margin = 1 - ensemble.scenario.limit_values.grip_margin
    speed, spin = feed(ensemble)
    settings = np.zeros((ensemble.lanes, 0))
    for index in range(stages):
        found = find(ensemble.launcher, index, speed, spin)
        known = ~np.isnan(found.wheel_speed)
        settings = np.column_stack([settings, np.where(known, margin * found.wheel_speed, found.peak_speed)])
        yield Step(entry_speed=speed, entry_spin=spin, found=found, settings=settings)
        if index < stages - 1:
            speed, spin = at(ensemble, settings)


def predict(
    ensemble: Ensemble, stages: int, find: Finder, chosen: Sequence[Recommended], *, built: int = 0
) -> tuple[Predicted, ...]:
    """Return chains of one to `stages` stages, of which `built` have been measured.

    chosen: recommended settings of the stages in turn; chains end with the last stage that has one.
    """
    worthwhile = ensemble.scenario.goal.worthwhile
    out: list[Predicted] = []
    before = None
    settings = np.array([one.wheel_speed for one in chosen if one.wheel_speed is not None])
    for index, step in enumerate(chain(ensemble, min(stages, settings.size), find)):
        speed, _ = at(ensemble, step.settings)
        fixed, _ = at(ensemble, settings[: index + 1])
        gain = None if before is None else speed / np.maximum(before, 1e-9) - 1
        out.append(
            Predicted(
                stages=index + 1, wheel_speed=settings[: index + 1], exit_speed=span_of(fixed),
                tuned_exit=span_of(speed),
                gain=None if gain is None else span_of(gain),
                probability_worthwhile=None if gain is None else float((gain[1:] >= worthwhile).mean()),
                tuned=tune(ensemble, index, step.entry_speed, step.entry_spin, step.found, chosen[index]),
                measured=index < built,
            )
        )  # fmt: skip
        before = speed
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Prediction band of exit speed over the wheel speed of one stage.

    wheel_speed: (points,) [m/s]
    nominal: best guess of exit speed there, (points,) [m/s]
    low, high: ends of its 95 % coverage interval, (points,) [m/s]
    """

    wheel_speed: Floats
    nominal: Floats
    low: Floats
    high: Floats


def band(ensemble: Ensemble, index: int, before_a: Floats, before_b: Floats, wheel_speed: Floats) -> Band:
    """Return the band of stage `index` (from 0) at wheel speeds (points,) behind before_a, before_b, (index,) [m/s].

    Draws that jam count as 0 m/s.
    """
    speed, spin = behind(ensemble, before_a, before_b)
    exits = transit(
        ensemble.launcher, index, speed, wheel_speed[:, None], entry_spin=spin, options=SURE
    ).exit_speed  # (points, lanes)
    low, high = np.array([interval(row[1:]) for row in exits]).T
    return Band(wheel_speed=wheel_speed, nominal=exits[:, 0], low=low, high=high)


NEAR = 0.03
"""Relative distance of the other wheels' speeds from those of a curve, within which a throw belongs to it [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """Throws through stages 1 to some stage, one a row.

    throws: the throws, n
    side_a, side_b: surface speeds, (n, stages) [m/s]
    expected: indicated exit speed by the configuration, (n,) [m/s]; 0: a jam
    last_wheel: measured speed, converted to that at the last wheel, (n,) [m/s]
    """

    throws: Throws
    side_a: Floats
    side_b: Floats
    expected: Floats
    last_wheel: Floats

    @property
    def difference(self) -> Floats:
        """Relative deviation of measured from expected exit speed, (n,) [-]; NaN where either is a jam."""
        measured = self.throws.exit_speed
        passed = (measured > 0) & (self.expected > 0)
        return np.where(passed, measured / np.where(passed, self.expected, 1.0) - 1, np.nan)

    def on_curve(self, before_a: Floats, before_b: Floats) -> Mask:
        """Return which throws belong to the curve of the last stage behind stages at (stages − 1,) [m/s], (n,).

        On the curve both sides of the last stage have equal speeds.
        """
        wanted_a = np.column_stack([np.broadcast_to(before_a, self.side_a[:, :-1].shape), self.side_a[:, -1]])
        wanted_b = np.column_stack([np.broadcast_to(before_b, self.side_b[:, :-1].shape), self.side_a[:, -1]])
        close = [
            np.abs(set_at - wanted) <= NEAR * wanted
            for set_at, wanted in ((self.side_a, wanted_a), (self.side_b, wanted_b))
        ]
        return np.asarray(close[0].all(axis=1) & close[1].all(axis=1))

    def drawn(self, before_a: Floats, before_b: Floats) -> Floats:
        """Return wheel speed and exit speed at the last wheel, (m, 2) [m/s], of m throws that belong to the curve."""
        rows = self.on_curve(before_a, before_b) & (self.throws.exit_speed > 0)
        return np.column_stack([self.side_a[rows, -1], self.last_wheel[rows]])


def observations(scenario: Scenario, throws: Throws, stage: int) -> Observations:
    """Return those of `throws` that went through all stages up to `stage` (from 0) and no further."""
    present = throws.present
    ended = (present == (np.arange(present.shape[1]) <= stage)).all(axis=1) & (present.sum(axis=1) == stage + 1)
    chosen = throws.chosen(ended)
    if not len(chosen):
        none = np.zeros((0, stage + 1))
        return Observations(throws=chosen, side_a=none, side_b=none, expected=np.zeros(0), last_wheel=np.zeros(0))
    launcher, stages = scenario.launcher, range(stage + 1)
    return Observations(
        throws=chosen, side_a=chosen.surface_speed(launcher, stages, 0),
        side_b=chosen.surface_speed(launcher, stages, 1),
        expected=forward_model(scenario, own_law(scenario), chosen).exit_speed_of(launcher, Options()),
        last_wheel=_last_wheel(launcher, chosen),
    )  # fmt: skip


def _last_wheel(launcher: Launcher, throws: Throws) -> Floats:
    """Return the measured speed, converted to that at the last wheel, (n,) [m/s]; 0: a jam."""
    if not throws.at_outlet:
        return last_wheel_speed(launcher, throws.exit_speed)
    left = np.asarray(speed_before_outlet(launcher, throws.exit_speed))
    return np.where(throws.exit_speed > 0, left, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """A fit with its predicted stages, the drift of each build, and recommended wheel speeds, stage by stage."""

    fit: Fit
    predicted: tuple[Predicted, ...]
    drifts: tuple[Drift, ...]
    recommended: tuple[Recommended, ...]
