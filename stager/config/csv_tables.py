"""CSV tables beside a configuration: posterior draws of a fit, and lists of one's own wheels, drives and batteries.

A list continues `wheel_options`, `drive_options` or `supply.batteries`, a part a row. Each column is a key of these,
`radius [mm]` or `tyre.depth [mm]`, with its unit in brackets or in each cell; an empty cell leaves the key out. Cells
become values as a configuration has them, so that its checks serve lists too; errors name the line of the list.
"""

from __future__ import annotations

import copy
import hashlib
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

import numpy as np

from stager.config.configuration import quantities
from stager.config.errors import Mistake, dotted, field_at, known_keys, models_at, place, quantity_at, shown
from stager.config.tables import PART_LISTS, File
from stager.config.toml import KeyPath, key_path
from stager.errors import InputError, InputErrors, printable
from stager.files import read_beside
from stager.model.arrays import MAX_THROWS, Floats
from stager.units import NUMBER, Measured, QuantityError, format_quantity, parse

_DRAWS_HINT = "the fit that wrote this file wrote the table beside it; leave `draws` out to do without"
_BEYOND_HINT = (
    "give the value without its ± to take it as known, or leave the fitted file as it is and change the value by --set;"
    " its draws are left out then"
)
ROUNDED = 0.1
"""Distance of a value from its draws that rounding may make, over its standard uncertainty [-]."""
_DRAWS_SIZE = 16_000_000
"""Greatest size of a table of draws [bytes]."""


def draws_place(path: Path) -> Path:
    """Return the path of the draws of a configuration at `path`."""
    return path.with_name(f"{path.stem}.draws.csv")


def read_draws(path: Path, text: str, file: File, raw: Mapping[str, Any]) -> Mapping[str, Floats] | None:
    """Return the draws by key, each of shape (draws,), in SI; None where the file names no table.

    Raises InputErrors where the table cannot be used.
    """
    if file.draws is None:
        return None
    try:
        content = read_beside(path, file.draws, _DRAWS_SIZE)
        if file.draws_sha256 not in (None, hashlib.sha256(content).hexdigest()):
            raise ValueError("its hash is not draws_sha256: one of the two files was replaced")
        known = quantities(file, raw)
        draws = parse_draws(content.decode("utf-8-sig"), known)
    except (OSError, ValueError, InputError) as error:
        reason = error.strerror if isinstance(error, OSError) else getattr(error, "message", error)
        reason = "it is not text in UTF-8" if isinstance(error, UnicodeDecodeError) else reason
        message = f'"{file.draws}" cannot be used ({reason})'
        raise place(str(path), text, [Mistake(("draws",), message, _DRAWS_HINT)]) from None
    beyond = [
        Mistake(key_path(key), f"is outside its draws in {file.draws}, {_range(column, known[key])}", _BEYOND_HINT)
        for key, column in draws.items()
        if _beyond(column, known[key])
    ]
    if beyond:
        raise place(str(path), text, beyond)
    return draws


def _beyond(column: Floats, own: Measured) -> bool:
    """Whether a file's uncertain value is not one that its draws can be of."""
    reach = ROUNDED * own.standard_uncertainty
    return bool(reach) and not column.min() - reach <= own.value <= column.max() + reach


def _range(column: Floats, own: Measured) -> str:
    """Return the least and the greatest draw in the unit of the file's value."""
    low, high = (
        format_quantity(float(f"{end:.4g}"), unit=own.unit, written=own.written) for end in (column.min(), column.max())
    )
    return f"{low} to {high}"


def parse_draws(text: str, known: Mapping[str, Measured]) -> dict[str, Floats]:
    """Return draws by key, each of shape (draws,), from a table in SI whose heads are keys.

    known: quantities of the configuration, each with its range.

    Raises
    ------
    ValueError
        Where a cell is wrong; the message names the cell and does not repeat its content.
    """
    rows = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if len(rows) < 2:
        raise ValueError("it holds no draws")
    if len(rows) - 1 > MAX_THROWS:
        raise ValueError(f"it holds more than {MAX_THROWS} draws")
    keys = [key.strip() for key in rows[0][1].split(",")]
    unknown = [str(column) for column, key in enumerate(keys, 1) if key not in known]
    if unknown:
        raise ValueError(f"no quantity of this configuration heads column {', '.join(unknown[:5])}")
    if len(set(keys)) < len(keys):
        raise ValueError("two columns have the same head")
    table = np.array([_cells(number, row, len(keys)) for number, row in rows[1:]])
    for column, key in enumerate(keys):
        outside = ~known[key].holds(table[:, column])
        if outside.any():
            number = rows[1 + int(np.argmax(outside))][0]
            raise ValueError(f"line {number}, column {column + 1} is outside the range of {key}")
    return {key: np.ascontiguousarray(table[:, column]) for column, key in enumerate(keys)}


def _cells(number: int, row: str, count: int) -> list[float]:
    cells = row.split(",", count)
    if len(cells) != count:
        raise ValueError(f"line {number} has {'more' if len(cells) > count else 'fewer'} cells than heads ({count})")
    try:
        values = [float(cell) if len(cell) < 40 else math.nan for cell in cells]
    except ValueError:
        raise ValueError(f"line {number} holds a cell that is not a number") from None
    if not all(map(math.isfinite, values)):
        raise ValueError(f"line {number} holds a number that is not finite")
    return values


def show_draws(draws: Mapping[str, Floats], note: str = "") -> str:
    """Return the text of a table for `parse_draws`, with `note` as comments above it."""
    head = [f"# {line}" for line in note.splitlines()]
    rows = np.stack([draws[key] for key in draws], axis=-1)
    return "\n".join([*head, ",".join(draws), *(",".join(f"{cell:.10g}" for cell in row) for row in rows)]) + "\n"


SIZE = 250_000
"""Greatest size of a list [bytes]."""
LINE = 1000
"""Most characters of a line."""
PARTS = 100
"""Most options of a stage, those of its list among them."""
COLUMNS = 60
"""Most columns."""
_TRUTH = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
_DIGITS = 9
"""Most digits of a whole number."""
_HEAD = re.compile(r"\s*(?P<key>[^\[\]]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*$")
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d)")
_BARE = re.compile(rf"(?P<value>{NUMBER})(?:\s*(?:±|\+/-|\+-)\s*(?P<spread>{NUMBER})\s*(?P<share>%)?)?$")


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a list: its file and line."""

    file: str
    line: int


@dataclass(frozen=True, slots=True)
class _Column:
    """A column: its place in a row, its head, the key in a part, the unit of its numbers ("": in each cell)."""

    at: int
    head: str
    key: tuple[str, ...]
    unit: str


@dataclass(frozen=True, slots=True)
class Lists:
    """The lists that a configuration names.

    tree : of the configuration, with the rows among the options; rows : of each option by its key; names : of files.
    """

    tree: Mapping[str, Any]
    rows: Mapping[KeyPath, Row]
    names: tuple[str, ...]

    def place(self, file: str, text: str, problems: Iterable[Mistake]) -> InputErrors:
        """Return problems as errors at their lines: in a list, or in the configuration `file` with its text."""
        errors: dict[tuple[str, str, str], InputError] = {}
        own = []
        for problem in problems:
            found = self._row(problem.path)
            if found is None:
                own.append(problem)
                continue
            row, key = found
            where = f"{row.file}:{row.line}: {dotted(key)}" if key else f"{row.file}:{row.line}"
            errors[where, problem.message, problem.hint] = InputError(problem.message, where=where, hint=problem.hint)
        return InputErrors([*(place(file, text, own).errors if own else ()), *errors.values()])

    def _row(self, path: KeyPath) -> tuple[Row, KeyPath] | None:
        for size in (3, 4):
            if path[:size] in self.rows:
                return self.rows[path[:size]], path[size:]
        # An entry of [[stages]] that inherits the list.
        inherited = ("stage", *path[2:4])
        if path[:1] == ("stages",) and inherited in self.rows:
            return self.rows[inherited], path[4:]
        return None


def read_lists(path: Path, text: str, raw: Mapping[str, Any], folder: Path | None = None) -> Lists:
    """Return the tree `raw` of the configuration at `path` with the parts of its lists among the options.

    folder : where lists are read, that of `path` by default. Raises InputErrors for what cannot be read as a list.
    """
    stages = raw.get("stages")
    entries: list[tuple[KeyPath, Any]] = [(("stage",), raw.get("stage")), (("supply",), raw.get("supply"))]
    entries += [(("stages", k), entry) for k, entry in enumerate(stages)] if isinstance(stages, list) else []
    named = [
        (place, name, entry[name])
        for place, entry in entries
        if isinstance(entry, dict)
        for name in PART_LISTS
        if isinstance(entry.get(name), str)
    ]
    if not named:
        return Lists(raw, {}, ())
    tree = copy.deepcopy(dict(raw))
    rows: dict[KeyPath, Row] = {}
    problems: list[Mistake] = []
    for place_, name, file in named:
        options = PART_LISTS[name]
        entry = tree["stages"][place_[1]] if len(place_) > 1 else tree[str(place_[0])]
        given = entry.get(options, [])
        if not isinstance(given, list):
            continue
        try:
            if not file.lower().endswith(".csv"):
                # Errors quote heads and cells, so that a configuration of a stranger must not name any other file.
                raise ValueError("its name must end in .csv")
            content = read_beside((folder or path.parent) / path.name, file, SIZE).decode("utf-8-sig")
        except (OSError, ValueError, InputError) as error:
            problems.append(_unreadable((*place_, name), file, error))
            continue
        found = _parts(str(path.parent / file), content, options, PARTS - len(given))
        known = [str(part.get("name", "")) for part in given if isinstance(part, dict)]
        _check_names(found, known)
        for line, part in found:
            rows[*place_, options, len(given)] = line
            given = [*given, part]
        entry[options] = given
    if problems:
        raise place(str(path), text, problems)
    return Lists(tree, rows, tuple(dict.fromkeys(file for _, _, file in named)))


def _unreadable(key: KeyPath, file: str, error: Exception) -> Mistake:
    reason = error.strerror if isinstance(error, OSError) else getattr(error, "message", error)
    reason = "it is not text in UTF-8" if isinstance(error, UnicodeDecodeError) else reason
    heads = _example(PART_LISTS[str(key[-1])])
    return Mistake(
        key, f'"{file}" cannot be used ({reason})', f"a CSV table beside this file, with heads such as {heads}"
    )


def _parts(file: str, content: str, options: str, most: int) -> list[tuple[Row, dict[str, Any]]]:
    """Return the parts of a list, each with its row. Raises InputErrors with all that is wrong with its shape."""
    # Loaded with the first list only: most configurations name none.
    from stager.fit.table.reader import cells_of, delimiter_of, filled_lines, lines_of, read_word

    lines = filled_lines(content)
    if not lines:
        raise _error("holds no table", file, f"its first line holds the heads: {_example(options)}")
    if long := next((at for at, line in enumerate(lines_of(content), 1) if len(line) > LINE), None):
        raise _error(f"is a line of more than {LINE} characters", f"{file}:{long}", "shorten it")
    if len(lines) - 1 > most:
        where, hint = f"{file}:{lines[most + 1][0]}", "keep those that could do"
        raise _error(f"is one part more than the {PARTS} that may be offered", where, hint)
    mark = delimiter_of(lines[0][1])
    heads = cells_of(lines[0][1], mark)
    if len(heads) > COLUMNS:
        raise _error(f"has more than {COLUMNS} columns", f"{file}:{lines[0][0]}", f"heads: {_example(options)}")
    columns, errors = _columns(f"{file}:{lines[0][0]}", heads, options)
    found = []
    for at, line in lines[1:]:
        cells = cells_of(line, mark)
        if any(cell.strip() for cell in cells[len(columns) :]) and not errors:
            message = f"has {len(cells)} cells under {len(columns)} heads"
            hint = 'a cell that holds the separator stands in quotes: "grey, wide"'
            errors.append(InputError(message, where=f"{file}:{at}", hint=hint))
        if not any(cell.strip() for cell in cells):
            continue
        part: dict[str, Any] = {}
        for column in columns:
            word = read_word(cells[column.at]) if column.at < len(cells) else ""
            if word:
                _set(part, column.key, _value(word, column, options, comma=mark != ","))
        found.append((Row(file, at), part))
    if errors:
        raise InputErrors(errors)
    return found


def _columns(where: str, heads: list[str], options: str) -> tuple[list[_Column], list[InputError]]:
    """Return the columns of a list, and what is wrong with its heads."""
    found: list[_Column] = []
    errors = []
    for at, head in enumerate(heads):
        match = _HEAD.match(head)
        key = tuple((match["key"] if match else head).strip().split("."))
        unit = (match["unit"] or "").strip() if match else ""
        column = _Column(at, head.strip(), key, "" if unit == "-" else unit)
        found.append(column)
        problem = _of_head(column, options, found[:-1])
        if problem:
            message, hint = problem
            errors.append(
                InputError(message, where=f"{where}: {printable(head.strip()) or f'column {at + 1}'}", hint=hint)
            )
    if ("name",) not in [column.key for column in found] and not errors:
        hint = f"parts of a list have names, for example {_example(options)}"
        errors.append(InputError('has no column "name"', where=where, hint=hint))
    return found, errors


def _of_head(column: _Column, options: str, before: list[_Column]) -> tuple[str, str] | None:
    """Return what is wrong with a head, and a hint."""
    path: KeyPath = (*_home(options), *column.key)
    if not column.head:
        return "a column has no head", f"heads look like {_example(options)}"
    if column.key in [other.key for other in before]:
        return "stands twice", "leave one of the columns out"
    inside = models_at(path[:-1]) if all(column.key[:-1]) else []
    if not inside or column.key[-1] not in inside[0].model_fields:
        near = get_close_matches(column.key[-1], known_keys(path[:-1]), n=1) if inside else []
        return "is not a key of such a part", f"did you mean {near[0]}?" if near else f"as in {_example(options)}"
    if models_at(path):
        return "is a table", f"a column for each of its keys, as {'.'.join(column.key)}.{known_keys(path)[0]}"
    kind = quantity_at(path)
    if column.unit and (kind is None or not kind.unit):
        return f"has no unit (got {column.unit[:20]})", f"head it {'.'.join(column.key)}"
    if column.unit and kind is not None:
        try:
            parse(f"1 {column.unit}", kind.unit, kind.example)
        except QuantityError as error:
            return str(error), f"cells hold, for example, {shown(path)}"
    return None


def _check_names(found: list[tuple[Row, dict[str, Any]]], known: list[str]) -> None:
    """Raise InputErrors where parts lack names, or have the name of another one."""
    errors, taken = [], {name: "the configuration" for name in known if name}
    for row, part in found:
        name = str(part.get("name", ""))
        where = f"{row.file}:{row.line}: name"
        if not name:
            errors.append(InputError("is missing", where=where, hint="a name for each part of a list"))
        elif name in taken:
            errors.append(
                InputError(f"is the name of a part of {taken[name]} already", where=where, hint="another name")
            )
        taken.setdefault(name, f"line {row.line}")
    if errors:
        raise InputErrors(errors)


def _value(word: str, column: _Column, options: str, *, comma: bool) -> Any:
    """Return the value of a cell as a configuration has it."""
    path: KeyPath = (*_home(options), *column.key)
    kind = quantity_at(path)
    if kind is not None:
        number = _DECIMAL_COMMA.sub(".", word) if comma else word
        bare = _BARE.match(number)
        if bare is None or (kind.unit and not column.unit):
            return number
        if not kind.unit:
            return number if bare["spread"] else float(number)
        spread = f" ± {bare['spread']} {bare['share'] or column.unit}" if bare["spread"] else ""
        return f"{bare['value']} {column.unit}{spread}"
    field = field_at(path)
    kinds = () if field is None else (field.annotation, *get_args(field.annotation))
    if bool in kinds:
        return _TRUTH.get(word.lower(), word)
    if int in kinds:
        return int(word) if word.isdecimal() and len(word) <= _DIGITS else word
    return word


def _set(part: dict[str, Any], key: tuple[str, ...], value: Any) -> None:
    for name in key[:-1]:
        part = part.setdefault(name, {})
    part[key[-1]] = value


def _home(options: str) -> KeyPath:
    """Return the key of the first of some options."""
    return ("supply" if options == "batteries" else "stage", options, 0)


def _example(options: str) -> str:
    if options == "batteries":
        return "name,cells,capacity [Ah],resistance [mohm],mass [g],cost"
    if options == "wheel_options":
        return "name,radius [mm],width [mm],material,mass [g],cost"
    return "name,speed_constant [rpm/V],resistance [mohm],current_limit [A],mass [g],cost"


def _error(message: str, where: str, hint: str) -> InputErrors:
    return InputErrors([InputError(message, where=where, hint=hint)])
