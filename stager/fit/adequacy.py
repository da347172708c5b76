"""Whether the model fits the throws: what does not, repeatability, and predictions of later stages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stager.fit.drift import bend_columns, tangent_columns
from stager.fit.friction_laws import DRIFT
from stager.fit.likelihood import forward_model
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.posterior import posterior
from stager.fit.priors import of, values
from stager.fit.records import Check, Misfit, Repeats
from stager.fit.statistics.hypothesis_tests import groups, holm, runs, structure
from stager.fit.statistics.importance_sampling import quantile
from stager.fit.table.throws import Throws, clock
from stager.model.arrays import Floats
from stager.model.scenario import Scenario

LEVEL = 0.02
"""Chance that a fit of the right model is called a misfit, all tests together."""

LARGE = 0.06
"""Scatter of one throw [-] that no launcher is expected to have; an assumption."""

GRIPS = 5.0
"""Friction is raised by this factor to find the fastest throw that a launcher could make."""

FASTEST_DRAWS = 200
MANY_WILD = 0.2
"""Share of outliers that is no accident [-]; an assumption."""

TWICE = 2
AGREE = 3.0
"""Outliers at one setting agree where they lie within so many scatters of each other [-]."""

ENOUGH_REPEATS = 4
"""Degrees of freedom of repeats that a test against them needs."""

ENOUGH_EARLIER = 6
"""Throws with fewer stages that a prediction of later ones needs."""

DRAWS = 200


def misfits(
    throws: Throws, found: BestFit, repeated: Repeats | None, rng: np.random.Generator
) -> tuple[Misfit, ...]:
    """Return what speaks against the fit, contradictions first.

    Parameters
    ----------
    throws : Throws
        Those that were fitted, without jams.
    found : BestFit
    repeated : Repeats or None
        Repeatability, where settings were repeated.
    rng : Generator

    Returns
    -------
    tuple of Misfit
        Empty where the model describes the throws.
    """
    said = [
        *_too_fast(throws, found, rng), *_too_wide(found, repeated), *_too_many_wild(found),
        *_outliers_that_agree(throws, found),
    ]  # fmt: skip
    tests = [one for one in _tests(throws, found, repeated, rng) if one.probability < 1]
    adjusted = holm([one.probability for one in tests])
    return (
        *said,
        *(replace(one, probability=p) for one, p in zip(tests, adjusted, strict=True) if p < LEVEL),
    )


def _tests(
    throws: Throws, found: BestFit, repeated: Repeats | None, rng: np.random.Generator
) -> list[Misfit]:
    """Return every test that can be made, with its own p value."""
    good = found.outlier_probability < 0.5
    left, tangents = found.residuals[good], tangent_columns(found)[good]
    fitted = np.log(throws.exit_speed[good]) - left
    order = clock(throws)[1][good]
    along = np.argsort(fitted, kind="stable")
    kinds, _ = groups(left, rng)
    found_tests = [
        Misfit(
            kind="speed", words="the error of the fit changes with wheel speed",
            probability=structure(left, bend_columns(found)[good], tangents),
        ),
        Misfit(
            kind="speed", words="throws at similar wheel speeds err in the same direction",
            probability=runs(left[along], tangents[along], rng),
        ),
        Misfit(
            kind="order", words="exit speed drifts from throw to throw",
            probability=structure(left, _centred(order)[:, None], tangents),
        ),
        Misfit(kind="kinds", words="throws fall into two groups", probability=kinds),
        Misfit(kind="prior", words=_contradicted(found), probability=_surprise(found)),
    ]  # fmt: skip
    builds = np.unique(throws.build[good])
    if builds.size > 1:
        columns = np.equal.outer(throws.build[good], builds).astype(np.float64)
        words = "builds that were fitted as one differ"
        found_tests.append(Misfit(kind="build", words=words, probability=structure(left, columns, tangents)))
    if repeated is not None and repeated.lack_of_fit is not None:
        words = "settings are farther from the fit than repeats scatter"
        found_tests.append(Misfit(kind="speed", words=words, probability=repeated.lack_of_fit))
    return found_tests


def _centred(values: Floats) -> Floats:
    spread = float(np.ptp(values))
    return (values - values.mean()) / spread if spread else np.zeros_like(values)


def _surprise(found: BestFit) -> float:
    """Return the p value of how far the best fit lies from what was thought before."""
    from scipy.special import chdtrc, ndtr

    if not found.priors:
        return 1.0
    whole = float(chdtrc(len(found.priors), float((found.normal**2).sum())))
    # One parameter far off must not drown among many that are where they should be.
    single = min(1.0, 2 * len(found.priors) * float(ndtr(-np.abs(found.normal).max())))
    return min(1.0, 2 * min(whole, single))


def _contradicted(found: BestFit) -> str:
    far = np.abs(found.normal)
    least = 0.7 * float(far.max(initial=0.0))
    keys = [prior.key for prior, z in zip(found.priors, far, strict=True) if z >= least]
    what = ", ".join("friction that stays about the same" if key == DRIFT else key for key in keys)
    return f"the throws contradict {what}"


def _too_wide(found: BestFit, repeated: Repeats | None) -> list[Misfit]:
    """Return scatter that is no launcher's, unless repeats show that it is this one's."""
    shown = repeated is not None and repeated.freedom >= ENOUGH_REPEATS and repeated.deviation > found.scatter / 2
    if found.scatter <= max(LARGE, 3 * found.noise.typical) or shown:
        return []
    return [Misfit(kind="scatter", words=f"throws scatter by {100 * found.scatter:.0f} % about the fit")]


def _too_many_wild(found: BestFit) -> list[Misfit]:
    """Return outliers that are too many to be accidents."""
    wild = int((found.outlier_probability > 0.5).sum())
    if wild < MANY_WILD * found.count or wild < 2 * TWICE:
        return []
    return [Misfit(kind="kinds", words=f"{wild} of {found.count} throws do not agree with the others")]


def _outliers_that_agree(throws: Throws, found: BestFit) -> list[Misfit]:
    """Return settings all of whose throws, two or more, are outliers and agree with each other: no accidents."""
    wild = found.outlier_probability > 0.5
    near = AGREE * max(min(found.scatter, found.noise.typical), found.noise.least)
    seen = []
    for setting in np.unique(throws.settings):
        here = throws.settings == setting
        if here.sum() >= TWICE and wild[here].all() and np.ptp(found.residuals[here]) < near:
            seen.append(float(np.median(throws.exit_speed[here])))
    if not seen:
        return []
    words = f"all throws at {', '.join(f'{one:.1f}' for one in seen)} m/s are far from the fit but agree"
    return [Misfit(kind="speed", words=words)]


def _too_fast(throws: Throws, found: BestFit, rng: np.random.Generator) -> list[Misfit]:
    """Return throws that are faster than any launcher of the configuration, however well it grips."""
    scenario = found.model.scenario
    priors = tuple(of(item) for item in scenario.uncertain)
    drawn = values(priors, rng.normal(size=(FASTEST_DRAWS, len(priors))))
    launcher = scenario.realise({key: value[:, None] for key, value in drawn.items()})
    contact = launcher.contact
    gripping = replace(
        contact, friction=contact.friction.scaled(GRIPS), rail_friction=contact.rail_friction.scaled(GRIPS)
    )
    most = found.model.exit_speed_of(replace(launcher, contact=gripping))[..., : found.count]
    most = np.broadcast_to(most, (most.shape[0], found.count)).max(axis=0)
    room = 1 + 3 * min(found.scatter, found.noise.typical)
    beyond = (most > 0) & (throws.exit_speed > room * most)
    if beyond.sum() < max(TWICE, found.count // 10):
        return []
    share = float(np.max(throws.exit_speed[beyond] / most[beyond])) - 1
    words = f"{int(beyond.sum())} throws are faster than these wheels can throw, by up to {100 * share:.0f} %"
    return [Misfit(kind="fast", words=words)]


def repeats(throws: Throws, found: BestFit) -> Repeats | None:
    """Relative standard deviation of throws at one setting; None without repeats. Likely outliers are left out here.

    lack_of_fit: F test of what the fit leaves between settings against it.
    """
    good = found.outlier_probability < 0.5
    logs, setting, left = np.log(throws.exit_speed[good]), throws.settings[good], found.residuals[good]
    within, freedom = _within(logs, setting)
    if freedom < 1:
        return None
    deviation = float(np.sqrt(within / freedom))
    settings = np.unique(setting).size
    between = float((left**2).sum()) - _within(left, setting)[0]
    spare = settings - found.spent
    if freedom < ENOUGH_REPEATS or spare < 1 or deviation == 0:
        return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=None)
    from scipy.special import fdtrc

    ratio = between / spare / deviation**2
    return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=float(fdtrc(spare, freedom, max(ratio, 0.0))))


def _within(values: Floats, setting: np.ndarray[tuple[int, ...], np.dtype[np.intp]]) -> tuple[float, int]:
    """Sum of squares about the settings' means, and its degrees of freedom."""
    names, which, counts = np.unique(setting, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=values, minlength=names.size) / counts
    return float(((values - means[which]) ** 2).sum()), int(values.size - names.size)


def checks(scenario: Scenario, throws: Throws, found: BestFit, rng: np.random.Generator) -> tuple[Check, ...]:
    """For each stage count behind the first: its throws predicted from all with fewer stages."""
    count = throws.present.sum(axis=1)
    return tuple(
        _check(scenario, throws.chosen(count < stages), throws.chosen(count == stages), found, int(stages), rng)
        for stages in np.unique(count)
        if (count < stages).sum() >= ENOUGH_EARLIER
    )


def _check(
    scenario: Scenario, before: Throws, after: Throws, found: BestFit, stages: int, rng: np.random.Generator
) -> Check:
    earlier = best_fit(scenario, found.law, before, found.noise, rng)
    drawn, _ = posterior(earlier, rng)
    draws = drawn.even(rng, DRAWS)
    speeds = forward_model(scenario, found.law, after).exit_speed(draws)
    single = speeds * np.exp(earlier.scatter * rng.normal(size=speeds.shape))
    shares = np.array([0.025, 0.5, 0.975])
    low, _, high = quantile(single, np.full(DRAWS, 1 / DRAWS), shares)
    middle = quantile(speeds, np.full(DRAWS, 1 / DRAWS), shares)[1]
    return Check(stages=stages, measured=after.exit_speed, predicted=middle, low=low, high=high)
