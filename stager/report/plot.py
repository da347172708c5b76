"""Text pictures of plain characters, for any terminal and any encoding."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats

HEIGHT = 12
"""Lines of a curve without its axis."""
WIDEST = 100
"""Greatest width of a picture [characters]."""
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
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
        sheet = _Grid(room, HEIGHT, float(across.min()), float(across.max()), float(ticks[-1]))
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
    step = next(k * power for k in STEPS if k * power >= rough * (1 - 1e-9))
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
