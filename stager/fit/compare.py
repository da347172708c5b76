"""Two builds: are they different, by how much, what explains it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import InputError, InputErrors
from stager.fit.drift import Drift, by_model, steady
from stager.fit.explanations import Hypothesis, explain
from stager.fit.friction_laws import own_law
from stager.fit.likelihood import noise_of, usable
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.statistics.hypothesis_tests import Difference, by_settings, paired
from stager.fit.table.throws import Throws, clock
from stager.model.scenario import Scenario

LEVEL = 0.05
LEAST_THROWS = 3
ENOUGH = 4.0
"""Degrees of freedom at which repeats tell their scatter well enough."""

OVERLAP = 0.1
"""Chance that a throw of the later build came before one of the earlier, below which they did not take turns [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two builds, first and second, as ln(exit speed of first / of second): near 0 a relative difference [-].

    welch: setting by setting, each build with its own scatter (None: too few repeats, or no settings in common);
    paired: by the scatter of the settings' differences (None likewise); model: beside what the model's parameters could
    do; decides: the one of the three that the claim rests on, chosen by what was measured, not by what came out.
    settings: ln ratio and numbers of throws at each common setting; apart: all throws of one build came before the
    other's; left_out: lines of throws so far from others at their setting that they hardly count; outliers: throws that
    are probably wild; explanations: single changes, best first; equal: how many of them do about as well as the best.
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
        """The test that decides."""
        found: Difference = getattr(self, self.decides)
        return found

    @property
    def different(self) -> bool:
        """Whether a difference is claimed, at the 5 % level."""
        return self.deciding.probability < LEVEL


def compare(
    scenario: Scenario, throws: Throws, builds: tuple[str, str], rng: np.random.Generator, *, brief: bool = False
) -> Compared:
    """Compare two builds of `throws`; brief: only as far as the claim needs it, without model or explanation.

    Raises InputErrors where a build has too few throws, or nothing lets them be compared.
    """
    chosen = _chosen(throws, builds)
    first = chosen.build == builds[0]
    apart = _apart(chosen, first)
    tests = _by_settings(chosen, first, apart)
    enough = any(test is not None for test in tests.values())
    found = None if brief and enough else best_fit(scenario, own_law(scenario), chosen, noise_of(chosen), rng)
    tests["model"] = None if found is None else _model(found, first)
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
        apart=apart, left_out=tuple(chosen.line[~steady(logs, chosen.settings, noise_of(chosen))].tolist()),
        outliers=_wild(found, explanations), explanations=explanations, equal=equal,
    )  # fmt: skip


def claim(throws: Throws, builds: tuple[str, str]) -> Difference:
    """Return the test by settings alone, without a model. Raises InputErrors as `compare` does."""
    chosen = _chosen(throws, builds)
    first = chosen.build == builds[0]
    tests = _by_settings(chosen, first, _apart(chosen, first))
    found = tests[_decides(tests) or "welch"]
    if found is None:
        raise InputErrors([_incomparable(throws)])
    return found


def _by_settings(throws: Throws, first: NDArray[np.bool_], apart: bool) -> dict[str, Difference | None]:
    """Compare setting by setting; a drift is taken out where the builds took turns.

    Where few settings were repeated, the differences of settings tell their scatter better than the repeats do.
    """
    logs, settings = np.log(throws.exit_speed), throws.settings
    welch = by_settings(logs, first, settings, None if apart else clock(throws)[1])
    pairs = paired(logs, first, settings)
    if welch is not None and (pairs is None or welch.freedom >= min(ENOUGH, pairs.freedom)):
        return {"welch": welch, "paired": None}
    return {"welch": None, "paired": pairs}


def _apart(throws: Throws, first: NDArray[np.bool_]) -> bool:
    """Whether all throws of one build came before the other's, or nearly: their ranks overlap by less than a tenth."""
    from scipy.stats import rankdata

    ranks = rankdata(clock(throws)[1])
    before = (ranks[first].sum() - first.sum() * (first.sum() + 1) / 2) / max(first.sum() * (~first).sum(), 1)
    return bool(min(before, 1 - before) < OVERLAP)


def _incomparable(throws: Throws) -> InputError:
    hint = "measure both builds at the same wheel speeds, twice each at least"
    message = "these throws cannot be compared: too few, or no settings in common"
    return InputError(message, where=throws.source, hint=hint)


def _wild(found: BestFit | None, explanations: tuple[Hypothesis, ...]) -> int:
    """Throws that are outliers even where the builds may differ."""
    if explanations:
        return explanations[0].wild
    return 0 if found is None else int((found.outlier_probability > 0.5).sum())


Pair = tuple[int, NDArray[np.bool_], NDArray[np.bool_]]


def common(throws: Throws, first: NDArray[np.bool_]) -> list[Pair]:
    """Settings that both builds were thrown at, with the throws of each."""
    settings = throws.settings
    return [
        (int(k), (settings == k) & first, (settings == k) & ~first)
        for k in np.intersect1d(settings[first], settings[~first])
    ]


def _chosen(throws: Throws, builds: tuple[str, str]) -> Throws:
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


def _model(found: BestFit, first: NDArray[np.bool_]) -> Difference | None:
    try:
        return by_model(found, first.astype(np.float64))[0]
    except ValueError:
        return None


def _decides(tests: dict[str, Difference | None]) -> str | None:
    """The first of Welch, paired, model that there is."""
    return next((name for name, test in tests.items() if test is not None), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """Two builds compared, and the drift of each."""

    compared: Compared
    drifts: tuple[Drift, ...]
