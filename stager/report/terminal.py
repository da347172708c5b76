"""Render screens: rich renderables for a terminal, ASCII for plain ones, HTML and plain text for notebooks."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.segment import Segment
from rich.table import Table as RichTable
from rich.text import Text

from stager.errors import printable
from stager.report.answer import Column, Screen, Table, TextPicture

if TYPE_CHECKING:
    from stager.report.figures import Picture

ASCII_BOX = box.Box("    \n    \n -- \n" + "    \n" * 5, ascii=True)
STYLES = {
    "kept": "green", "binds": "yellow", "no margin left": "yellow", "BROKEN": "bold red", "slip": "yellow",
    "jam": "bold red", "grip limit": "bold",
}  # fmt: skip
"""Style of cells that hold one of these words; the word alone tells as much."""
UNLIMITED_WIDTH = 1000
"""Width at which a table's natural width is measured [characters]."""
PLAIN_TEXT_WIDTH = 100
"""Width of a screen as plain text [characters]."""
MORE = "--full shows more."


@dataclass(frozen=True, slots=True)
class _PictureLines:
    """A picture as wide as the console."""

    picture: TextPicture

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text("\n".join(self.picture.lines(options.max_width)), no_wrap=True, overflow="crop")


@dataclass(frozen=True, slots=True)
class _Trimmed:
    """A renderable without blanks at line ends, which files and pipes would keep."""

    inner: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for line in console.render_lines(self.inner, options, pad=False):
            while line and not line[-1].text.strip():
                line.pop()
            if line:
                line[-1] = Segment(line[-1].text.rstrip(), line[-1].style)
            yield from line
            yield Segment.line()


def render_screen(screen: Screen, *, ascii_only: bool = False, full: bool = True) -> RenderableType:
    """Return headline, pictures, tables and notes; full: also those of --full."""
    tables, notes = screen.all_tables(full=full), screen.all_notes(full=full)
    if screen.abridged and not full:
        notes.append(MORE)
    parts: list[RenderableType] = [render_headline(screen)]
    if screen.verdict:
        parts.append(_text(screen.verdict))
    for picture in screen.pictures:
        parts += [Text(), _text(picture.title, style="bold"), _PictureLines(picture)]
    for item in tables:
        parts += [Text(), _text(item.title, style="bold"), _FittedTable(item, ascii_only)]
    if notes:
        parts.append(Text())
        parts += [_text(note) for note in notes]
    return _Trimmed(Group(*parts))


def render_headline(screen: Screen, *, ascii_only: bool = False, full: bool = False) -> RenderableType:
    """Return the headline alone."""
    return _Trimmed(_text(screen.headline, style="bold"))


@dataclass(frozen=True, slots=True)
class _FittedTable:
    """A table that fits the console: if too wide, heads are broken at blanks, then spare columns left out."""

    item: Table
    ascii_only: bool

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        item = self.item
        for narrow in (lambda same: same, _narrow_heads, Table.without_spare):
            item = narrow(item)
            drawn = _table(item, self.ascii_only)
            if console.measure(drawn, options=options.update(max_width=UNLIMITED_WIDTH)).maximum <= options.max_width:
                break
        yield drawn


def _narrow_heads(item: Table) -> Table:
    """Return the table with its heads broken at blanks."""
    return replace(
        item,
        columns=tuple(
            column if column.wraps else replace(column, head=re.sub(" (?!%)", "\n", column.head))
            for column in item.columns
        ),
    )


def _table(item: Table, ascii_only: bool) -> RichTable:
    """Return a rich table; units stand on a line of their own below the heads."""
    lines = ASCII_BOX if ascii_only else box.SIMPLE_HEAD
    drawn = RichTable(box=lines, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    units = any(column.unit for column in item.columns)
    lines_of_heads = max((column.head.count("\n") for column in item.columns), default=0)
    for column in item.columns:
        drawn.add_column(
            _head(column, lines_of_heads, units),
            justify="left" if column.words else "right",
            no_wrap=not column.wraps,
            vertical="top",
        )
    for row in item.rows:
        drawn.add_row(*(_text(cell, style=STYLES.get(cell, "")) for cell in row))
    return drawn


def _head(column: Column, lines: int, units: bool) -> Text:
    head = column.head + "\n" * (lines - column.head.count("\n"))
    return _text(f"{head}\n{column.unit}" if units else head)


def _text(text: str, style: str = "") -> Text:
    """Return text with control characters escaped: names may come from a file."""
    return Text("\n".join(map(printable, text.split("\n"))), style=style)


def html_text(screen: Screen, pictures: Sequence[Picture] = ()) -> str:
    """Return headline, verdict, pictures, tables and notes as HTML that needs no style sheet."""
    from stager.report.page.render import environment

    return environment().get_template("screen.html").render(screen=screen, pictures=pictures)


def plain_text(screen: Screen) -> str:
    """Return the whole screen as plain text."""
    out = io.StringIO()
    # Without force_jupyter=False rich would display it at once in a notebook.
    console = Console(
        file=out, width=PLAIN_TEXT_WIDTH, markup=False, highlight=False, emoji=False, force_terminal=False,
        force_jupyter=False,
    )
    console.print(render_screen(screen))
    return out.getvalue().removesuffix("\n")


_ASCII = str.maketrans({
    "±": "+-", "×": "x", "²": "^2", "³": "^3", "½": "1/2", "°": "deg", "–": "-", "—": "-", "−": "-", "…": "...",
    "→": "->", "µ": "u", "Ω": "ohm", "ω": "w", "·": "*", "≥": ">=",
    "≤": "<=", "√": "root ", "Ø": "diameter", "\u00a0": " ", "\u202f": " ",
})  # fmt: skip


def ascii_screen(screen: Screen) -> Screen:
    """Return the screen with signs that ASCII lacks spelt out; other letters, as in names, stay."""
    return replace(
        screen,
        headline=screen.headline.translate(_ASCII), verdict=screen.verdict.translate(_ASCII),
        notes=[note.translate(_ASCII) for note in screen.notes], tables=[_ascii_table(item) for item in screen.tables],
        more_notes=[note.translate(_ASCII) for note in screen.more_notes],
        more_tables=[_ascii_table(item) for item in screen.more_tables],
    )  # fmt: skip


def _ascii_table(item: Table) -> Table:
    columns = tuple(
        replace(one, head=one.head.translate(_ASCII), unit=one.unit.translate(_ASCII)) for one in item.columns
    )
    rows = tuple(tuple(cell.translate(_ASCII) for cell in row) for row in item.rows)
    full = None if item.full is None else _ascii_table(item.full)
    return Table(item.title.translate(_ASCII), columns, rows, full)
