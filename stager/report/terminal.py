"""Screens as text: rich renderables for a terminal, ASCII for plain ones, HTML and plain text for notebooks."""

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

RULED = box.Box("    \n    \n -- \n" + "    \n" * 5, ascii=True)
STYLES = {
    "kept": "green", "binds": "yellow", "no margin left": "yellow", "BROKEN": "bold red", "slip": "yellow",
    "jam": "bold red", "grip limit": "bold",
}  # fmt: skip
"""Colours of verdicts; each is a word that tells by itself."""
WIDEST = 1000
"""Width at which a table is measured."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A picture as wide as the console lets it be."""

    picture: TextPicture

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text("\n".join(self.picture.lines(options.max_width)), no_wrap=True, overflow="crop")


@dataclass(frozen=True, slots=True)
class Trimmed:
    """Lines without the blanks at their ends, which files and pipes would keep."""

    inner: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for line in console.render_lines(self.inner, options, pad=False):
            while line and not line[-1].text.strip():
                line.pop()
            if line:
                line[-1] = Segment(line[-1].text.rstrip(), line[-1].style)
            yield from line
            yield Segment.line()


MORE = "--full shows more."


def whole(screen: Screen, *, ascii_only: bool = False, full: bool = True) -> RenderableType:
    """Headline, pictures, tables and notes; full: also those that are shown only where everything is asked for."""
    tables, notes = screen.all_tables(full=full), screen.all_notes(full=full)
    if screen.abridged and not full:
        notes.append(MORE)
    parts: list[RenderableType] = [headline(screen)]
    if screen.verdict:
        parts.append(_text(screen.verdict))
    for picture in screen.pictures:
        parts += [Text(), _text(picture.title, style="bold"), Drawn(picture)]
    for item in tables:
        parts += [Text(), _text(item.title, style="bold"), table(item, ascii_only=ascii_only)]
    if notes:
        parts.append(Text())
        parts += [_text(note) for note in notes]
    return Trimmed(Group(*parts))


def _title(title: str) -> list[RenderableType]:
    """A blank line, and the title where there is one."""
    return [Text(), Text(title, style="bold")] if title else [Text()]


def headline(screen: Screen, *, ascii_only: bool = False, full: bool = False) -> RenderableType:
    """The answer alone."""
    return Trimmed(_text(screen.headline, style="bold"))


@dataclass(frozen=True, slots=True)
class Fitted:
    """A table as wide as the screen allows: where it is too wide its heads are broken, then spare columns left out."""

    item: Table
    ascii_only: bool

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        found = self.item
        for change in (lambda one: one, _narrow_heads, Table.without_spare):
            found = change(found)
            drawn = _table(found, self.ascii_only)
            if console.measure(drawn, options=options.update(max_width=WIDEST)).maximum <= options.max_width:
                break
        yield drawn


def _narrow_heads(item: Table) -> Table:
    """The table with its heads broken at blanks."""
    return replace(
        item,
        columns=tuple(
            column if column.wraps else replace(column, head=re.sub(" (?!%)", "\n", column.head))
            for column in item.columns
        ),
    )


def table(item: Table, *, ascii_only: bool = False) -> RenderableType:
    """A table whose heads carry the unit on a line of their own."""
    return Fitted(item, ascii_only)


def _table(item: Table, ascii_only: bool) -> RichTable:
    lines = RULED if ascii_only else box.SIMPLE_HEAD
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
    """A text that cannot steer the terminal: names may come from a file."""
    return Text("\n".join(map(printable, text.split("\n"))), style=style)


WIDTH = 100


def html_text(screen: Screen, pictures: Sequence[Picture] = ()) -> str:
    """Headline, verdict, pictures, tables and notes as HTML that needs no style sheet."""
    from stager.report.page.render import environment

    return environment().get_template("screen.html").render(screen=screen, pictures=pictures)


def plain_text(screen: Screen) -> str:
    """The whole screen as plain text."""
    from rich.console import Console


    out = io.StringIO()
    # In a notebook rich would show it there and then.
    console = Console(
        file=out, width=WIDTH, markup=False, highlight=False, emoji=False, force_terminal=False, force_jupyter=False
    )
    console.print(whole(screen))
    return out.getvalue().removesuffix("\n")


_PLAIN = str.maketrans({
    "±": "+-", "×": "x", "²": "^2", "³": "^3", "½": "1/2", "°": "deg", "–": "-", "—": "-", "−": "-", "…": "...",
    "→": "->", "µ": "u", "Ω": "ohm", "ω": "w", "·": "*", "≥": ">=",
    "≤": "<=", "√": "root ", "Ø": "diameter", "\u00a0": " ", "\u202f": " ",
})  # fmt: skip


def ascii_screen(screen: Screen) -> Screen:
    """The same words with the signs that ASCII lacks spelt out; names are left as they are."""
    return replace(
        screen,
        headline=screen.headline.translate(_PLAIN), verdict=screen.verdict.translate(_PLAIN),
        notes=[note.translate(_PLAIN) for note in screen.notes], tables=[_ascii_table(item) for item in screen.tables],
        more_notes=[note.translate(_PLAIN) for note in screen.more_notes],
        more_tables=[_ascii_table(item) for item in screen.more_tables],
    )  # fmt: skip


def _ascii_table(item: Table) -> Table:
    columns = tuple(
        replace(one, head=one.head.translate(_PLAIN), unit=one.unit.translate(_PLAIN)) for one in item.columns
    )
    rows = tuple(tuple(cell.translate(_PLAIN) for cell in row) for row in item.rows)
    full = None if item.full is None else _ascii_table(item.full)
    return Table(item.title.translate(_PLAIN), columns, rows, full)
