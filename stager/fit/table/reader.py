"""Read a throws table into a record; all problems are reported at once, by line and column."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from stager.errors import InputError, InputErrors, printable
from stager.files import read_bytes
from stager.fit.table.columns import (
    EXAMPLE,
    MEASURES,
    ColumnUncertainty,
    HeadProblem,
    NumberFormat,
    TableColumn,
    exit_speeds,
    number_format,
    read_columns,
    read_number,
    relative_uncertainty,
    uncertainties,
)
from stager.fit.table.throws import Throws, Wheels
from stager.model.arrays import MAX_THROWS, Floats
from stager.model.launcher import Launcher
from stager.model.projectile import Projectile

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
            uncertainty=relative_uncertainty(columns, self.known) if measured else None,
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
