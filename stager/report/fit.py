"""A fit as screen and document: parameters in people's units, misfit, drift."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from stager.fit.drift import Drift
from stager.fit.explanations import Hypothesis
from stager.fit.prediction import Learned
from stager.fit.records import Fit, Parameter
from stager.report import predictions
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import digits, listing, percent, plural, speed
from stager.units import Measured, format_quantity, readable_unit

KILO = 1000.0
"""Groups are shown in thousands of their SI unit."""

_SPEEDS = ("fade_speed", "peak_speed", "rise_speed")


@dataclass(frozen=True, slots=True)
class Units:
    """SI unit of each parameter by key."""

    known: Mapping[str, str]

    def si(self, one: Parameter) -> str:
        """The SI unit, "" for a pure number."""
        return self.known.get(one.key, one.unit)

    def shown(self, one: Parameter) -> str:
        """The unit for people."""
        return f"k{one.unit}" if one.group else self._unit(one)

    def text(self, one: Parameter, value: float, spread: float) -> str:
        """Value ± standard uncertainty, without unit."""
        if one.group:
            return format_quantity(value / KILO, spread / KILO)
        text = format_quantity(value, spread, self.si(one), written=self._unit(one))
        return " ± ".join(part.strip().removesuffix(self._unit(one)).strip() for part in text.split("±"))

    def span(self, one: Parameter) -> str:
        """The 95 % interval, without unit."""
        return " to ".join(self.text(one, end, one.standard_uncertainty).split(" ± ")[0] for end in one.interval)

    def _unit(self, one: Parameter) -> str:
        return readable_unit(one.prior_value, self.si(one)) if self.si(one) else ""


def name_of(one: Parameter) -> str:
    """A parameter's key in few words: "crush", "feed speed", "rail friction"."""
    *path, last = one.key.split(".")
    place = {"feed": "feed ", "rail_friction": "rail ", "wheel": "wheel ", "supply": "supply "}
    where = place.get(path[-1], "") if path else ""
    stage = f", stage {path[1]}" if len(path) > 1 and path[0] == "stages" else ""
    return f"{where}{last.replace('_', ' ')}{stage}"


def units_of(parameters: Sequence[Parameter], quantities: Mapping[str, Measured]) -> Units:
    """Units from a configuration's quantities; those of other friction laws are known by name."""
    laws = {one.key: "m/s" for one in parameters if one.key.endswith(_SPEEDS)}
    return Units({**laws, **{key: measured.unit for key, measured in quantities.items()}})


CLOSE = 0.06
"""A factor this near one between two units is taken for it [-]."""

MOST_CAUSES = 3
SIMILAR = 10.0
"""Causes whose AICc is within this much of the best are named."""

MISREAD: Mapping[float, str] = {
    1 / 3.6: "km/h had been written as m/s", 0.44704: "mph had been written as m/s",
    0.3048: "ft/s had been written as m/s", 3.6: "m/s had been written as km/h",
    1 / 0.44704: "m/s had been written as mph", 1 / 0.3048: "m/s had been written as ft/s",
}  # fmt: skip
GENERAL = (
    "Look first at the units in the table's heads, the wheels' radius and rpm, and the distance to the chronograph"
    " (measuring.distance)."
)
BY_KIND: Mapping[str, str] = {
    "order": "Let wheels, battery and projectiles settle, throw one setting again every few throws, or fit each part of"
    " the session alone.",
    "build": "Fit one build alone: --build NAME.",
    "kinds": "Weigh ten projectiles; throw each kind as a build of its own.",
    "prior": "Measure what they contradict, or give it a larger ±.",
    "speed": GENERAL, "scatter": GENERAL, "fast": GENERAL,
}  # fmt: skip


def misfit_headline(fit: Fit) -> str:
    """Return the first line of a fit that fails."""
    words = list(dict.fromkeys(one.words for one in fit.misfits))
    said = words[0] if len(words) == 1 else f"{words[0]}, and {words[1]}"
    return f"The model does not fit these {plural(int(fit.used.size), 'throw')}: {said}. No grip limit can be given."


def misfit_statements(fit: Fit) -> list[str]:
    """Return what does not fit, each a sentence, then what to look at first."""
    return [*_misfits(fit), *misfit_advice(fit)]


def _misfits(fit: Fit) -> list[str]:
    words = list(dict.fromkeys(one.words for one in fit.misfits))
    return [f"{one[0].upper()}{one[1:]}." for one in words]


def misfit_advice(fit: Fit) -> list[str]:
    """Return likely causes with the remedy for each, best first; without any, what to look at for each kind."""
    if not fit.misfits:
        return []
    if not fit.causes:
        return list(dict.fromkeys(BY_KIND[one.kind] for one in fit.misfits))
    best = fit.causes[0].aicc
    return [_cause(one) for one in fit.causes[:MOST_CAUSES] if one.aicc - best < SIMILAR]


def _cause(one: Hypothesis) -> str:
    match one.name:
        case "chronograph":
            return f"Exit speeds would fit {_times(one.factor)}: check their unit, the chronograph and its distance."
        case "step":
            since = "" if one.since is None else f" from throw {one.since:g} on"
            return f"Exit speeds would fit {_times(one.factor)}{since}: check what was changed there."
        case "tachometer":
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
            return "It would fit if the tyre grew otherwise: give stage.wheel.tyre.modulus a ±."
        case "kinds":
            return (
                f"Some projectiles seem {_round(one.factor)} {'heavier' if one.factor > 1 else 'lighter'}:"
                " weigh ten, throw each kind as a build of its own."
            )
    return f"A change of the {one.words} would fit it."


def _round(factor: float) -> str:
    """How far a factor is from 1, to no more digits than such an estimate has."""
    change = abs(factor - 1)
    return percent(change, 0 if change >= 0.1 else 1)


def _times(factor: float) -> str:
    """A factor on exit speeds in words, as a mixed-up unit where it is near one."""
    near = [words for known, words in MISREAD.items() if abs(factor / known - 1) < CLOSE]
    if near:
        return f"as if {near[0]}"
    if 0.5 < factor < 2:
        return f"{_round(factor)} {'higher' if factor > 1 else 'lower'}"
    return f"{digits(factor)} times as large"


def drift_rows(drifts: Sequence[Drift]) -> list[dict[str, Any]]:
    """Drift of each build as the document has it."""
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


def drift_notes(drifts: Sequence[Drift]) -> list[str]:
    """A sentence for each build."""
    return [_sentence(one) for one in drifts]


def _sentence(one: Drift) -> str:
    name = f"Build {one.build}" if one.build else "The session"
    if one.change is None:
        return f"{name}: drift is not known; {one.reason}."
    low, high = one.change.interval
    span = f"{percent(one.change.value)} from first to last throw ({percent(low)} to {percent(high)})"
    if one.claimed:
        return f"{name} drifts: exit speed changes by {span}."
    return f"{name}: no drift is shown, {span}."


TIE = 2.0
"""AICc within which friction laws describe the throws about as well."""
TELLS = 0.25
"""Share learned of a parameter from which on a short screen shows it [-]."""


def answer(
    learned: Learned, quantities: Mapping[str, Measured], source: Provenance, written: Sequence[Path] = ()
) -> Answer:
    """What the throws told, what they could not, and what the next stage will give; files `written`."""
    fit = learned.fit
    units = units_of(fit.parameters, quantities)
    tables = []
    if fit.adequate:
        tables += [predictions.settings(learned.predicted), predictions.exits(learned.predicted)]
    if fit.outliers:
        tables.append(_outliers(fit))
    whole = parameters(fit, units)
    told = _told(fit, whole)
    if told.rows:
        tables.append(told)
    more = [*([] if told.rows or not whole.rows else [whole]), _laws(fit)]
    notes, more_notes = _notes(learned), [*fit.sentences, *_statistics(fit)]
    if written:
        notes.append(f"Wrote {listing([str(path) for path in written])}: give the first to plan, worth and sweep.")
    screen = Screen(_headline(learned), tables, notes, more_tables=more, more_notes=more_notes)
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
        return misfit_headline(learned.fit)
    said = predictions.sentence(learned.predicted)
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
    return Table("What the throws tell about each parameter", columns, rows)


def _told(fit: Fit, whole: Table) -> Table:
    """Return the parameters of which the throws tell something; all of them where everything is asked for."""
    shown = [one.identified or one.told >= TELLS for one in fit.parameters]
    if all(shown):
        return whole
    rows = tuple(row for row, show in zip(whole.rows, shown, strict=True) if show)
    others = f" ({plural(len(whole.rows) - len(rows), 'other')}, of which they tell little)"
    return replace(whole, title=whole.title + others, rows=rows, full=whole)


def _laws(fit: Fit) -> Table:
    best = min(fit.aicc.values())
    rows = tuple(
        (name, digits(value - best if np.isfinite(value) else None) if value > best else "0", _law_words(fit, name))
        for name, value in sorted(fit.aicc.items(), key=lambda item: item[1])
    )
    return Table("Friction laws", (Column("law", words=True), Column("AICc above best"), Column("", words=True)), rows)


def _law_sentence(fit: Fit) -> str:
    """Which friction law is used, and which others describe the throws about as well."""
    others = [name for name in fit.aicc if name != fit.law and fit.aicc[name] - fit.aicc[fit.law] < TIE]
    equal = f"; {listing(others)} {'fits' if len(others) == 1 else 'fit'} about as well" if others else ""
    return f"Friction law: {fit.law}, {_law_words(fit, fit.law).removeprefix('used, ').removeprefix('used ')}{equal}."


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
    advice = [*_advice(learned), *predictions.jams_at_last(learned.predicted)]
    # The first two misfits stand in the headline.
    notes = advice if fit.adequate else [*misfit_advice(fit), *_misfits(fit)[2:]]
    notes += [
        f"One throw scatters by {percent(fit.scatter)} about the fit.{_repeats(fit)}", _law_sentence(fit)
    ]  # fmt: skip
    if fit.scenario.draws is not None:
        notes.append("The configuration is a fit itself: throws that it has seen already count twice.")
    if not fit.posterior.trusted:
        notes.append("The draws are too uneven to rely on the intervals: fit fewer parameters, or measure more.")
    if not fit.parameters:
        notes.append('Nothing was fitted: no value has an uncertainty. Write "0.75 ± 0.1" for what is not known.')
    notes += [
        f"Throws with fewer stages alone predicted those with {one.stages}: {one.inside} of {one.measured.size} inside"
        f" their 95 % interval, median error {percent(one.error)}."
        for one in fit.checks
    ]
    return [*notes, *drift_notes(learned.drifts), *_table_notes(fit)]


def _advice(learned: Learned) -> list[str]:
    """What to set the last stage that was measured to; and where no setting of a stage keeps the limits."""
    found, built = learned.recommended, learned.fit.built
    first = predictions.recommended_notes(found[built - 1], built) if built <= len(found) else []
    ended = bool(found) and len(found) != built and found[-1].wheel_speed is None
    return [*first, *(predictions.recommended_notes(found[-1], len(found)) if ended else [])]


def _repeats(fit: Fit) -> str:
    known = fit.repeats
    if known is None:
        return " No setting was repeated, so repeatability by itself is not known."
    return f" Repeats at one setting scatter by {percent(known.deviation)}."


def _statistics(fit: Fit) -> list[str]:
    """Statistics by name, for those who ask for everything."""
    known = fit.repeats
    return [] if known is None else [f"Scatter of repeats: {plural(known.freedom, 'degree')} of freedom."]


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
