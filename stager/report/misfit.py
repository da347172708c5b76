"""A fit that does not describe its throws, in words: what is wrong, what may have caused it, what to do."""

from __future__ import annotations

from collections.abc import Mapping

from stager.fit.hypotheses import Hypothesis
from stager.fit.records import Fit
from stager.report.digits import digits, percent, plural

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


def headline(fit: Fit) -> str:
    """Return the first line of a fit that fails."""
    words = list(dict.fromkeys(one.words for one in fit.misfits))
    said = words[0] if len(words) == 1 else f"{words[0]}, and {words[1]}"
    return f"The model does not fit these {plural(int(fit.used.size), 'throw')}: {said}. No grip limit can be given."


def statements(fit: Fit) -> list[str]:
    """Return what does not fit, each a sentence, then what to look at first."""
    words = list(dict.fromkeys(one.words for one in fit.misfits))
    return [*(f"{one[0].upper()}{one[1:]}." for one in words), *advice(fit)]


def advice(fit: Fit) -> list[str]:
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
                f"It would fit if the wheels ran {percent(abs(one.factor - 1))} {more} than the table says: check unit"
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
                f"Some projectiles seem {percent(abs(one.factor - 1))} {'heavier' if one.factor > 1 else 'lighter'}:"
                " weigh ten, throw each kind as a build of its own."
            )
    return f"A change of the {one.words} would fit it."


def _times(factor: float) -> str:
    """A factor on exit speeds in words, as a mixed-up unit where it is near one."""
    near = [words for known, words in MISREAD.items() if abs(factor / known - 1) < CLOSE]
    if near:
        return f"as if {near[0]}"
    if 0.5 < factor < 2:
        return f"{percent(abs(factor - 1))} {'higher' if factor > 1 else 'lower'}"
    return f"{digits(factor)} times as large"


