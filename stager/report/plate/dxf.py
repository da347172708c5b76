"""A side plate as DXF in millimetres; ezdxf is needed here alone."""

from __future__ import annotations

import io

from stager.errors import InputError
from stager.report.plate.geometry import Plate

LAYERS = {"PLATE": 7, "HOLES": 1, "WHEELS": 8, "BARREL": 5, "RAIL": 5, "DIMENSIONS": 3, "TEXT": 7}
"""Layers by name, with their colour's number."""
LINE = 5.5
"""Distance of text lines [mm]."""


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
    document = ezdxf.new("R2010", setup=["linetypes"])  # type: ignore[attr-defined]
    document.units = units.MM
    for name, colour in LAYERS.items():
        document.layers.add(name, color=colour)
    space = document.modelspace()
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
        *(f"{hole.name}: x {hole.x:.2f}, y {hole.y:.2f}, diameter {hole.diameter:.2f}" for hole in plate.holes),
        *(f"{part.count} x {part.name}" for part in plate.parts), *plate.notes,
    ]  # fmt: skip
    for number, text in enumerate(words):
        place = (plate.low[0], plate.low[1] - 35 - LINE * number)
        space.add_text(text, height=4.0, dxfattribs={"layer": "TEXT", "insert": place})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()
