"""A drawn side plate, as screen and document."""

from __future__ import annotations

from pathlib import Path

from stager.report.answer import Answer
from stager.report.digits import digits
from stager.report.document import Source, document
from stager.report.plate import Plate
from stager.report.table import Column, Screen, Table


def answer(plate: Plate, path: Path, source: Source) -> Answer:
    """Where the drawing is, its holes and parts."""
    holes = Table(
        "Holes, from the front of the first wheel and the barrel's centre line",
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
