"""Fit, comparison and next throws of a loaded configuration, and their results."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from stager.api.results import Shown
from stager.errors import InputError, InputErrors
from stager.fit.compare import Contrast
from stager.fit.experiment_design import Next
from stager.fit.prediction import Learned

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.config import Configuration
    from stager.constraints.recommend import Recommended
    from stager.fit.posterior import Fit
    from stager.fit.prediction import Tuned
    from stager.fit.table import Throws
    from stager.model.launcher import Scenario
    from stager.optimise.sweep import Sweep
    from stager.report.answer import Answer
    from stager.report.figures import Picture

WRITTEN_DRAWS = 400
"""Draws written next to a fitted configuration."""
Progress = Callable[[float], None]


def fit_for_sweep(scenario: Scenario, throws: Throws | None, seed: int) -> Fit | None:
    """Return the fit to `throws` that the advice of a sweep rests on; None with too few throws for a fit."""
    from stager.fit.fitting import LEAST_THROWS
    from stager.fit.fitting import fit as fit_throws
    from stager.fit.likelihood import usable

    if throws is None or usable(throws).size < LEAST_THROWS:
        return None
    return fit_throws(scenario, throws, np.random.default_rng(seed), words=False)


def spread(scenario: Scenario, sweep: Sweep, chosen: Recommended) -> Tuned | None:
    """Return the grip limit of a sweep with its coverage interval, at the recommended setting `chosen`.

    None where the configuration has no uncertainties, or nothing gets through.
    """
    from stager.fit.prediction import ensemble_of, finder, tune_behind

    if not scenario.uncertain:
        return None
    ensemble = ensemble_of(scenario)
    return tune_behind(ensemble, sweep.stage - 1, sweep.before_a, sweep.before_b, finder(scenario), chosen)


def of_build(throws: Throws, build: str | None) -> Throws:
    """Return the throws of one build, or all. Raises InputErrors where the table has no such build."""
    if build is None:
        return throws
    if build not in throws.builds:
        known = ", ".join(f'"{name}"' for name in throws.builds if name) or "no builds"
        error = InputError(f'no throw of build "{build}"', where=throws.source, hint=f"the table names {known}")
        raise InputErrors([error])
    return throws.chosen(throws.build == build)


def check_stage(throws: Throws, stage: int) -> None:
    """Raise InputErrors where no throw ended with a stage (from 1)."""
    from stager.fit.prediction import ended_with

    if ended_with(throws, stage - 1).any():
        return
    counts = sorted({int(count) for count in throws.present.sum(axis=1)})
    known = f"throws of the table end with stage {', '.join(map(str, counts))}" if counts else "the table has no throws"
    raise InputErrors([InputError(f"no throw ended with stage {stage}", where=throws.source, hint=known)])


def fit(scenario: Scenario, throws: Throws, seed: int, stages: int | None, progress: Progress | None) -> Learned:
    """Fit, predict up to `stages` stages (None: one more than measured), and test for drift."""
    from stager.fit.compare import drifts
    from stager.fit.fitting import fit as fit_throws
    from stager.fit.prediction import Learned, ensemble_of, finder, known_of, predict, recommended_chain

    tell = progress or (lambda share: None)
    rng = np.random.default_rng(seed)
    done = fit_throws(scenario, throws, rng, progress=lambda share: tell(0.7 * share))
    count = max(1, min(done.built + 1, scenario.limit_values.stages)) if stages is None else stages
    find = finder(scenario)
    chosen = recommended_chain(known_of(done), count)
    predicted = predict(ensemble_of(done), count, find, chosen, built=done.built)
    tell(0.9)
    drifting = drifts(scenario, throws, rng)
    tell(1.0)
    return Learned(fit=done, predicted=predicted, drifts=drifting, recommended=chosen)


def compare(scenario: Scenario, throws: Throws, builds: tuple[str, str], seed: int) -> Contrast:
    """Compare two builds and test each for drift."""
    from stager.fit.compare import Contrast, drifts
    from stager.fit.compare import compare as compare_builds

    rng = np.random.default_rng(seed)
    compared = compare_builds(scenario, throws, builds, rng)
    named = throws.chosen(np.isin(throws.build, builds))
    return Contrast(compared=compared, drifts=drifts(scenario, named, rng))


def suggest(
    scenario: Scenario, throws: Throws, seed: int, count: int, progress: Progress | None, known: Learned | None = None
) -> Next:
    """Return the throws to make next; with too few throws for a fit, those of a first session.

    known: the fit to these throws, where it was made already.
    """
    from stager.fit.experiment_design import first_session
    from stager.fit.experiment_design import suggest as suggest_next
    from stager.fit.fitting import LEAST_THROWS
    from stager.fit.fitting import fit as fit_throws
    from stager.fit.likelihood import usable
    from stager.fit.prediction import finder

    tell = progress or (lambda share: None)
    if known is None and usable(throws).size < LEAST_THROWS:
        # Contact and friction show first in one stage alone, whatever columns the table has.
        built = int(throws.present.sum(axis=1).max(initial=1))
        found = first_session(scenario, built, finder(scenario), np.random.default_rng(seed), throws=count)
        tell(1.0)
        return found
    if known is None:
        rng, chosen = np.random.default_rng(seed), None
        done = fit_throws(scenario, throws, rng, progress=lambda share: tell(0.5 * share), words=False)
    else:
        done, chosen = known.fit, known.recommended
    # A generator of its own, so that a fit that is known leads to the same answer.
    found = suggest_next(done, finder(scenario), np.random.default_rng(seed), throws=count, chosen=chosen)
    tell(1.0)
    return found


def watch(scenario: Scenario, throws: Throws, seed: int, stages: int, progress: Progress | None) -> tuple[Next, bool]:
    """Return grip limit, curve and next setting after a throw, and whether they come from a fit.

    With too few throws for a fit they are what the configuration expects of as many stages as the throws tell, `stages`
    without any, and the next setting of a first session.
    """
    from stager.fit import experiment_design
    from stager.fit.fitting import LEAST_THROWS
    from stager.fit.fitting import fit as fit_throws
    from stager.fit.likelihood import usable
    from stager.fit.prediction import finder

    tell = progress or (lambda share: None)
    rng = np.random.default_rng(seed)
    if usable(throws).size < LEAST_THROWS:
        built = int(throws.present.sum(axis=1).max()) if len(throws) else stages
        found = experiment_design.first_session(
            scenario, built, finder(scenario), rng, throws=experiment_design.SESSION
        )
        # A throw that jammed was made too: what comes next is another setting, the last one at the end.
        return replace(found, plan=found.plan[min(len(throws), len(found.plan) - 1) :]), False
    done = fit_throws(scenario, throws, rng, progress=lambda share: tell(0.5 * share), words=False)
    tell(0.5)
    # The generator of `suggest`, so that both give the same chances.
    return experiment_design.suggest(done, finder(scenario), np.random.default_rng(seed), least=1), True


def save_fit(configuration: Configuration, done: Fit, path: Path, seed: int, *, force: bool = False) -> list[Path]:
    """Write a configuration with the fitted values and, next to it, draws that keep their correlation.

    Returns
    -------
    list of Path
        The files; both are written, or none.
    """
    from stager.config import show_value
    from stager.config.save import save

    drawn = done.posterior.even(np.random.default_rng(seed), WRITTEN_DRAWS)
    note = f"Fitted to {done.used.size} throws of {Path(done.throws.source).name}."
    changes, misfit = _changes(configuration, done), "; ".join(dict.fromkeys(one.words for one in done.misfits))
    if misfit:
        changes["misfit"] = show_value(misfit)
    drop = ["misfit"] if configuration.file.misfit and not misfit else []
    return save(configuration, path, changes, note=note, drop=drop, draws=drawn, force=force)


_FRICTION = "contact.friction."
_UNITS_OF_LAWS = {_FRICTION + name: "m/s" for name in ("fade_speed", "peak_speed", "rise_speed")}


def _changes(configuration: Configuration, done: Fit) -> dict[str, str]:
    """Return fitted values as TOML text by dotted key; another friction law replaces the whole table."""
    from stager.units import format_quantity

    units = {key: measured.unit for key, measured in configuration.quantities.items()} | _UNITS_OF_LAWS
    texts = {
        one.key: f'"{format_quantity(one.value, one.standard_uncertainty, units.get(one.key, ""))}"'
        for one in done.parameters
        if not one.group
    }
    if done.keeps_law:
        return texts
    law = {key: text for key, text in texts.items() if key.startswith(_FRICTION)}
    cells = [f'law = "{done.law}"', *(f"{key.removeprefix(_FRICTION)} = {text}" for key, text in law.items())]
    table = ", ".join(cells)
    return {key: text for key, text in texts.items() if key not in law} | {_FRICTION[:-1]: f"{{ {table} }}"}


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class FitResult(Shown, Learned):
    """Result of `Loaded.fit`."""

    ROWS: ClassVar[str] = "parameters"

    loaded: Loaded = field(repr=False, compare=False)

    @property
    def adequate(self) -> bool:
        """Whether nothing speaks against the model."""
        return self.fit.adequate

    @property
    def law(self) -> str:
        """Name of the chosen friction law."""
        return self.fit.law

    @property
    def values(self) -> dict[str, float]:
        """Fitted values by key, in SI units."""
        return {one.key: float(one.value) for one in self.fit.parameters}

    @property
    def standard_uncertainties(self) -> dict[str, float]:
        """Standard uncertainties of the fitted values by key, in SI units."""
        return {one.key: float(one.standard_uncertainty) for one in self.fit.parameters}

    def answer(self) -> Answer:
        """Return the answer of `stager fit`."""
        from stager.report import fit
        from stager.report.throw import note_spin_left_out

        answer = fit.answer(self, self.loaded.configuration.quantities, self.loaded.source())
        return note_spin_left_out(answer, self.loaded.scenario.goal)

    def pictures(self) -> list[Picture]:
        """Return pictures of parameters before and after, agreement, and residuals."""
        from stager.report.figures import of_fit
        from stager.report.fit import units_of

        units = units_of(self.fit.parameters, self.loaded.configuration.quantities)
        found = (of_fit.learned(self.fit, units), of_fit.agreement(self.fit), of_fit.residuals(self.fit))
        return [picture for picture in found if picture is not None]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class CompareResult(Shown, Contrast):
    """Result of `Loaded.compare`."""

    ROWS: ClassVar[str] = "settings"

    loaded: Loaded = field(repr=False, compare=False)
    throws: Throws = field(repr=False, compare=False)

    @property
    def different(self) -> bool:
        """Whether a difference is claimed, at the 5 % level."""
        return self.compared.different

    def answer(self) -> Answer:
        """Return the answer of `stager compare`."""
        from stager.report import compare

        return compare.answer(self, self.throws, self.loaded.scenario.launcher, self.loaded.source())


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class NextResult(Shown, Next):
    """Result of `Loaded.next`."""

    ROWS: ClassVar[str] = "plan"

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """Return the answer of `stager next`."""
        from stager.report import bench
        from stager.report.throw import note_spin_left_out

        answer = bench.next_answer(self, self.loaded.source())
        return note_spin_left_out(answer, self.loaded.scenario.goal)
