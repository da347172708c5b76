"""Plain shapes and dimension lines to scale, in millimetres, y upwards, as SVG or drawn with matplotlib."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stager.report.figures import palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INCHES = 9.6
"""Width of a drawing with matplotlib [inch]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a shape is drawn; width and dash of its line in pixels."""

    name: str
    fill: str = "none"
    line: str = "none"
    width: float = 1.2
    dash: tuple[float, ...] = ()

    @property
    def attributes(self) -> str:
        """SVG attributes."""
        dash = f' stroke-dasharray="{" ".join(map(_number, self.dash))}"' if self.dash else ""
        return (
            f'class="{self.name}" fill="{self.fill}" stroke="{self.line}" stroke-width="{_number(self.width)}"{dash}'
            ' vector-effect="non-scaling-stroke"'
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """Centre and radius [mm]."""

    x: float
    y: float
    radius: float
    look: Look

    def svg(self) -> str:
        """Return it as an SVG element."""
        place = f'cx="{_number(self.x)}" cy="{_number(-self.y)}" r="{_number(self.radius)}"'
        return f"<circle {place} {self.look.attributes}/>"

    def paint(self, axes: Axes, scale: float) -> None:
        """Draw it on matplotlib axes; scale: points for the drawing's type size."""
        from matplotlib.patches import Circle as Disc

        axes.add_patch(Disc((self.x, self.y), self.radius, **_patch(self.look)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line through points [mm], or the outline of an area."""

    points: tuple[tuple[float, float], ...]
    look: Look
    closed: bool = False

    def svg(self) -> str:
        """Return it as an SVG element."""
        points = " ".join(f"{_number(x)},{_number(-y)}" for x, y in self.points)
        return f'<{"polygon" if self.closed else "polyline"} points="{points}" {self.look.attributes}/>'

    def paint(self, axes: Axes, scale: float) -> None:
        """Draw it on matplotlib axes; scale: points for the drawing's type size."""
        from matplotlib.patches import Polygon

        axes.add_patch(Polygon(self.points, closed=self.closed, **_patch(self.look)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A text centred on a place [mm].

    size: over the drawing's type size; lift: height of its middle above the place over its own size; fine: left out
    on narrow screens.
    """

    x: float
    y: float
    text: str
    size: float = 1.0
    lift: float = 0.0
    upright: bool = False
    fine: bool = False
    bold: bool = False
    colour: str = palette.INK

    def svg(self) -> str:
        """Return it as an SVG element."""
        turned = f' transform="rotate(-90 {_number(self.x)} {_number(-self.y)})"' if self.upright else ""
        kind = ' class="fine"' if self.fine else ""
        weight = ' font-weight="700"' if self.bold else ""
        place = f'x="{_number(self.x)}" y="{_number(-self.y)}" dy="{_number(0.35 - self.lift)}em"'
        drawn = f'font-size="{_number(self.size)}em" fill="{self.colour}"{kind}{weight}{turned}'
        return f"<text {place} {drawn}>{html.escape(self.text)}</text>"

    def paint(self, axes: Axes, scale: float) -> None:
        """Draw it on matplotlib axes; scale: points for the drawing's type size."""
        up = self.lift * self.size * scale
        axes.annotate(
            self.text, (self.x, self.y), (-up, 0.0) if self.upright else (0.0, up), textcoords="offset points",
            size=self.size * scale, ha="center", va="center", color=self.colour, rotation=90 if self.upright else 0,
            weight="bold" if self.bold else "normal",
        )  # fmt: skip


Shape = Circle | Stroke | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Shapes and the window around them [mm]; type: type size of text [mm]."""

    shapes: Sequence[Shape]
    left: float
    right: float
    bottom: float
    top: float
    type: float

    def svg(self) -> str:
        """Return it as SVG in millimetres."""
        wide, high = self.right - self.left, self.top - self.bottom
        window = " ".join(map(_number, (self.left, -self.top, wide, high)))
        inside = "".join(shape.svg() for shape in self.shapes)
        return (
            f'<svg class="drawing" viewBox="{window}" font-size="{_number(self.type)}" text-anchor="middle"'
            f' font-family="sans-serif" stroke-linejoin="round" xmlns="http://www.w3.org/2000/svg">{inside}</svg>'
        )

    def paint(self) -> Figure:
        """Return it as a matplotlib figure."""
        from stager.report.figures.picture import axes

        wide, high = self.right - self.left, self.top - self.bottom
        figure, plot = axes(INCHES, INCHES * high / wide)
        plot.set(xlim=(self.left, self.right), ylim=(self.bottom, self.top), aspect="equal")
        plot.set_axis_off()
        for shape in self.shapes:
            shape.paint(plot, self.type * INCHES * 72 / wide)
        return figure


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") if value else "0"


def _patch(look: Look) -> dict[str, object]:
    return {
        "facecolor": look.fill, "edgecolor": look.line, "linewidth": 0.75 * look.width,
        "linestyle": (0, tuple(0.75 * part for part in look.dash)) if look.dash else "solid",
    }  # fmt: skip


THIN = Look(name="dimension", line=palette.MUTED, width=0.9)
TIP = Look(name="tip", fill=palette.MUTED)
SLIM = 0.16
"""Half width of an arrow tip over the type size [-]."""


def millimetres(value: float) -> str:
    """Return a length [mm] as text with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def along(start: float, end: float, y: float, size: float, text: str, foot: tuple[float, float]) -> list[Shape]:
    """Return a dimension between two places along the barrel [mm].

    y: height of its line; size: type size; foot: heights where its extension lines begin.
    """
    ends = ((start, foot[0]), (end, foot[1]))
    over = 0.4 * size if y > max(foot) else -0.4 * size
    shapes: list[Shape] = [Stroke(points=((x, low), (x, y + over)), look=THIN) for x, low in ends]
    shapes.append(Stroke(points=((start, y), (end, y)), look=THIN))
    shapes += [_tip(start, y, size, 1, 0), _tip(end, y, size, -1, 0)]
    shapes.append(Words(x=(start + end) / 2, y=y, text=text, lift=0.7))
    return shapes


def across(low: float, high: float, x: float, size: float, text: str, foot: float) -> list[Shape]:
    """Return a dimension between two heights [mm].

    x: place of its line along the barrel; size: type size; foot: place where its extension lines begin.
    """
    over = 0.4 * size if x > foot else -0.4 * size
    shapes: list[Shape] = [Stroke(points=((foot, y), (x + over, y)), look=THIN) for y in (low, high)]
    shapes.append(Stroke(points=((x, low), (x, high)), look=THIN))
    shapes += [_tip(x, low, size, 0, 1), _tip(x, high, size, 0, -1)]
    shapes.append(Words(x=x, y=(low + high) / 2, text=text, upright=True, lift=-0.7 if x > foot else 0.7))
    return shapes


def _tip(x: float, y: float, size: float, dx: float, dy: float) -> Stroke:
    """Return an arrow tip at (x, y) that points away from (dx, dy)."""
    long, slim = 0.75 * size, SLIM * size
    back = (x + long * dx, y + long * dy)
    side = (slim * dy, slim * dx)
    return Stroke(
        points=((x, y), (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])),
        look=TIP, closed=True,
    )  # fmt: skip
