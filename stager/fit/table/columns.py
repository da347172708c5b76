"""Read the columns of a throws table: heads, units, numbers as spreadsheets write them; compute exit speeds."""

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
    """A unit: SI value = factor × number + offset."""

    factor: float
    offset: float = 0.0

    def to_si(self, number: float) -> float:
        """Return a number in this unit as an SI value."""
        return number * self.factor + self.offset

    def from_si(self, value: float) -> float:
        """Return an SI value in this unit."""
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
class NumberFormat:
    """Decimal marks of a table: whether commas, and whether points, are certainly decimal in some cell."""

    comma: bool
    point: bool


def number_format(cells: Iterable[str]) -> NumberFormat:
    """Return the decimal marks of the cells that are unambiguous."""
    comma = point = False
    for cell in map(_clean, cells):
        if (_COMMA.match(cell) and not _UNCLEAR.match(cell)) or ("," in cell and _GROUPED_POINT.match(cell)):
            comma = True
        elif "." in cell and not _UNCLEAR_POINT.match(cell) and (_POINT.match(cell) or _GROUPED_COMMA.match(cell)):
            point = True
    return NumberFormat(comma, point)


def read_number(cell: str, decimal_marks: NumberFormat) -> float | None:
    """Return the number in a cell; None where it is missing. Raises ValueError with the reason."""
    text = _clean(cell)
    if text.lower() in MISSING:
        return None
    if decimal_marks.comma and not decimal_marks.point and _UNCLEAR_POINT.match(text):
        raise ValueError(f'"{cell.strip()}" can be read two ways: this table has decimal commas')
    if _POINT.match(text):
        return float(text)
    if _UNCLEAR.match(text):
        if decimal_marks.comma == decimal_marks.point:
            raise ValueError(f'"{cell.strip()}" can be read two ways: is the comma decimal, or between thousands?')
        return float(text.replace(",", "." if decimal_marks.comma else ""))
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
"""Range of each column of numbers, in SI; values outside are typing errors."""
MEASURES: tuple[tuple[str, ...], ...] = (("exit_speed",), ("range", "drop"), ("flight_time", "distance"))
"""Sets of columns that give the exit speed; the first complete one is used."""
_ONE = Unit(1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn:
    """One column.

    place: in the row, from 0
    text: its head as written
    name: of the quantity
    unit: of its numbers; None: the cells hold words
    stage, side, reading: of a wheel's column: stage from 0; side, 0: A, 1: B; kind of wheel speed
    low, high: range of its numbers, in SI
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
class HeadProblem:
    """A problem of a head, with a hint."""

    text: str
    message: str
    hint: str


def read_columns(
    cells: Sequence[str], *, measured: bool = True
) -> tuple[list[TableColumn], list[str], list[HeadProblem]]:
    """Return the known columns, the heads that are ignored, and problems.

    measured: whether columns must give the exit speed.
    """
    heads: list[TableColumn] = []
    passed: list[str] = []
    problems: list[HeadProblem] = []
    for place, text in enumerate(cells):
        if not text.strip():
            continue
        found = _head(place, text)
        if isinstance(found, HeadProblem):
            problems.append(found)
        elif found is None:
            passed.append(text.strip())
        else:
            twin = next((h for h in heads if h.name == found.name), None)
            if twin is not None:
                problems.append(HeadProblem(text.strip(), "names a column that is there already", "keep one of them"))
            else:
                heads.append(found)
    return heads, passed, problems + _missing(heads, problems, measured=measured)


def _head(place: int, text: str) -> TableColumn | HeadProblem | None:
    match = _HEAD.match(text)
    if match is None:
        return HeadProblem(text.strip(), "is not a head", f"heads look like {EXAMPLE}")
    name = re.sub(r"[\s\-]+", "_", match["name"].strip().lower())
    unit = match["unit"]
    if name in WORDS:
        return TableColumn(place=place, text=text.strip(), name=name)
    wheel = _WHEEL.match(name)
    if wheel:
        return _wheel(place, text.strip(), wheel, unit)
    if name in NUMBERS:
        return _number(place, text.strip(), name, unit)
    near = get_close_matches(name, [*WORDS, *NUMBERS, "wheel_1", "wheel_2", "throttle_1"], cutoff=0.75)
    return HeadProblem(text.strip(), "is not a column that is known", f"did you mean {near[0]}?") if near else None


def _number(place: int, text: str, name: str, unit: str | None) -> TableColumn | HeadProblem:
    units = NUMBERS[name]
    if not units:
        return TableColumn(place=place, text=text, name=name, unit=_ONE, low=RANGES[name][0], high=RANGES[name][1])
    if unit is None or unit not in units:
        return _no_unit(text, name, unit, units)
    return TableColumn(place=place, text=text, name=name, unit=units[unit], low=RANGES[name][0], high=RANGES[name][1])


def _wheel(place: int, text: str, match: re.Match[str], unit: str | None) -> TableColumn | HeadProblem:
    if len(match[2]) > 2 or int(match[2]) > MAX_STAGES:
        return HeadProblem(text, f"there are at most {MAX_STAGES} stages", f"for example {match[1]}_1")
    stage, side = int(match[2]) - 1, int(bool(match[3]))
    name = f"{match[1]}_{match[2]}{match[3]}"
    if stage < 0:
        return HeadProblem(text, "stages are counted from 1", f"for example {match[1]}_1")
    kinds = ((THROTTLE, SHARES),) if match[1] == "throttle" else ((TURNING_RATE, TURNING), (SURFACE, SPEEDS))
    for reading, units in kinds:
        if unit is not None and unit in units:
            high = MAX_ANGULAR_SPEED if reading is TURNING_RATE else MAX_SURFACE_SPEED if reading is SURFACE else 1.0
            return TableColumn(
                place=place, text=text, name=name, unit=units[unit], stage=stage, side=side, reading=reading, high=high,
            )  # fmt: skip
    return _no_unit(text, name, unit, {u: v for _, units in kinds for u, v in units.items()})


def _no_unit(text: str, name: str, unit: str | None, units: Mapping[str, Unit]) -> HeadProblem:
    said = "names no unit" if unit is None else f'has a unit that is not known here, "{unit}"'
    return HeadProblem(text, said, f"write {name} [{next(iter(units))}]; known are {', '.join(units)}")


def _missing(heads: Sequence[TableColumn], problems: Sequence[HeadProblem], *, measured: bool) -> list[HeadProblem]:
    names = {head.name for head in heads}
    tried = " ".join(problem.text.lower() for problem in problems)
    out = _measure_missing(names, tried) if measured else []
    wheels = [head for head in heads if head.reading is not None]
    if not wheels and "wheel" not in tried and "throttle" not in tried:
        out.append(HeadProblem("", "has no column of wheel speeds", f"heads look like {EXAMPLE}"))
    out += [
        HeadProblem(head.text, f"side B of stage {head.stage + 1} without its side A", f"add {head.name[:-1]}")
        for head in wheels
        if head.side and not any(h.stage == head.stage and not h.side for h in wheels)
    ]
    return out


def _measure_missing(names: set[str], tried: str) -> list[HeadProblem]:
    """Return the problem where columns for the exit speed are missing."""
    if any(set(columns) <= names for columns in MEASURES):
        return []
    for first, *others in MEASURES[1:]:
        lacking = [name for name in (first, *others) if name not in names]
        if len(lacking) == 1 and lacking[0] not in tried:
            given = next(name for name in (first, *others) if name in names)
            unit = next(iter(NUMBERS[lacking[0]]))
            return [HeadProblem(given, f"needs a column {lacking[0]} beside it", f"for example {lacking[0]} [{unit}]")]
    if any(word in tried for word in ("exit", "range", "drop", "flight", "distance")):
        return []
    hint = f"heads look like {EXAMPLE}; range and drop, or flight_time and distance, do too"
    return [HeadProblem("", "has no column exit_speed", hint)]


COMMENT = re.compile(r"^#\s*uncertainty\s*:(?P<rest>.*)$", re.IGNORECASE)
_ITEM = re.compile(r"^(?P<name>[a-z_]+)\s*(?:±|\+/?-)?\s*(?P<number>\d+\.?\d*|\.\d+)\s*(?P<unit>\S+)$", re.IGNORECASE)
LONG = 1000


@dataclass(frozen=True, slots=True)
class ColumnUncertainty:
    """Standard uncertainty of a column: value in SI, or relative to the measured value [-]."""

    value: float
    relative: bool


@dataclass(frozen=True, slots=True)
class CommentProblem:
    """A problem of a comment, with a hint."""

    line: int
    message: str
    hint: str


def uncertainties(lines: Sequence[tuple[int, str]]) -> tuple[dict[str, ColumnUncertainty], list[CommentProblem]]:
    """Return standard uncertainties by column from comments `# uncertainty: range 2 cm, drop 5 mm`, and problems.

    lines: all lines of a table with their numbers.
    """
    found: dict[str, ColumnUncertainty] = {}
    mistakes: list[CommentProblem] = []
    for at, line in lines:
        match = COMMENT.match(line.strip()[:LONG])
        for item in re.split("[,;]", match["rest"]) if match else ():
            known = _item(item.strip())
            if isinstance(known, str):
                hint = "write it like # uncertainty: exit_speed 2 %, or # uncertainty: range 2 cm, drop 5 mm"
                mistakes.append(CommentProblem(at, known, hint))
            else:
                found[known[0]] = known[1]
    return found, mistakes


def _item(text: str) -> tuple[str, ColumnUncertainty] | str:
    match = _ITEM.match(text)
    if match is None:
        return f'"{text[:40]}" is not an uncertainty'
    name, number, unit = match["name"].lower(), float(match["number"]), match["unit"]
    columns = [column for columns in MEASURES for column in columns]
    if name not in columns:
        return f'"{name[:40]}" is not a column that has an uncertainty; these have: {", ".join(columns)}'
    if unit == "%":
        return name, ColumnUncertainty(number / 100, relative=True)
    units = NUMBERS[name]
    if unit not in units:
        return f'"{unit[:20]}" is not a unit of {name}; known are %, {", ".join(units)}'
    return name, ColumnUncertainty(units[unit].factor * number, relative=False)


def exit_speeds(columns: Mapping[str, Floats], projectile: Projectile) -> tuple[Floats, bool]:
    """Return exit speeds and whether they are those at the outlet.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
        Measured values in SI; NaN where a cell is empty.
    projectile : Projectile

    Returns
    -------
    speeds : ndarray, shape (n,)
        [m/s]; 0 after a jam, NaN where nothing was measured, inf where no speed gives the range.
    at_outlet : bool
        Whether they are speeds behind the outlet, else those behind the last wheel.
    """
    if "exit_speed" in columns:
        return columns["exit_speed"], False
    if "range" in columns:
        return speed_from_range(projectile, columns["range"], columns["drop"]), True
    return speed_from_time(projectile, columns["flight_time"], columns["distance"]), True


def relative_uncertainty(columns: Mapping[str, Floats], known: Mapping[str, ColumnUncertainty]) -> Floats | None:
    """Return the relative standard uncertainty of each exit speed (n,) [-]; None where the table gives none.

    Exit speed is proportional to range, drop^−½, distance and 1 / time.
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
