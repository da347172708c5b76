"""The side plate of a launcher, 1:1: where its holes go, as DXF or SVG, and the list of parts.

geometry.py   holes, outlines and dimensions from the launcher     dxf.py, svg.py   the same as files
"""

from stager.report.plate.geometry import Plate, draw_plate

__all__ = ["Plate", "draw_plate"]
