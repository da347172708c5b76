"""Build an ensemble of launchers that represents the uncertainty, with grip limits and settings of its stages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.constraints.recommend import Recommended
from stager.fit.friction_laws import FRICTION, Law, Sampled, own_law, with_friction
from stager.fit.priors import of
from stager.fit.records import Fit
from stager.fit.statistics.importance_sampling import interval
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.physics.batch import take
from stager.physics.chain import SURE, throw, transit


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


def of_law(scenario: Scenario, law: Law, values: Mapping[str, Floats]) -> Ensemble:
    """Return the ensemble of launchers with `law` at SI values by key, each (lanes,)."""
    lanes = next((value.size for value in values.values()), 1)
    return Ensemble(
        scenario=scenario, values=values, laws=(law.name,) * lanes, launcher=law.launcher(scenario, values)
    )  # fmt: skip


def after(fit: Fit, rng: np.random.Generator, count: int) -> Ensemble:
    """Return the best fit and `count` draws from the posterior, averaged over friction laws by their weights."""
    shares = rng.multinomial(count, list(fit.weights.values()))
    parts: list[tuple[Law, dict[str, Floats]]] = []
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


def _alike(scenario: Scenario, law: Law, lanes: int) -> Ensemble:
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

    def __call__(self, launcher: Launcher, index: int, entry_speed: Floats, entry_spin: Floats) -> GripLimits:
        """Return grip limits of stage `index` (from 0) at `entry_speed` [m/s] and `entry_spin` [rad/s], (lanes,)."""
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


def tune(
    ensemble: Ensemble, index: int, entry_speed: Floats, entry_spin: Floats, found: GripLimits, chosen: Recommended
) -> Tuned:
    """Return grip limits `found` of stage `index` (from 0) and its recommended setting `chosen` over an ensemble.

    Entries [m/s], [rad/s], all (lanes,).
    """
    launcher = ensemble.launcher
    known, limit = ~np.isnan(found.wheel_speed), limits(found)
    grid = limit[0] * GRID_RATIOS
    exits = transit(
        launcher, index, entry_speed, grid[:, None], entry_spin=entry_spin, options=SURE
    ).exit_speed  # (settings, lanes)
    # Draws that jam are counted as jams, not as a loss of speed.
    share = np.where(exits[:, 1:] > 0, exits[:, 1:] / np.maximum(found.peak_exit[1:], 1e-9), np.nan)
    mean = np.array([np.nanmean(row) if np.isfinite(row).any() else np.nan for row in share])
    lost = np.interp(limit[0] * np.array([1 - DETUNING, 1 + DETUNING]), grid, 1 - mean)
    leaves, jams = _exits_at(ensemble, index, entry_speed, entry_spin, chosen)
    return Tuned(
        stage=index + 1, grip_limit=limit_span(found),
        exit_speed=span_of(np.where(known, found.exit_speed, found.peak_exit)), recommended=chosen,
        recommended_exit=leaves, jams=jams, short=float(lost[0]), over=float(lost[1]),
    )  # fmt: skip


def _exits_at(
    ensemble: Ensemble, index: int, entry_speed: Floats, entry_spin: Floats, chosen: Recommended
) -> tuple[Span, float]:  # fmt: skip
    """Return the exit speed at the recommended setting over draws that do not jam [m/s], and the share that jam [-]."""
    if chosen.wheel_speed is None:
        return Span(nominal=np.nan, low=np.nan, high=np.nan), np.nan
    setting = np.full(ensemble.lanes, chosen.wheel_speed)
    exits = transit(ensemble.launcher, index, entry_speed, setting, entry_spin=entry_spin, options=SURE).exit_speed
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
    speed, spin = behind(ensemble, before_a, before_b)
    found = find(ensemble.launcher, index, speed, spin)
    if speed[0] <= 0 or found.peak_exit[0] <= 0:
        return None
    return tune(ensemble, index, speed, spin, found, chosen)


def feed(ensemble: Ensemble) -> tuple[Floats, Floats]:
    """Return speed [m/s] and spin [rad/s] at entry to the first stage, (lanes,)."""
    fed = ensemble.launcher.feed
    speed, spin = (np.asarray(value, dtype=np.float64) for value in (fed.speed, fed.spin))
    return np.broadcast_to(speed, (ensemble.lanes,)), np.broadcast_to(spin, (ensemble.lanes,))


def at(ensemble: Ensemble, wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> tuple[Floats, Floats]:
    """Return exit speed [m/s] and spin [rad/s], (lanes,), at wheel speeds (stages,) or (lanes, stages) [m/s].

    wheel_speed_b: of side B; None: as side A.
    """
    shape = (ensemble.lanes, np.shape(wheel_speed)[-1])
    speeds_b = None if wheel_speed_b is None else np.broadcast_to(wheel_speed_b, shape)
    done = throw(ensemble.launcher, np.broadcast_to(wheel_speed, shape), speeds_b, options=SURE)
    return done.exit_speed, done.spin


def behind(ensemble: Ensemble, before_a: Floats, before_b: Floats) -> tuple[Floats, Floats]:
    """Return speed [m/s] and spin [rad/s] behind wheels at speeds (stages,) [m/s]; without any wheel, the feed's."""
    return at(ensemble, before_a, before_b) if np.size(before_a) else feed(ensemble)
