"""A throws table that is being written: each line is on the disk before it counts."""

from __future__ import annotations

import csv
import io
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from stager.errors import InputError
from stager.files import write_whole
from stager.fit.table.cells import Marks
from stager.fit.table.heads import Head, read_heads
from stager.fit.table.reader import cells_of, delimiter_of, filled_lines, habits_of, read_text, text_of
from stager.fit.table.record import Throws
from stager.model.launcher import Launcher

CUT = "# cut short when it was written: "
ABOUT = "# One throw a line. Units stand in the heads; lines that start with # are comments.\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """A table of throws that lines are added to.

    heads: its columns; width: how many heads there are; marks: how its numbers are written.
    """

    path: Path
    launcher: Launcher
    heads: tuple[Head, ...]
    width: int
    delimiter: str
    marks: Marks

    def throws(self) -> Throws:
        """What is in it now. Raises InputErrors."""
        return read_text(text_of(self.path), self.path, self.launcher)

    def append(self, cells: list[str]) -> None:
        """Add a line and wait until it is on the disk. Raises InputErrors, and adds nothing, where it cannot be read.

        The file is opened anew each time, so that an editor may save it in between.
        """
        text = text_of(self.path)
        line = ("" if not text or text.endswith("\n") else "\n") + self._line(cells)
        read_text(text + line, self.path, self.launcher)
        try:
            handle = os.open(self.path, os.O_WRONLY | os.O_APPEND)
            try:
                os.write(handle, line.encode("utf-8"))
                os.fsync(handle)
            finally:
                os.close(handle)
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", where=str(self.path)) from error

    def undo(self) -> str | None:
        """Take the last throw out; returns its line, None where there is none."""
        text = text_of(self.path)
        filled = filled_lines(text)
        if len(filled) < 2:
            return None
        at, last = filled[-1]
        kept = text.splitlines(keepends=True)
        replace_text(self.path, "".join(kept[: at - 1] + kept[at:]))
        return last

    def _line(self, cells: list[str]) -> str:
        out = io.StringIO()
        csv.writer(out, delimiter=self.delimiter, lineterminator="\n").writerow(cells)
        return out.getvalue()


def open_book(path: Path, launcher: Launcher, stages: int) -> tuple[Book, str | None]:
    """Open a table, or begin one with columns for so many `stages`; a last line that was cut short becomes a comment.

    Returns the table and the line that was cut short. Raises InputErrors with all that is wrong with the table.
    """
    if not path.exists():
        replace_text(path, blank(stages))
    cut = _mend(path)
    text = text_of(path)
    read_text(text, path, launcher)
    lines = filled_lines(text)
    delimiter = delimiter_of(lines[0][1])
    rows = [cells_of(line, delimiter) for _, line in lines]
    heads, _, _ = read_heads(rows[0])
    marks = habits_of(heads, rows[1:])
    book = Book(
        path=path, launcher=launcher, heads=tuple(heads), width=len(rows[0]), delimiter=delimiter, marks=marks
    )  # fmt: skip
    return book, cut


def blank(stages: int) -> str:
    """An empty table with wheel columns for so many stages."""
    wheels = "".join(f"wheel_{k + 1} [rpm]," for k in range(stages))
    return f"{ABOUT}throw,build,{wheels}exit_speed [m/s],supply [V],note\n"


def replace_text(path: Path, text: str) -> None:
    """Put another text in the place of a file, on the disk and whole."""
    write_whole(path, text)
    # Windows has no folder that could be opened; there a rename is kept by itself.
    with suppress(OSError):
        handle = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _mend(path: Path) -> str | None:
    text = text_of(path)
    filled = filled_lines(text)
    if text.endswith("\n") or len(filled) < 2:
        return None
    at, last = filled[-1]
    lines = text.splitlines()
    delimiter = delimiter_of(filled[0][1])
    if at < len(lines) or len(cells_of(last, delimiter)) >= len(cells_of(filled[0][1], delimiter)):
        return None
    replace_text(path, "\n".join([*lines[:-1], CUT + last]) + "\n")
    return last
