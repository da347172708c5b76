"""Recommend wheel speeds, predict stages that are not built yet, and compare measured with expected exit speeds.

An ensemble of launchers represents the uncertainty, with grip limits and settings of its stages. All recommendations
and intervals use the same draws, so that all screens give the same figures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np

from stager.constraints import OperatingPoint, not_judged, speed_range
from stager.constraints.recommend import Recommended, recommend
from stager.fit.compare import Drift
from stager.fit.likelihood import forward_model
from stager.fit.posterior import Fit
from stager.fit.priors import FRICTION, CandidateLaw, Sampled, of, own_law, with_friction
from stager.fit.statistics.importance_sampling import interval
from stager.fit.table.throws import Mask, Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher, Scenario, Uncertain
from stager.physics.chain import SURE, Options, throw
from stager.physics.flight import last_wheel_speed, speed_before_outlet
from stager.physics.grip_limit import STANDARD, GripLimit, StageArrival, arrive
from stager.physics.records import take
from stager.physics.scatter import shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Ensemble:
    """Possible launchers: lane 0 is the best guess, the others are equally likely draws.

    scenario: that the launchers belong to
    values: SI values by key, each (lanes,); with parameters of friction only where all lanes have one law
    laws: name of each lane's friction law, (lanes,)
    launcher: all launchers, its arrays over the lanes
    """

    scenario: Scenario
    values: Mapping[str, Floats]
    laws: tuple[str, ...]
    launcher: Launcher

    @property
    def lanes(self) -> int:
        """Number of launchers."""
        return len(self.laws)

    @property
    def best(self) -> Launcher:
        """The best guess."""
        found: Launcher = take(self.launcher, [0])
        return found


def of_law(scenario: Scenario, law: CandidateLaw, values: Mapping[str, Floats]) -> Ensemble:
    """Return the ensemble of launchers with `law` at SI values by key, each (lanes,)."""
    lanes = next((value.size for value in values.values()), 1)
    return Ensemble(
        scenario=scenario, values=values, laws=(law.name,) * lanes, launcher=law.launcher(scenario, values)
    )  # fmt: skip


def after(fit: Fit, rng: np.random.Generator, count: int) -> Ensemble:
    """Return the best fit and `count` draws from the posterior, averaged over friction laws by their weights."""
    shares = rng.multinomial(count, list(fit.weights.values()))
    parts: list[tuple[CandidateLaw, dict[str, Floats]]] = []
    for (law, posterior), share in zip(fit.posteriors.values(), shares, strict=True):
        parts.append((law, posterior.even(rng, int(share))))
    first, drawn = parts[0]
    parts[0] = first, {key: np.concatenate([[fit.best[key]], values]) for key, values in drawn.items()}
    if len(parts) == 1:
        # Without uncertain parameters there are no draws, but callers expect `count` lanes.
        given = parts[0][1]
        return of_law(fit.scenario, first, given) if given else _alike(fit.scenario, first, count + 1)
    frictions = [law.launcher(fit.scenario, values).contact.friction for law, values in parts]
    lanes = [int(share) + (number == 0) for number, share in enumerate(shares)]
    shared = [key for key in parts[0][1] if not key.startswith(FRICTION)]
    known = {key: np.concatenate([values[key] for _, values in parts]) for key in shared}
    launcher = with_friction(fit.scenario.realise(known), Sampled.of(frictions, lanes))
    # Mix the laws, so that any part of the draws represents all of them.
    order = np.concatenate([[0], 1 + rng.permutation(count)])
    names = np.repeat([law.name for law, _ in parts], lanes)[order]
    return Ensemble(
        scenario=fit.scenario, values={key: value[order] for key, value in known.items()},
        laws=tuple(names.tolist()), launcher=take(launcher, order),
    )  # fmt: skip


def _alike(scenario: Scenario, law: CandidateLaw, lanes: int) -> Ensemble:
    """Return an ensemble of equal launchers, without uncertain parameters."""
    return Ensemble(scenario=scenario, values={}, laws=(law.name,) * lanes, launcher=law.launcher(scenario, {}))


def before(scenario: Scenario, rng: np.random.Generator, count: int) -> Ensemble:
    """Return the configured launcher and `count` draws: of a fit's draws in the configuration, else of its priors."""
    known = {}
    draws = scenario.draws or {}
    rows = rng.permutation(_rows(scenario, count)) if draws else None
    for item in scenario.uncertain:
        if rows is not None and item.key in draws:
            values = draws[item.key][rows]
        else:
            values = of(item).value(rng.normal(size=count))
        known[item.key] = np.concatenate([[item.value], values])
    law = own_law(scenario)
    return of_law(scenario, law, known) if known else _alike(scenario, law, count + 1)


def _rows(scenario: Scenario, count: int) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
    """Return rows of the configuration's draws, (count,), repeated in turn where there are fewer."""
    size = next(iter((scenario.draws or {}).values())).size
    return np.resize(np.arange(size), count)


GRID_RATIOS = np.concatenate([np.linspace(0.6, 0.9, 7), np.linspace(0.92, 1.2, 15)])
"""Wheel speeds at which exit speed is computed, over the grip limit [-]; dense near it."""
DETUNING = 0.05
"""Relative distance of a setting from the grip limit at which the loss of exit speed is reported [-]."""


class GripLimits(Protocol):
    """Grip limits of lanes; speeds [m/s], NaN where exit speed still rises at the end of the range."""

    @property
    def wheel_speed(self) -> Floats:
        """Grip limit, (lanes,)."""
        ...

    @property
    def exit_speed(self) -> Floats:
        """Exit speed at the grip limit, (lanes,)."""
        ...

    @property
    def peak_speed(self) -> Floats:
        """Wheel speed of the greatest exit speed, (lanes,)."""
        ...

    @property
    def peak_exit(self) -> Floats:
        """Greatest exit speed, (lanes,)."""
        ...


class Finder(Protocol):
    """Function that finds grip limits within the range that drive and limits allow."""

    def __call__(self, launcher: Launcher, index: int, arrival: StageArrival) -> GripLimits:
        """Return grip limits of stage `index` (from 0) at an arrival, (lanes,)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A quantity: best guess and the ends of its 95 % coverage interval."""

    nominal: float
    low: float
    high: float

    @property
    def width(self) -> float:
        """Width of the interval over the best guess [-]."""
        return (self.high - self.low) / self.nominal if self.nominal else np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """Grip limit and setting of one stage.

    stage: number, from 1
    grip_limit: [m/s]; None where in most draws exit speed still rises at the end of the range
    exit_speed: at the grip limit, or the greatest one [m/s]
    recommended: the setting
    recommended_exit: exit speed at the setting over draws that do not jam [m/s]; NaN where there is no setting
    jams: share of draws that jam at the setting [-]
    short, over: share of exit speed lost at DETUNING below and above the best guess of the grip limit, on average over
        draws that do not jam [-]
    """

    stage: int
    grip_limit: Span | None
    exit_speed: Span
    recommended: Recommended
    recommended_exit: Span
    jams: float
    short: float
    over: float


def span_of(lanes: Floats) -> Span:
    """Return the best guess (lane 0) and the 95 % interval of the other lanes (lanes,).

    The median replaces a best guess outside the interval, as can happen at the edge of a plateau.
    """
    low, high = interval(lanes[1:])
    nominal = float(lanes[0]) if low <= lanes[0] <= high else float(np.median(lanes[1:]))
    return Span(nominal=nominal, low=low, high=high)


def limits(found: GripLimits) -> Floats:
    """Return grip limits (lanes,) [m/s]; the wheel speed of the greatest exit speed where there is none."""
    return np.where(np.isnan(found.wheel_speed), found.peak_speed, found.wheel_speed)


def limit_span(found: GripLimits) -> Span | None:
    """Return the grip limit over lanes, None where most lanes, or the best guess, have none."""
    known = ~np.isnan(found.wheel_speed)
    return span_of(limits(found)) if known[0] and known.mean() > 0.5 else None


def tune(ensemble: Ensemble, index: int, arrival: StageArrival, found: GripLimits, chosen: Recommended) -> Tuned:
    """Return grip limits `found` of stage `index` (from 0) and its recommended setting `chosen` over an ensemble."""
    known, limit = ~np.isnan(found.wheel_speed), limits(found)
    grid = limit[0] * GRID_RATIOS
    exits = arrival.exit_speed(ensemble.launcher, index, grid[:, None])  # (settings, lanes)
    # Draws that jam are counted as jams, not as a loss of speed.
    share = np.where(exits[:, 1:] > 0, exits[:, 1:] / np.maximum(found.peak_exit[1:], 1e-9), np.nan)
    mean = np.array([np.nanmean(row) if np.isfinite(row).any() else np.nan for row in share])
    lost = np.interp(limit[0] * np.array([1 - DETUNING, 1 + DETUNING]), grid, 1 - mean)
    leaves, jams = _exits_at(ensemble, index, arrival, chosen)
    return Tuned(
        stage=index + 1, grip_limit=limit_span(found),
        exit_speed=span_of(np.where(known, found.exit_speed, found.peak_exit)), recommended=chosen,
        recommended_exit=leaves, jams=jams, short=float(lost[0]), over=float(lost[1]),
    )  # fmt: skip


def _exits_at(ensemble: Ensemble, index: int, arrival: StageArrival, chosen: Recommended) -> tuple[Span, float]:
    """Return the exit speed at the recommended setting over draws that do not jam [m/s], and the share that jam [-]."""
    if chosen.wheel_speed is None:
        return Span(nominal=np.nan, low=np.nan, high=np.nan), np.nan
    setting = np.full(ensemble.lanes, chosen.wheel_speed)
    exits = arrival.exit_speed(ensemble.launcher, index, setting)
    passed = exits[1:] > 0
    if not passed.any():
        return Span(nominal=float(exits[0]), low=np.nan, high=np.nan), float(1 - passed.mean())
    return span_of(np.append(exits[:1], exits[1:][passed])), float(1 - passed.mean())


def tune_behind(
    ensemble: Ensemble, index: int, before_a: Floats, before_b: Floats, find: Finder, chosen: Recommended
) -> Tuned | None:
    """Return grip limit and recommended setting `chosen` of stage `index` (from 0) behind wheels at given speeds [m/s].

    before_a, before_b: each (index,). None where the best guess jams.
    """
    arrival = behind(ensemble, before_a, before_b)
    found = find(ensemble.launcher, index, arrival)
    if arrival.entry_speed[0] <= 0 or found.peak_exit[0] <= 0:
        return None
    return tune(ensemble, index, arrival, found, chosen)


def at(ensemble: Ensemble, wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> tuple[Floats, Floats]:
    """Return exit speed [m/s] and spin [rad/s], (lanes,), at wheel speeds (stages,) or (lanes, stages) [m/s].

    wheel_speed_b: of side B; None: as side A.
    """
    shape = (ensemble.lanes, np.shape(wheel_speed)[-1])
    speeds_b = None if wheel_speed_b is None else np.broadcast_to(wheel_speed_b, shape)
    done = throw(ensemble.launcher, np.broadcast_to(wheel_speed, shape), speeds_b, options=SURE)
    return done.exit_speed, done.spin


def behind(ensemble: Ensemble, before_a: Floats, before_b: Floats) -> StageArrival:
    """Return the arrival, of (lanes,), behind wheels at speeds (stages,) or (lanes, stages) [m/s]."""
    top = speed_range(ensemble.launcher, ensemble.scenario.limit_values, np.shape(before_a)[-1]).top
    found = arrive(ensemble.launcher, before_a, before_b, top, options=SURE)
    speed, spin = (np.broadcast_to(value, (ensemble.lanes,)) for value in (found.entry_speed, found.entry_spin))
    return replace(found, entry_speed=speed, entry_spin=spin)


FIRST_SCATTER = 0.02
"""Relative scatter of one throw before any is measured [-]; an assumption."""
DRAWS = 400
"""Draws that recommendations and intervals are based on."""
SEED = 11
"""Seed of these draws, fixed so that they do not depend on other draws."""
LANES = FRICTION[:-1]
"""Key under which draws of averaged friction laws name the lane that has their law."""


def finder(scenario: Scenario) -> Finder:
    """Return a function that finds grip limits within the limits and drives of `scenario`."""

    def find(launcher: Launcher, index: int, arrival: StageArrival) -> GripLimit:
        top = np.asarray(speed_range(launcher, scenario.limit_values, index).top)
        margin = scenario.limit_values.grip_margin
        return arrival.grip_limit(launcher, index, top, margin, refinement=STANDARD, options=SURE)

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
    grip, top = np.nan, np.atleast_1d(speed_range(best, limit_values, index).top)
    arrival = arrive(best, before_a, before_b, top)
    if arrival.entry_speed[0] > 0:
        grip = float(arrival.grip_limit(best, index, top, limit_values.grip_margin).wheel_speed[0])
    found = recommend(
        known.launcher, known.lanes, limit_values, (before_a, before_b), None if np.isnan(grip) else grip,
        asked=goal.asked,
    )  # fmt: skip
    if found.wheel_speed is None:
        return found
    done = throw(scenario.launcher, np.append(before_a, found.wheel_speed), np.append(before_b, found.wheel_speed))
    point = OperatingPoint(launcher=scenario.launcher, limit_values=limit_values, throw=done)
    return replace(found, not_judged=tuple(one for one in not_judged(point) if one.hard))


def recommended_chain(known: Ensemble, stages: int, tell: Callable[[], None] = lambda: None) -> tuple[Recommended, ...]:
    """Recommend the wheel speeds of `stages` stages in turn, up to the first that has no recommendation.

    tell: called before each stage; it may raise to end the work.
    """
    found: list[Recommended] = []
    for _ in range(stages):
        tell()
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

    arrival: how the projectile comes to the stage
    found: grip limits of the stage
    settings: wheel speeds of all stages up to it, (lanes, stages) [m/s]
    """

    arrival: StageArrival
    found: GripLimits
    settings: Floats


def chain(ensemble: Ensemble, stages: int, find: Finder) -> Iterator[Step]:
    """Yield the stages in turn, each set to its grip limit less the required margin, or where it is fastest."""
    launcher, limit_values = ensemble.launcher, ensemble.scenario.limit_values
    settings = np.zeros((ensemble.lanes, 0))
    for index in range(stages):
        arrival = behind(ensemble, settings, settings)
        found = find(launcher, index, arrival)
        known, top = ~np.isnan(found.wheel_speed), speed_range(launcher, limit_values, index).top
        kept = np.minimum((1 - limit_values.grip_margin) * found.wheel_speed, top)
        settings = np.column_stack([settings, np.where(known, kept, found.peak_speed)])
        yield Step(arrival=arrival, found=found, settings=settings)


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
                tuned=tune(ensemble, index, step.arrival, step.found, chosen[index]),
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
    arrival = behind(ensemble, before_a, before_b)
    exits = arrival.exit_speed(ensemble.launcher, index, wheel_speed[:, None])  # (points, lanes)
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
    interval: ends of the 95 % interval of a single throw by the configuration, (n, 2) [m/s]
    last_wheel: measured speed, converted to that at the last wheel, (n,) [m/s]
    """

    throws: Throws
    side_a: Floats
    side_b: Floats
    expected: Floats
    interval: Floats
    last_wheel: Floats

    @property
    def outside(self) -> Mask:
        """Whether each measured exit speed lies outside the interval of a single throw, (n,)."""
        low, high = self.interval.T
        return np.asarray((self.throws.exit_speed < low) | (self.throws.exit_speed > high))

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


def ended_with(throws: Throws, stage: int) -> Mask:
    """Return which throws went through all stages up to `stage` (from 0) and no further, (n,)."""
    present = throws.present
    up_to = np.arange(present.shape[1]) <= stage
    return np.asarray((present == up_to).all(axis=1) & (present.sum(axis=1) == stage + 1))


def observations(scenario: Scenario, throws: Throws, stage: int, scatter: float | None = None) -> Observations:
    """Return those of `throws` that ended with `stage` (from 0), beside what the configuration expects of them.

    scatter: relative standard deviation of one throw [-]; None: that of the spreads from shot to shot, or FIRST_SCATTER
    """
    chosen = throws.chosen(ended_with(throws, stage))
    if not len(chosen):
        none = np.zeros((0, stage + 1))
        return Observations(
            throws=chosen, side_a=none, side_b=none, expected=np.zeros(0), interval=np.zeros((0, 2)),
            last_wheel=np.zeros(0),
        )  # fmt: skip
    launcher, stages = scenario.launcher, range(stage + 1)
    side_a, side_b = (chosen.surface_speed(launcher, stages, side) for side in (0, 1))
    sizes = _spreads(launcher, side_a, side_b) if scatter is None else np.full(len(chosen), scatter)
    return Observations(
        throws=chosen, side_a=side_a, side_b=side_b,
        expected=forward_model(scenario, own_law(scenario), chosen).exit_speed_of(launcher, Options()),
        interval=single_throws(scenario, chosen, sizes), last_wheel=_last_wheel(launcher, chosen),
    )  # fmt: skip


SINGLE = 10
"""Throws simulated for each draw, for the interval of a single throw."""


def single_throws(scenario: Scenario, throws: Throws, scatter: Floats) -> Floats:
    """Return the ends of the 95 % interval of a single throw at the settings of `throws`, (n, 2) [m/s]; 0: a jam.

    It covers what is not known of the launcher, by draws, and scatter: relative standard deviation of each, (n,) [-].
    """
    rng = np.random.default_rng(SEED)
    drawn = {key: values[1:] for key, values in ensemble_of(scenario).values.items()}
    speeds = np.atleast_2d(forward_model(scenario, own_law(scenario), throws).exit_speed(drawn))
    repeated = np.resize(np.arange(len(speeds)), SINGLE * DRAWS)
    single = speeds[repeated] * np.exp(scatter * rng.normal(size=(repeated.size, len(throws))))
    return np.array([interval(column) for column in single.T]).reshape(-1, 2)


def _spreads(launcher: Launcher, side_a: Floats, side_b: Floats) -> Floats:
    """Return the relative scatter of a throw at each setting (n, stages), by spreads from shot to shot [-], (n,)."""
    settings, row = np.unique(np.concatenate([side_a, side_b], axis=1), axis=0, return_inverse=True)
    sizes = []
    for setting in settings:
        found = shots(launcher, *np.split(setting, 2), rng=np.random.default_rng(SEED))
        sizes.append(FIRST_SCATTER if found is None else found.exit_speed.standard_deviation / found.exit_speed.middle)
    return np.array(sizes)[row.reshape(-1)]


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
