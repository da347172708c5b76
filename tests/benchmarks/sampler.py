"""The fit's sampling against emcee, and calibrated by simulation.

`python -m tests.benchmarks.sampler KIND [count] [seed]`, with one of two kinds.

`emcee`: posterior standard deviations of one bench of each scenario by importance sampling and by the ensemble sampler
of Goodman and Weare (2010), from the same density. `calibration`: truths and scatter are drawn from what the fit takes
for granted, thrown and fitted; the ranks of the truths among posterior draws are then uniform (Talts et al. 2018,
Validating Bayesian inference algorithms with simulation-based calibration; from memory), tested by χ² in bins.
Tables are Markdown.
"""

from __future__ import annotations

import sys
from collections import defaultdict

import numpy as np
from scipy.stats import chisquare

from stager.fit.fitting import fit
from stager.fit.likelihood import SHARE_WEIGHTS, SHARES, WILD
from stager.fit.posterior import Fit, posterior
from stager.fit.priors import bend, own_law, values
from stager.fit.statistics.importance_sampling import ENOUGH
from stager.fit.table import Throws
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import throw
from tests.recovery.bench import draw_truth, scenario, settings, table

NAMES = ("seed_ball", "table_tennis", "constant_pair")
THROWS = 24
SCATTER = (0.006, 0.025)
"""Least and greatest scatter, drawn uniformly in the logarithm [-]."""
WALKERS, STEPS, WARMING = 48, 8000, 2000
DRAWS = 10
"""Effective draws by importance sampling, over those of a fit, so that their own scatter of 2 % does not count [-]."""
RANKS, BINS = 99, 10
"""Posterior draws that a truth is ranked among, and bins of the ranks."""
REJECTED = 0.01
"""Significance below which ranks count as not uniform."""


def simulated(given: Scenario, rng: np.random.Generator) -> tuple[dict[str, float], Throws]:
    """Return a truth and throws with it, with scatter and outliers as the likelihood has them."""
    speeds = settings(given, THROWS, rng)
    while True:
        truth = draw_truth(given, rng)
        exact = throw(own_law(given).launcher(given, truth), speeds).exit_speed
        if (exact > 0).all():
            break
    scatter = float(np.exp(rng.uniform(*np.log(SCATTER))))
    wild = rng.random(THROWS) < rng.choice(SHARES, p=SHARE_WEIGHTS)
    error = scatter * np.where(wild, WILD, 1.0) * rng.normal(size=THROWS)
    return truth, table(speeds, exact * np.exp(error))


def fitted(given: Scenario, throws: Throws, rng: np.random.Generator) -> Fit:
    """Fit with the configured friction law."""
    return fit(given, throws, rng, other_laws=False, words=False)


def by_ensemble(done: Fit, rng: np.random.Generator) -> dict[str, Floats]:
    """Return draws of the parameters that the throws depend on, by emcee; SI values by key, (draws,)."""
    import emcee

    found = done.found
    turn = bend(found.priors)

    def log_density(y: Floats) -> Floats:
        density = np.log(turn(y)[1]).sum(axis=-1) - found.problem.objective(y)
        return np.nan_to_num(np.asarray(density), nan=-np.inf)

    size = len(found.priors)
    start = found.place + rng.multivariate_normal(np.zeros(size), np.linalg.inv(found.curvature), WALKERS)
    sampler = emcee.EnsembleSampler(WALKERS, size, log_density, vectorize=True)
    sampler.random_state = np.random.RandomState(int(rng.integers(2**31))).get_state()
    sampler.run_mcmc(start, STEPS)
    chain = sampler.get_chain(discard=WARMING, flat=True)
    return values(found.priors, turn(chain)[0])


def against_ensemble(seed: int) -> None:
    """Print standard deviations by both samplers, one row a parameter."""
    print("| scenario | parameter | importance sampling | emcee | ratio |\n|---|---|---|---|---|")
    for number, name in enumerate(NAMES):
        rng = np.random.default_rng([seed, number])
        given = scenario(name)
        done = fitted(given, simulated(given, rng)[1], rng)
        drawn, _ = posterior(done.found, rng, enough=DRAWS * ENOUGH)
        other = by_ensemble(done, rng)
        for key, draws in other.items():
            weights, ours = drawn.weights, drawn.values[key]
            middle = np.average(ours, weights=weights)
            spread, theirs = np.sqrt(np.average((ours - middle) ** 2, weights=weights)), draws.std()
            print(f"| {name} | {key} | {spread:.4g} | {theirs:.4g} | {spread / theirs:.3f} |", flush=True)


def calibration(count: int, seed: int) -> None:
    """Print the p value of uniform ranks, one row a parameter."""
    print("| scenario | parameter | fits | χ² p |\n|---|---|---|---|")
    rejected = []
    for number, name in enumerate(NAMES):
        given, ranks = scenario(name), defaultdict[str, list[int]](list)
        for k in range(count):
            rng = np.random.default_rng([seed, number, k])
            truth, throws = simulated(given, rng)
            drawn = fitted(given, throws, rng).posterior.even(rng, RANKS)
            for key in truth:
                ranks[key].append(int((drawn[key] < truth[key]).sum()))
        for key, found in ranks.items():
            p = chisquare(np.histogram(found, bins=BINS, range=(0, RANKS + 1))[0]).pvalue
            rejected += [f"{name} {key}"] if p < REJECTED else []
            print(f"| {name} | {key} | {count} | {p:.3f} |", flush=True)
    print(f"\nRejected at {100 * REJECTED:.0f} %: {', '.join(rejected) or 'none'}.")


def main(kind: str, count: int = 200, seed: int = 1) -> None:
    """Run one of the two studies."""
    if kind == "emcee":
        against_ensemble(seed)
    else:
        calibration(count, seed)


if __name__ == "__main__":
    main(sys.argv[1], *(int(text) for text in sys.argv[2:4]))
