"""`stager draw`: the side plate of a launcher, 1:1 in millimetres, with holes, outlines, dimensions and parts.

x runs along the barrel from the front of the first wheel, y across it from the barrel's centre line towards side A.
`svg` and `dxf` write it; ezdxf is needed by `dxf` alone.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from pathlib import Path
from textwrap import wrap

from stager.errors import InputError
from stager.model.arrays import Number
from stager.model.launcher import Launcher
from stager.physics.barrel import length, place
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import digits

MM = 1000.0
"""Millimetres in a metre."""
EDGE = 12.0
"""Material between the outermost wheel or hole and the plate's edge [mm]."""
ORIGIN = "Holes, from the front of the first wheel and the barrel's centre line"
"""From where the places of holes are measured, as a heading."""
SHAFT = 5.0
"""Diameter of a shaft hole where the wheel's bore is not given [mm]."""


@dataclass(frozen=True, slots=True)
class PlateCircle:
    """A circle: centre and diameter [mm]; layer; name, of holes, as the hole table has it."""

    x: float
    y: float
    diameter: float
    layer: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line between two points [mm]."""

    start: tuple[float, float]
    end: tuple[float, float]
    layer: str


@dataclass(frozen=True, slots=True)
class Label:
    """A text with its lower left corner [mm] and height [mm]."""

    x: float
    y: float
    text: str
    height: float = 4.0


@dataclass(frozen=True, slots=True)
class Dimension:
    """A distance along x (or y, if upright) between two points [mm]; at: y (or x) of its line."""

    start: tuple[float, float]
    end: tuple[float, float]
    at: float
    upright: bool = False

    @property
    def value(self) -> float:
        """Return the distance [mm]."""
        return abs(self.end[1] - self.start[1]) if self.upright else abs(self.end[0] - self.start[0])


@dataclass(frozen=True, slots=True)
class PlatePart:
    """A row of the parts list; mass of one [g] and cost of one, None: not known."""

    count: int
    name: str
    mass: float | None
    cost: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A drawing of a side plate in millimetres; low, high: corners of the plate."""

    title: str
    low: tuple[float, float]
    high: tuple[float, float]
    circles: tuple[PlateCircle, ...]
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]
    dimensions: tuple[Dimension, ...]
    parts: tuple[PlatePart, ...]
    notes: tuple[str, ...]

    @property
    def holes(self) -> tuple[PlateCircle, ...]:
        """Return the circles to be drilled, in the order of the hole table."""
        return tuple(circle for circle in self.circles if circle.layer == "HOLES")


def draw_plate(launcher: Launcher, count: int, title: str = "") -> Plate:
    """Draw the side plate of the first `count` stages.

    Returns
    -------
    Plate
        Shaft holes at the wheels' axes, motor holes around them, barrel, wheels and rails.

    Raises
    ------
    ValueError
        For a launcher without stages.
    """
    if count < 1:
        raise ValueError("a plate needs at least one stage")
    circles, lines = [*_circles(launcher, count)], [*_lines(launcher, count)]
    reach = max(abs(circle.y) + circle.diameter / 2 for circle in circles)
    bottom = min(
        [circle.y - circle.diameter / 2 for circle in circles] + [min(line.start[1], line.end[1]) for line in lines]
    )
    end = MM * float(length(launcher, count))
    low, high = (-EDGE, min(bottom, -float(launcher.projectile.radius) * MM) - EDGE), (end + EDGE, reach + EDGE)
    corners = (low, (high[0], low[1]), high, (low[0], high[1]))
    lines += [Line(a, b, "PLATE") for a, b in zip(corners, (*corners[1:], corners[0]), strict=True)]
    holes = [circle for circle in circles if circle.layer == "HOLES"]
    labels = [Label(hole.x + hole.diameter / 2 + 1, hole.y + 1, hole.name, 3.5) for hole in holes if hole.name]
    return Plate(
        title=title, low=low, high=high, circles=tuple(circles), lines=tuple(lines), labels=tuple(labels),
        dimensions=tuple(_dimensions(launcher, count, low, high)), parts=tuple(_parts(launcher, count)),
        notes=tuple(_notes(launcher, count)),
    )  # fmt: skip


def axes(launcher: Launcher, index: int) -> list[tuple[str, float, float]]:
    """Return side, x and y [mm] of each axis of stage `index`.

    The axis is R + r − d from the barrel's centre line, d the crush on the wheel's side.
    """
    stage = launcher.stage(index)
    x = MM * float(place(launcher, index))
    depth = float(stage.crush) * stage.layout.crush_share
    away = MM * (float(stage.wheel.radius) + float(launcher.projectile.radius) - depth)
    if stage.layout.side_b_turns:
        return [("A", x, away), ("B", x, -away)]
    return [("A", x, away)]


def _circles(launcher: Launcher, count: int) -> Iterator[PlateCircle]:
    for index in range(count):
        stage = launcher.stage(index)
        wheel = stage.wheel
        bore = MM * float(wheel.bore) if float(wheel.bore) > 0 else SHAFT
        for side, x, y in axes(launcher, index):
            name = f"{index + 1}{side}"
            yield PlateCircle(x, y, 2 * MM * float(wheel.radius), "WHEELS")
            if wheel.tyre is not None:
                yield PlateCircle(x, y, 2 * MM * float(wheel.hub_radius), "WHEELS")
            yield PlateCircle(x, y, bore, "HOLES", name)
            driven = side == "A" or stage.layout.side_b_driven
            mount = None if stage.drive is None or not driven else stage.drive.mount
            if mount is not None:
                for number in range(mount.screws):
                    turn = 2 * math.pi * (number + 0.5) / mount.screws
                    reach = MM * float(mount.circle) / 2
                    yield PlateCircle(
                        x + reach * math.cos(turn), y + reach * math.sin(turn), MM * float(mount.screw), "HOLES",
                        f"{name}.{number + 1}",
                    )  # fmt: skip


def _lines(launcher: Launcher, count: int) -> Iterator[Line]:
    radius, end = MM * float(launcher.projectile.radius), MM * float(length(launcher, count))
    for y in (-radius, 0.0, radius):
        yield Line((0.0, y), (end, y), "BARREL")
    for index in range(count):
        stage = launcher.stage(index)
        if not stage.layout.side_b_turns:
            # A rail lies where the projectile rolls, a wheel's width before and behind the axis.
            x, reach = MM * float(place(launcher, index)), MM * float(stage.wheel.radius)
            yield Line((x - reach, -radius), (x + reach, -radius), "RAIL")


def _dimensions(
    launcher: Launcher, count: int, low: tuple[float, float], high: tuple[float, float]
) -> Iterator[Dimension]:
    below = low[1] - 10
    before = (low[0], 0.0)
    for index in range(count):
        _, x, y = axes(launcher, index)[0]
        yield Dimension(before, (x, 0.0), below)
        before = (x, 0.0)
        yield Dimension((x, 0.0), (x, y), x - 4, upright=True)
    yield Dimension(low, (high[0], low[1]), below - 10)
    yield Dimension((high[0], low[1]), high, high[0] + 10, upright=True)


def _parts(launcher: Launcher, count: int) -> Iterator[PlatePart]:
    found: dict[tuple[str, float | None, float | None], int] = {}
    for index in range(count):
        stage = launcher.stage(index)
        size = f"{MM * float(stage.wheel.radius) * 2:g} mm"
        wheel = f"wheel {stage.wheel.name or size}"
        wheels = 2 if stage.layout.side_b_turns else 1
        rows: list[tuple[str, Number | None, Number | None, int]]
        rows = [(wheel, stage.wheel.mass, stage.wheel.cost, wheels)]
        if not stage.layout.side_b_turns:
            rows.append(("rail", None, None, 1))
        if stage.drive is not None:
            name = f"motor {stage.drive.name}".strip()
            rows.append((name, stage.drive.mass, stage.drive.cost, stage.layout.driven_wheels))
        rows.append((f"stage {index + 1} in all", stage.mass, stage.cost, 1))
        for part, mass, cost, many in rows:
            key = part, None if mass is None else 1000 * float(mass), None if cost is None else float(cost)
            found[key] = found.get(key, 0) + many
    for (part, grams, price), many in found.items():
        yield PlatePart(many, part, grams, price)


def _notes(launcher: Launcher, count: int) -> Iterator[str]:
    stages = [launcher.stage(index) for index in range(count)]
    if any(float(stage.wheel.bore) <= 0 for stage in stages):
        yield f"Shaft holes are {SHAFT:g} mm where stage.wheel.bore is not given."
    if any(stage.drive is not None and stage.drive.mount is None for stage in stages):
        yield "No motor holes: stage.drive.mount is not given."
    gaps = {round(MM * (float(launcher.projectile.diameter) - float(stage.crush)), 2) for stage in stages}
    yield f"Free gap {' / '.join(f'{gap:g}' for gap in sorted(gaps))} mm. Check it with the projectile before use."
    yield "Enclose the wheels in a guard. Brittle and printed wheels can burst: stay out of their plane."


COLOURS = {
    "PLATE": "#000000", "HOLES": "#c00000", "WHEELS": "#606060", "BARREL": "#1060a0", "RAIL": "#1060a0",
    "DIMENSIONS": "#305030", "TEXT": "#000000",
}  # fmt: skip
"""Colour of each layer in SVG."""
DASHES = {"BARREL": "6 3", "WHEELS": "3 2"}
"""Dashes of layers in SVG [mm]."""
BORDER = 30.0
"""Border around the plate [mm]."""
LINE = 5.5
"""Distance of text lines [mm]."""
LETTER = 2.4
"""Greatest width of a letter of such lines [mm]."""


def svg(plate: Plate) -> str:
    """Return the drawing as an SVG document, one user unit a millimetre."""
    left, top = plate.low[0] - BORDER, plate.high[1] + BORDER
    width = max(plate.high[0] - plate.low[0] + 2 * BORDER, 180.0)
    texts = [
        ORIGIN,
        *(f"{hole.name}: x {hole.x:.2f}, y {hole.y:.2f}, diameter {hole.diameter:.2f}" for hole in plate.holes),
        "", *(_part(part.count, part.name, part.mass, part.cost) for part in plate.parts), "", *plate.notes,
    ]  # fmt: skip
    words = [line for text in texts for line in wrap(text, int((width - BORDER) / LETTER)) or [""]]
    height = plate.high[1] - plate.low[1] + 2 * BORDER + LINE * (len(words) + 3)
    shapes = [
        *(_line(line) for line in plate.lines),
        *(_circle(circle) for circle in plate.circles),
        *(part for dimension in plate.dimensions for part in _dimension(dimension)),
        *(_label(label) for label in plate.labels),
        _label(Label(plate.low[0], plate.high[1] + 10, plate.title or "Side plate", 6.0)),
        *(
            _label(Label(plate.low[0], plate.low[1] - BORDER - LINE * (number + 1), text))
            for number, text in enumerate(words)
            if text
        ),
    ]
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm"'
        f' viewBox="{left:.3f} {-top:.3f} {width:.3f} {height:.3f}" font-family="sans-serif">\n'
        f"<title>{escape(plate.title or 'Side plate')}</title>\n" + "\n".join(shapes) + "\n</svg>\n"
    )


def _part(count: int, name: str, mass: float | None, cost: float | None) -> str:
    more = [f"{mass:.0f} g" if mass is not None else "", f"{cost:g} each" if cost is not None else ""]
    return f"{count} x {name}{''.join(f', {text}' for text in more if text)}"


def _pen(layer: str) -> str:
    dash = f' stroke-dasharray="{DASHES[layer]}"' if layer in DASHES else ""
    return f'fill="none" stroke="{COLOURS[layer]}" stroke-width="0.3" data-layer="{layer}"{dash}'


def _line(line: Line) -> str:
    (a, b), (c, d) = line.start, line.end
    return f'<line x1="{a:.4f}" y1="{-b:.4f}" x2="{c:.4f}" y2="{-d:.4f}" {_pen(line.layer)}/>'


def _circle(circle: PlateCircle) -> str:
    name = f' data-name="{escape(circle.name)}"' if circle.name else ""
    return (
        f'<circle cx="{circle.x:.4f}" cy="{-circle.y:.4f}" r="{circle.diameter / 2:.4f}" {_pen(circle.layer)}{name}/>'
    )


def _label(label: Label) -> str:
    return (
        f'<text x="{label.x:.3f}" y="{-label.y:.3f}" font-size="{label.height:g}" fill="{COLOURS["TEXT"]}">'
        f"{escape(label.text)}</text>"
    )


def _dimension(one: Dimension) -> list[str]:
    """Return the SVG of a dimension: its line, two ticks and its value."""
    (a, b), (c, d) = one.start, one.end
    ends = ((one.at, b), (one.at, d)) if one.upright else ((a, one.at), (c, one.at))
    middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
    ticks = [
        Line((x - 1.2, y - 1.2), (x + 1.2, y + 1.2), "DIMENSIONS")
        for x, y in ends
    ]  # fmt: skip
    right, up = (1.5, -1) if one.upright else (-5, 1)
    place = Label(middle[0] + right, middle[1] + up, f"{one.value:.2f}", 3.5)
    return [_line(Line(*ends, "DIMENSIONS")), *(_line(tick) for tick in ticks), _label(place)]


LAYERS = {"PLATE": 7, "HOLES": 1, "WHEELS": 8, "BARREL": 5, "RAIL": 5, "DIMENSIONS": 3, "TEXT": 7}
"""Colour number of each layer in DXF."""


def dxf(plate: Plate) -> str:
    """Return the drawing as a DXF document. Raises InputError where ezdxf is not installed."""
    try:
        import ezdxf
        from ezdxf import units
        from ezdxf._options import options
    except ImportError:
        raise InputError(
            "drawing DXF needs the package ezdxf", where="draw",
            hint="pip install 'stager[draw]', or write an SVG: -o plate.svg",
        ) from None  # fmt: skip
    # The same drawing gives the same bytes.
    options.write_fixed_meta_data_for_testing = True
    drawing = ezdxf.new("R2010", setup=["linetypes"])  # type: ignore[attr-defined]
    drawing.units = units.MM
    for name, colour in LAYERS.items():
        drawing.layers.add(name, color=colour)
    space = drawing.modelspace()
    for line in plate.lines:
        space.add_line(line.start, line.end, dxfattribs={"layer": line.layer})
    for circle in plate.circles:
        space.add_circle((circle.x, circle.y), circle.diameter / 2, dxfattribs={"layer": circle.layer})
    for label in plate.labels:
        space.add_text(label.text, height=label.height, dxfattribs={"layer": "TEXT", "insert": (label.x, label.y)})
    for one in plate.dimensions:
        base = (one.at, one.start[1]) if one.upright else (one.start[0], one.at)
        drawn = space.add_linear_dim(
            base=base, p1=one.start, p2=one.end, angle=90 if one.upright else 0, dxfattribs={"layer": "DIMENSIONS"},
            override={"dimtxt": 3.5, "dimasz": 2.0, "dimdec": 2, "dimexe": 1.0, "dimexo": 1.0},
        )  # fmt: skip
        drawn.render()
    words = [
        plate.title or "Side plate",
        ORIGIN,
        *(f"{hole.name}: x {hole.x:.2f}, y {hole.y:.2f}, diameter {hole.diameter:.2f}" for hole in plate.holes),
        *(f"{part.count} x {part.name}" for part in plate.parts), *plate.notes,
    ]  # fmt: skip
    for number, text in enumerate(words):
        place = (plate.low[0], plate.low[1] - 35 - LINE * number)
        space.add_text(text, height=4.0, dxfattribs={"layer": "TEXT", "insert": place})
    stream = io.StringIO()
    drawing.write(stream)
    return stream.getvalue()


def answer(plate: Plate, path: Path, source: Provenance) -> Answer:
    """Return where the drawing is, with tables of its holes and parts."""
    holes = Table(
        ORIGIN,
        (Column("hole", words=True), Column("x", "mm"), Column("y", "mm"), Column("diameter", "mm")),
        tuple((hole.name, f"{hole.x:.2f}", f"{hole.y:.2f}", f"{hole.diameter:.2f}") for hole in plate.holes),
    )
    parts = Table(
        "Parts",
        (Column("count"), Column("part", words=True), Column("mass of one", "g"), Column("cost of one")),
        tuple((str(part.count), part.name, digits(part.mass), digits(part.cost)) for part in plate.parts),
    )
    size = f"{plate.high[0] - plate.low[0]:.1f} mm x {plate.high[1] - plate.low[1]:.1f} mm"
    content = {
        "drawing": str(path),
        "width_m": (plate.high[0] - plate.low[0]) / 1000, "height_m": (plate.high[1] - plate.low[1]) / 1000,
        "holes": [
            {"name": hole.name, "x_m": hole.x / 1000, "y_m": hole.y / 1000, "diameter_m": hole.diameter / 1000}
            for hole in plate.holes
        ],
        "parts": [
            {"count": part.count, "name": part.name, "mass_kg": None if part.mass is None else part.mass / 1000,
             "cost": part.cost}
            for part in plate.parts
        ],
    }  # fmt: skip
    return Answer(
        Screen(f"The side plate, {size}, 1:1, is {path}.", (holes,), plate.notes, more_tables=(parts,)),
        document(content, source),
    )
