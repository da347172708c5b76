"""Add lines to a table of throws; each line is on disk before it counts."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from stager.errors import InputError
from stager.files import append, clear_stale, locked, make_folder, replace_all
from stager.fit.table.columns import NumberFormat, TableColumn, read_columns
from stager.fit.table.reader import (
    cells_of,
    delimiter_of,
    filled_lines,
    lines_of,
    number_format_of,
    read_text,
    safe_word,
    text_of,
)
from stager.fit.table.throws import Throws
from stager.model.launcher import Launcher

CUT = "# cut short when it was written: "
"""Comment before a last line that an interruption cut short."""
ABOUT = "# One throw a line. Units stand in the heads; lines that start with # are comments.\n"


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
