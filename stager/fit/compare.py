"""Two builds: are they different, by how much, what explains it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.errors import InputError, InputErrors
from stager.fit.contrast import by_model, by_settings, steady
from stager.fit.fitting import noise_of, usable
from stager.fit.hypotheses import Hypothesis, explain
from stager.fit.laws import own_law
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.statistics.welch import Difference, stratified
from stager.fit.table.record import Throws
from stager.model.scenario import Scenario

LEVEL = 0.05
ENOUGH = 4.0
"""Degrees of freedom that a test needs to be the one that decides."""

LEAST_THROWS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two builds, first and second, as ln(exit speed of first / of second): near 0 a relative difference [-].

    welch: setting by setting (None: no settings in common, or no repeats); paired: with common scatter, over settings
    that both have (None likewise); model: beside what the model's parameters could do; decides: the one of the three
    that the claim rests on, chosen by what was measured, not by what came out.
    settings: ln ratio and numbers of throws at each common setting; apart: all throws of one build came before the
    other's; left_out: lines of throws so far from others at their setting that the tests by settings do without them;
    outliers: throws that are probably wild; explanations: single changes, best first; equal: how many of them do about
    as well as the best.
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
    good = steady(np.log(chosen.exit_speed), 2 * chosen.settings + first, noise_of(chosen))
    pairs = common(chosen, first, good)
    tests = {"welch": _welch(chosen, pairs), "paired": _paired(chosen, first, pairs)}
    enough = any(test is not None and test.freedom >= ENOUGH for test in tests.values())
    found = None if brief and enough else best_fit(scenario, own_law(scenario), chosen, noise_of(chosen), rng)
    tests["model"] = None if found is None else _model(found, first)
    decides = _decides(tests)
    if decides is None:
        message = "these throws cannot be compared: too few, or no settings in common"
        hint = "measure both builds at the same wheel speeds, twice each at least"
        raise InputErrors([InputError(message, where=throws.source, hint=hint)])
    explanations: tuple[Hypothesis, ...] = ()
    equal = 0
    deciding = tests[decides]
    if found is not None and not brief and deciding is not None and deciding.probability < LEVEL:
        explanations, equal = explain(found, chosen, ~first)
    logs = np.log(chosen.exit_speed)
    order = chosen.time if not np.isnan(chosen.time).any() else chosen.order
    return Compared(
        builds=builds, counts=(int(first.sum()), int((~first).sum())), welch=tests["welch"], paired=tests["paired"],
        model=tests["model"], decides=decides,
        settings=tuple(
            (setting, float(logs[a].mean() - logs[b].mean()), int(a.sum()), int(b.sum())) for setting, a, b in pairs
        ),
        apart=bool(order[first].max() < order[~first].min() or order[~first].max() < order[first].min()),
        left_out=tuple(int(line) for line in chosen.line[~good]), outliers=_wild(found, explanations),
        explanations=explanations, equal=equal,
    )  # fmt: skip


def _wild(found: BestFit | None, explanations: tuple[Hypothesis, ...]) -> int:
    """Throws that are outliers even where the builds may differ."""
    if explanations:
        return explanations[0].wild
    return 0 if found is None else int((found.outlier_probability > 0.5).sum())


Pair = tuple[int, NDArray[np.bool_], NDArray[np.bool_]]


def common(throws: Throws, first: NDArray[np.bool_], good: NDArray[np.bool_]) -> list[Pair]:
    """Settings that both builds were thrown at, with the good throws of each."""
    settings = throws.settings
    return [
        (int(k), (settings == k) & first & good, (settings == k) & ~first & good)
        for k in np.intersect1d(settings[first & good], settings[~first & good])
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


def _welch(throws: Throws, pairs: list[Pair]) -> Difference | None:
    logs = np.log(throws.exit_speed)
    try:
        return stratified([(logs[a], logs[b]) for _, a, b in pairs]) if pairs else None
    except ValueError:
        return None


def _paired(throws: Throws, first: NDArray[np.bool_], pairs: list[Pair]) -> Difference | None:
    rows = np.zeros(len(throws), dtype=bool)
    for _, a, b in pairs:
        rows |= a | b
    if not rows.any():
        return None
    logs, column = np.log(throws.exit_speed[rows]), first[rows].astype(np.float64)
    try:
        return by_settings(logs, column, throws.settings[rows])[0]
    except ValueError:
        return None


def _model(found: BestFit, first: NDArray[np.bool_]) -> Difference | None:
    try:
        return by_model(found, first.astype(np.float64))[0]
    except ValueError:
        return None


def _decides(tests: dict[str, Difference | None]) -> str | None:
    """The first of Welch, paired, model that has enough degrees of freedom; else the one that has most."""
    known = {name: test for name, test in tests.items() if test is not None}
    if not known:
        return None
    return next(
        (name for name, test in known.items() if test.freedom >= ENOUGH),
        max(known, key=lambda name: known[name].freedom),
    )
