"""What each column of a throws table is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from stager.fit.table.readings import SURFACE, THROTTLE, TURNING_RATE, Reading
from stager.fit.table.units import LENGTHS, SHARES, SPEEDS, TEMPERATURES, TIMES, TURNING, VOLTS, Unit
from stager.model.arrays import FASTEST, FASTEST_TURNING, HOTTEST, MOST_STAGES, MOST_VOLTS

EXAMPLE = "throw,build,wheel_1 [rpm],wheel_2 [rpm],exit_speed [m/s],supply [V],note"
_HEAD = re.compile(r"^\s*(?P<name>[^\[\](]*?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*$")
_WHEEL = re.compile(r"^(wheel|throttle)_?(\d+)(b?)$")
WORDS = ("build", "note")
NUMBERS: Mapping[str, Mapping[str, Unit]] = {
    "throw": {}, "exit_speed": SPEEDS, "supply": VOLTS, "time": TIMES, "temperature": TEMPERATURES,
    "range": LENGTHS, "drop": LENGTHS, "flight_time": TIMES, "distance": LENGTHS,
}  # fmt: skip
RANGES: Mapping[str, tuple[float, float]] = {
    "throw": (0.0, 1e9), "exit_speed": (0.0, FASTEST), "supply": (0.0, MOST_VOLTS), "time": (-1e9, 1e9),
    "temperature": (0.0, HOTTEST), "range": (0.0, 1e4), "drop": (0.0, 1e3), "flight_time": (0.0, 1e3),
    "distance": (0.0, 1e4),
}  # fmt: skip
"""Range of each column of numbers, in SI: what lies outside is a slip of the pen."""
MEASURES: tuple[tuple[str, ...], ...] = (("exit_speed",), ("range", "drop"), ("flight_time", "distance"))
"""Columns that tell how fast it left, any of these; the first that is there counts."""
_ONE = Unit(1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """One column: its place in the row, text as written, name; unit (None: words).

    low, high: range of its numbers, in SI. A wheel's column has its stage (from 0), side (0: A, 1: B) and what kind of
    reading it is.
    """

    place: int
    text: str
    name: str
    unit: Unit | None = None
    stage: int = -1
    side: int = 0
    reading: Reading | None = None
    low: float = 0.0
    high: float = 1.0


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a head, and what would be right."""

    text: str
    message: str
    hint: str


def read_heads(cells: Sequence[str]) -> tuple[list[Head], list[str], list[Problem]]:
    """Columns that are understood, heads that are passed over, and what is wrong."""
    heads: list[Head] = []
    passed: list[str] = []
    problems: list[Problem] = []
    for place, text in enumerate(cells):
        if not text.strip():
            continue
        found = _head(place, text)
        if isinstance(found, Problem):
            problems.append(found)
        elif found is None:
            passed.append(text.strip())
        else:
            twin = next((h for h in heads if h.name == found.name), None)
            if twin is not None:
                problems.append(Problem(text.strip(), "names a column that is there already", "keep one of them"))
            else:
                heads.append(found)
    return heads, passed, problems + _missing(heads, problems)


def _head(place: int, text: str) -> Head | Problem | None:
    match = _HEAD.match(text)
    if match is None:
        return Problem(text.strip(), "is not a head", f"heads look like {EXAMPLE}")
    name = re.sub(r"[\s\-]+", "_", match["name"].strip().lower())
    unit = match["unit"]
    if name in WORDS:
        return Head(place=place, text=text.strip(), name=name)
    wheel = _WHEEL.match(name)
    if wheel:
        return _wheel(place, text.strip(), wheel, unit)
    if name in NUMBERS:
        return _number(place, text.strip(), name, unit)
    near = get_close_matches(name, [*WORDS, *NUMBERS, "wheel_1", "wheel_2", "throttle_1"], cutoff=0.75)
    return Problem(text.strip(), "is not a column that is known", f"did you mean {near[0]}?") if near else None


def _number(place: int, text: str, name: str, unit: str | None) -> Head | Problem:
    units = NUMBERS[name]
    if not units:
        return Head(place=place, text=text, name=name, unit=_ONE, low=RANGES[name][0], high=RANGES[name][1])
    if unit is None or unit not in units:
        return _no_unit(text, name, unit, units)
    return Head(place=place, text=text, name=name, unit=units[unit], low=RANGES[name][0], high=RANGES[name][1])


def _wheel(place: int, text: str, match: re.Match[str], unit: str | None) -> Head | Problem:
    if len(match[2]) > 2 or int(match[2]) > MOST_STAGES:
        return Problem(text, f"there are at most {MOST_STAGES} stages", f"for example {match[1]}_1")
    stage, side = int(match[2]) - 1, int(bool(match[3]))
    name = f"{match[1]}_{match[2]}{match[3]}"
    if stage < 0:
        return Problem(text, "stages are counted from 1", f"for example {match[1]}_1")
    kinds = ((THROTTLE, SHARES),) if match[1] == "throttle" else ((TURNING_RATE, TURNING), (SURFACE, SPEEDS))
    for reading, units in kinds:
        if unit is not None and unit in units:
            high = FASTEST_TURNING if reading is TURNING_RATE else FASTEST if reading is SURFACE else 1.0
            return Head(
                place=place, text=text, name=name, unit=units[unit], stage=stage, side=side, reading=reading, high=high,
            )  # fmt: skip
    return _no_unit(text, name, unit, {u: v for _, units in kinds for u, v in units.items()})


def _no_unit(text: str, name: str, unit: str | None, units: Mapping[str, Unit]) -> Problem:
    said = "names no unit" if unit is None else f'has a unit that is not known here, "{unit}"'
    return Problem(text, said, f"write {name} [{next(iter(units))}]; known are {', '.join(units)}")


def _missing(heads: Sequence[Head], problems: Sequence[Problem]) -> list[Problem]:
    names = {head.name for head in heads}
    tried = " ".join(problem.text.lower() for problem in problems)
    out = []
    out += _measure_missing(names, tried)
    wheels = [head for head in heads if head.reading is not None]
    if not wheels and "wheel" not in tried and "throttle" not in tried:
        out.append(Problem("", "has no column of wheel speeds", f"heads look like {EXAMPLE}"))
    out += [
        Problem(head.text, f"side B of stage {head.stage + 1} without its side A", f"add {head.name[:-1]}")
        for head in wheels
        if head.side and not any(h.stage == head.stage and not h.side for h in wheels)
    ]
    return out


def _measure_missing(names: set[str], tried: str) -> list[Problem]:
    """What is missing to tell how fast it left."""
    if any(set(columns) <= names for columns in MEASURES):
        return []
    for first, *others in MEASURES[1:]:
        lacking = [name for name in (first, *others) if name not in names]
        if len(lacking) == 1 and lacking[0] not in tried:
            given = next(name for name in (first, *others) if name in names)
            unit = next(iter(NUMBERS[lacking[0]]))
            return [Problem(given, f"needs a column {lacking[0]} beside it", f"for example {lacking[0]} [{unit}]")]
    if any(word in tried for word in ("exit", "range", "drop", "flight", "distance")):
        return []
    hint = f"heads look like {EXAMPLE}; range and drop, or flight_time and distance, do too"
    return [Problem("", "has no column exit_speed", hint)]
