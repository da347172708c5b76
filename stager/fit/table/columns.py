"""Columns of a throws table: units, numbers as spreadsheets write them, what each column is, what was measured."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from stager.fit.table.throws import SURFACE, THROTTLE, TURNING_RATE, Reading
from stager.model.arrays import (
    MAX_AIR_TEMPERATURE,
    MAX_ANGULAR_SPEED,
    MAX_STAGES,
    MAX_SURFACE_SPEED,
    MAX_VOLTAGE,
    Floats,
)
from stager.model.projectile import Projectile
from stager.physics.muzzle import speed_from_range, speed_from_time


@dataclass(frozen=True, slots=True)
class Unit:
    """SI value = factor × number + offset."""

    factor: float
    offset: float = 0.0

    def to_si(self, number: float) -> float:
        """A number as written, in SI."""
        return number * self.factor + self.offset

    def from_si(self, value: float) -> float:
        """An SI value in this unit."""
        return (value - self.offset) / self.factor


SPEEDS = {
    "m/s": Unit(1.0), "cm/s": Unit(0.01), "mm/s": Unit(0.001), "km/h": Unit(1 / 3.6), "kph": Unit(1 / 3.6),
    "ft/s": Unit(0.3048), "fps": Unit(0.3048), "mph": Unit(0.44704),
}  # fmt: skip
TURNING = {
    "rpm": Unit(math.pi / 30), "1/min": Unit(math.pi / 30), "rev/min": Unit(math.pi / 30),
    "krpm": Unit(1000 * math.pi / 30), "rev/s": Unit(2 * math.pi), "rps": Unit(2 * math.pi), "rad/s": Unit(1.0),
    "deg/s": Unit(math.pi / 180),
}  # fmt: skip
SHARES = {"%": Unit(0.01), "-": Unit(1.0)}
VOLTS = {"V": Unit(1.0), "mV": Unit(0.001)}
TEMPERATURES = {
    "degC": Unit(1.0, 273.15), "°C": Unit(1.0, 273.15), "C": Unit(1.0, 273.15), "K": Unit(1.0),
    "degF": Unit(5 / 9, 459.67 * 5 / 9), "°F": Unit(5 / 9, 459.67 * 5 / 9),
}  # fmt: skip
LENGTHS = {
    "m": Unit(1.0), "cm": Unit(0.01), "mm": Unit(0.001), "ft": Unit(0.3048), "in": Unit(0.0254),
}  # fmt: skip
TIMES = {"s": Unit(1.0), "ms": Unit(0.001), "min": Unit(60.0), "h": Unit(3600.0)}


MISSING = frozenset({"", "-", "–", "n/a", "na", "nan", "none", "null"})
_POINT = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$", re.IGNORECASE)
_COMMA = re.compile(r"^[+-]?(\d+,\d*|,\d+)(e[+-]?\d+)?$", re.IGNORECASE)
_GROUPED_COMMA = re.compile(r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$")
_GROUPED_POINT = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$")
_UNCLEAR = re.compile(r"^[+-]?\d{1,3},\d{3}$")
_UNCLEAR_POINT = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+$")


@dataclass(frozen=True, slots=True)
class Marks:
    """What a table shows of its habits: commas that can only be decimal, points that can only be."""

    comma: bool
    point: bool


def habits(cells: Iterable[str]) -> Marks:
    """Habits of the cells that leave no doubt."""
    comma = point = False
    for cell in map(_clean, cells):
        if (_COMMA.match(cell) and not _UNCLEAR.match(cell)) or ("," in cell and _GROUPED_POINT.match(cell)):
            comma = True
        elif "." in cell and not _UNCLEAR_POINT.match(cell) and (_POINT.match(cell) or _GROUPED_COMMA.match(cell)):
            point = True
    return Marks(comma, point)


def number(cell: str, marks: Marks) -> float | None:
    """The number in a cell; None where it is missing. Raises ValueError that says why it cannot be read."""
    text = _clean(cell)
    if text.lower() in MISSING:
        return None
    if marks.comma and not marks.point and _UNCLEAR_POINT.match(text):
        raise ValueError(f'"{cell.strip()}" can be read two ways: this table has decimal commas')
    if _POINT.match(text):
        return float(text)
    if _UNCLEAR.match(text):
        if marks.comma == marks.point:
            raise ValueError(f'"{cell.strip()}" can be read two ways: is the comma decimal, or between thousands?')
        return float(text.replace(",", "." if marks.comma else ""))
    if _COMMA.match(text):
        return float(text.replace(",", "."))
    if _GROUPED_COMMA.match(text):
        return float(text.replace(",", ""))
    if _GROUPED_POINT.match(text):
        return float(text.replace(".", "").replace(",", "."))
    raise ValueError(f'"{cell.strip()}" is not a number')


def _clean(cell: str) -> str:
    return re.sub(r"[\s'\u00a0\u202f]", "", cell).replace("−", "-")


EXAMPLE = "throw,build,wheel_1 [rpm],wheel_2 [rpm],exit_speed [m/s],supply [V],note"
_HEAD = re.compile(r"^\s*(?P<name>[^\[\](]*?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*$")
_WHEEL = re.compile(r"^(wheel|throttle)_?(\d+)(b?)$")
WORDS = ("build", "note")
NUMBERS: Mapping[str, Mapping[str, Unit]] = {
    "throw": {}, "exit_speed": SPEEDS, "supply": VOLTS, "time": TIMES, "temperature": TEMPERATURES,
    "range": LENGTHS, "drop": LENGTHS, "flight_time": TIMES, "distance": LENGTHS,
}  # fmt: skip
RANGES: Mapping[str, tuple[float, float]] = {
    "throw": (0.0, 1e9), "exit_speed": (0.0, MAX_SURFACE_SPEED), "supply": (0.0, MAX_VOLTAGE), "time": (-1e9, 1e9),
    "temperature": (0.0, MAX_AIR_TEMPERATURE), "range": (0.0, 1e4), "drop": (0.0, 1e3), "flight_time": (0.0, 1e3),
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


def read_heads(cells: Sequence[str], *, measured: bool = True) -> tuple[list[Head], list[str], list[Problem]]:
    """Columns that are understood, heads that are passed over, and what is wrong.

    measured: whether a column must say how fast the projectile left.
    """
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
    return heads, passed, problems + _missing(heads, problems, measured=measured)


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
    if len(match[2]) > 2 or int(match[2]) > MAX_STAGES:
        return Problem(text, f"there are at most {MAX_STAGES} stages", f"for example {match[1]}_1")
    stage, side = int(match[2]) - 1, int(bool(match[3]))
    name = f"{match[1]}_{match[2]}{match[3]}"
    if stage < 0:
        return Problem(text, "stages are counted from 1", f"for example {match[1]}_1")
    kinds = ((THROTTLE, SHARES),) if match[1] == "throttle" else ((TURNING_RATE, TURNING), (SURFACE, SPEEDS))
    for reading, units in kinds:
        if unit is not None and unit in units:
            high = MAX_ANGULAR_SPEED if reading is TURNING_RATE else MAX_SURFACE_SPEED if reading is SURFACE else 1.0
            return Head(
                place=place, text=text, name=name, unit=units[unit], stage=stage, side=side, reading=reading, high=high,
            )  # fmt: skip
    return _no_unit(text, name, unit, {u: v for _, units in kinds for u, v in units.items()})


def _no_unit(text: str, name: str, unit: str | None, units: Mapping[str, Unit]) -> Problem:
    said = "names no unit" if unit is None else f'has a unit that is not known here, "{unit}"'
    return Problem(text, said, f"write {name} [{next(iter(units))}]; known are {', '.join(units)}")


def _missing(heads: Sequence[Head], problems: Sequence[Problem], *, measured: bool) -> list[Problem]:
    names = {head.name for head in heads}
    tried = " ".join(problem.text.lower() for problem in problems)
    out = _measure_missing(names, tried) if measured else []
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


COMMENT = re.compile(r"^#\s*uncertainty\s*:(?P<rest>.*)$", re.IGNORECASE)
_ITEM = re.compile(r"^(?P<name>[a-z_]+)\s*(?:±|\+/?-)?\s*(?P<number>\d+\.?\d*|\.\d+)\s*(?P<unit>\S+)$", re.IGNORECASE)
LONG = 1000


@dataclass(frozen=True, slots=True)
class Known:
    """A standard uncertainty: value in SI, or a share of what was measured."""

    value: float
    relative: bool


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong with a comment, and what would be right."""

    line: int
    message: str
    hint: str


def uncertainties(lines: Sequence[tuple[int, str]]) -> tuple[dict[str, Known], list[Mistake]]:
    """Return standard uncertainties by column from comments `# uncertainty: range 2 cm, drop 5 mm`; and mistakes.

    lines: all lines of a table with their numbers.
    """
    found: dict[str, Known] = {}
    mistakes: list[Mistake] = []
    for at, line in lines:
        match = COMMENT.match(line.strip()[:LONG])
        for item in re.split("[,;]", match["rest"]) if match else ():
            known = _item(item.strip())
            if isinstance(known, str):
                hint = "write it like # uncertainty: exit_speed 2 %, or # uncertainty: range 2 cm, drop 5 mm"
                mistakes.append(Mistake(at, known, hint))
            else:
                found[known[0]] = known[1]
    return found, mistakes


def _item(text: str) -> tuple[str, Known] | str:
    match = _ITEM.match(text)
    if match is None:
        return f'"{text[:40]}" is no uncertainty'
    name, number, unit = match["name"].lower(), float(match["number"]), match["unit"]
    columns = [column for columns in MEASURES for column in columns]
    if name not in columns:
        return f'"{name[:40]}" is not a column that has an uncertainty; these have: {", ".join(columns)}'
    if unit == "%":
        return name, Known(number / 100, relative=True)
    units = NUMBERS[name]
    if unit not in units:
        return f'"{unit[:20]}" is not a unit of {name}; known are %, {", ".join(units)}'
    return name, Known(units[unit].factor * number, relative=False)


def exit_speeds(columns: Mapping[str, Floats], projectile: Projectile) -> tuple[Floats, bool]:
    """Return exit speeds [m/s] and whether they are those at the opening.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
        What was measured, in SI; NaN where a cell is empty.
    projectile : Projectile

    Returns
    -------
    speeds : ndarray, shape (n,)
        0 where nothing came out; NaN where nothing was measured; inf where no speed flies so far.
    at_outlet : bool
    """
    if "exit_speed" in columns:
        return columns["exit_speed"], False
    if "range" in columns:
        return speed_from_range(projectile, columns["range"], columns["drop"]), True
    return speed_from_time(projectile, columns["flight_time"], columns["distance"]), True


def relative(columns: Mapping[str, Floats], known: Mapping[str, Known]) -> Floats | None:
    """Return the relative standard uncertainty of each exit speed (n,) [-]; None where the table says nothing.

    A speed goes with the range, the inverse root of the drop, the distance, the inverse of the time.
    """
    powers = {"exit_speed": 1.0, "range": 1.0, "drop": 0.5, "flight_time": 1.0, "distance": 1.0}
    used = next(measure for measure in MEASURES if set(measure) <= columns.keys())
    if not known.keys() & set(used):
        return None
    total = np.zeros(columns[used[0]].shape)
    for name in used:
        if name in known:
            values = np.ones(total.shape) if known[name].relative else np.maximum(columns[name], 1e-9)
            total = total + (powers[name] * known[name].value / values) ** 2
    return np.asarray(np.sqrt(total))
