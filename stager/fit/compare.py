"""Compare two builds: test whether they differ, by how much, and which single change explains it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import InputError, InputErrors
from stager.fit.drift import Drift, effect_beside_model, inliers
from stager.fit.explanations import Hypothesis, explain
from stager.fit.friction_laws import own_law
from stager.fit.likelihood import noise_of, usable
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.statistics.hypothesis_tests import Difference, by_settings, paired
from stager.fit.table.throws import Throws, clock
from stager.model.launcher import Scenario

LEVEL = 0.05
"""Significance level of a claimed difference [-]."""
LEAST_THROWS = 3
"""Usable throws of a build that a comparison needs."""
LEAST_FREEDOM = 4.0
"""Degrees of freedom from which repeats determine their scatter well enough for Welch's test [-]."""

LEAST_OVERLAP = 0.1
"""Probability that a throw of the later build came before one of the earlier (Mann and Whitney's U over its greatest
value), below which the builds were not alternated [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Comparison of two builds. Differences are ln(exit speed of the first / of the second), near 0 relative ones [-].

    builds: names of the first and the second
    counts: their numbers of usable throws
    welch: Welch's test over common settings; None with too few repeats or without common settings
    paired: paired t test of the differences at common settings; None likewise
    model: difference of builds beside what the model's parameters can explain; None where it was not computed
    decides: which of the three tests the claim rests on; chosen by the design of the measurement, not by the results
    settings: number of the setting, ln ratio of medians, throws of each build, for each common setting
    apart: whether all throws of one build came before the other's, or nearly
    left_out: lines of the throws that are almost certainly outliers among those at their setting
    outliers: number of throws that are more probably outliers than not
    explanations: single changes that explain the difference, best first
    equal: number of explanations that do about as well as the best
    """

    builds: tuple[str, str]
    counts: tuple[int, int]
    welch: Difference | None
    paired: Difference | None
    model: Difference | None
    decides: str
    settings: tuple[tuple[int, float, int, int], ...]
    apart: bool
    left_out: tuple[int, ...]
    outliers: int
    explanations: tuple[Hypothesis, ...]
    equal: int

    @property
    def deciding(self) -> Difference:
        """Return the test that the claim rests on."""
        found: Difference = getattr(self, self.decides)
        return found

    @property
    def different(self) -> bool:
        """Whether a difference is claimed, at the 5 % level."""
        return self.deciding.probability < LEVEL


def compare(
    scenario: Scenario, throws: Throws, builds: tuple[str, str], rng: np.random.Generator, *, brief: bool = False
) -> Compared:
    """Compare two builds of `throws`.

    Parameters
    ----------
    scenario : Scenario
    throws : Throws
    builds : tuple of str
        Names of the two builds.
    rng : Generator
    brief : bool
        Leave out explanations, and the model where a test by settings decides.

    Raises
    ------
    InputErrors
        Where a build has too few throws, or no test is possible.
    """
    chosen = _chosen(throws, builds)
    first = chosen.build == builds[0]
    apart = _not_alternated(chosen, first)
    tests = _tests_by_settings(chosen, first, apart)
    enough = any(test is not None for test in tests.values())
    found = None if brief and enough else best_fit(scenario, own_law(scenario), chosen, noise_of(chosen), rng)
    tests["model"] = None if found is None else _test_by_model(found, first)
    decides = _decides(tests)
    if decides is None:
        raise InputErrors([_incomparable(throws)])
    explanations: tuple[Hypothesis, ...] = ()
    equal = 0
    deciding = tests[decides]
    if found is not None and not brief and deciding is not None and deciding.probability < LEVEL:
        explanations, equal = explain(found, chosen, ~first)
    logs = np.log(chosen.exit_speed)
    return Compared(
        builds=builds, counts=(int(first.sum()), int((~first).sum())), welch=tests["welch"], paired=tests["paired"],
        model=tests["model"], decides=decides,
        settings=tuple(
            (setting, float(np.median(logs[a]) - np.median(logs[b])), int(a.sum()), int(b.sum()))
            for setting, a, b in common(chosen, first)
        ),
        apart=apart, left_out=tuple(chosen.line[~inliers(logs, chosen.settings, noise_of(chosen))].tolist()),
        outliers=_outliers(found, explanations), explanations=explanations, equal=equal,
    )  # fmt: skip


def claim(throws: Throws, builds: tuple[str, str]) -> Difference:
    """Return the test by settings, without a model.

    Raises
    ------
    InputErrors
        As `compare` does.
    """
    chosen = _chosen(throws, builds)
    first = chosen.build == builds[0]
    tests = _tests_by_settings(chosen, first, _not_alternated(chosen, first))
    found = tests[_decides(tests) or "welch"]
    if found is None:
        raise InputErrors([_incomparable(throws)])
    return found


def _tests_by_settings(throws: Throws, first: NDArray[np.bool_], apart: bool) -> dict[str, Difference | None]:
    """Return Welch's test over common settings, or the paired test where it has more degrees of freedom.

    A linear drift is removed where the builds were alternated.
    """
    logs, settings = np.log(throws.exit_speed), throws.settings
    welch = by_settings(logs, first, settings, None if apart else clock(throws)[1])
    pairs = paired(logs, first, settings)
    if welch is not None and (pairs is None or welch.freedom >= min(LEAST_FREEDOM, pairs.freedom)):
        return {"welch": welch, "paired": None}
    return {"welch": None, "paired": pairs}


def _not_alternated(throws: Throws, first: NDArray[np.bool_]) -> bool:
    """Whether all throws of one build came before the other's, or nearly, by LEAST_OVERLAP."""
    from scipy.stats import rankdata

    ranks = rankdata(clock(throws)[1])
    before = (ranks[first].sum() - first.sum() * (first.sum() + 1) / 2) / max(first.sum() * (~first).sum(), 1)
    return bool(min(before, 1 - before) < LEAST_OVERLAP)


def _incomparable(throws: Throws) -> InputError:
    """Return the error that no test is possible."""
    hint = "measure both builds at the same wheel speeds, twice each at least"
    message = "these throws cannot be compared: too few, or no settings in common"
    return InputError(message, where=throws.source, hint=hint)


def _outliers(found: BestFit | None, explanations: tuple[Hypothesis, ...]) -> int:
    """Return the number of outliers, where there are explanations those of the best one."""
    if explanations:
        return explanations[0].wild
    return 0 if found is None else int((found.outlier_probability > 0.5).sum())


Pair = tuple[int, NDArray[np.bool_], NDArray[np.bool_]]
"""Number of a setting, and which throws of the first and of the second build were made at it, (n,) each."""


def common(throws: Throws, first: NDArray[np.bool_]) -> list[Pair]:
    """Return the settings that both builds were thrown at, with the throws of each; first: of the first build, (n,)."""
    settings = throws.settings
    return [
        (int(k), (settings == k) & first, (settings == k) & ~first)
        for k in np.intersect1d(settings[first], settings[~first])
    ]


def _chosen(throws: Throws, builds: tuple[str, str]) -> Throws:
    """Return the usable throws of both builds.

    Raises
    ------
    InputErrors
        Where a build is unknown or has too few throws, or both are the same.
    """
    known = throws.builds
    wrong = [name for name in builds if name not in known]
    if wrong:
        names = ", ".join(f'"{name}"' for name in known if name)
        hint = f"the table names {names or 'no builds: add a column build'}"
        raise InputErrors([InputError(f'no throw of build "{name}"', where=throws.source, hint=hint) for name in wrong])
    if builds[0] == builds[1]:
        raise InputErrors([InputError("name two builds that differ", where="--builds", hint="--builds A B")])
    good = throws.chosen(usable(throws))
    chosen = good.chosen((good.build == builds[0]) | (good.build == builds[1]))
    few = [name for name in builds if (chosen.build == name).sum() < LEAST_THROWS]
    if few:
        hint = "a handful of throws each, at the same wheel speeds, is a good start"
        errors = [
            InputError(f'build "{name}" needs at least {LEAST_THROWS} usable throws', where=throws.source, hint=hint)
            for name in few
        ]
        raise InputErrors(errors)
    return chosen


def _test_by_model(found: BestFit, first: NDArray[np.bool_]) -> Difference | None:
    """Return the difference of builds beside what the model can explain; None where it cannot be estimated."""
    try:
        return effect_beside_model(found, first.astype(np.float64))[0]
    except ValueError:
        return None


def _decides(tests: dict[str, Difference | None]) -> str | None:
    """Return the first of "welch", "paired" and "model" that could be made."""
    return next((name for name, test in tests.items() if test is not None), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """Two builds compared, and the drift of each."""

    compared: Compared
    drifts: tuple[Drift, ...]
