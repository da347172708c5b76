"""The card as one A4 sheet: self-contained HTML, or a PDF drawn with matplotlib; lengths in millimetres."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING

from markupsafe import Markup

from stager.report.answer import Table
from stager.report.card.content import Card
from stager.report.figures import picture
from stager.report.page.render import environment

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""Content security policy of the sheet."""
LARGEST_HTML = 1.15
"""Greatest scale of the type in HTML [-]."""
ROWS_HTML = 39.0
"""Rows that a sheet holds at scale 1, counted by `_rows_of_html`."""


def html(card: Card) -> str:
    """Return the card as an HTML document; equal for equal input."""
    size = min(LARGEST_HTML, ROWS_HTML / _rows_of_html(card))
    style = f":root{{--size:{size:.3f}}}\n{(files('stager.report.card') / 'card.css').read_text('utf-8')}"
    sheet = environment().get_template("sheet.html").render(card=card, style=Markup(style), policy=POLICY)
    return f"{sheet}\n"


def _rows_of_html(card: Card) -> float:
    """Return the length of the card in rows of its smaller tables."""
    texts = [card.facts, card.first_note, *card.limit_notes, *card.cautions]
    heads = 1.9 * -(-len(card.title) // 40) + 1.3 * -(-len(card.headline) // 75) + 2.0 * -(-len(card.alarm) // 60)
    first = 0.0 if card.first is None else 1.35 * len(card.first.rows) + 2.5
    lines = sum(-(-len(text) // 85) for text in texts)
    return 1.6 * len(card.settings.rows) + first + len(card.limits.rows) + 0.85 * lines + heads + 3.5


WIDTH = 210.0
"""Width of A4 [mm]."""
HEIGHT = 297.0
"""Height of A4 [mm]."""
MARGIN = 12.0
"""Margin on all sides [mm]."""
POINT = 25.4 / 72
"""A typographic point [mm]."""
LARGEST = 1.15
"""Scale of the type that is tried first [-]."""
SHRINK = 0.97
"""Factor to the next smaller scale [-]."""
LEAST = 0.3
"""Scale at which attempts end, whether the card fits or not [-]."""
LEAST_GAP = 1.5
"""Least distance between columns [mm]."""
INK = "#111111"
MUTED = "#444444"
RULE = "#bbbbbb"
ALARM = "#a01010"
LEADING = 1.3
"""Distance of lines of text over the type's size [-]."""
ROW = 0.95
"""Height of a table's row over the type's size [-]."""
ASCENT = 0.76
"""Height of a capital over the type's size [-]."""


def pdf(card: Card) -> bytes:
    """Return the card as a PDF document of one page; equal for equal input."""
    return picture.as_pdf(draw(card), "card", card.title)


def draw(card: Card) -> Figure:
    """Return the card as a figure of an A4 page, as large as it fits."""
    from matplotlib.figure import Figure

    size = LARGEST
    while ((sheet := _lay_out(card, size)).y < MARGIN or sheet.too_wide) and size > LEAST:
        size *= SHRINK
    with picture.styled("card"):
        figure = Figure(figsize=(WIDTH / 25.4, HEIGHT / 25.4), facecolor="white")
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
        axes.set_axis_off()
        for item in sheet.drawn:
            item(axes)
    return figure


@dataclass(slots=True)
class _Sheet:
    """A sheet that is filled from the top.

    size: scale of the type; y: where the next line begins [mm]; too_wide: a table exceeds the margin; drawn: what
    puts each item on matplotlib axes.
    """

    size: float
    y: float = HEIGHT - MARGIN
    too_wide: bool = False
    drawn: list[Callable[[Axes], object]] = field(default_factory=list)

    def text(self, text: str, points: float, *, bold: bool = False, colour: str = INK, indent: float = 0.0) -> None:
        """Add a paragraph, wrapped at the margin."""
        for line in _wrapped(text, points * self.size, WIDTH - 2 * MARGIN - indent, bold=bold):
            self.put(MARGIN + indent, line, points, bold=bold, colour=colour)
            self.down(points * LEADING * POINT)

    def put(
        self, x: float, text: str, points: float, *, bold: bool = False, colour: str = INK, right: bool = False
    ) -> None:
        """Add a text that begins, or with `right` ends, at `x`."""
        size = points * self.size
        y = self.y - ASCENT * size * POINT
        self.drawn.append(lambda axes: axes.text(
            x, y, text, fontsize=size, color=colour, va="baseline", ha="right" if right else "left",
            fontweight="bold" if bold else "normal",
        ))  # fmt: skip

    def rule(self, colour: str = RULE, width: float = 0.5) -> None:
        """Add a line from margin to margin."""
        y = self.y
        self.drawn.append(lambda axes: axes.plot([MARGIN, WIDTH - MARGIN], [y, y], color=colour, linewidth=width))

    def frame(self, top: float, colour: str = INK) -> None:
        """Add a frame from `top` to here."""
        x, y = [MARGIN - 2, WIDTH - MARGIN + 2], [top, self.y]
        self.drawn.append(lambda axes: axes.plot(
            [x[0], x[1], x[1], x[0], x[0]], [y[0], y[0], y[1], y[1], y[0]], color=colour, linewidth=1.2
        ))  # fmt: skip

    def down(self, distance: float) -> None:
        """Go down by `distance` [mm] at scale 1."""
        self.y -= distance * self.size


def _lay_out(card: Card, size: float) -> _Sheet:
    sheet = _Sheet(size)
    sheet.text(card.title, 20, bold=True)
    sheet.down(1)
    sheet.text(card.headline, 11.5, bold=True)
    if card.alarm:
        sheet.down(2)
        top = sheet.y
        sheet.down(1.5)
        sheet.text(card.alarm, 14, bold=True, colour=ALARM)
        sheet.frame(top, ALARM)
    _table(sheet, card.settings, 14, bold=True)
    sheet.text(card.facts, 10)
    if card.first is not None:
        _table(sheet, card.first, 11, space=1.7)
    sheet.down(1)
    sheet.text(card.first_note, 10)
    _table(sheet, card.limits, 9.5)
    for note in card.limit_notes:
        sheet.text(note, 10)
    sheet.down(3)
    top = sheet.y
    sheet.down(1.5)
    for text in card.cautions:
        sheet.text(text, 11, bold=True)
    sheet.down(1)
    sheet.frame(top)
    sheet.down(2)
    sheet.text(card.stamp, 8, colour=MUTED)
    return sheet


def _table(sheet: _Sheet, item: Table, points: float, *, bold: bool = False, space: float = 0.9) -> None:
    """Add a table over the whole width; the columns share the free width."""
    sheet.down(4)
    sheet.text(item.title, 12, bold=True)
    sheet.rule(INK, 1.2)
    sheet.down(1)
    small = points * 0.72
    heads = [[column.head, column.unit] for column in item.columns]
    wide = [
        max([picture.text_width(cell, points * sheet.size, bold=bold) for cell in cells]
            + [picture.text_width(text, small * sheet.size) for text in head]) * POINT
        for head, cells in zip(heads, zip(*item.rows, strict=True), strict=True)
    ]  # fmt: skip
    gap = (WIDTH - 2 * MARGIN - sum(wide)) / max(1, len(wide) - 1)
    sheet.too_wide |= gap < LEAST_GAP
    lefts = [MARGIN + sum(wide[:i]) + gap * i for i in range(len(wide))]
    for line in range(2 if any(head[1] for head in heads) else 1):
        for column, left, width, head in zip(item.columns, lefts, wide, heads, strict=True):
            x = left if column.words else left + width
            sheet.put(x, head[line], small, colour=MUTED, right=not column.words)
        sheet.down(small * LEADING * POINT)
    for row in item.rows:
        sheet.down(space)
        for column, left, width, cell in zip(item.columns, lefts, wide, row, strict=True):
            x = left if column.words else left + width
            colour = MUTED if not cell.strip(".") else INK
            sheet.put(x, cell, points, bold=bold or cell == "BROKEN", right=not column.words, colour=colour)
        sheet.down(points * ROW * POINT + space)
        sheet.rule()
    sheet.down(1)


def _wrapped(text: str, points: float, width: float, *, bold: bool) -> Sequence[str]:
    """Return lines no wider than `width` [mm]; a wider word is cut."""
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if picture.text_width(longer, points, bold=bold) * POINT <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while picture.text_width(line, points, bold=bold) * POINT > width and len(line) > 1:
            fits = next(n for n in range(len(line) - 1, 0, -1)
                        if n == 1 or picture.text_width(line[:n], points, bold=bold) * POINT <= width)  # fmt: skip
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line] if line else lines
