"""Add throws to a table; read one as it is typed at the bench, and check whether it is plausible.

Each line is on disk before it counts.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from stager.constraints.wheels import motor_ceiling, reach_ceiling
from stager.errors import InputError
from stager.files import append, clear_stale, locked, make_folder, replace_all
from stager.fit.table.reader import (
    LENGTHS,
    SPEEDS,
    TEMPERATURES,
    TIMES,
    VOLTS,
    NumberFormat,
    TableColumn,
    cells_of,
    delimiter_of,
    filled_lines,
    lines_of,
    number_format_of,
    read_columns,
    read_number,
    read_text,
    read_word,
    safe_word,
    text_of,
)
from stager.fit.table.throws import SURFACE, THROTTLE, TURNING_RATE, Throws
from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics.flight import indicated_wheel_speed

CUT = "# cut short when it was written: "
"""Comment before a last line that an interruption cut short."""
ABOUT = """\
# One throw a line. Units stand in the heads; lines that start with # are comments.
# Without a chronograph: flight_time [s] and distance [m], or range [m] and drop [m]; see stager explain throws.
"""
"""First lines of a new table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableWriter:
    """A table of throws that lines are added to.

    heads: its columns; width: number of heads; decimal_marks: of its numbers
    """

    path: Path
    launcher: Launcher
    heads: tuple[TableColumn, ...]
    width: int
    delimiter: str
    decimal_marks: NumberFormat

    def throws(self) -> Throws:
        """Return the throws that it has now. Raises InputErrors."""
        return read_text(text_of(self.path), self.path, self.launcher)

    def append(self, cells: list[str]) -> None:
        """Add a line, wait until it is on disk and read it back.

        The file is opened for each line, so that an editor may save it in between.

        Raises
        ------
        InputErrors, InputError
            Where the line is invalid or the file cannot be written; then nothing is added.
        """
        text_of(self.path)
        append(self.path, self._line(cells), lambda text: read_text(text, self.path, self.launcher))

    def undo(self, throw: float | None = None) -> str | None:
        """Remove a throw, by its number or (None) the last one; return its line, None where there is none."""
        filled = filled_lines(text_of(self.path))
        if len(filled) < 2:
            return None
        at, last = filled[-1]
        if throw is not None:
            throws = self.throws()
            lines = throws.line[throws.order == throw]
            if not lines.size:
                return None
            at, last = next(one for one in filled if one[0] == int(lines[-1]))
        kept = self.path.read_bytes().splitlines(keepends=True)
        replace_all({self.path: b"".join(kept[: at - 1] + kept[at:])})
        return last

    def _line(self, cells: list[str]) -> str:
        words = {head.place for head in self.heads if head.unit is None}
        out = io.StringIO()
        safe = [safe_word(cell) if place in words else cell for place, cell in enumerate(cells)]
        csv.writer(out, delimiter=self.delimiter, lineterminator="").writerow(safe)
        line = out.getvalue()
        if line[:1].isascii():
            return line
        # `files.append` writes the first byte last, so it must be a whole character.
        first, *rest = line.split(self.delimiter)
        return self.delimiter.join([f'"{first}"', *rest])


@contextmanager
def open_table(path: Path, launcher: Launcher, stages: int) -> Iterator[tuple[TableWriter, str | None]]:
    """Open a table for this process alone, or begin one with columns for `stages` stages.

    Yields the table, and a last line that was cut short, which becomes a comment.

    Raises
    ------
    InputErrors
        With all problems of the table.
    InputError
        Where another process has it open.
    """
    if not path.exists():
        make_folder(path)
    with locked(path):
        clear_stale(path.absolute().parent)
        yield _opened(path, launcher, stages)


def _opened(path: Path, launcher: Launcher, stages: int) -> tuple[TableWriter, str | None]:
    if not path.exists():
        replace_all({path: blank(stages).encode()})
    cut = _mend(path)
    text = text_of(path)
    read_text(text, path, launcher)
    lines = filled_lines(text)
    delimiter = delimiter_of(lines[0][1])
    rows = [cells_of(line, delimiter) for _, line in lines]
    heads, _, _ = read_columns(rows[0])
    if all(head.name != "exit_speed" for head in heads):
        hint = "enter throws in the file itself, or begin a table with exit_speed [m/s]"
        raise InputError("has no column exit_speed, which is typed here", where=str(path), hint=hint)
    decimal_marks = number_format_of(heads, rows[1:])
    writer = TableWriter(
        path=path, launcher=launcher, heads=tuple(heads), width=len(rows[0]), delimiter=delimiter,
        decimal_marks=decimal_marks,
    )  # fmt: skip
    return writer, cut


def blank(stages: int) -> str:
    """Return an empty table with wheel columns for `stages` stages."""
    wheels = "".join(f"wheel_{k + 1} [rpm]," for k in range(stages))
    return f"{ABOUT}throw,build,{wheels}exit_speed [m/s],supply [V],note\n"


def _mend(path: Path) -> str | None:
    text = text_of(path)
    filled = filled_lines(text)
    if text.endswith("\n") or len(filled) < 2:
        return None
    at, last = filled[-1]
    lines = lines_of(text)
    delimiter = delimiter_of(filled[0][1])
    if at < len(lines) or len(cells_of(last, delimiter)) >= len(cells_of(filled[0][1], delimiter)):
        return None
    replace_all({path: ("\n".join([*lines[:-1], CUT + last]) + "\n").encode()})
    return last


INSTRUMENT_ERROR = 0.03
"""Relative error of instruments up to which a throw is plausible [-]; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """Implausible values of a throw; speeds in m/s.

    most: greatest exit speed that its wheels allow, where the throw is faster; None: it is not
    beyond: stages, from 1, whose wheels are faster than their motors reach, each with the reachable speed
    """

    most: float | None
    beyond: tuple[tuple[int, float], ...]

    def __bool__(self) -> bool:
        """Whether anything is implausible."""
        return self.most is not None or bool(self.beyond)


def doubts(launcher: Launcher, wheel_speed: dict[int, float], exit_speed: float) -> Doubts:
    """Return what is implausible of a throw with `wheel_speed` by stage, from 0, and `exit_speed`, both [m/s].

    A projectile that grips has the wheel's surface speed along the tangent, and along the barrel v = u / cos φ.
    """
    most = max([u * tilt(launcher, launcher.stage(k)) for k, u in wheel_speed.items()], default=np.inf)
    most = max(most, float(np.max(launcher.feed.speed)))
    beyond = []
    for k, speed in wheel_speed.items():
        stage = launcher.stage(k)
        reached = min(float(np.max(ceiling(launcher, stage))) for ceiling in (motor_ceiling, reach_ceiling))
        if speed > (1 + INSTRUMENT_ERROR) * reached:
            beyond.append((k + 1, reached))
    return Doubts(most=most if exit_speed > (1 + INSTRUMENT_ERROR) * most else None, beyond=tuple(beyond))


def tilt(launcher: Launcher, stage: Stage) -> float:
    """Return 1/cos φ at the first contact [-]: greatest speed of a gripping projectile / wheel speed."""
    if not launcher.projectile.shape.rolls:
        return 1.0
    reach = stage.wheel.radius + launcher.projectile.radius
    return float(np.max(reach / (reach - stage.layout.crush_share * stage.crush)))


JAM = "jam"
"""Word that stands for an exit speed of 0."""
_WITH_UNIT = re.compile(r"(?P<number>[+-]?[\d.,']*\d[\d.,']*)\s*(?P<unit>[^\d\s.,'].*)")
"""A number with a unit behind it."""
_PARTED = re.compile(r"\s*[;\t]\s*|,?\s+")
"""What separates two values of a line."""
_NUMBER = re.compile(r"[+-]?[\d.,']*\d[\d.,']*(:[\d.,']+)?")
"""A number, or those of sides A and B with a colon between them."""
LASTING = ("build", "supply", "temperature")
"""Columns whose value holds for all throws until another one is given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowEntry:
    """One throw in the units of the columns: wheel speeds (side A, side B) by stage, None: none; exit speed."""

    wheels: tuple[tuple[float | None, float | None], ...]
    exit_speed: float
    note: str = ""


def wheel_columns(writer: TableWriter) -> list[tuple[TableColumn, TableColumn | None]]:
    """Return the column of each stage, and that of its side B or None; of several kinds of reading the first."""
    found: list[tuple[TableColumn, TableColumn | None]] = []
    wheels = [head for head in writer.heads if head.reading is not None]
    for stage in sorted({head.stage for head in wheels}):
        side_a = next(h for h in wheels if h.stage == stage and not h.side)
        same = (h for h in wheels if h.stage == stage and h.side and h.reading is side_a.reading)
        found.append((side_a, next(same, None)))
    return found


def row_of(text: str, writer: TableWriter) -> list[str] | None:
    """Return the cells of a line that is a complete row of the table; None for other lines."""
    cells = cells_of(text, writer.delimiter)
    if writer.delimiter not in text or len(cells) != writer.width or writer.width <= 2:
        return None
    words = {head.place for head in writer.heads if head.unit is None}
    return [read_word(cell) if place in words else cell for place, cell in enumerate(cells)]


def parse(text: str, writer: TableWriter, before: ThrowEntry | None) -> ThrowEntry:
    """Return a typed throw: "3000 11.6", "3000 4000 15.2 windy", "3000 jam", or "11.6" with the wheels of `before`.

    Raises ValueError with the reason where it cannot be read.
    """
    numbers, note = _split(text)
    single = [word for word in numbers if ":" not in word[:-1]]
    values = [0.0 if word == JAM else read_number(word, writer.decimal_marks) for word in single]
    if not numbers or (len(numbers) == 1 and before is None):
        raise ValueError("needs wheel speeds, then the exit speed")
    if len(numbers) == 1:
        _unclear(numbers[0], writer)
        if values[0] is None:
            raise ValueError("has no exit speed")
        return ThrowEntry(wheels=before.wheels if before is not None else (), exit_speed=values[0], note=note)
    leaves = 0.0 if numbers[-1] == JAM else read_number(numbers[-1], writer.decimal_marks)
    if leaves is None:
        raise ValueError("has no exit speed")
    heads = wheel_columns(writer)
    if len(numbers) - 1 > len(heads):
        name = heads[0][0].text.replace("1", str(len(numbers) - 1), 1)
        raise ValueError(f"has {len(numbers) - 1} wheel speeds, the table {len(heads)}: add the column {name}")
    wheels = tuple(_wheel_cell(word, pair, writer) for word, pair in zip(numbers[:-1], heads, strict=False))
    if all(side_a is None for side_a, _ in wheels):
        raise ValueError("has no wheel speed")
    return ThrowEntry(wheels=wheels, exit_speed=leaves, note=note)


def measure(text: str, head: TableColumn, writer: TableWriter) -> str:
    """Return a value for its column, from "12.4" in the unit of the column, or with a unit, "12.4 V".

    Raises ValueError with the reason where it cannot be read.
    """
    plain, unit = text.strip(), head.unit
    found = _WITH_UNIT.fullmatch(plain)
    if unit is None or found is None:
        read_number(plain, writer.decimal_marks)
        return plain
    known = next((units for units in (VOLTS, TEMPERATURES, TIMES, LENGTHS, SPEEDS) if unit in units.values()), {})
    if found["unit"] not in known:
        named = ", ".join(known) or "no unit"
        raise ValueError(f'"{found["unit"]}" is not a unit of {head.name}: {named}')
    value = read_number(found["number"], writer.decimal_marks)
    if value is None:
        raise ValueError(f'"{plain}" has no number')
    return _cell_text(float(f"{unit.from_si(known[found['unit']].to_si(value)):.10g}"), writer)


def cells(entry: ThrowEntry, writer: TableWriter, throw: int, lasting: Mapping[str, str]) -> list[str]:
    """Return the row of an entry, as long as the line of heads."""
    row = [""] * writer.width
    texts = {"throw": str(throw), "exit_speed": _cell_text(entry.exit_speed, writer), "note": entry.note, **lasting}
    for head in writer.heads:
        row[head.place] = texts.get(head.name, "")
    for (side_a, side_b), (a, b) in zip(wheel_columns(writer), entry.wheels, strict=False):
        row[side_a.place] = _cell_text(a, writer)
        if side_b is not None:
            row[side_b.place] = _cell_text(b, writer)
    return row


def entry_of(throws: Throws, writer: TableWriter, row: int = -1) -> ThrowEntry | None:
    """Return a throw of a table as it would be typed, the last one by default; None where there is none."""
    if not len(throws):
        return None
    exit_head = next(head for head in writer.heads if head.name == "exit_speed")
    wheels = tuple(
        (_typed(throws, row, side_a), None if side_b is None else _typed(throws, row, side_b))
        for side_a, side_b in wheel_columns(writer)
    )
    return ThrowEntry(
        wheels=wheels, exit_speed=_from_si(throws.exit_speed[row], exit_head), note=str(throws.note[row])
    )  # fmt: skip


def in_column(surface_speed: float, head: TableColumn, launcher: Launcher) -> float | None:
    """Return what a wheel's column holds at a true surface speed [m/s], the tachometer's reading; None for a throttle.

    launcher: its fields may be arrays of one value.
    """
    unit = head.unit
    if unit is None or head.reading not in (SURFACE, TURNING_RATE):
        return None
    shown = np.asarray(indicated_wheel_speed(launcher, surface_speed))
    si = shown if head.reading is SURFACE else shown / launcher.stage(head.stage).wheel.radius
    return ((si - unit.offset) / unit.factor).item()


def throttle_for(surface_speed: float, head: TableColumn, launcher: Launcher) -> float | None:
    """Return the throttle for a surface speed [m/s], this stage alone on the supply, in the unit of the column.

    None for other columns, and where full throttle is too slow.
    """
    if head.unit is None or head.reading is not THROTTLE:
        return None
    shares = np.linspace(0.0, 1.0, 201)
    speeds = THROTTLE.surface_speed(launcher, (head.stage,), shares[:, None], np.full(shares.size, np.nan))[:, 0]
    if not speeds[0] <= surface_speed <= speeds[-1]:
        return None
    return float(np.interp(surface_speed, speeds, shares)) / head.unit.factor


def _typed(throws: Throws, row: int, head: TableColumn) -> float | None:
    wheel = next(w for w in throws.wheels if (w.stage, w.side, w.reading) == (head.stage, head.side, head.reading))
    value = float(wheel.values[row])
    return None if np.isnan(value) else _from_si(value, head)


def _from_si(value: float, head: TableColumn) -> float:
    unit = head.unit
    return float(value) if unit is None else float(f"{(float(value) - unit.offset) / unit.factor:.10g}")


def _split(text: str) -> tuple[list[str], str]:
    """Return the numbers of a line as words, and its note; without blanks, commas separate the numbers."""
    rest = text.strip()
    if re.fullmatch(r"[\d.,:+-]+", rest) and not _decimal(rest):
        rest = rest.replace(",", " ")
    words = []
    while rest:
        word, after = [*_PARTED.split(rest, maxsplit=1), ""][:2]
        if not (word.lower() == JAM or word == "-" or _NUMBER.fullmatch(word)):
            break
        words.append(word.lower())
        rest = after
    return words, rest


def _decimal(word: str) -> bool:
    """Whether a single word may be one number with a decimal comma."""
    return re.fullmatch(r"\d+,\d*", word) is not None


def _unclear(word: str, writer: TableWriter) -> None:
    """Raise ValueError for a word such as "15,5", which may be one number or two."""
    if "," in word and not writer.decimal_marks.comma:
        first, _, second = word.partition(",")
        raise ValueError(f'"{word}" can be read two ways: write "{first} {second}" or "{first}.{second}"')


def _wheel_cell(
    word: str, heads: tuple[TableColumn, TableColumn | None], writer: TableWriter
) -> tuple[float | None, float | None]:
    side_a, _, side_b = word.partition(":")
    if side_b and heads[1] is None:
        name = heads[0].text.replace(str(heads[0].stage + 1), f"{heads[0].stage + 1}b", 1)
        raise ValueError(f'"{word}" sets the wheels of a pair apart: the table needs the column {name}')
    return read_number(side_a, writer.decimal_marks), read_number(side_b, writer.decimal_marks) if side_b else None


def _cell_text(value: float | None, writer: TableWriter) -> str:
    if value is None:
        return ""
    text = f"{value:.10g}"
    text = text if float(text) == value else repr(value)
    return text.replace(".", ",") if writer.decimal_marks.comma else text
