"""Read a throws table into a record; all problems are reported at once, by line and column.

Columns are known by their heads, with units; numbers stand as spreadsheets write them; exit speeds are computed.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from stager.errors import InputError, InputErrors, printable
from stager.files import read_bytes
from stager.fit.table.throws import SURFACE, THROTTLE, TURNING_RATE, Reading, Throws, Wheels
from stager.model.arrays import (
    MAX_AIR_TEMPERATURE,
    MAX_ANGULAR_SPEED,
    MAX_STAGES,
    MAX_SURFACE_SPEED,
    MAX_THROWS,
    MAX_VOLTAGE,
    Floats,
)
from stager.model.launcher import Launcher
from stager.model.projectile import Projectile
from stager.physics.flight import range_exponents, speed_from_range, speed_from_time, time_exponents


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


def least_step(numbers: Floats) -> float:
    """Return the step in which `numbers`, (n,), are written: their last decimal place, or 2, 5, 10, 20 … of it.

    A coarser step is believed where chance makes that all numbers are multiples of it in less than one table of 100.

    >>> least_step(np.array([11.5, 12.0, 9.6])), least_step(np.array([11.5, 12.0, 9.5])), least_step(np.array([12.25]))
    (0.1, 0.5, 0.01)
    """
    units = [10.0**-places for places in range(MOST_PLACES)]
    exact = (unit for unit in units if np.allclose(numbers / unit, np.round(numbers / unit), rtol=0, atol=1e-4))
    last = next(exact, units[-1])
    distinct = np.unique(np.round(numbers / last))
    coarser = (step for step in COARSER if (distinct % step == 0).all() and step**distinct.size > 100)
    return last * max(coarser, default=1)


def relative_uncertainty(
    columns: Mapping[str, Floats], known: Mapping[str, ColumnUncertainty], projectile: Projectile, speeds: Floats
) -> Floats | None:
    """Return the relative standard uncertainty of each exit speed (n,) [-]; None where the table gives none.

    Each measured quantity counts by how much the exit speed of the flight changes with it; that of a jam is NaN.
    speeds: see `exit_speeds`.
    """
    used = next(measure for measure in MEASURES if set(measure) <= columns.keys())
    if not known.keys() & set(used):
        return None
    found: tuple[Floats, ...] = (np.ones(speeds.shape),)
    if "range" in used:
        found = range_exponents(projectile, speeds, columns["drop"])
    elif "distance" in used:
        found = time_exponents(projectile, columns["flight_time"], columns["distance"])
    exponents = dict(zip(used, found, strict=True))
    total = np.zeros(speeds.shape)
    for name in used:
        if name in known:
            size = 1.0 if known[name].relative else columns[name]
            values = np.where(columns[name] > 0, size, np.nan)
            total = total + (exponents[name] * known[name].value / values) ** 2
    return np.asarray(np.sqrt(total))


MOST_PLACES = 7
"""Decimal places that are told apart in a table."""
COARSER = (2, 5, 10, 20, 50, 100, 200, 500, 1000)
"""Steps of instruments, in units of the last decimal place."""


SIZE = 4_000_000
"""Greatest size of a table [bytes]."""
COLUMNS = 100
"""Greatest number of columns."""
LINE = 1000
"""Greatest number of characters of a line."""


def read(path: Path, launcher: Launcher) -> Throws:
    """Return the throws of a table for `launcher`. Raises InputErrors with all its problems."""
    return read_text(text_of(path), path, launcher)


def read_settings(path: Path, launcher: Launcher) -> Throws:
    """Return the settings of a table for `launcher`: a throws table that need not give exit speeds.

    Its exit speeds are NaN. Raises InputErrors with all its problems.
    """
    settings = read_text(text_of(path), path, launcher, measured=False)
    if not len(settings):
        raise InputErrors([InputError("holds no setting", where=str(path), hint="one a row, under the heads")])
    count = settings.present.sum(axis=-1)
    gaps = settings.line[count != settings.present.cumprod(axis=-1).sum(axis=-1)]
    message, hint = "leaves a stage out between others", "fill the cells of the first stages, without a gap"
    if gaps.size:
        raise InputErrors([InputError(message, where=f"{path}:{line}", hint=hint) for line in gaps])
    return settings


def read_text(text: str, path: Path, launcher: Launcher, *, measured: bool = True) -> Throws:
    """Return the throws in a text, or settings where not `measured`. Raises InputErrors, which name `path`."""
    lines = filled_lines(text)
    _check_size(path, lines)
    known, mistakes = uncertainties(list(enumerate(text.splitlines(), start=1))[: MAX_THROWS + COLUMNS])
    delimiter = delimiter_of(lines[0][1]) if lines else ","
    rows = [(at, cells_of(line, delimiter)) for at, line in lines]
    rows = [(at, cells) for at, cells in rows if any(cell.strip() for cell in cells)]
    if not rows:
        hint = f"its first line holds the heads: {EXAMPLE}"
        raise InputErrors([InputError("holds no table", where=str(path), hint=hint)])
    (head_line, head_cells), body = rows[0], rows[1:]
    heads, passed, problems = read_columns(head_cells, measured=measured)
    errors = [InputError(one.message, where=f"{path}:{one.line}", hint=one.hint) for one in mistakes]
    errors += [_of_head(path, head_line, problem) for problem in problems + _unfit(heads, launcher)]
    page = _Rows(path, heads, number_format_of(heads, [cells for _, cells in body]), launcher.projectile, known, errors)
    page.fill(body, len(head_cells))
    if page.errors:
        raise InputErrors(page.errors)
    return page.throws(tuple(passed), measured=measured)


def _check_size(path: Path, lines: Sequence[tuple[int, str]]) -> None:
    """Raise InputErrors where a table exceeds the limits of size."""
    where, hint = f"{path}:{lines[-1][0] if lines else 1}", ""
    if len(lines) > MAX_THROWS + 1:
        where = f"{path}:{lines[MAX_THROWS + 1][0]}"
        message = f"is throw {MAX_THROWS + 1}, and a table has at most {MAX_THROWS}"
        hint = "leave some out, or split the table"
    elif long := next((at for at, line in lines if len(line) > LINE), None):
        where, message, hint = f"{path}:{long}", f"is a line of more than {LINE} characters", "shorten its note"
    elif lines and lines[0][1].count(delimiter_of(lines[0][1])) >= COLUMNS:
        where, message = f"{path}:{lines[0][0]}", f"has more than {COLUMNS} columns"
        hint = f"heads look like {EXAMPLE}"
    else:
        return
    raise InputErrors([InputError(message, where=where, hint=hint)])


@dataclass
class _Rows:
    """Columns, filled row by row, and the problems found on the way."""

    path: Path
    heads: list[TableColumn]
    decimal_marks: NumberFormat
    projectile: Projectile
    known: dict[str, ColumnUncertainty]
    errors: list[InputError]
    lines: list[int] = field(default_factory=list)
    cells: dict[str, list[float | str]] = field(default_factory=dict)

    def fill(self, body: Sequence[tuple[int, list[str]]], width: int) -> None:
        """Read all rows under `width` heads and collect problems."""
        for line, cells in body:
            extra = [cell for cell in cells[width:] if cell.strip()]
            if extra:
                hint = 'a cell that holds the separator stands in quotes: "slow, windy"'
                self._wrong(line, "", f"has {len(cells)} cells under {width} heads", hint)
            self.lines.append(line)
            for head in self.heads:
                text = cells[head.place] if head.place < len(cells) else ""
                self.cells.setdefault(head.name, []).append(self._cell(line, head, text))
            self._check_wheels(line)

    def _cell(self, line: int, head: TableColumn, text: str) -> float | str:
        if head.unit is None:
            return printable(read_word(text))
        try:
            value = read_number(text, self.decimal_marks)
        except ValueError as error:
            self._wrong(line, head.text, str(error), "write a plain number, such as 12.5; leave it empty if unknown")
            return float("nan")
        if value is not None and value < 0 and head.name not in ("temperature", "time"):
            self._wrong(line, head.text, f"must be 0 or more (got {text.strip()})", "")
        elif value is not None and head.name.startswith("throttle") and head.unit.to_si(value) > 1:
            self._wrong(line, head.text, f"is more than full throttle (got {text.strip()})", "full throttle is 100 %")
        elif value is not None and not head.low <= head.unit.to_si(value) <= head.high:
            low, high = (f"{head.unit.from_si(end):.6g}" for end in (head.low, head.high))
            message = f"must be {low} to {high} (got {text.strip()[:40]})"
            self._wrong(line, head.text, message, "look at the unit in the head")
        return float("nan") if value is None else head.unit.to_si(value)

    def _check_wheels(self, line: int) -> None:
        wheels = [head for head in self.heads if head.reading is not None]
        given = {(h.stage, h.side) for h in wheels if not np.isnan(float(self.cells[h.name][-1]))}
        if wheels and not given and not self.errors:
            self._wrong(line, wheels[0].text, "has no wheel speed at all", "an empty cell means: stage not there")
        for stage, side in sorted(given):
            if side and (stage, 0) not in given:
                head = next(h for h in wheels if (h.stage, h.side) == (stage, 1))
                self._wrong(line, head.text, "has a speed of side B but none of side A", "")

    def _wrong(self, line: int, column: str, message: str, hint: str) -> None:
        where = f"{self.path}:{line}" + (f": {column}" if column else "")
        self.errors.append(InputError(message, where=where, hint=hint))

    def throws(self, passed: tuple[str, ...], *, measured: bool) -> Throws:
        """Return the record of the rows with an exit speed, or of all rows where not `measured`.

        Raises InputErrors where no exit speed gives a measured flight.
        """
        lines = np.array(self.lines, dtype=np.intp)
        names = {name for columns in MEASURES for name in columns} if measured else set()
        columns = {head.name: self._numbers(head.name) for head in self.heads if head.name in names}
        for name in ("drop", "flight_time", "distance"):
            for line in lines[columns.get(name, np.ones(lines.size)) == 0] if "exit_speed" not in columns else ():
                self._wrong(int(line), name, "must be above 0", "leave the row out if it was not measured")
        if self.errors:
            raise InputErrors(self.errors)
        speeds, at_outlet = exit_speeds(columns, self.projectile) if measured else (np.full(lines.size, np.nan), False)
        for line in lines[np.isinf(speeds)]:
            self._wrong(int(line), "range", "no speed flies so far from this height", "look at the units in the heads")
        if self.errors:
            raise InputErrors(self.errors)
        known = ~np.isnan(speeds) if measured else np.ones(lines.size, dtype=bool)
        order = self._numbers("throw")
        place = np.arange(1.0, lines.size + 1)
        whole = Throws(
            line=lines, order=place if np.isnan(order).any() else order, numbered=not np.isnan(order).any(),
            build=self._words("build"),
            exit_speed=speeds, at_outlet=at_outlet,
            uncertainty=relative_uncertainty(columns, self.known, self.projectile, speeds) if measured else None,
            step=relative_uncertainty(columns, self._steps(columns), self.projectile, speeds) if measured else None,
            supply=self._numbers("supply"), time=self._numbers("time"),
            temperature=self._numbers("temperature"), note=self._words("note"),
            wheels=tuple(
                Wheels(stage=h.stage, side=h.side, reading=h.reading, values=self._numbers(h.name))
                for h in sorted(self.heads, key=lambda h: (h.name.startswith("throttle"), h.stage, h.side))
                if h.reading is not None
            ),
            source=str(self.path), without_speed=tuple(lines[~known].tolist()), passed=passed,
        )  # fmt: skip
        return whole.chosen(known)

    def _steps(self, columns: Mapping[str, Floats]) -> dict[str, ColumnUncertainty]:
        """Return the least step of the column that gives the exit speeds; drop and distance do not vary."""
        first = next(measure[0] for measure in MEASURES if set(measure) <= columns.keys())
        unit = next(head.unit for head in self.heads if head.name == first) or _ONE
        known = columns[first][columns[first] > 0] / unit.factor
        return {first: ColumnUncertainty(unit.factor * least_step(known), relative=False)}

    def _numbers(self, name: str) -> Floats:
        return np.array(self.cells.get(name, [np.nan] * len(self.lines)), dtype=np.float64)

    def _words(self, name: str) -> np.ndarray[tuple[int, ...], np.dtype[np.str_]]:
        return np.array(self.cells.get(name, [""] * len(self.lines)), dtype=np.str_)


def text_of(path: Path) -> str:
    """Return the text of a file. Raises InputErrors where it cannot be read."""
    hint = f"a table of throws is a CSV file with heads such as {EXAMPLE}"
    try:
        return read_bytes(path, SIZE).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except FileNotFoundError:
        raise InputErrors([InputError("there is no such file", where=str(path), hint=hint)]) from None
    except UnicodeDecodeError as error:
        line = 1 + error.object[: error.start].count(b"\n")
        where, message = f"{path}:{line}", "is not text in UTF-8"
        raise InputErrors([InputError(message, where=where, hint="save it as CSV in UTF-8")]) from None
    except InputError as error:
        raise InputErrors([error]) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise InputErrors([InputError(f"cannot be read ({reason})", where=str(path), hint=hint)]) from None


def filled_lines(text: str) -> list[tuple[int, str]]:
    """Return the lines with content and their numbers, without comments and a spreadsheet's `sep=`."""
    found = enumerate(lines_of(text), start=1)
    kept = [(at, line) for at, line in found if line.strip() and not line.lstrip('" \t').startswith("#")]
    if kept and kept[0][1].lower().startswith("sep="):
        kept = kept[1:]
    return kept


def lines_of(text: str) -> list[str]:
    """Return the lines of a text, split at line ends only: a note may contain other separators."""
    return text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n").split("\n")


def safe_word(word: str) -> str:
    """Return words as a cell that no spreadsheet takes for a formula: with a quote before such a beginning.

    >>> safe_word("=1+1"), safe_word("-5 cm"), safe_word("windy")
    ("'=1+1", "'-5 cm", 'windy')
    """
    return f"'{word}" if word.lstrip(" '")[:1] in tuple("=+-@") or word[:1] in ("\t", "\r") else word


def read_word(cell: str) -> str:
    """Return the words of a cell, without the quote of `safe_word`."""
    word = cell.strip()
    return word[1:] if word.startswith("'") and safe_word(word[1:]) == word else word


def delimiter_of(head: str) -> str:
    """Return the delimiter of a line of heads: semicolon or tab where it has one, else comma."""
    return next((mark for mark in (";", "\t") if mark in head), ",")


def cells_of(text: str, delimiter: str) -> list[str]:
    """Return the cells of a line."""
    try:
        return next(csv.reader(io.StringIO(text), delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return text.split(delimiter)


def number_format_of(heads: Sequence[TableColumn], body: Sequence[Sequence[str]]) -> NumberFormat:
    """Return the decimal marks in the columns of numbers."""
    places = [head.place for head in heads if head.unit is not None]
    return number_format(cells[place] for cells in body for place in places if place < len(cells))


def _of_head(path: Path, line: int, problem: HeadProblem) -> InputError:
    where = f"{path}:{line}" + (f": {problem.text}" if problem.text else "")
    return InputError(problem.message, where=where, hint=problem.hint)


def _unfit(heads: Sequence[TableColumn], launcher: Launcher) -> list[HeadProblem]:
    """Return a problem for each column that does not fit the launcher."""
    out = []
    for head in heads:
        if head.reading is None:
            continue
        layout = launcher.stage(head.stage).layout
        if head.side and not layout.side_b_driven:
            out.append(HeadProblem(head.text, f"stage {head.stage + 1} is a {layout.name}: one driven wheel", ""))
        lacking = head.reading.missing(launcher, head.stage)
        if lacking:
            out.append(HeadProblem(head.text, f"the configuration lacks {lacking}", "give wheel speeds, or add it"))
    return out
