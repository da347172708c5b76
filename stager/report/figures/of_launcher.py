"""Picture of a launcher: its side view to scale; side A is above the projectile's path.

It is drawn of plain shapes and dimension lines, in millimetres, y upwards, as SVG or with matplotlib.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import TYPE_CHECKING

from stager.model.launcher import Launcher
from stager.model.stage import Stage
from stager.physics.barrel import length, pitch, place, touch
from stager.physics.flight import outlet_speed
from stager.report.answer import Column, Table
from stager.report.figures import palette
from stager.report.figures.picture import Picture
from stager.report.numbers import MISSING, listing, plural, speed

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


MM = 1000.0
"""Millimetres in a metre."""
TYRE = Look(name="tyre", fill=palette.RULE, line=palette.INK, width=1.3)
HUB = Look(name="hub", fill=palette.GROUND, line=palette.INK, width=1.1)
IDLER = Look(name="idler", fill=palette.GROUND, line=palette.INK, width=1.3, dash=(5, 3))
BORE = Look(name="bore", fill=palette.FAINT, line=palette.INK, width=0.9)
PATH = Look(name="path", line=palette.MUTED, width=0.9, dash=(14, 3, 3, 3))
RAIL = Look(name="rail", fill=palette.RULE, line=palette.INK, width=1.1)
BODY = Look(name="projectile", fill=palette.MARK, line=palette.INK, width=1.1)
LEAVING = Look(name="leaving", fill=palette.GROUND, line=palette.MARK, width=1.5)
TURN = Look(name="turn", line=palette.MUTED, width=1.2)
ARROW = Look(name="arrow", line=palette.MARK, width=2.0)
HEAD = Look(name="head", fill=palette.MARK)
RAIL_DEPTH = 0.12
"""Depth of the drawn rail over the wheel's diameter [-]."""
MOST_PITCHES = 12
"""Greatest number of stages with a dimension for each pitch."""


@dataclass(frozen=True, slots=True)
class Nip:
    """Position of a stage [mm]: x of its axes, wheel radius, heights of the surfaces of sides A and B at the gap."""

    x: float
    radius: float
    top: float
    bottom: float

    @property
    def gap(self) -> float:
        """Free gap [mm]."""
        return self.top - self.bottom


def nips(launcher: Launcher, count: int) -> list[Nip]:
    """Return the nips of the first `count` stages; height 0 is the middle of the projectile's path."""
    return [_nip(launcher, k) for k in range(count)]


def _nip(launcher: Launcher, k: int) -> Nip:
    stage, width = launcher.stage(k), MM * float(launcher.projectile.diameter)
    crush = MM * float(stage.crush)
    below = crush * (1 - stage.layout.crush_share)
    top = width / 2 - crush * stage.layout.crush_share
    return Nip(MM * float(place(launcher, k)), MM * float(stage.wheel.radius), top, below - width / 2)


def picture(launcher: Launcher, count: int, rpm: Sequence[str] = (), exit_speed: float | None = None) -> Picture | None:
    """Return the picture of a launcher with `count` stages, None for 0.

    rpm: what the tachometer shall show, by stage; exit_speed: of the last stage [m/s].
    """
    if count == 0:
        return None
    drawing = draw(launcher, count, rpm, exit_speed)
    layouts = listing(list(dict.fromkeys(launcher.stage(k).layout.name for k in range(count))))
    whole = millimetres(MM * float(length(launcher, count)))
    name = launcher.projectile.shape.name
    return Picture(
        name="launcher", title="The launcher, to scale",
        alt=f"Side view to scale of {plural(count, 'stage')} ({layouts}) in a row, {whole} mm long, thrown from left to"
        " right. The table below has the same dimensions.",
        caption=f"Side view to scale, dimensions in mm. The {name} comes from the left. Wheels at rest.",
        twin=_twin(launcher, count), paint=drawing.paint, drawn=drawing.svg, wide=True,
    )  # fmt: skip


def draw(launcher: Launcher, count: int, rpm: Sequence[str] = (), exit_speed: float | None = None) -> Drawing:
    """Return the side view of `count` stages, at least one."""
    spots = nips(launcher, count)
    width, rod = MM * float(launcher.projectile.diameter), MM * float(launcher.projectile.length or 0.0)
    start = -rod
    end = spots[-1].x + spots[-1].radius
    size = min((end - start + 4 * width) / 46, 0.32 * min(spot.radius for spot in spots))
    high = max(spot.top + 2 * spot.radius for spot in spots)
    low = min(_lowest(launcher, k, spot) for k, spot in enumerate(spots))
    entry = 0.0 if rod else min(spots[0].x - MM * float(touch(launcher, 0)), 0.0) - 1.2 * size
    left = entry - (rod or width)
    shapes: list[Shape] = []
    if any(not launcher.stage(k).layout.side_b_turns for k in range(count)):
        shapes.append(_rail(launcher, spots, start, end))
    for k, spot in enumerate(spots):
        shapes += _wheels(launcher.stage(k), spot, str(k + 1), rpm[k] if k < len(rpm) else "", size)
    ahead = end + 3.6 * size
    shapes.append(Stroke(points=((left - 0.8 * size, 0), (end + 0.8 * size, 0)), look=PATH))
    shapes += _projectile(launcher, left, entry, size, BODY)
    shapes += _leaving(launcher, ahead, size, exit_speed)
    shapes += _dimensions(launcher, spots, (start, end, low, high), left, size)
    return Drawing(
        shapes=shapes, left=left - 3.4 * size, right=ahead + (rod or width) + 6.4 * size, bottom=low - 6.6 * size,
        top=high + 3.4 * size, type=size,
    )  # fmt: skip


def _lowest(launcher: Launcher, k: int, spot: Nip) -> float:
    below = 2 * spot.radius if launcher.stage(k).layout.side_b_turns else RAIL_DEPTH * 2 * spot.radius
    return spot.bottom - below


def _rail(launcher: Launcher, spots: Sequence[Nip], start: float, end: float) -> Stroke:
    on = next(spot for k, spot in enumerate(spots) if not launcher.stage(k).layout.side_b_turns)
    depth = RAIL_DEPTH * 2 * on.radius
    y = on.bottom
    return Stroke(points=((start, y), (end, y), (end, y - depth), (start, y - depth)), look=RAIL, closed=True)


def _wheels(stage: Stage, spot: Nip, number: str, rpm: str, size: float) -> list[Shape]:
    hub, bore = MM * float(stage.wheel.hub_radius), MM * float(stage.wheel.bore) / 2
    shapes = _wheel(spot, spot.top + spot.radius, hub, bore, 1, size)
    y = spot.top + spot.radius
    shapes.append(Words(x=spot.x, y=y + 1.3 * size + bore, text=number, size=1.3, bold=True))
    if rpm:
        shapes.append(Words(x=spot.x, y=y - 1.3 * size - bore, text=f"{rpm} rpm", size=0.8, fine=True))
    if stage.layout.side_b_turns:
        driven = stage.layout.side_b_driven
        shapes += _wheel(spot, spot.bottom - spot.radius, hub, bore, -1 if driven else 0, size)
        if not driven:
            shapes.append(
                Words(x=spot.x, y=spot.bottom - spot.radius + 1.3 * size + bore, text="idler", size=0.8, fine=True)
            )
    return shapes


def _wheel(spot: Nip, y: float, hub: float, bore: float, turn: int, size: float) -> list[Shape]:
    """Return the shapes of a wheel; turn: 1 counter-clockwise, -1 clockwise, 0 not driven."""
    shapes: list[Shape] = [Circle(x=spot.x, y=y, radius=spot.radius, look=TYRE if turn else IDLER)]
    if hub < spot.radius or turn:
        shapes.append(Circle(x=spot.x, y=y, radius=hub, look=HUB))
    if bore:
        shapes.append(Circle(x=spot.x, y=y, radius=bore, look=BORE))
    return [*shapes, *_turning(spot.x, y, 0.8 * hub, turn, size)] if turn else shapes


def _turning(x: float, y: float, radius: float, turn: int, size: float) -> list[Shape]:
    """Return an arc with a tip, on the side away from the path, that shows the sense of rotation."""
    middle = turn * pi / 2
    angles = [middle + turn * (-0.5 + step / 12) for step in range(13)]
    points = tuple((x + radius * cos(angle), y + radius * sin(angle)) for angle in angles)
    (x0, y0), last = points[-1], angles[-1]
    forward = (-turn * sin(last), turn * cos(last))
    outward = (cos(last), sin(last))
    long, wide = 0.8 * size, 0.28 * size
    tip = tuple(
        (x0 + a * forward[0] + b * outward[0], y0 + a * forward[1] + b * outward[1])
        for a, b in ((long, 0.0), (0.0, wide), (0.0, -wide))
    )
    return [Stroke(points=points, look=TURN), Stroke(points=tip, look=TIP, closed=True)]


def _projectile(launcher: Launcher, left: float, right: float, size: float, look: Look) -> list[Shape]:
    half = MM * float(launcher.projectile.radius)
    if not launcher.projectile.shape.rolls:
        corners = ((left, -half), (right, -half), (right, half), (left, half))
        return [Stroke(points=corners, look=look, closed=True)]
    return [Circle(x=right - half, y=0.0, radius=half, look=look)]


def _leaving(launcher: Launcher, ahead: float, size: float, exit_speed: float | None) -> list[Shape]:
    size_along = MM * float(launcher.projectile.length or launcher.projectile.diameter)
    shapes = _projectile(launcher, ahead, ahead + size_along, size, LEAVING)
    start, end = ahead + size_along + 0.6 * size, ahead + size_along + 4.6 * size
    tip = ((end + size, 0.0), (end, 0.4 * size), (end, -0.4 * size))
    shapes += [Stroke(points=((start, 0), (end, 0)), look=ARROW), Stroke(points=tip, look=HEAD, closed=True)]
    if exit_speed:
        half = MM * float(launcher.projectile.radius)
        words = f"{speed(float(outlet_speed(launcher, exit_speed)))} m/s"
        shapes.append(Words(x=ahead + size_along / 2 + size, y=half + 1.3 * size, text=words, bold=True))
    return shapes


def _dimensions(
    launcher: Launcher, spots: Sequence[Nip], box: tuple[float, float, float, float], left: float, size: float
) -> list[Shape]:
    start, end, low, high = box
    first, last, half = spots[0], spots[-1], MM * float(launcher.projectile.radius)
    feet = [_lowest(launcher, k, spot) - 0.4 * size for k, spot in enumerate(spots)]
    shapes: list[Shape] = []
    if len(spots) <= MOST_PITCHES:
        for k in range(len(spots) - 1):
            text = millimetres(MM * float(pitch(launcher, k)))
            shapes += along(spots[k].x, spots[k + 1].x, low - 2.4 * size, size, text, (feet[k], feet[k + 1]))
    whole = millimetres(MM * float(length(launcher, len(spots))))
    shapes += along(start, end, low - 5.2 * size, size, whole, (0.0, last.top + last.radius))
    top, ends = first.top + first.radius, (first.x - first.radius, first.x + first.radius)
    shapes += along(*ends, high + 1.4 * size, size, f"Ø {millimetres(2 * first.radius)}", (top, top))
    shapes += across(last.bottom, last.top, end + 1.6 * size, size, millimetres(last.gap), last.x)
    foot = left + (half if launcher.projectile.shape.rolls else 0.0)
    shapes += across(-half, half, left - 1.4 * size, size, millimetres(2 * half), foot)
    return shapes


def _twin(launcher: Launcher, count: int) -> Table:
    columns = (
        Column("stage"), Column("layout", words=True), Column("axes at", "mm"), Column("pitch to next", "mm"),
        Column("wheel Ø", "mm"), Column("tyre depth", "mm"), Column("crush", "mm"), Column("free gap", "mm"),
    )  # fmt: skip
    rows = tuple(
        (
            str(k + 1), launcher.stage(k).layout.name, millimetres(spot.x),
            millimetres(MM * float(pitch(launcher, k))) if k + 1 < count else MISSING,
            millimetres(2 * spot.radius), _tyre(launcher.stage(k)),
            millimetres(MM * float(launcher.stage(k).crush)), millimetres(spot.gap),
        )
        for k, spot in enumerate(nips(launcher, count))
    )  # fmt: skip
    return Table("Dimensions", columns, rows)


def _tyre(stage: Stage) -> str:
    return MISSING if stage.wheel.tyre is None else millimetres(MM * float(stage.wheel.tyre.depth))
