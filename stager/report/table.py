"""What a screen is made of, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Column:
    """Head and unit of a column; `words`: it holds words, so it is set to the left; `wraps`: over several lines;
    `spare`: left out where the screen is too narrow."""

    head: str
    unit: str = ""
    words: bool = False
    wraps: bool = False
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Title, columns, and rows of finished text cells."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    def without_empty(self, empty: str) -> Table:
        """The table without the columns whose cells are all `empty`."""
        return self._with([i for i in range(len(self.columns)) if any(row[i] != empty for row in self.rows)])

    def without_spare(self) -> Table:
        """The table without the columns that a narrow screen leaves out."""
        return self._with([i for i, column in enumerate(self.columns) if not column.spare])

    def _with(self, kept: list[int]) -> Table:
        return Table(
            self.title,
            tuple(self.columns[i] for i in kept),
            tuple(tuple(row[i] for i in kept) for row in self.rows),
        )


class Picture(Protocol):
    """A picture of plain characters."""

    @property
    def title(self) -> str:
        """What it shows."""
        ...

    def lines(self, width: int) -> list[str]:
        """The picture in at most `width` columns."""
        ...


@dataclass(frozen=True, slots=True)
class Screen:
    """Headline (the answer in a sentence), verdict where there is one, then pictures, tables and notes.

    more_tables, more_notes: shown only where everything is asked for.
    """

    headline: str
    tables: Sequence[Table] = ()
    notes: Sequence[str] = ()
    verdict: str = ""
    pictures: Sequence[Picture] = ()
    more_tables: Sequence[Table] = ()
    more_notes: Sequence[str] = ()
