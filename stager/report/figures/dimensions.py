"""Dimension lines: a measure between two places, with its number."""

from __future__ import annotations

from stager.report.figures import palette
from stager.report.figures.drawing import Look, Shape, Stroke, Words

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
