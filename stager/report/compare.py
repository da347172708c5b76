"""`stager compare`: whether two builds differ, as screen and document."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from stager.fit.compare import Compared, Contrast, Jams
from stager.fit.explanations import Hypothesis
from stager.fit.statistics.hypothesis_tests import Difference
from stager.fit.table import Throws
from stager.model.launcher import Launcher
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.fit import drift_notes, drift_rows, order_notes
from stager.report.numbers import digits, listing, percent, plural, signed, speed

TESTS = {
    "welch": "Welch, by settings",
    "paired": "differences of settings",
    "model": "beside the model's curve",
}
"""Name of each test on the screen, by its key in JSON."""
CHECKS = {
    "stiffness": "press both contacts with a scale",
    "friction": "clean wheels and projectiles of both, and throw again",
    "crush": "measure the gap of both", "feed": "time the feed of both", "mass": "weigh ten projectiles of each",
    "supply": "measure the supply under load",
}  # fmt: skip
"""What to check for each change that may explain a difference."""
WORTH_SEEING = 0.02
"""Relative difference of exit speed that is worth finding [-]; an assumption."""


def answer(contrast: Contrast, throws: Throws, launcher: Launcher, source: Provenance) -> Answer:
    """Return whether two builds differ, by how much, and what explains it."""
    compared = contrast.compared
    tables = []
    if compared.settings:
        tables.append(_settings(compared, throws, launcher))
    if compared.explanations:
        tables.append(_explanations(compared))
    more_tables = [_tests(compared)]
    if compared.explanations:
        more_tables.append(_gains(compared))
    if compared.jams.settings:
        more_tables.append(_jams_table(compared, throws, launcher))
    notes = [*_notes(compared), *next_steps(compared), *drift_notes(contrast.drifts), *order_notes(throws)]
    screen = Screen(_headline(compared), tables, notes, more_tables=more_tables)
    return Answer(screen, document(summary(contrast, throws, launcher), source))


def summary(contrast: Contrast, throws: Throws, launcher: Launcher) -> dict[str, Any]:
    """Return a comparison as JSON has it, without provenance."""
    compared = contrast.compared
    return {
        "builds": list(compared.builds),
        "throws": list(compared.counts),
        "different": compared.different,
        "speeds_differ": compared.speeds_differ,
        "difference_fraction": _fraction(compared.deciding.value),
        "interval": [_fraction(end) for end in compared.deciding.interval],
        "probability": compared.deciding.probability,
        "decided_by": compared.decides,
        "tests": {name: _test(getattr(compared, name)) for name in TESTS},
        "jams": _jams(compared.jams, throws, launcher),
        "settings": [
            {"wheel_speed_m_s": _speeds(throws, line, launcher), "difference_fraction": _fraction(value),
             "throws": [first, second]}
            for line, value, first, second in compared.settings
        ],
        "explanations": [
            {"what": one.words, "factor": one.factor, "interval": list(one.interval), "aicc": one.aicc,
             "aicc_gain": one.gain}
            for one in compared.explanations
        ],
        "explanations_about_equal": compared.equal,
        "outliers": compared.outliers,
        "lines_left_out": list(compared.left_out),
        "one_after_the_other": compared.apart,
        "next": next_steps(compared),
        "drift": drift_rows(contrast.drifts),
    }  # fmt: skip


def _jams(jams: Jams, throws: Throws, launcher: Launcher) -> dict[str, Any]:
    return {
        "jammed": list(jams.jammed), "throws": list(jams.throws), "different": jams.different,
        "probability": jams.probability,
        "settings": [
            {"wheel_speed_m_s": _speeds(throws, line, launcher), "jammed": list(jammed), "throws": list(thrown)}
            for line, jammed, thrown in jams.settings
        ],
    }  # fmt: skip


def _fraction(log: float) -> float:
    """Return the relative difference of a difference of logarithms."""
    return math.expm1(log)


def _test(test: Difference | None) -> dict[str, Any] | None:
    if test is None:
        return None
    return {
        "difference_fraction": _fraction(test.value), "interval": [_fraction(end) for end in test.interval],
        "probability": test.probability, "degrees_of_freedom": test.freedom,
    }  # fmt: skip


def _headline(compared: Compared) -> str:
    jams = compared.jams
    if not jams.different:
        return _verdict(compared, "between {} and {}".format(*compared.builds))
    worse, other = compared.builds[jams.more], compared.builds[1 - jams.more]
    return f"{worse} jams more often than {other}. {_verdict(compared, 'of the throws that leave')}"


def _verdict(compared: Compared, between: str) -> str:
    """Return whether exit speeds differ; between: what shows no difference."""
    first, second = compared.builds
    test = compared.deciding
    if not compared.speeds_differ:
        return f"No difference {between} is shown: {_span(test)} of exit speed."
    direction = "faster" if test.value > 0 else "slower"
    size, low, high = _shares(abs(_fraction(test.value)), *map(_fraction, test.interval))
    throws = f"{first} throws {size} {direction} than {second} ({low} to {high})"
    if compared.apart:
        return f"{throws}, by the builds or by the time between them: all throws of one build came first."
    return f"{first} and {second} differ: {throws}."


def _span(test: Difference) -> str:
    value, low, high = _shares(*map(_fraction, (test.value, *test.interval)))
    return f"{value} ({low} to {high})"


def _shares(value: float, low: float, high: float) -> list[str]:
    """Return a difference and its interval as per cent, with digits enough to see on which side of 0 each end is."""
    decimals = next((places for places in (1, 2) if round(100 * low, places) and round(100 * high, places)), 3)
    return [percent(share, decimals) for share in (value, low, high)]


def _tests(compared: Compared) -> Table:
    columns = (
        Column("test", words=True), Column("difference", words=True), Column("p"), Column("df"),
        Column("", words=True),
    )  # fmt: skip
    rows = []
    for name, words in TESTS.items():
        test: Difference | None = getattr(compared, name)
        if test is not None:
            decides = "decides" if name == compared.decides else ""
            rows.append((words, _span(test), digits(test.probability, 2), digits(test.freedom), decides))
    first, second = compared.builds
    return Table(f"{first} against {second}", columns, tuple(rows))


def _settings(compared: Compared, throws: Throws, launcher: Launcher) -> Table:
    first, second = compared.builds
    columns = (Column("wheels", "m/s"), Column("difference"), Column(first, "throws"), Column(second, "throws"))
    rows = tuple(
        (", ".join(speed(u) for u in _speeds(throws, line, launcher)), percent(_fraction(value)), str(a), str(b))
        for line, value, a, b in compared.settings
    )
    return Table("At equal settings", columns, rows)


def _jams_table(compared: Compared, throws: Throws, launcher: Launcher) -> Table:
    columns = (Column("wheels", "m/s"), *(Column(name, "jammed") for name in compared.builds))
    rows = tuple(
        (
            ", ".join(speed(u) for u in _speeds(throws, line, launcher)),
            *(f"{count} of {size}" for count, size in zip(jammed, thrown, strict=True)),
        )
        for line, jammed, thrown in compared.jams.settings
    )
    return Table("Jams", columns, rows)


def _jams_note(compared: Compared) -> str:
    """Return how often each build jammed."""
    (name, count, size), (other, others, of) = zip(
        compared.builds, compared.jams.jammed, compared.jams.throws, strict=True
    )
    return (
        f"{name} jammed in {count or 'none'} of {plural(size, 'throw')}, {other} in {others or 'none'} of {of}; exit"
        " speeds are of those that left."
    )


def _speeds(throws: Throws, line: int, launcher: Launcher) -> list[float]:
    """Return the wheel speeds of the throw that stands in a line of the table [m/s]."""
    row = throws.chosen(np.flatnonzero(throws.line == line))
    stages = tuple(int(k) for k in np.flatnonzero(row.present[0]))
    return [float(u) for u in np.ravel(row.surface_speed(launcher, stages, 0))]


def _explanations(compared: Compared) -> Table:
    columns = (
        Column("single change", words=True), Column(f"in {compared.builds[1]}"), Column("95 %", words=True),
        Column("", words=True, wraps=True),
    )  # fmt: skip
    rows = tuple(
        (
            one.words, signed(one.factor - 1), " to ".join(signed(end - 1) for end in one.interval),
            "about equal" if number < compared.equal and compared.equal > 1 else "",
        )
        for number, one in enumerate(compared.explanations)
    )  # fmt: skip
    return Table("What would explain it", columns, rows)


def _gains(compared: Compared) -> Table:
    columns = (Column("single change", words=True), Column("AICc gain"))
    rows = tuple((one.words, digits(one.gain)) for one in compared.explanations)
    return Table("How much better it fits", columns, rows)


def _notes(compared: Compared) -> list[str]:
    notes = [_jams_note(compared)] if any(compared.jams.jammed) else []
    if compared.explanations:
        notes.append(_explained(compared.explanations, compared.equal))
    if compared.left_out:
        lines = listing([str(line) for line in compared.left_out])
        which = f"line {lines} lies" if len(compared.left_out) == 1 else f"lines {lines} lie"
        notes.append(f"Given little weight: {which} too far from other throws at the same setting.")
    if compared.outliers:
        notes.append(f"Probably outliers from the model's curve: {plural(compared.outliers, 'throw')}.")
    return notes


def next_steps(compared: Compared) -> list[str]:
    """Return sentences on what to do next."""
    steps = []
    if compared.apart:
        steps.append("Throw again and take turns: A, B, B, A at each setting, so that time falls on both alike.")
    if compared.speeds_differ:
        named = [one.name for one in compared.explanations[: max(compared.equal, 1)] if one.gain > 0]
        checks = [CHECKS[name] for name in named if name in CHECKS]
        if checks:
            text = listing(checks)
            steps.append(f"{text[0].upper()}{text[1:]}.")
        return steps
    low, high = (abs(_fraction(end)) for end in compared.deciding.interval)
    widest = max(low, high)
    if widest > WORTH_SEEING:
        factor = (widest / WORTH_SEEING) ** 2
        more = max(1, math.ceil(max(compared.counts) * (factor - 1)))
        steps.append(
            f"A difference of up to {percent(widest)} could have been missed; about {plural(more, 'throw')} more of"
            f" each would show one of {percent(WORTH_SEEING)}."
        )
    return steps


def _explained(explanations: tuple[Hypothesis, ...], equal: int) -> str:
    if explanations[0].gain < 0:
        return "No single change explains the difference."
    if equal > 1:
        words = listing([one.words for one in explanations[:equal]])
        return f"Several single changes would explain it about equally: {words}. These throws cannot tell which."
    best = explanations[0]
    return f"The single change that explains it best: {best.words} by {signed(best.factor - 1)}."
