"""A side plate as SVG, 1:1 in millimetres; y points up as in the drawing, so it is turned here."""

from __future__ import annotations

from html import escape
from textwrap import wrap

from stager.report.plate.geometry import Circle, Dimension, Label, Line, Plate

COLOURS = {
    "PLATE": "#000000", "HOLES": "#c00000", "WHEELS": "#606060", "BARREL": "#1060a0", "RAIL": "#1060a0",
    "DIMENSIONS": "#305030", "TEXT": "#000000",
}  # fmt: skip
DASHES = {"BARREL": "6 3", "WHEELS": "3 2"}
BORDER, LINE = 30.0, 5.5
"""Free border, and distance of text lines [mm]."""
LETTER = 2.4
"""Width of a letter of such lines, rather too wide than too narrow [mm]."""


def svg(plate: Plate) -> str:
    """Return the drawing as an SVG document, one user unit a millimetre."""
    left, top = plate.low[0] - BORDER, plate.high[1] + BORDER
    width = max(plate.high[0] - plate.low[0] + 2 * BORDER, 180.0)
    said = [
        *(f"{hole.name}: x {hole.x:.2f}, y {hole.y:.2f}, diameter {hole.diameter:.2f}" for hole in plate.holes),
        "", *(_part(part.count, part.name, part.mass, part.cost) for part in plate.parts), "", *plate.notes,
    ]  # fmt: skip
    words = [line for text in said for line in wrap(text, int((width - BORDER) / LETTER)) or [""]]
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


def _circle(circle: Circle) -> str:
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
    """Its line, two ticks and its value."""
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
