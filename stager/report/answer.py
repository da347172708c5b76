"""What a command answers: a screen of headline, tables and notes, and a document for programs."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any, Protocol

from stager.errors import CONTROL_CHARACTERS
from stager.version import __version__


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
    """Title, columns, and rows of finished text cells; `full`: what stands there where everything is asked for."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    full: Table | None = None

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


class TextPicture(Protocol):
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
    pictures: Sequence[TextPicture] = ()
    more_tables: Sequence[Table] = ()
    more_notes: Sequence[str] = ()

    def all_tables(self, *, full: bool) -> list[Table]:
        """Return the tables to show; full: everything."""
        if not full:
            return list(self.tables)
        return [*(item.full or item for item in self.tables), *self.more_tables]

    def all_notes(self, *, full: bool) -> list[str]:
        """Return the notes to show; full: everything."""
        return [*self.notes, *(self.more_notes if full else ())]

    @property
    def abridged(self) -> bool:
        """Whether there is more to show where everything is asked for."""
        return bool(self.more_tables or self.more_notes or any(item.full for item in self.tables))


@dataclass(frozen=True, slots=True)
class Answer:
    """Screen for people (None: the document is for both), document for programs.

    `yes` is False where the answer is "no" (exit status 1); `aside` where standard output holds a file already, and
    the screen goes to standard error.
    """

    screen: Screen | None
    document: Mapping[str, Any]
    yes: bool = True
    aside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What an answer came from: SHA-256 of the configuration's bytes, seed of all random draws."""

    config_sha256: str
    seed: int


PROVENANCE = ("stager_version", "config_sha256", "seed")
"""What every document says of where it comes from."""


def document(content: Mapping[str, Any], source: Provenance) -> dict[str, Any]:
    """Content with its provenance, as plain data."""
    return {
        **{key: plain(value) for key, value in content.items()},
        **dict(zip(PROVENANCE, (__version__, source.config_sha256, source.seed), strict=True)),
    }


def plain(value: Any) -> Any:
    """Numbers, text, lists and dictionaries only; NaN and infinity become null."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if hasattr(value, "tolist"):  # NumPy's arrays and scalars; importing it for this would slow every command.
        return plain(value.tolist())
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, str) or value is None:
        return value
    if isinstance(value, Sequence):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def json_text(content: Mapping[str, Any], *, ascii_only: bool = False) -> str:
    """One JSON document, keys in the order given."""
    plainly = json.dumps(content, indent=2, ensure_ascii=ascii_only, allow_nan=False)
    # Escapes of JSON, so that a document on a terminal cannot steer it.
    lines = plainly.split("\n")
    return "\n".join(CONTROL_CHARACTERS.sub(lambda found: f"\\u{ord(found[0]):04x}", line) for line in lines)
