"""`stager fit`: fitted parameters, misfit and its causes, drift, as screen and document."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from stager.fit.adequacy import ALL_GRIPPED
from stager.fit.compare import Drift
from stager.fit.experiment_design import MeasuredSettings
from stager.fit.explanations import Hypothesis
from stager.fit.posterior import Fit, Parameter
from stager.fit.prediction import Learned
from stager.fit.table.throws import Throws, passed_over
from stager.report import limits, predictions
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import MISSING, digits, listing, percent, plural, speed
from stager.report.throw import instruments
from stager.units import Measured, format_quantity, readable_unit

KILO = 1000.0
"""Lumped parameters are shown in thousands of their SI unit."""

SHOWS = 2.6
"""Standard uncertainties from which a drift of friction is said first: chance alone does so in one session of 100."""

_SPEEDS = ("fade_speed", "peak_speed", "rise_speed")
"""Parameters of friction laws that are speeds [m/s]."""


@dataclass(frozen=True, slots=True)
class Units:
    """Units of fitted parameters; known: SI unit by key."""

    known: Mapping[str, str]

    def si(self, one: Parameter) -> str:
        """Return the SI unit, "" for a pure number."""
        return self.known.get(one.key, one.unit)

    def shown(self, one: Parameter) -> str:
        """Return the unit that screens show."""
        return f"k{one.unit}" if one.group else self._unit(one)

    def text(self, one: Parameter, value: float, spread: float) -> str:
        """Return value ± standard uncertainty, without unit."""
        if one.group:
            return format_quantity(value / KILO, spread / KILO)
        text = format_quantity(value, spread, self.si(one), written=self._unit(one))
        return " ± ".join(part.strip().removesuffix(self._unit(one)).strip() for part in text.split("±"))

    def span(self, one: Parameter) -> str:
        """Return the 95 % interval, without unit."""
        return " to ".join(self.text(one, end, one.standard_uncertainty).split(" ± ")[0] for end in one.interval)

    def _unit(self, one: Parameter) -> str:
        return readable_unit(one.prior_value, self.si(one)) if self.si(one) else ""


def name_of(one: Parameter) -> str:
    """Return a parameter's name for screens: "crush", "feed speed", "rail friction"."""
    *path, last = one.key.split(".")
    prefixes = {"feed": "feed ", "rail_friction": "rail ", "wheel": "wheel ", "supply": "supply "}
    prefix = prefixes.get(path[-1], "") if path else ""
    stage = f", stage {path[1]}" if len(path) > 1 and path[0] == "stages" else ""
    return f"{prefix}{last.replace('_', ' ')}{stage}"


def units_of(parameters: Sequence[Parameter], quantities: Mapping[str, Measured]) -> Units:
    """Return units of parameters: from the configuration, for parameters of other friction laws by name."""
    laws = {one.key: "m/s" for one in parameters if one.key.endswith(_SPEEDS)}
    return Units({**laws, **{key: measured.unit for key, measured in quantities.items()}})


UNIT_TOLERANCE = 0.06
"""A factor this close to that between two units is taken for a mixed-up unit [-]."""
MOST_CAUSES = 3
"""Likely causes of a misfit that are named."""
SIMILAR_AICC = 10.0
"""Causes whose AICc is within this of the best are named."""
MIXED_UNITS: Mapping[float, str] = {
    1 / 3.6: "km/h had been written as m/s", 0.44704: "mph had been written as m/s",
    0.3048: "ft/s had been written as m/s", 3.6: "m/s had been written as km/h",
    1 / 0.44704: "m/s had been written as mph", 1 / 0.3048: "m/s had been written as ft/s",
}  # fmt: skip
"""Factors on exit speed that a mixed-up unit makes [-]."""
MIXED_TURNS: Mapping[float, str] = {
    60.0: "turns per second had been written as rpm", 60 / math.tau: "rad/s had been written as rpm",
    1 / 60: "rpm had been written as turns per second", math.tau / 60: "rpm had been written as rad/s",
    math.tau: "turns per second had been written as rad/s", 1 / math.tau: "rad/s had been written as turns per second",
}  # fmt: skip
"""Factors on wheel speed that a mixed-up unit makes [-]."""
ADVICE = (
    "Look first at the units in the table's heads, the wheels' radius and rpm, and the distance to the chronograph"
    " (measuring.distance)."
)
"""Advice for a misfit of no particular kind."""
BY_KIND: Mapping[str, str] = {
    "order": "Let wheels, battery and projectiles settle, throw one setting again every few throws, or fit each part of"
    " the session alone.",
    "band": "Look for what happens at that wheel speed: a wheel out of balance, a frame that shakes, a part that rubs.",
    "build": "Fit one build alone: --build NAME.",
    "kinds": "Weigh ten projectiles; throw each kind as a build of its own.",
    "prior": "Measure what they contradict, or give it a larger ±.",
    "jams": "Look for what stops the projectile: its feed, the guide, a gap that is too narrow.",
    "speed": ADVICE, "scatter": ADVICE, "fast": ADVICE,
}  # fmt: skip
"""Advice for each kind of misfit without a likely cause."""


NOT_FOR_PLANS = "these are values of a model that does not fit, so plan nothing with them; find the cause first."
"""What becomes of a fitted configuration after a misfit."""


def misfit_headline(fit: Fit) -> str:
    """Return the headline of a fit whose model does not describe the throws."""
    words = list(dict.fromkeys(one.words for one in fit.misfits))
    misfits = words[0] if len(words) == 1 else f"{words[0]}, and {words[1]}"
    return f"The model does not fit these {plural(int(fit.used.size), 'throw')}: {misfits}. No grip limit can be given."


def misfit_statements(fit: Fit) -> list[str]:
    """Return a sentence for each misfit, then what to check first."""
    return [*_misfits(fit), *misfit_advice(fit)]


def _misfits(fit: Fit) -> list[str]:
    words = list(dict.fromkeys(one.words for one in fit.misfits))
    return [f"{one[0].upper()}{one[1:]}." for one in words]


def misfit_advice(fit: Fit) -> list[str]:
    """Return likely causes with their remedies, best first; without causes, advice for each kind of misfit."""
    if not fit.misfits:
        return []
    if not fit.causes:
        return list(dict.fromkeys(BY_KIND[one.kind] for one in fit.misfits))
    best = fit.causes[0].aicc
    likely = [_cause(one) for one in fit.causes[:MOST_CAUSES] if one.aicc - best < SIMILAR_AICC]
    # No cause that is looked for acts in one build or at one wheel speed alone, or makes throws jam.
    kinds = {one.kind for one in fit.misfits}
    build, band, jams = ([BY_KIND[kind]] if kind in kinds else [] for kind in ("build", "band", "jams"))
    return [*build, *likely, *band, *jams]


def _cause(one: Hypothesis) -> str:
    match one.name:
        case "chronograph":
            return f"Exit speeds would fit {_times(one.factor)}: check their unit, the chronograph and its distance."
        case "step":
            since = "" if one.since is None else f" from throw {one.since:g} on"
            return f"Exit speeds would fit {_times(one.factor)}{since}: check what was changed there."
        case "tachometer":
            mixed = _mixed(one.factor, MIXED_TURNS)
            if mixed:
                return f"It would fit as if {mixed}: check the head of the column of wheel speeds."
            more = "faster" if one.factor > 1 else "slower"
            return (
                f"It would fit if the wheels ran {_round(one.factor)} {more} than the table says: check unit"
                " and rpm, measure the radius under load, or give stage.wheel.radius or measuring.wheel_speed a ±."
            )
        case "outlet":
            return 'It would fit if barrel or spout took energy: give [outlet] loss a ±, for example "0.1 J ± 0.1 J".'
        case "creep":
            return f"It would fit with {digits(one.factor)} times the creep: give contact.creep a ± as large as itself."
        case "growth":
            return "It would fit if the tyre grew more or less with speed: give stage.wheel.tyre.modulus a ±."
        case "kinds":
            return (
                f"Some projectiles seem {_round(one.factor)} {'heavier' if one.factor > 1 else 'lighter'}:"
                " weigh ten, throw each kind as a build of its own."
            )
    return f"A change of the {one.words} would fit it."


def _round(factor: float) -> str:
    """Return how far a factor is from 1, to the digits that such an estimate has."""
    change = abs(factor - 1)
    return percent(change, 0 if change >= 0.1 else 1)


def _times(factor: float) -> str:
    """Return a factor on exit speeds in words, as a mixed-up unit where it is close to one."""
    if mixed := _mixed(factor, MIXED_UNITS):
        return f"as if {mixed}"
    if 0.5 < factor < 2:
        return f"{_round(factor)} {'higher' if factor > 1 else 'lower'}"
    return f"{digits(factor)} times as large"


def _mixed(factor: float, units: Mapping[float, str]) -> str:
    """Return which mixed-up unit a factor is close to, "" if to none."""
    near = (words for known, words in units.items() if abs(factor / known - 1) < UNIT_TOLERANCE)
    return next(near, "")


def drift_rows(drifts: Sequence[Drift]) -> list[dict[str, Any]]:
    """Return the drift of each build as JSON has it."""
    return [
        {
            "build": one.build,
            "throws": one.throws,
            "by": one.by,
            "change_fraction": None if one.change is None else one.change.value,
            "interval": None if one.change is None else list(one.change.interval),
            "probability": None if one.change is None else one.adjusted,
            "claimed": one.claimed,
            "reason": one.reason or None,
        }
        for one in drifts
    ]


def order_notes(throws: Throws) -> list[str]:
    """Return a note where the rows tell the order of the throws in place of the table's numbers or times."""
    reasons = {"numbers": "Numbers of throws occur twice", "times": "Times start anew with a build"}
    why = reasons.get(passed_over(throws))
    return [f"{why}: throws are taken in the order of their rows."] if why else []


def drift_notes(drifts: Sequence[Drift]) -> list[str]:
    """Return a sentence on the drift of each build."""
    return [_drift_note(one) for one in drifts]


def _drift_note(one: Drift) -> str:
    name = f"Build {one.build}" if one.build else "The session"
    if one.change is None:
        return f"{name}: drift is not known; {one.reason}."
    low, high = one.change.interval
    span = f"{percent(one.change.value)} from first to last throw ({percent(low)} to {percent(high)})"
    if one.claimed:
        return f"{name} drifts: exit speed changes by {span}."
    return f"{name}: no drift is shown, {span}."


TIE_AICC = 2.0
"""Difference of AICc below which friction laws describe the throws about equally well."""
WORSE_AICC = 10.0
"""Difference of AICc from which on a friction law is said not to fit."""
BETTER, EQUAL = "fits better", "fits about as well"
"""Words on a law by AICc: lower by TIE_AICC or more, or within it of that of the law that is used."""
UNTOLD = "too few throws to tell"
"""Words on a law where one of both has no AICc, as it has about as many parameters as there are throws."""
LEAST_LEARNED = 0.25
"""Share learned of a parameter from which on the short screen shows it [-]."""


def answer(
    learned: Learned, quantities: Mapping[str, Measured], source: Provenance, written: Sequence[Path] = ()
) -> Answer:
    """Return the screen and document of a fit; written: files that were written."""
    fit = learned.fit
    units = units_of(fit.parameters, quantities)
    tables = []
    if fit.adequate:
        tables += [predictions.settings(learned.predicted), predictions.exits(learned.predicted)]
    if fit.outliers:
        tables.append(_outliers(fit))
    tables.append(_learned_most(fit, parameters(fit, units)))
    notes, sentences = _notes(learned), [each for each in fit.sentences if each != ALL_GRIPPED]
    more_notes = [*sentences, *_statistics(fit)]
    if written:
        files = listing([str(path) for path in written])
        use = f"use the first as CONFIG for plan, worth and sweep.{_law_alone(fit)}" if fit.adequate else NOT_FOR_PLANS
        notes.append(f"Wrote {files}: {use}")
    screen = Screen(_headline(learned), tables, notes, more_tables=[laws(fit)], more_notes=more_notes)
    return Answer(screen, document(summary(learned, units), source))


def summary(learned: Learned, units: Units) -> dict[str, Any]:
    """Return a fit as JSON has it, without provenance."""
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
        else float(np.median(fit.throws.uncertainty[fit.used])),
        "outliers": [
            {
                "line": one.line, "throw": one.order, "exit_speed_m_s": one.exit_speed,
                "fitted_speed_m_s": one.fitted, "probability": one.probability,
            }
            for one in fit.outliers
        ],
        "cannot_tell": fit.sentences,
        "adequate": fit.adequate,
        "misfit": misfit_statements(fit),
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
        "stages": predictions.chain_rows(learned.predicted, adequate=fit.adequate),
        "recommended": [predictions.recommended_rows(one) for one in learned.recommended],
        "checks": [
            {"stages": one.stages, "throws": int(one.measured.size), "inside": one.inside, "error": one.error}
            for one in fit.checks
        ],
        "drift": drift_rows(learned.drifts),
        "friction_drift": _friction_drift(fit),
    }  # fmt: skip


def _friction_drift(fit: Fit) -> dict[str, Any] | None:
    """Change of friction from the first to the last throw; all else that is told is of the session's end."""
    if fit.drift is None:
        return None
    low, high = (math.expm1(end) for end in fit.drift.interval)
    return {"fraction": math.expm1(fit.drift.value), "interval": [low, high], "shown": bool(dated(fit))}


def _row(one: Parameter, units: Units) -> dict[str, Any]:
    return {
        "value": one.value, "standard_uncertainty": one.standard_uncertainty, "interval": list(one.interval),
        "identified": one.identified, "unit": units.si(one), "told_fraction": one.told,
        "prior": {"value": one.prior_value, "standard_uncertainty": one.prior_uncertainty},
        "profile_interval": None if one.profile is None else list(one.profile),
    }  # fmt: skip


def _headline(learned: Learned) -> str:
    if not learned.fit.adequate:
        return misfit_headline(learned.fit)
    prediction, when = predictions.words(learned.predicted), dated(learned.fit)
    return f"Fitted {plural(int(learned.fit.used.size), 'throw')}{when}{f': {prediction}' if prediction else ''}."


def dated(fit: Fit) -> str:
    """Return that friction drifts, and that what is told is of the session's end; nothing where no drift shows."""
    drift = fit.drift
    if drift is None or abs(drift.value) < SHOWS * drift.standard_uncertainty:
        return ""
    change = math.expm1(drift.value)
    return f" (friction {'rose' if change > 0 else 'fell'} by {percent(abs(change), 0)}; this is at the session's end)"


def parameters(fit: Fit, units: Units) -> Table:
    """Return the table of parameters, before and after the throws."""
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
    return Table("What the throws tell about each parameter", columns, rows)


def _learned_most(fit: Fit, everything: Table) -> Table:
    """Return the rows of parameters of which the throws tell much; all rows under --full."""
    shown = [one.identified or one.told >= LEAST_LEARNED for one in fit.parameters]
    if all(shown):
        return everything
    rows = tuple(row for row, show in zip(everything.rows, shown, strict=True) if show)
    others = f" ({plural(len(everything.rows) - len(rows), 'other')}, of which they tell little)"
    return replace(everything, title=everything.title + others, rows=rows, full=everything)


def laws(fit: Fit) -> Table:
    """Return the table of friction laws, best first."""
    best = min(fit.aicc.values())
    rows = tuple(
        (
            name,
            MISSING if not math.isfinite(value) else digits(value - best) if value > best else "0",
            _law_words(fit, name),
        )
        for name, value in sorted(fit.aicc.items(), key=lambda item: item[1])
    )
    return Table("Friction laws", (Column("law", words=True), Column("AICc above best"), Column("", words=True)), rows)


def _law_alone(fit: Fit) -> str:
    """Return that the fitted file holds one law alone, where predictions average several."""
    if len(fit.weights) == 1:
        return ""
    share = percent(fit.weights[fit.law], 0)
    return (
        f" It holds the friction law {fit.law} alone, {share} of what is averaged here: with it, intervals may be"
        " narrower."
    )


def law_sentence(fit: Fit) -> str:
    """Return which friction law is used, and which others describe the throws better or about equally well."""
    said = [_law_words(fit, fit.law).removeprefix("used, ").removeprefix("used ")]
    for words in (BETTER, EQUAL):
        others = [name for name in fit.aicc if _law_words(fit, name) == words]
        if others:
            said.append(f"{listing(others)} {words if len(others) == 1 else words.replace('fits', 'fit')}")
            if words == BETTER and not fit.found.law.priors:
                said[-1] += ", but friction given without ± is taken as known"
    if untold := [name for name in fit.aicc if _law_words(fit, name) == UNTOLD]:
        said.append(f"{UNTOLD} of {listing(untold)}")
    return f"Friction law: {fit.law}, {'; '.join(said)}."


def _law_words(fit: Fit, name: str) -> str:
    own = fit.scenario.launcher.contact.friction.name
    if name == fit.law:
        return "used" + (", as configured" if name == own else ", in place of the configured one")
    if not (math.isfinite(fit.aicc[name]) and math.isfinite(fit.aicc[fit.law])):
        return UNTOLD
    apart = fit.aicc[name] - fit.aicc[fit.law]
    if apart < TIE_AICC:
        return EQUAL if apart > -TIE_AICC else BETTER
    return "fits worse" if apart < WORSE_AICC else "does not fit"


def _outliers(fit: Fit) -> Table:
    columns = (Column("line"), Column("throw"), Column("measured", "m/s"), Column("fitted", "m/s"), Column("outlier"))
    rows = tuple(
        (str(one.line), f"{one.order:g}", speed(one.exit_speed), speed(one.fitted), percent(one.probability, 0))
        for one in fit.outliers
    )
    return Table("Probable outliers: given little weight, not dropped", columns, rows)


def _notes(learned: Learned) -> list[str]:
    fit = learned.fit
    advice = [*_advice(learned), *predictions.jams_at_last(learned.predicted)]
    # The first two misfits stand in the headline.
    gripped = [each for each in fit.sentences if each == ALL_GRIPPED]
    notes = [*gripped, *advice] if fit.adequate else [*misfit_advice(fit), *_misfits(fit)[2:], *gripped]
    notes += [
        f"One throw scatters by {percent(fit.scatter)} about the fit.{_repeats(fit)}", law_sentence(fit)
    ]  # fmt: skip
    if fit.scenario.draws is not None:
        notes.append(predictions.TWICE)
    if not fit.posterior.trusted:
        few = "few draws carry most of the weight"
        notes.append(f"The intervals are not reliable, as {few}: fit fewer parameters, or measure more.")
    if not fit.parameters:
        notes.append('Nothing was fitted: no value has an uncertainty. Write "0.75 ± 0.1" for what is not known.')
    notes += [
        f"Predicted from throws with fewer stages alone, {one.inside} of {one.measured.size} throws with {one.stages}"
        f" stages lie inside their 95 % interval, median error {percent(one.error)}."
        for one in fit.checks
    ]
    return [*notes, *drift_notes(learned.drifts), *_table_notes(fit)]


def _advice(learned: Learned) -> list[str]:
    """Return the setting of the last measured stage, and which further stage has no setting within the limits."""
    chosen, built = learned.recommended, learned.fit.built
    last_built = predictions.recommended_notes(chosen[built - 1], built) if built <= len(chosen) else []
    none_left = bool(chosen) and len(chosen) != built and chosen[-1].wheel_speed is None
    last = predictions.recommended_notes(chosen[-1], len(chosen)) if none_left else []
    set_to = {k: one.wheel_speed for k, one in enumerate(chosen) if one.wheel_speed is not None}
    shown = instruments(learned.fit.launcher, set_to)
    scenario = learned.fit.scenario
    fastest = set_to.get(built - 1)
    far = [predictions.FAR] if fastest is not None and fastest > MeasuredSettings.of(learned.fit).reach else []
    unlimited = limits.reach_notes(scenario.launcher, scenario.limit_values, dict(list(set_to.items())[:built]))
    return [*last_built, *far, *unlimited, *shown, *predictions.outlet_notes(scenario.launcher, chosen[:built]), *last]


def _repeats(fit: Fit) -> str:
    known = fit.repeats
    if known is None:
        return " No setting was repeated, so the scatter of repeats is not known."
    return f" Repeats at one setting scatter by {percent(known.deviation)}."


def _statistics(fit: Fit) -> list[str]:
    """Return statistics by name, for --full."""
    known = fit.repeats
    return [] if known is None else [f"Scatter of repeats: {plural(known.freedom, 'degree')} of freedom."]


def _table_notes(fit: Fit) -> list[str]:
    throws, notes = fit.throws, []
    if throws.at_outlet:
        notes.append("Exit speeds were computed from flights: they are speeds at the muzzle.")
    if throws.uncertainty is not None:
        stated = throws.uncertainty[fit.used]
        good = " to ".join(dict.fromkeys(percent(float(end)) for end in (stated.min(), stated.max())))
        notes.append(f"The table states exit speeds to {good} (one standard uncertainty).")
    if throws.without_speed:
        notes.append(f"Left out, no exit speed: {plural(len(throws.without_speed), 'line')}.")
    jams = int(throws.jammed.sum())
    if jams:
        through = int(fit.found.jams_let_through.sum())
        but = f"; the model lets {through} of them through" if through else ""
        notes.append(f"Used as jams: {plural(jams, 'throw')}{but}.")
    if throws.passed:
        notes.append(f"Columns not used: {listing(list(throws.passed))}.")
    notes += order_notes(throws)
    if len(throws.builds) > 1:
        notes.append(f"Builds fitted as one: {listing(list(throws.builds))}; --build fits one alone.")
    return notes
