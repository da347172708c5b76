"""Draws of a scenario's uncertain quantities, and the launchers they make."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stager.fit.laws import FRICTION, Law, Sampled, own_law, with_friction
from stager.fit.priors import of
from stager.fit.records import Fit
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.physics.batch import take


@dataclass(frozen=True, slots=True, kw_only=True)
class Ensemble:
    """Launchers that could be the real one: lane 0 is the best guess, the others equally likely draws.

    values: SI values by key, each (lanes,), friction's own where all lanes have one law; laws: name of each lane's
    friction law; launcher: all of them, its arrays over the lanes.
    """

    scenario: Scenario
    values: Mapping[str, Floats]
    laws: tuple[str, ...]
    launcher: Launcher

    @property
    def lanes(self) -> int:
        """How many there are."""
        return len(self.laws)

    @property
    def best(self) -> Launcher:
        """The best guess alone."""
        found: Launcher = take(self.launcher, [0])
        return found


def of_law(scenario: Scenario, law: Law, values: Mapping[str, Floats]) -> Ensemble:
    """Return launchers that all have `law`, for SI values by key, each (lanes,)."""
    lanes = next((value.size for value in values.values()), 1)
    return Ensemble(
        scenario=scenario, values=values, laws=(law.name,) * lanes, launcher=law.launcher(scenario, values)
    )  # fmt: skip


def after(fit: Fit, rng: np.random.Generator, count: int) -> Ensemble:
    """Return `count` draws after a fit, of each friction law that is likely as many as it weighs."""
    shares = rng.multinomial(count, list(fit.weights.values()))
    parts: list[tuple[Law, dict[str, Floats]]] = []
    for (law, posterior), share in zip(fit.posteriors.values(), shares, strict=True):
        parts.append((law, posterior.even(rng, int(share))))
    first, drawn = parts[0]
    parts[0] = first, {key: np.concatenate([[fit.best[key]], values]) for key, values in drawn.items()}
    if len(parts) == 1:
        # Without any uncertainty there is nothing to be drawn, and yet so many lanes.
        given = parts[0][1]
        return of_law(fit.scenario, first, given) if given else _alike(fit.scenario, first, count + 1)
    frictions = [law.launcher(fit.scenario, values).contact.friction for law, values in parts]
    lanes = [int(share) + (number == 0) for number, share in enumerate(shares)]
    shared = [key for key in parts[0][1] if not key.startswith(FRICTION)]
    known = {key: np.concatenate([values[key] for _, values in parts]) for key in shared}
    launcher = with_friction(fit.scenario.realise(known), Sampled.of(frictions, lanes))
    # Draws of one law would else stand beside each other.
    order = np.concatenate([[0], 1 + rng.permutation(count)])
    names = np.repeat([law.name for law, _ in parts], lanes)[order]
    return Ensemble(
        scenario=fit.scenario, values={key: value[order] for key, value in known.items()},
        laws=tuple(names.tolist()), launcher=take(launcher, order),
    )  # fmt: skip


def _alike(scenario: Scenario, law: Law, lanes: int) -> Ensemble:
    return Ensemble(scenario=scenario, values={}, laws=(law.name,) * lanes, launcher=law.launcher(scenario, {}))


def before(scenario: Scenario, rng: np.random.Generator, count: int) -> Ensemble:
    """`count` draws of what a configuration says: those that a fit has left, else its own uncertainties."""
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
    size = next(iter((scenario.draws or {}).values())).size
    return np.resize(np.arange(size), count)
