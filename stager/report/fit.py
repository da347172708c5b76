"""A fit as screen and document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from stager.fit.answers import Learned
from stager.fit.records import Fit, Parameter
from stager.report import advice, foretold, misfit
from stager.report.answer import Answer
from stager.report.digits import digits, listing, percent, plural, speed
from stager.report.document import Source, document
from stager.report.drift import drift_notes, drift_rows
from stager.report.measured import Units, name_of, units_of
from stager.report.table import Column, Screen, Table
from stager.units import Measured

TIE = 2.0


def answer(
    learned: Learned, quantities: Mapping[str, Measured], source: Source, written: Sequence[Path] = ()
) -> Answer:
    """What the throws told, what they could not, and what the next stage will give; files `written`."""
    fit = learned.fit
    units = units_of(fit.parameters, quantities)
    tables = [parameters(fit, units), _laws(fit)] if fit.parameters else [_laws(fit)]
    if fit.adequate:
        tables += [foretold.settings(learned.predicted), foretold.exits(learned.predicted)]
    if fit.outliers:
        tables.append(_outliers(fit))
    notes = _notes(learned)
    if written:
        notes.append(f"Wrote {listing([str(path) for path in written])}: give the first to plan, worth and sweep.")
    screen = Screen(_headline(learned), tables, notes)
    return Answer(screen, document(summary(learned, units), source))


def summary(learned: Learned, units: Units) -> dict[str, Any]:
    """A fit as the document has it, without provenance."""
    fit = learned.fit
    return {
        "parameters": {one.key: _row(one, units) for one in fit.parameters},
        "law": fit.law,
        "aicc": fit.aicc,
        "residual_standard_deviation": fit.scatter,
        "residual_standard_deviation_m_s": fit.scatter * float(np.mean(fit.throws.exit_speed[fit.used])),
        "repeatability": None
        if fit.repeats is None
        else {
            "standard_deviation": fit.repeats.deviation,
            "degrees_of_freedom": fit.repeats.freedom,
            "lack_of_fit_probability": fit.repeats.lack_of_fit,
        },
        "throws_used": int(fit.used.size),
        "measured_at": "outlet" if fit.throws.at_outlet else "chronograph",
        "instrument_uncertainty_fraction": None
        if fit.throws.uncertainty is None
        else float(np.median(fit.throws.uncertainty)),
        "outliers": [
            {
                "line": one.line, "throw": one.order, "exit_speed_m_s": one.exit_speed,
                "fitted_speed_m_s": one.fitted, "probability": one.probability,
            }
            for one in fit.outliers
        ],
        "cannot_tell": fit.sentences,
        "adequate": fit.adequate,
        "misfit": misfit.statements(fit),
        "causes": [
            {"what": one.words, "factor": one.factor, "interval": list(one.interval), "aicc_gain": one.gain}
            for one in fit.causes
        ],
        "sampling": {
            "effective_draws": fit.posterior.effective, "pareto_k": fit.posterior.tail,
            "trusted": fit.posterior.trusted,
        },
        "draws": {
            "effective": fit.posterior.effective, "tail": fit.posterior.tail, "trusted": fit.posterior.trusted
        },
        "stages": foretold.rows(learned.predicted, adequate=fit.adequate),
        "recommended": [advice.summary(one) for one in learned.recommended],
        "checks": [
            {"stages": one.stages, "throws": int(one.measured.size), "inside": one.inside, "error": one.error}
            for one in fit.checks
        ],
        "drift": drift_rows(learned.drifts),
    }  # fmt: skip


def _row(one: Parameter, units: Units) -> dict[str, Any]:
    return {
        "value": one.value, "standard_uncertainty": one.standard_uncertainty, "interval": list(one.interval),
        "identified": one.identified, "unit": units.si(one), "told_fraction": one.told,
        "prior": {"value": one.prior_value, "standard_uncertainty": one.prior_uncertainty},
        "profile_interval": None if one.profile is None else list(one.profile),
    }  # fmt: skip


def _headline(learned: Learned) -> str:
    if not learned.fit.adequate:
        return misfit.headline(learned.fit)
    said = foretold.sentence(learned.predicted)
    return f"Fitted {plural(int(learned.fit.used.size), 'throw')}: {said}"


def parameters(fit: Fit, units: Units) -> Table:
    """What each parameter was and is."""
    columns = (
        Column("parameter", words=True), Column("unit", words=True), Column("before", spare=True), Column("after"),
        Column("95 %"), Column("learned"), Column("pinned down", words=True),
    )  # fmt: skip
    rows = tuple(
        (
            name_of(one), units.shown(one), units.text(one, one.prior_value, one.prior_uncertainty),
            units.text(one, one.value, one.standard_uncertainty), units.span(one), percent(one.told, 0),
            "yes" if one.identified else "no",
        )
        for one in fit.parameters
    )  # fmt: skip
    return Table("Parameters: what the throws have told", columns, rows)


def _laws(fit: Fit) -> Table:
    best = min(fit.aicc.values())
    rows = tuple(
        (name, digits(value - best if np.isfinite(value) else None) if value > best else "0", _law_words(fit, name))
        for name, value in sorted(fit.aicc.items(), key=lambda item: item[1])
    )
    return Table("Friction laws", (Column("law", words=True), Column("AICc above best"), Column("", words=True)), rows)


def _law_words(fit: Fit, name: str) -> str:
    own = fit.scenario.launcher.contact.friction.name
    if name == fit.law:
        return "used" + (", as configured" if name == own else ", in place of the configured one")
    apart = fit.aicc[name] - fit.aicc[fit.law]
    return "fits about as well" if apart < TIE else "fits worse" if apart < 10 else "does not fit"


def _outliers(fit: Fit) -> Table:
    columns = (Column("line"), Column("throw"), Column("measured", "m/s"), Column("fitted", "m/s"), Column("wild"))
    rows = tuple(
        (str(one.line), f"{one.order:g}", speed(one.exit_speed), speed(one.fitted), percent(one.probability, 0))
        for one in fit.outliers
    )
    return Table("Probably wild: they count little, and are not dropped", columns, rows)


def _notes(learned: Learned) -> list[str]:
    fit = learned.fit
    notes = [*_advice(learned), *foretold.missing(learned.predicted)] if fit.adequate else misfit.statements(fit)
    notes += [f"One throw scatters by {percent(fit.scatter)} about the fit.{_repeats(fit)}", *fit.sentences]
    if fit.scenario.draws is not None:
        notes.append("The configuration is a fit itself: throws that it has seen already count twice.")
    if not fit.posterior.trusted:
        notes.append("The draws are too uneven to rely on the intervals: fit fewer parameters, or measure more.")
    if not fit.parameters:
        notes.append('Nothing was fitted: no value has an uncertainty. Write "0.75 ± 0.1" for what is not known.')
    notes += [
        f"Throws with fewer stages alone foretold those with {one.stages}: {one.inside} of {one.measured.size} inside"
        f" their 95 % interval, median error {percent(one.error)}."
        for one in fit.checks
    ]
    return [*notes, *drift_notes(learned.drifts), *_table_notes(fit)]


def _advice(learned: Learned) -> list[str]:
    """What to set the last stage that was measured to; and where no setting of a stage keeps the limits."""
    found, built = learned.recommended, learned.fit.built
    first = advice.notes(found[built - 1], built) if built <= len(found) else []
    ended = bool(found) and len(found) != built and found[-1].wheel_speed is None
    return [*first, *(advice.notes(found[-1], len(found)) if ended else [])]


def _repeats(fit: Fit) -> str:
    known = fit.repeats
    if known is None:
        return " No setting was repeated, so repeatability by itself is not known."
    return (
        f" Repeats at one setting scatter by {percent(known.deviation)} ({plural(known.freedom, 'degree')} of freedom)."
    )


def _table_notes(fit: Fit) -> list[str]:
    throws, notes = fit.throws, []
    if throws.at_outlet:
        notes.append("Exit speeds were computed from flights: they are those at the opening.")
    if throws.uncertainty is not None:
        good = percent(float(np.median(throws.uncertainty)))
        notes.append(f"By the table's own words exit speeds are good to {good} each, one standard uncertainty.")
    if throws.without_speed:
        notes.append(f"Left out, no exit speed: {plural(len(throws.without_speed), 'line')}.")
    jams = int(throws.jammed.sum())
    if jams:
        notes.append(f"Jammed, and used as such: {plural(jams, 'throw')}.")
    if throws.passed:
        notes.append(f"Columns passed over: {listing(list(throws.passed))}.")
    if len(throws.builds) > 1:
        notes.append(f"Builds fitted as one: {listing(list(throws.builds))}; --build fits one alone.")
    return notes
