"""Test whether the model fits the throws, and find what they cannot determine.

What they cannot determine are perturbations without effect, and pairs with nearly collinear effects. Tests are of
residuals, repeatability and predictions of later stages.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.compare import bend_columns, difference_by_settings, tangent_columns
from stager.fit.explanations import PERTURBATIONS, TYPICAL, Perturbation
from stager.fit.likelihood import alike, expected_scatter, forward_model, noise_of
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.posterior import Check, Misfit, Repeats, posterior
from stager.fit.priors import DRIFT, of, values
from stager.fit.statistics.hypothesis_tests import (
    LEAST_UNCERTAINTY,
    exact_test,
    holm,
    pattern_test,
    serial_correlation_test,
    solve_with,
    two_groups_test,
)
from stager.fit.statistics.importance_sampling import quantile
from stager.fit.table.throws import Throws, Wheels, moments
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from stager.physics.chain import throw
from stager.physics.records import Grip

SEEN = 3.0
"""Strength from which a perturbation is visible in the data [standard deviations]."""
UNSEEN = 1.0
"""Strength below which it is hardly visible: its uncertainty shrinks by less than a third [standard deviations]."""
DISTINCT = 2.0
"""Strength, beside another perturbation, from which the two can be told apart [standard deviations]."""

PAIRS = (
    ("stiffness", "friction", 0, "only stiffness × friction / mass shows"),
    ("growth", "fade", 1, "both bend the traction as wheels turn faster"),
    ("rebound", "feed", 1, "both shift the square of the exit speed by a constant"),
    ("rebound", "outlet", 1, "both shift the square of the exit speed by a constant"),
    ("feed", "outlet", 1, "both shift the square of the exit speed by a constant"),
    ("radius", "tachometer", 1, "both scale how fast the wheel's surface goes"),
    ("tachometer", "chronograph", 2, "both scale exit speed by wheel speed"),
    ("radius", "chronograph", 2, "both scale exit speed by wheel speed"),
    ("exponent", "stiffness", 1, "at a single crush only the force itself shows"),
    ("crush", "friction", 2, "all scale what a slipping contact gives"),
    ("mass", "friction", 2, "all scale what a slipping contact gives"),
    ("crush", "stiffness", 2, "both scale the force between wheel and projectile"),
    ("mass", "crush", 2, "all scale what a slipping contact gives"),
)
"""Pairs of perturbations: both names, how many must be uncertain for the pair to matter, and why they look alike."""

SINGLES = (
    "friction",
    "fade",
    "sliding",
    "rail",
    "creep",
    "feed",
    "outlet",
    "growth",
    "radius",
    "tachometer",
    "chronograph",
)
"""Perturbations that are reported where they are invisible."""
STIFFENING = "contact.stiffening"
"""Key of a rise of stiffness with wheel speed, which throws hardly tell from friction."""
ALL_GRIPPED = (
    "All throws gripped: they left about as fast as their wheels, so nothing here tells the sliding friction."
    " Wheels beyond the grip limit would, as far as the limits allow them."
)
"""Sentence on throws that tell nothing of what limits a wheel's speed."""
IN_SLIP = ("friction", "fade", "sliding")
"""Those of them that matter in slip only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """Effect of one perturbation on the throws.

    perturbation: the quantity that is changed
    size: relative change [-]
    effect: change of ln exit speed, over the scatter of one throw, (n,) [-]
    known: whether the configuration states no uncertainty of it
    """

    perturbation: Perturbation
    size: float
    effect: Floats
    known: bool

    @property
    def strength(self) -> float:
        """Length of the effect [standard deviations]: how clearly all throws together show it."""
        return float(np.sqrt((self.effect**2).sum()))

    def beside(self, other: Shift) -> float:
        """Return the length of the effect's component orthogonal to that of `other` [standard deviations]."""
        if other.strength == 0:
            return self.strength
        direction = other.effect / other.strength
        return float(np.sqrt(((self.effect - direction * (direction @ self.effect)) ** 2).sum()))


def shifts(found: BestFit) -> dict[str, Shift]:
    """Return the effects of all perturbations that the launcher has at the best fit, by name; one call of the model."""
    scenario = found.model.scenario
    launcher = found.law.launcher(scenario, {key: np.asarray(value) for key, value in found.values.items()})
    perturbations = [perturbation for perturbation in PERTURBATIONS if perturbation.there(launcher)]
    sizes = [_shift_size(found, perturbation) for perturbation in perturbations]
    for row, (perturbation, (size, _)) in enumerate(zip(perturbations, sizes, strict=True)):
        factor = np.ones((len(perturbations) + 1, 1))
        factor[row] += size
        launcher = perturbation.change(launcher, factor)
    logs = np.log(np.maximum(found.model.exit_speed_of(launcher)[:, : found.count], 1e-3))
    effects = (logs[:-1] - logs[-1]) / found.scatter
    return {
        perturbation.name: Shift(perturbation=perturbation, size=size, effect=effect, known=known)
        for perturbation, (size, known), effect in zip(perturbations, sizes, effects, strict=True)
    }


def _shift_size(found: BestFit, perturbation: Perturbation) -> tuple[float, bool]:
    """Return the relative change to try, a prior's standard deviation or TYPICAL, and whether there is no prior."""
    for prior in (*found.priors, *found.idle):
        if prior.key in perturbation.keys:
            low, middle, high = (float(prior.value(np.array(z))) for z in (-1.0, 0.0, 1.0))
            return max((high - low) / 2 / abs(middle), 0.01) if middle else TYPICAL, False
    return TYPICAL, True


def undetermined(found: BestFit) -> tuple[str, ...]:
    """Return sentences on what the throws cannot determine."""
    gripped = all_gripped(found)
    said = [ALL_GRIPPED] if gripped else []
    moved = shifts(found)
    free = {name for name, shift in moved.items() if not shift.known}
    unseen = [
        moved[name].perturbation.words
        for name in SINGLES
        if name in free and not (gripped and name in IN_SLIP) and moved[name].strength < UNSEEN
    ]
    if unseen:
        rests = "it rests on the configured value" if len(unseen) == 1 else "they rest on the configured values"
        said.append(f"The throws say hardly anything about the {_joined(unseen)}: {rests}.")
    given = found.model.scenario
    if not given.values.get(STIFFENING) and all(item.key != STIFFENING for item in given.uncertain):
        said.append(
            "That the contact is as stiff at all wheel speeds is assumed. Where tyre or projectile is soft, later"
            f' stages may be faster than foretold: give {STIFFENING} a ±, for example "0 s/m ± 0.0075 s/m".'
        )
    alike: dict[str, dict[str, Shift]] = {}
    for one, other, least, why in PAIRS:
        if one not in moved or other not in moved or len({one, other} & free) < least:
            continue
        a, b = moved[one], moved[other]
        if min(a.strength, b.strength) > SEEN and min(a.beside(b), b.beside(a)) < DISTINCT:
            alike.setdefault(why, {}).update({one: a, other: b})
    return (*said, *(_pair_sentence(list(group.values()), why) for why, group in alike.items()))


def _pair_sentence(group: list[Shift], why: str) -> str:
    """Return the sentence on a pair, or on several pairs that look alike for the same reason."""
    text = f"{_joined([shift.perturbation.words for shift in group])} cannot be told apart here: {why}."
    known = [shift.perturbation.words for shift in group if shift.known]
    if len(known) == 1:
        text += f" The {known[0]} is taken as the configuration gives it."
    return text[0].upper() + text[1:]


def _joined(words: list[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def all_gripped(found: BestFit) -> bool:
    """Whether every throw leaves every stage in grip, by the best fit."""
    settings = found.model.settings
    scenario = found.model.scenario
    launcher = found.law.launcher(scenario, found.values)
    for pattern in np.unique(settings.present, axis=0):
        stages = tuple(int(k) for k in np.flatnonzero(pattern))
        chosen = settings.chosen((settings.present == pattern).all(axis=1))
        done = throw(
            launcher, chosen.surface_speed(launcher, stages, 0),
            chosen.surface_speed(launcher, stages, 1) if chosen.splits else None,
        )  # fmt: skip
        if (done.stages.grip != Grip.SYNC).any():
            return False
    return True


LEVEL = 0.02
"""Chance that a fit of the right model is called a misfit, over all tests together [-]."""

LARGE_SCATTER = 0.06
"""Relative standard deviation of one throw that no launcher is expected to have [-]; an assumption."""

FRICTION_FACTORS = ((5.0, 5.0), (5.0, 1.0), (1.0, 1.0), (0.5, 0.5), (2.0, 2.0), (0.2, 0.2))
"""Factors on the friction of wheels and of the rail for the fastest throw that a launcher could make [-]. More friction
throws a projectile faster that slips; on a rail, less throws one faster that is fed without spin by slow wheels."""

PRIOR_DRAWS = 200
"""Draws from the priors among which the fastest throw is looked for."""
MANY_OUTLIERS = 0.2
"""Share of outliers that is not by chance [-]; an assumption."""

LEAST_AGREEING = 2
"""Throws at one setting that can confirm each other."""
AGREEMENT = 3.0
"""Range of outliers at one setting, over the expected scatter of one throw, within which they agree [-]."""
LEAST_WILD = 3
"""Outliers at one setting that are not by chance, whether they agree or not."""
ONE_SETTING = 0.02
"""Relative difference of wheel speeds up to which throws count as made at one setting [-]."""

LEAST_FREEDOM = 4
"""Degrees of freedom of repeats that a test against their scatter needs [-]."""

LEAST_EARLIER = 6
"""Throws with fewer stages that a prediction of throws with more stages needs."""

POSTERIOR_DRAWS = 200
"""Draws from the posterior for such a prediction."""


def misfits(throws: Throws, found: BestFit, repeated: Repeats | None, rng: np.random.Generator) -> tuple[Misfit, ...]:
    """Return what speaks against the fit, contradictions first.

    Parameters
    ----------
    throws : Throws
        The fitted throws, without jams.
    found : BestFit
    repeated : Repeats or None
        Repeatability, where settings were repeated.
    rng : Generator

    Returns
    -------
    tuple of Misfit
        Empty where the model describes the throws. Tests come with p values adjusted by Holm's method.
    """
    said = [
        *_too_fast(throws, found, rng), *_scatter_too_large(throws, found, repeated), *_too_many_outliers(found),
        *_outliers_that_agree(throws, found), *_jams_let_through(found),
    ]  # fmt: skip
    tests = [one for one in _tests(throws, found, repeated, rng) if one.probability < 1]
    adjusted = holm([one.probability for one in tests])
    return (
        *said,
        *(replace(one, probability=p) for one, p in zip(tests, adjusted, strict=True) if p < LEVEL),
    )


def _tests(throws: Throws, found: BestFit, repeated: Repeats | None, rng: np.random.Generator) -> list[Misfit]:
    """Return every test that can be made, with its unadjusted p value."""
    good = found.outlier_probability < 0.5
    # Residuals and patterns over the scatter of their throw, as in weighted least squares.
    size = found.noise.relative(found.residuals)[good]
    left, tangents = found.residuals[good] / size, tangent_columns(found)[good] / size[:, None]
    fitted = np.log(throws.exit_speed[good]) - found.residuals[good]
    # Throws at one setting that are read alike err alike: one of them stands for all.
    single = alike(throws.chosen(good))[0]
    along = single[np.argsort(fitted[single], kind="stable")]
    kinds, level = two_groups_test(left[single], rng)[0], np.ones((found.count, 1))
    leveled, best, _ = solve_with(found.problem, found.place, level)

    def follow(patterns: Floats) -> float:
        """Return the p value of whether the throws follow `patterns`, (n, k), besides the model and a level."""
        return pattern_test(leveled, best, found.spent + 1, patterns)

    tests = [
        Misfit(
            kind="speed", words="the error of the fit changes with wheel speed",
            probability=pattern_test(
                found.problem, found.place, found.spent, np.hstack([level, bend_columns(found)])
            ),
        ),
        Misfit(
            kind="speed", words="throws at similar wheel speeds err in the same direction",
            probability=serial_correlation_test(left[along], tangents[along], rng),
        ),
        Misfit(kind="kinds", words="throws fall into two groups", probability=kinds),
        Misfit(kind="prior", words=_prior_words(found), probability=_prior_conflict(found)),
    ]  # fmt: skip
    when = moments(throws)
    if when is not None:
        # Beside a level of each build: builds thrown one after the other differ in time too, which is no drift.
        builds = np.column_stack([throws.build == name for name in throws.builds]).astype(np.float64)
        apart, place = (leveled, best) if len(throws.builds) < 2 else solve_with(found.problem, found.place, builds)[:2]
        drift = pattern_test(apart, place, found.spent + builds.shape[1], when[:, None])
        tests.append(Misfit(kind="order", words="exit speed drifts from throw to throw", probability=drift))
    tests += _different_builds(throws, found, follow)
    tests += _odd_band(throws, found, follow)
    if repeated is not None and repeated.lack_of_fit is not None:
        words = "settings are farther from the fit than repeats scatter"
        tests.append(Misfit(kind="speed", words=words, probability=repeated.lack_of_fit))
    return tests


def _different_builds(throws: Throws, found: BestFit, follow: Callable[[Floats], float]) -> list[Misfit]:
    """Return the tests of whether builds that were fitted as one differ: in exit speed, and in their share of outliers.

    Exit speeds are compared at common settings where these have enough throws, as there no model is in doubt, else
    beside the model. Of more than two builds each is compared with all others, with Bonferroni's correction.
    """
    if len(throws.builds) < 2:
        return []
    wild = found.outlier_probability > 0.5
    sides = [throws.build == name for name in throws.builds[: 1 if len(throws.builds) == 2 else None]]
    apart, often = [], []
    for side in sides:
        test = difference_by_settings(throws, side)
        known = test is not None and test.freedom >= LEAST_FREEDOM
        apart.append(test.probability if test is not None and known else follow(side[:, None].astype(np.float64)))
        often.append(exact_test(int(wild[side].sum()), int(side.sum()), int(wild.sum()), wild.size))
    shares = [float(wild[throws.build == name].mean()) for name in throws.builds]
    most = throws.builds[int(np.argmax(shares))]
    count, whose = int(wild[throws.build == most].sum()), f"build {most}" if most else "no named build"
    return [
        Misfit(kind="build", words=words, probability=min(1.0, len(sides) * min(each)))
        for words, each in (
            ("builds that were fitted as one differ", apart),
            (f"{count} of the {int(wild.sum())} outliers are throws of {whose}", often),
        )
    ]


BAND = 0.03
"""Half the width of a band of wheel speeds in which a resonance, say, may change the throws [-]."""


def _beside(wheels: Sequence[Wheels], share: float) -> NDArray[np.bool_]:
    """Return which throws had every wheel within a share [-] of its speed in each throw, (throws, throws)."""
    speeds = np.column_stack([np.nan_to_num(wheel.values, nan=-1.0) for wheel in wheels])
    return np.asarray((np.abs(speeds - speeds[:, None]) <= share * np.abs(speeds[:, None])).all(axis=2))


def _odd_band(throws: Throws, found: BestFit, follow: Callable[[Floats], float]) -> list[Misfit]:
    """Return the test of whether the throws within BAND of one wheel speed follow the others.

    It is made for the band whose residuals are farthest from 0, with Bonferroni's correction for all bands. Bands of
    outliers alone are left to `_outliers_that_agree`.
    """
    wild = found.outlier_probability > 0.5
    bands = np.unique(_beside(throws.wheels, BAND), axis=0)
    sizes = bands.sum(axis=1)
    usual = (sizes >= LEAST_AGREEING) & (sizes <= len(throws) / 2) & (bands & ~wild).any(axis=1)
    bands = bands[usual].astype(np.float64)
    if not len(bands):
        return []
    odd = bands[np.argmax(np.abs(bands @ found.standardised) / np.sqrt(bands.sum(axis=1)))]
    speed = float(np.median(throws.exit_speed[odd > 0]))
    words = f"throws at about {speed:.1f} m/s do not follow the others"
    return [Misfit(kind="band", words=words, probability=min(1.0, len(bands) * follow(odd[:, None])))]


def _prior_conflict(found: BestFit) -> float:
    """Return the p value of the distance of the best fit from the priors [-].

    Twice the smaller p value (Bonferroni) of two tests: chi squared over all parameters, and the farthest one alone.
    """
    from scipy.special import chdtrc, ndtr

    if not found.priors:
        return 1.0
    whole = float(chdtrc(len(found.priors), float((found.normal**2).sum())))
    # Chi squared alone would miss one parameter far from its prior among many that are close.
    single = min(1.0, 2 * len(found.priors) * float(ndtr(-np.abs(found.normal).max())))
    return min(1.0, 2 * min(whole, single))


def _prior_words(found: BestFit) -> str:
    """Return the sentence that names the parameters farthest from their priors."""
    far = np.abs(found.normal)
    least = 0.7 * float(far.max(initial=0.0))
    keys = [prior.key for prior, z in zip(found.priors, far, strict=True) if z >= least]
    what = ", ".join("friction that stays about the same" if key == DRIFT else key for key in keys)
    return f"the throws contradict {what}"


def _scatter_too_large(throws: Throws, found: BestFit, repeated: Repeats | None) -> list[Misfit]:
    """Return a misfit where the scatter is too large for a launcher, unless repeated settings confirm it."""
    shown = repeated is not None and repeated.freedom >= LEAST_FREEDOM and repeated.deviation > found.scatter / 2
    expected = float(np.sqrt(np.mean(expected_scatter(throws) ** 2)))
    if found.scatter <= max(LARGE_SCATTER, 3 * expected) or shown:
        return []
    return [Misfit(kind="scatter", words=f"throws scatter by {100 * found.scatter:.0f} % about the fit")]


def _too_many_outliers(found: BestFit) -> list[Misfit]:
    """Return a misfit where outliers are too many to occur by chance."""
    wild = int((found.outlier_probability > 0.5).sum())
    if wild < MANY_OUTLIERS * found.count or wild < 2 * LEAST_AGREEING:
        return []
    return [Misfit(kind="kinds", words=f"{wild} of {found.count} throws do not agree with the others")]


def _outliers_that_agree(throws: Throws, found: BestFit) -> list[Misfit]:
    """Return a misfit for settings all of whose throws are outliers, two that agree or LEAST_WILD.

    That is not by chance: there the model is wrong.
    """
    wild = found.outlier_probability > 0.5
    near, settings = AGREEMENT * expected_scatter(throws), _beside(throws.wheels, ONE_SETTING)
    seen = []
    for here in settings[wild]:
        agree = np.ptp(found.residuals[here]) < near[here].max() or here.sum() >= LEAST_WILD
        if here.sum() >= LEAST_AGREEING and wild[here].all() and agree:
            seen.append(f"{np.median(throws.exit_speed[here]):.1f}")
    if not seen:
        return []
    words = f"all throws at {', '.join(dict.fromkeys(seen))} m/s are far from the fit"
    return [Misfit(kind="band", words=words)]


def _jams_let_through(found: BestFit) -> list[Misfit]:
    """Return a misfit where jams that the model lets through are not by chance.

    They are most of the throws at one setting, two at least, or as many as outliers may not be.
    """
    wild = np.append(np.zeros(found.count, dtype=bool), found.jams_let_through)
    thrown = found.model.settings.chosen(found.model.row)
    settings = _beside(thrown.wheels, ONE_SETTING)[wild]
    seen = any(wild[here].sum() >= LEAST_AGREEING and wild[here].mean() > 0.5 for here in settings)
    count = int(wild.sum())
    if not seen and count < max(MANY_OUTLIERS * wild.size, 2 * LEAST_AGREEING):
        return []
    return [Misfit(kind="jams", words=f"{count} throws jammed that the model lets through")]


def _too_fast(throws: Throws, found: BestFit, rng: np.random.Generator) -> list[Misfit]:
    """Return a misfit where throws are faster than a launcher within the priors could throw, whatever its friction."""
    scenario = found.model.scenario
    priors = tuple(of(item) for item in scenario.uncertain)
    drawn = values(priors, rng.normal(size=(PRIOR_DRAWS, len(priors))))
    launcher = scenario.realise({key: value[:, None] for key, value in drawn.items()})
    contact, most = launcher.contact, np.zeros(found.count)
    wild = found.outlier_probability > 0.5
    room = 1 + 3 * np.minimum(found.deviations, expected_scatter(throws))
    for wheel, rail in FRICTION_FACTORS:
        other = replace(
            contact, friction=contact.friction.scaled(wheel), rail_friction=contact.rail_friction.scaled(rail)
        )
        speeds = found.model.exit_speed_of(replace(launcher, contact=other))[..., : found.count]
        most = np.maximum(most, speeds.reshape(-1, found.count).max(axis=0))
        beyond = (most > 0) & (throws.exit_speed > room * most)
        if beyond.sum() < max(LEAST_AGREEING, found.count // 10):
            return []
        if (beyond & ~wild).sum() < LEAST_AGREEING and beyond.sum() < MANY_OUTLIERS * found.count:
            return []  # Single readings that are wrong are outliers, and told as such.
    share = float(np.max(throws.exit_speed[beyond] / most[beyond])) - 1
    words = f"{int(beyond.sum())} throws are faster than these wheels can throw, by up to {100 * share:.0f} %"
    return [Misfit(kind="fast", words=words)]


def repeats(throws: Throws, found: BestFit) -> Repeats | None:
    """Return the relative standard deviation of throws at one setting; None without repeats.

    Throws that are more probably outliers than not are left out. The lack-of-fit F test compares the residuals between
    settings with the scatter within settings. Readings of a chronograph err by its rounding too, and repeats that are
    read alike err alike.
    """
    good = found.outlier_probability < 0.5
    logs, setting = np.log(throws.exit_speed[good]), throws.settings[good]
    within, freedom = _within(logs, setting)
    if freedom < 1:
        return None
    deviation = float(np.sqrt(within / freedom))
    size = found.noise.relative(found.residuals)[good]
    left, rounding = found.residuals[good] / size, np.zeros(size.size)
    if throws.step is not None:
        rounding = (throws.step[good] / size) ** 2 / 12
    scatter = max(_within(left, setting)[0] / freedom, float(rounding.mean()))
    _, which, counts = np.unique(setting, return_inverse=True, return_counts=True)
    spare = counts.size - found.spent
    # Equal readings differ from their mean by no more than the arithmetic does.
    if freedom < LEAST_FREEDOM or spare < 1 or scatter < LEAST_UNCERTAINTY**2:
        return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=None)
    from scipy.special import fdtrc

    means, shared = (np.bincount(which, weights=one) / counts for one in (left, rounding))
    ratio = float((counts * means**2 / (scatter + counts * shared)).sum()) / spare
    return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=float(fdtrc(spare, freedom, ratio)))


def _within(values: Floats, setting: np.ndarray[tuple[int, ...], np.dtype[np.intp]]) -> tuple[float, int]:
    """Return the sum of squares about the settings' means, and its degrees of freedom; both arguments (n,)."""
    names, which, counts = np.unique(setting, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=values, minlength=names.size) / counts
    return float(((values - means[which]) ** 2).sum()), int(values.size - names.size)


def checks(scenario: Scenario, throws: Throws, found: BestFit, rng: np.random.Generator) -> tuple[Check, ...]:
    """Return, for each stage count but the least, its throws predicted from the throws with fewer stages."""
    count = throws.present.sum(axis=1)
    return tuple(
        _check(scenario, throws.chosen(count < stages), throws.chosen(count == stages), found, int(stages), rng)
        for stages in np.unique(count)
        if (count < stages).sum() >= LEAST_EARLIER
    )


def _check(
    scenario: Scenario, before: Throws, after: Throws, found: BestFit, stages: int, rng: np.random.Generator
) -> Check:
    """Return a check of `after`, the throws with `stages` stages, predicted from a fit of the throws `before`."""
    earlier = best_fit(scenario, found.law, before, noise_of(before), rng)
    drawn, _ = posterior(earlier, rng)
    draws = drawn.even(rng, POSTERIOR_DRAWS)
    speeds = forward_model(scenario, found.law, after).exit_speed(draws)
    # A throw scatters as those before it do, but for what the table states of each.
    scatter = earlier.scatter * expected_scatter(after) / np.sqrt(np.mean(expected_scatter(before) ** 2))
    single = speeds * np.exp(scatter * rng.normal(size=speeds.shape))
    shares = np.array([0.025, 0.5, 0.975])
    low, _, high = quantile(single, np.full(POSTERIOR_DRAWS, 1 / POSTERIOR_DRAWS), shares)
    middle = quantile(speeds, np.full(POSTERIOR_DRAWS, 1 / POSTERIOR_DRAWS), shares)[1]
    return Check(stages=stages, measured=after.exit_speed, predicted=middle, low=low, high=high)
