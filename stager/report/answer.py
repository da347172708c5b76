"""The answer of a command: a screen of headline, tables and notes, and a document for programs."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any, Protocol

from stager.errors import CONTROL_CHARACTERS
from stager.version import __version__


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    head, unit : str
        First and second line of its heading.
    words : bool
        It holds words, so it is aligned left.
    wraps : bool
        Its cells may take several lines.
    spare : bool
        It is left out where the screen is too narrow.
    """

    head: str
    unit: str = ""
    words: bool = False
    wraps: bool = False
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table of finished text cells; full: the table that takes its place under --full."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    full: Table | None = None

    def without_empty(self, empty: str) -> Table:
        """Return the table without the columns whose cells are all `empty`."""
        return self._with([i for i in range(len(self.columns)) if any(row[i] != empty for row in self.rows)])

    def without_spare(self) -> Table:
        """Return the table without its spare columns, for a narrow screen."""
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
        """Its title."""
        ...

    def lines(self, width: int) -> list[str]:
        """Return the picture's lines, at most `width` characters each."""
        ...


@dataclass(frozen=True, slots=True)
class Screen:
    """An answer for people: headline (a sentence), verdict if any, pictures, tables, notes.

    more_tables, more_notes: shown under --full only.
    """

    headline: str
    tables: Sequence[Table] = ()
    notes: Sequence[str] = ()
    verdict: str = ""
    pictures: Sequence[TextPicture] = ()
    more_tables: Sequence[Table] = ()
    more_notes: Sequence[str] = ()

    def all_tables(self, *, full: bool) -> list[Table]:
        """Return the tables to show, those without rows left out; full: also those of --full."""
        shown = [*(item.full or item for item in self.tables), *self.more_tables] if full else self.tables
        return [item for item in shown if item.rows]

    def all_notes(self, *, full: bool) -> list[str]:
        """Return the notes to show; full: also those of --full."""
        return [*self.notes, *(self.more_notes if full else ())]

    @property
    def abridged(self) -> bool:
        """Whether --full shows more."""
        return bool(self.more_tables or self.more_notes or any(item.full for item in self.tables))


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer of a command.

    screen : Screen or None
        For people; None: the document is for both.
    document : mapping
        For programs, as JSON holds it.
    yes : bool
        False where the answer is "no": a limit is broken, nothing fits, a jam (exit status 1).
    screen_to_stderr : bool
        The screen goes to standard error, as standard output already holds a file.
    """

    screen: Screen | None
    document: Mapping[str, Any]
    yes: bool = True
    screen_to_stderr: bool = False

    @property
    def shown(self) -> Screen:
        """The screen as people see it: its verdict begins with what speaks against the fit that it rests on.

        What cards and pages say has that already.
        """
        screen = self.screen or Screen("")
        misfit = misfit_sentence(self.document.get(MISFIT, ""))
        return screen if misfit in screen.verdict else replace(screen, verdict=f"{misfit} {screen.verdict}".strip())


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Where an answer came from: SHA-256 of the configuration's bytes, seed of all random draws.

    misfit: what speaks against the model in the throws that the configuration was fitted to, "" where nothing does
    """

    config_sha256: str
    seed: int
    misfit: str = ""


MISFIT = "fitted_misfit"
"""Key of a document that rests on a fit that does not fit; others do not have it."""


def misfit_sentence(misfit: str) -> str:
    """Return that the configuration rests on a fit that does not fit; "" where it does not."""
    if not misfit:
        return ""
    return f"This configuration was fitted to throws that do not fit the model ({misfit}): find the cause first."


PROVENANCE = ("stager_version", "config_sha256", "seed")
"""Keys of a document that say where it comes from."""


def document(content: Mapping[str, Any], source: Provenance) -> dict[str, Any]:
    """Return `content` with its provenance as plain data, ready for JSON."""
    return {
        **{key: plain(value) for key, value in content.items()},
        **({MISFIT: source.misfit} if source.misfit else {}),
        **dict(zip(PROVENANCE, (__version__, source.config_sha256, source.seed), strict=True)),
    }


def plain(value: Any) -> Any:
    """Return `value` as numbers, text, lists and dictionaries only; NaN and infinity become None."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if hasattr(value, "tolist"):  # NumPy's arrays and scalars, without importing NumPy, which would slow every command.
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
    """Return one JSON document, keys in the order given, control characters escaped."""
    text = json.dumps(content, indent=2, ensure_ascii=ascii_only, allow_nan=False)
    # A document shown on a terminal must not steer it.
    lines = text.split("\n")
    return "\n".join(CONTROL_CHARACTERS.sub(lambda found: f"\\u{ord(found[0]):04x}", line) for line in lines)
