"""Plain shapes to scale, in millimetres, y upwards, and dimension lines; as SVG or painted with matplotlib."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a shape is drawn; width of its line in pixels, dash in pixels."""

    name: str
    fill: str = "none"
    line: str = "none"
    width: float = 1.2
    dash: tuple[float, ...] = ()

    @property
    def attributes(self) -> str:
        """As SVG."""
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
        """As an SVG element."""
        place = f'cx="{_number(self.x)}" cy="{_number(-self.y)}" r="{_number(self.radius)}"'
        return f"<circle {place} {self.look.attributes}/>"

    def paint(self, axes: Axes, scale: float) -> None:
        """On matplotlib axes."""
        from matplotlib.patches import Circle as Disc

        axes.add_patch(Disc((self.x, self.y), self.radius, **_patch(self.look)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line through points [mm], or the outline of an area."""

    points: tuple[tuple[float, float], ...]
    look: Look
    closed: bool = False

    def svg(self) -> str:
        """As an SVG element."""
        points = " ".join(f"{_number(x)},{_number(-y)}" for x, y in self.points)
        return f'<{"polygon" if self.closed else "polyline"} points="{points}" {self.look.attributes}/>'

    def paint(self, axes: Axes, scale: float) -> None:
        """On matplotlib axes."""
        from matplotlib.patches import Polygon

        axes.add_patch(Polygon(self.points, closed=self.closed, **_patch(self.look)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Text centred on a place [mm]; size: in parts of the drawing's type; lift: its middle above the place, in parts of
    its own size; fine: left out where there is no room."""

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
        """As an SVG element."""
        turned = f' transform="rotate(-90 {_number(self.x)} {_number(-self.y)})"' if self.upright else ""
        kind = ' class="fine"' if self.fine else ""
        weight = ' font-weight="700"' if self.bold else ""
        place = f'x="{_number(self.x)}" y="{_number(-self.y)}" dy="{_number(0.35 - self.lift)}em"'
        drawn = f'font-size="{_number(self.size)}em" fill="{self.colour}"{kind}{weight}{turned}'
        return f"<text {place} {drawn}>{html.escape(self.text)}</text>"

    def paint(self, axes: Axes, scale: float) -> None:
        """On matplotlib axes."""
        up = self.lift * self.size * scale
        axes.annotate(
            self.text, (self.x, self.y), (-up, 0.0) if self.upright else (0.0, up), textcoords="offset points",
            size=self.size * scale, ha="center", va="center", color=self.colour, rotation=90 if self.upright else 0,
            weight="bold" if self.bold else "normal",
        )  # fmt: skip


Shape = Circle | Stroke | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Shapes and the window on them [mm]; type: height of plain text [mm]."""

    shapes: Sequence[Shape]
    left: float
    right: float
    bottom: float
    top: float
    type: float

    def svg(self) -> str:
        """As SVG in millimetres."""
        wide, high = self.right - self.left, self.top - self.bottom
        window = " ".join(map(_number, (self.left, -self.top, wide, high)))
        inside = "".join(shape.svg() for shape in self.shapes)
        return (
            f'<svg class="drawing" viewBox="{window}" font-size="{_number(self.type)}" text-anchor="middle"'
            f' font-family="sans-serif" stroke-linejoin="round" xmlns="http://www.w3.org/2000/svg">{inside}</svg>'
        )

    def paint(self) -> Figure:
        """With matplotlib."""
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


def millimetres(value: float) -> str:
    """A length in millimetres as the drawing has it: whole ones, else tenths or hundredths."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def along(start: float, end: float, y: float, size: float, text: str, foot: tuple[float, float]) -> list[Shape]:
    """Between two places along the barrel [mm], drawn at height y; foot: heights from which its ends are led."""
    ends = ((start, foot[0]), (end, foot[1]))
    over = 0.4 * size if y > max(foot) else -0.4 * size
    shapes: list[Shape] = [Stroke(points=((x, low), (x, y + over)), look=THIN) for x, low in ends]
    shapes.append(Stroke(points=((start, y), (end, y)), look=THIN))
    shapes += [_tip(start, y, size, 1, 0), _tip(end, y, size, -1, 0)]
    shapes.append(Words(x=(start + end) / 2, y=y, text=text, lift=0.7))
    return shapes


def across(low: float, high: float, x: float, size: float, text: str, foot: float) -> list[Shape]:
    """Between two heights [mm], drawn at place x along the barrel; foot: place from which its ends are led."""
    over = 0.4 * size if x > foot else -0.4 * size
    shapes: list[Shape] = [Stroke(points=((foot, y), (x + over, y)), look=THIN) for y in (low, high)]
    shapes.append(Stroke(points=((x, low), (x, high)), look=THIN))
    shapes += [_tip(x, low, size, 0, 1), _tip(x, high, size, 0, -1)]
    shapes.append(Words(x=x, y=(low + high) / 2, text=text, upright=True, lift=-0.7 if x > foot else 0.7))
    return shapes


def _tip(x: float, y: float, size: float, dx: float, dy: float) -> Stroke:
    """Arrow tip at a place, pointing away from (dx, dy)."""
    long, slim = 0.75 * size, SLIM * size
    back = (x + long * dx, y + long * dy)
    side = (slim * dy, slim * dx)
    return Stroke(
        points=((x, y), (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])),
        look=TIP, closed=True,
    )  # fmt: skip
