"""What a screen is made of, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Column:
    """Head and unit of a column; `words`: it holds words, so it is set to the left; `wraps`: over several lines."""

    head: str
    unit: str = ""
    words: bool = False
    wraps: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Title, columns, and rows of finished text cells."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    def without_empty(self, empty: str) -> Table:
        """The table without the columns whose cells are all `empty`."""
        keep = [i for i in range(len(self.columns)) if any(row[i] != empty for row in self.rows)]
        return Table(
            self.title,
            tuple(self.columns[i] for i in keep),
            tuple(tuple(row[i] for i in keep) for row in self.rows),
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
