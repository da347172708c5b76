"""Simulated measuring sessions: a launcher drawn from the uncertainties, throws with scatter, a fit and its scores."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from stager.config import load
from stager.fit.fitting import fit
from stager.fit.posterior import Fit
from stager.fit.prediction import Ensemble, Span, after, at, chain, finder, known_of, of_law, predict, recommended_chain
from stager.fit.priors import candidates, of, own_law, values
from stager.fit.table.throws import SURFACE, Throws, Wheels
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.physics.chain import throw
from stager.physics.grip_limit import arrive
from stager.physics.records import take
from tests.oracle import throw as oracle

ROOT = Path(__file__).parents[2]
FOLDERS = (ROOT / "configs", Path(__file__).parent / "scenarios")
NAMES = ("seed_ball", "table_tennis", "streamer", "constant_pair", "bell_pair", "stiff_pair", "foam_disc")
KINDS = (*NAMES, "tabulated_disc", "hollow_rail")
"""Scenarios of the study of predictions: NAMES and two more."""

EVERY = (
    "seed_ball", "rising_idler", "foam_disc", "bell_pair", "streamer", "bell_idler", "hollow_rail", "tabulated_disc"
)  # fmt: skip
"""Pair, rail and idler with every law of friction, for benches that another engine throws."""

Thrower = Callable[[Launcher, Floats], Floats]
"""From a launcher and wheel speeds (n, stages) to exit speeds (n,), both [m/s]."""


def by_engine(launcher: Launcher, speeds: Floats) -> Floats:
    """Throw by the program itself."""
    return throw(launcher, speeds).exit_speed


def by_oracle(launcher: Launcher, speeds: Floats) -> Floats:
    """Throw by the tests' own equations, which share no code with the program."""
    distinct, which = np.unique(speeds, axis=0, return_inverse=True)
    exits = [oracle.throw(launcher, [float(one) for one in row], tolerance=1e-6).exit_speed for row in distinct]
    return np.array(exits)[which.reshape(-1)]


DRAWS, FEW = 200, 61


@lru_cache
def scenario(name: str) -> Scenario:
    """Return a shipped scenario or one of this folder."""
    return load(next(folder / f"{name}.toml" for folder in FOLDERS if (folder / f"{name}.toml").exists())).scenario()


def table(wheel_speed: Floats, exit_speed: Floats, build: list[str] | None = None) -> Throws:
    """Return throws at surface speeds (n, stages) [m/s] with exit speeds (n,) [m/s]."""
    count = exit_speed.size
    unknown = np.full(count, np.nan)
    return Throws(
        line=np.arange(2, count + 2), order=np.arange(1.0, count + 1), build=np.array(build or [""] * count),
        exit_speed=exit_speed, supply=unknown, time=unknown, temperature=unknown, note=np.array([""] * count),
        wheels=tuple(
            Wheels(stage=k, side=0, reading=SURFACE, values=wheel_speed[:, k]) for k in range(wheel_speed.shape[1])
        ),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How a bench is measured: relative scatter, number of throws, share of outliers; whether in a random order that
    the table tells."""

    noise: float
    throws: int
    outliers: float
    shuffled: bool = False


def draw_plan(rng: np.random.Generator) -> Plan:
    """Draw a plan: 0.5–3 % scatter, 12–60 throws, 5 % outliers in every second plan."""
    noise, throws = float(rng.uniform(0.005, 0.03)), int(rng.integers(12, 61))
    return Plan(noise=noise, throws=throws, outliers=0.05 * int(rng.integers(2)))


@lru_cache
def _expected_limit(title: str) -> float:
    """Return the nominal grip limit of the first stage [m/s] of the scenario with this title."""
    given = next(one for one in map(scenario, {*KINDS, *EVERY}) if one.title == title)
    limit, peak = _grip_limit(given, given.launcher)
    return peak if np.isnan(limit) else limit


def _grip_limit(given: Scenario, launcher: Launcher) -> tuple[float, float]:
    """Return the first stage's grip limit, NaN where there is none, and the setting of the greatest speed [m/s]."""
    found = finder(given)(launcher, 0, arrive(launcher, np.zeros(0), np.zeros(0), 0.0))
    return float(found.wheel_speed[0]), float(found.peak_speed[0])


def settings(given: Scenario, count: int, rng: np.random.Generator) -> Floats:
    """Return wheel speeds of the first stage [m/s] across the nominal grip limit, shape (count, 1)."""
    limit = _expected_limit(given.title)
    distinct = np.linspace(0.5, 1.7, max(6, count // int(rng.integers(2, 5)))) * limit
    return np.sort(np.resize(distinct, count))[:, None]


def measure(
    given: Scenario, truth: Launcher, speeds: Floats, plan: Plan, rng: np.random.Generator, thrown: Thrower = by_engine
) -> Throws:
    """Simulate throws at `speeds` (n, stages) [m/s]; outliers deviate by 5 to 20 times the scatter."""
    speeds = rng.permutation(speeds) if plan.shuffled else speeds
    exact = thrown(truth, speeds)
    error = plan.noise * rng.normal(size=exact.size)
    wild = rng.random(exact.size) < plan.outliers
    error = np.where(wild, plan.noise * rng.choice([-1, 1], exact.size) * rng.uniform(5, 20, exact.size), error)
    return replace(table(speeds, np.maximum(exact * (1 + error), 0.0)), numbered=plan.shuffled)


def draw_truth(given: Scenario, rng: np.random.Generator) -> dict[str, float]:
    """Draw a launcher from the uncertainties; return SI values by key."""
    priors = tuple(of(item) for item in given.uncertain)
    return {key: float(value) for key, value in values(priors, rng.normal(size=len(priors))).items()}


@dataclass(frozen=True, kw_only=True)
class Score:
    """Score of an estimate: name, coverage by its 95 % interval, relative width and error [-]."""

    name: str
    inside: bool
    width: float
    error: float


def recover(
    given: Scenario, plan: Plan, rng: np.random.Generator, thrown: Thrower = by_engine
) -> tuple[Fit, list[Score]]:
    """Draw, measure and fit; score identified parameters, the grip limit and the second stage's exit speed."""
    speeds = settings(given, plan.throws, rng)
    truth, real = working(given, speeds, rng)
    done = fit(given, measure(given, real, speeds, plan, rng, thrown), rng, words=False)
    scores = list(_parameters(given, done, truth)) if done.keeps_law else []
    ensemble = after(done, rng, DRAWS)
    first, *more = predict(ensemble, 2, finder(given), recommended_chain(_few(known_of(done)), 2), built=1)
    limit = first.tuned.grip_limit
    if limit is not None and not np.isnan(true := _grip_limit(given, real)[0]):
        scores.append(_score("grip limit", true, limit))
    for second in more:  # None where no wheel speed of a second stage is within the limits.
        exact = float(thrown(real, second.wheel_speed[None])[0])
        scores.append(_score("second stage as set", exact, second.exit_speed))
        scores.append(_score("second stage at its best", _best_exit_speed(given, truth), second.tuned_exit))
    return done, scores


def _few(known: Ensemble) -> Ensemble:
    """Return the first draws only, which are enough to choose a setting."""
    lanes = np.arange(min(FEW, known.lanes))
    values = {key: value[lanes] for key, value in known.values.items()}
    return replace(known, launcher=take(known.launcher, lanes), laws=known.laws[: lanes.size], values=values)


def working(given: Scenario, speeds: Floats, rng: np.random.Generator) -> tuple[dict[str, float], Launcher]:
    """Draw a launcher that throws without a jam at more than a third of the settings."""
    while True:
        truth = draw_truth(given, rng)
        real = own_law(given).launcher(given, truth)
        if (throw(real, speeds).exit_speed > 0).mean() > 1 / 3:
            return truth, real


def _best_exit_speed(given: Scenario, truth: dict[str, float]) -> float:
    """Return the exit speed [m/s] of the true launcher with both stages at their grip limits less the margin."""
    known = {key: np.array([value]) for key, value in truth.items()}
    real = of_law(given, own_law(given), known)
    settings = np.zeros((1, 0))
    for stage in chain(real, 2, finder(given)):
        settings = stage.settings
    return float(at(real, settings)[0][0])


def _parameters(given: Scenario, done: Fit, truth: dict[str, float]) -> Iterator[Score]:
    truth = {**given.values, **truth}
    level = candidates(given)[0].level
    if level:
        truth["traction"] = truth["contact.stiffness"] * truth[level] / truth["projectile.mass"]
    for parameter in done.parameters:
        if parameter.identified:
            span = Span(nominal=parameter.value, low=parameter.interval[0], high=parameter.interval[1])
            yield _score(parameter.key.removeprefix("contact."), truth[parameter.key], span)


def _score(name: str, truth: float, span: Span) -> Score:
    # If truth and estimate both jam, width and error are not relative but in m/s.
    size = abs(truth) or abs(span.nominal) or 1.0
    inside = span.low <= truth <= span.high
    return Score(name=name, inside=inside, width=(span.high - span.low) / size, error=(span.nominal - truth) / size)
