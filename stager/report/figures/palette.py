"""Colours of figures and page by meaning. Words or shapes tell apart whatever colours do."""

from __future__ import annotations

INK = "#1a2227"
MUTED = "#59646c"
RULE = "#c9c6bd"
FAINT = "#e7e4db"
GROUND = "#fdfcf9"
MARK = "#ad3f1a"
CURVE = "#1d5c8a"
BAND = "#c3d6e4"
GOOD = "#2e6b4c"
DULL = "#8b8374"
MOTION = "#1d5c88"
SPIN = "#2f8577"
HEAT = "#c4622d"
CRUSH = "#8f7a5d"

VARIABLES = {
    INK: "ink", MUTED: "muted", RULE: "rule", FAINT: "faint", GROUND: "ground", MARK: "mark", CURVE: "curve",
    BAND: "band", GOOD: "good", DULL: "dull", MOTION: "motion", SPIN: "spin", HEAT: "heat", CRUSH: "crush",
}  # fmt: skip
"""Custom property of the page's style sheet for each colour."""


def themed(svg: str) -> str:
    """Return an SVG with colours replaced by custom properties, for the page's light and dark styles."""
    for colour, name in VARIABLES.items():
        svg = svg.replace(colour, f"var(--{name})")
    return svg
