"""Render screens: rich renderables for a terminal, ASCII for plain ones, HTML and plain text for notebooks.

Text pictures are of plain characters, for any terminal and any encoding.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.segment import Segment
from rich.table import Table as RichTable
from rich.text import Text

from stager.errors import printable
from stager.model.arrays import Floats
from stager.report.answer import Column, Screen, Table, TextPicture

if TYPE_CHECKING:
    from stager.report.figures import Picture

CURVE_HEIGHT = 12
"""Lines of a curve without its axis."""
WIDEST = 100
"""Greatest width of a picture [characters]."""
TICK_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
"""Steps between ticks, times a power of ten."""
LEAST_SPAN = 1e-9
"""A range shorter than this counts as empty: ticks are rounded to 12 decimals."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """A mark on the x axis, with words below it and the ends of its interval."""

    x: float
    words: str
    interval: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TextCurve:
    """A curve over x with measured points and a mark on the x axis.

    x, y: the curve, (n,); low, high: a band about it, (n,); points: x and y of measurements, shown as "o".
    """

    title: str
    x: Floats
    y: Floats
    low: Floats | None = None
    high: Floats | None = None
    points: tuple[Floats, Floats] | None = None
    marked: Marked | None = None

    def lines(self, width: int) -> list[str]:
        """Return the picture's lines, at most `width` characters each."""
        seen = [self.y, *([] if self.high is None else [self.high]), *([] if self.points is None else [self.points[1]])]
        ticks = nice(0.0, max(float(np.nanmax(part)) for part in seen if part.size), 4)
        labels = [f"{tick:g}" for tick in ticks]
        edge = max(map(len, labels))
        across = self.x if self.points is None else np.concatenate([self.x, self.points[0]])
        room = min(width, WIDEST) - edge - 3
        sheet = _Grid(room, CURVE_HEIGHT, float(across.min()), float(across.max()), float(ticks[-1]))
        self._draw(sheet)
        rows = {sheet.row(tick): label for tick, label in zip(ticks, labels, strict=True)}
        body = [
            f"{rows.get(k, ''):>{edge}} {'+' if k in rows else '|'}{''.join(line).rstrip()}"
            for k, line in enumerate(sheet.cells)
        ]
        return [*body, *(" " * (edge + 1) + line for line in self._foot(sheet))]

    def _draw(self, sheet: _Grid) -> None:
        if self.marked is not None:
            sheet.upright(self.marked.x, ":")
        if self.low is not None and self.high is not None:
            for ends in (self.low, self.high):
                sheet.line(self.x, ends, ".")
        sheet.line(self.x, self.y, "*")
        if self.points is not None:
            for x, y in zip(*self.points, strict=True):
                sheet.put(float(x), float(y), "o")

    def _foot(self, sheet: _Grid) -> list[str]:
        """Return the axis with the interval in square brackets, its numbers, and the words of the mark."""
        axis = ["-"] * sheet.width
        ticks = nice(sheet.left, sheet.right, max(2, sheet.width // 14))
        for tick in ticks:
            axis[sheet.column(tick)] = "+"
        words: list[str] = []
        if self.marked is not None:
            if self.marked.interval is not None:
                low, high = (sheet.column(end) for end in self.marked.interval)
                axis[low : high + 1] = ["="] * (high + 1 - low)
                axis[low], axis[high] = "[", "]"
            axis[sheet.column(self.marked.x)] = "^"
            words = [place(sheet.width + 1, [(sheet.column(self.marked.x) + 1, self.marked.words)])]
        return ["+" + "".join(axis), place(sheet.width + 2, [(sheet.column(t) + 1, f"{t:g}") for t in ticks]), *words]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """A row for each interval: name, low, nominal, high, and words behind it."""

    title: str
    rows: tuple[tuple[str, float, float, float, str], ...]

    def lines(self, width: int) -> list[str]:
        """Return the picture's lines, at most `width` characters each."""
        names = max(len(row[0]) for row in self.rows)
        behind = max(len(row[4]) for row in self.rows)
        room = min(width, WIDEST) - names - behind - 4
        ticks = nice(0.0, max(row[3] for row in self.rows), max(2, room // 14))
        sheet = _Grid(room, 1, 0.0, float(ticks[-1]), 1.0)
        body = []
        for name, low, nominal, high, words in self.rows:
            cells = [" "] * room
            start, end = sheet.column(low), sheet.column(high)
            cells[start : end + 1] = ["-"] * (end + 1 - start)
            cells[start] = cells[end] = "|"
            cells[sheet.column(nominal)] = "o"
            body.append(f"{name:>{names}} |{''.join(cells)} {words}".rstrip())
        axis = ["-"] * room
        for tick in ticks:
            axis[sheet.column(tick)] = "+"
        indent = " " * (names + 1)
        numbers = place(room + 2, [(sheet.column(t) + 1, f"{t:g}") for t in ticks])
        return [*body, f"{indent}+{''.join(axis)}", indent + numbers]


class _Grid:
    """Cells of characters over x from `left` to `right` and y from 0 to `top`."""

    def __init__(self, width: int, height: int, left: float, right: float, top: float) -> None:
        self.width, self.height = max(width, 10), height
        self.left, self.right, self.top = left, right, top
        self.cells = [[" "] * self.width for _ in range(height)]

    def column(self, x: float) -> int:
        """Return the column nearest to x."""
        share = (x - self.left) / (self.right - self.left) if self.right > self.left else 0.0
        return round(min(max(share, 0.0), 1.0) * (self.width - 1))

    def row(self, y: float) -> int:
        """Return the row nearest to y."""
        share = y / self.top if self.top > 0 else 0.0
        return round((1 - min(max(share, 0.0), 1.0)) * (self.height - 1))

    def put(self, x: float, y: float, mark: str) -> None:
        """Set a mark at (x, y); nothing where they are not finite."""
        if math.isfinite(x) and math.isfinite(y):
            self.cells[self.row(y)][self.column(x)] = mark

    def upright(self, x: float, mark: str) -> None:
        """Draw a line of marks from top to bottom."""
        for row in self.cells:
            row[self.column(x)] = mark

    def line(self, x: Floats, y: Floats, mark: str) -> None:
        """Draw a curve, a mark in each column."""
        across = np.linspace(self.left, self.right, self.width)
        for place in across[(across >= x.min()) & (across <= x.max())]:
            self.put(float(place), float(np.interp(place, x, y)), mark)


def nice(low: float, high: float, count: int) -> list[float]:
    """Return about `count` round numbers between `low` and `high`; if `low` is 0, up to the first not below `high`."""
    span = high - low
    if not span > LEAST_SPAN:
        return [low, low + 1.0]
    rough = span / count
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(k * power for k in TICK_STEPS if k * power >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.ceil(high / step - 1e-9) if low == 0 else math.floor(high / step + 1e-9)
    return [round(k * step, 12) for k in range(first, last + 1)]


def place(width: int, words: Sequence[tuple[int, str]]) -> str:
    """Return a line with words centred on their columns; words that would overlap are left out."""
    line = ""
    for column, word in words:
        start = max(0, min(column - len(word) // 2, width - len(word)))
        if start < len(line) + (1 if line else 0):
            continue
        line = line.ljust(start) + word
    return line


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
        file=out,
        width=PLAIN_TEXT_WIDTH,
        markup=False,
        highlight=False,
        emoji=False,
        force_terminal=False,
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
